//! One cell, read by the type, unit and limits of its column.

use evenstand_tables::{Column, ColumnType};
use jiff::tz::TimeZone;

use crate::header::Feed;
use crate::time::{TIME_REMEDY, Zones};

/// A cell that was read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Value<'a> {
    Missing,
    Text(&'a str),
    Number(f64),
    Integer(i64),
    Boolean(bool),
    Moment { microseconds: i64, local: bool },
    Day(i32),
}

/// Why a cell could not be read.
#[derive(Debug)]
pub(crate) struct CellFault {
    pub code: &'static str,
    pub found: String,
    pub expected: String,
    pub remedy: String,
}

impl CellFault {
    fn new(code: &'static str, found: &str, expected: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { code, found: shorten(found), expected: expected.into(), remedy: remedy.into() }
    }
}

/// Text that stands for a missing value.
pub(crate) fn is_missing(cell: &str) -> bool {
    matches!(cell, "" | "-") || cell.eq_ignore_ascii_case("na")
}

/// Reads a trimmed cell.
pub(crate) fn read_cell<'a>(
    column: &'a Column,
    feed: &Feed,
    cell: &'a str,
    zones: &Zones,
    zone: impl FnOnce() -> TimeZone,
) -> Result<Value<'a>, CellFault> {
    if is_missing(cell) {
        return Ok(Value::Missing);
    }
    match column.column_type {
        ColumnType::String => word(column, cell),
        ColumnType::Number => number(column, feed, cell),
        ColumnType::Integer => integer(column, feed, cell),
        ColumnType::Boolean => boolean(cell),
        ColumnType::Datetime => zones
            .moment(cell, zone)
            .map(|(microseconds, local)| Value::Moment { microseconds, local })
            .map_err(|fault| CellFault::new(fault.code, cell, fault.expected, TIME_REMEDY)),
        ColumnType::Date => zones
            .day(cell)
            .map(Value::Day)
            .map_err(|fault| CellFault::new(fault.code, cell, fault.expected, TIME_REMEDY)),
    }
}

fn word<'a>(column: &'a Column, cell: &'a str) -> Result<Value<'a>, CellFault> {
    let allowed = column.allowed();
    if allowed.is_empty() {
        return Ok(Value::Text(cell));
    }
    let tidy = |text: &str| text.to_lowercase().replace(['-', ' '], "_");
    let wanted = tidy(cell);
    match allowed.iter().find(|word| tidy(word) == wanted) {
        Some(word) => Ok(Value::Text(word)),
        None => Err(CellFault::new(
            "unknown_word",
            cell,
            format!("one of {}", allowed.join(", ")),
            "write one of these words, or leave the cell empty",
        )),
    }
}

fn number<'a>(column: &Column, feed: &Feed, cell: &str) -> Result<Value<'a>, CellFault> {
    let parsed = cell.parse::<f64>().ok().filter(|number| number.is_finite()).ok_or_else(|| {
        let remedy = if cell.contains(',') {
            "write a decimal point instead of a comma, and no thousands separator"
        } else {
            "write digits with a decimal point; leave the cell empty where nothing was measured"
        };
        CellFault::new("not_a_number", cell, "a number", remedy)
    })?;
    let kept = match &feed.unit {
        None => parsed,
        Some((kind, suffix)) => kind.to_kept(suffix, parsed).ok_or_else(|| {
            CellFault::new("unknown_unit", cell, "a known unit", "rename the column with a known unit")
        })?,
    };
    within(column, feed, kept, cell)?;
    Ok(Value::Number(kept))
}

fn integer<'a>(column: &Column, feed: &Feed, cell: &str) -> Result<Value<'a>, CellFault> {
    let whole = cell.parse::<i64>().ok().or_else(|| {
        let number = cell.parse::<f64>().ok()?;
        // Spreadsheets write whole numbers as 12.0; beyond 2^53 a double no longer tells neighbours apart.
        (number.fract() == 0.0 && number.abs() < 9.0e15).then_some(number as i64)
    });
    let whole = whole.ok_or_else(|| {
        CellFault::new(
            "not_a_number",
            cell,
            "a whole number",
            "write a whole number; leave the cell empty where nothing was counted",
        )
    })?;
    within(column, feed, whole as f64, cell)?;
    Ok(Value::Integer(whole))
}

/// Holds a value, in the kept unit, against the limits of its column; the message gives them in the file's own unit.
fn within(column: &Column, feed: &Feed, kept: f64, cell: &str) -> Result<(), CellFault> {
    let low = column.minimum().unwrap_or(f64::NEG_INFINITY);
    let high = column.maximum().unwrap_or(f64::INFINITY);
    if (low..=high).contains(&kept) {
        return Ok(());
    }
    let (own, unit) = match &feed.unit {
        Some((kind, suffix)) => {
            (Some((*kind, suffix)), kind.label(suffix).map(|label| format!(" {label}")).unwrap_or_default())
        }
        None => (None, String::new()),
    };
    let shown = |limit: f64| {
        let value = own.and_then(|(kind, suffix)| kind.from_kept(suffix, limit)).unwrap_or(limit);
        (value * 100.0).round() / 100.0
    };
    let expected = match (column.minimum(), column.maximum()) {
        (Some(low), Some(high)) => format!("{} to {}{unit}", shown(low), shown(high)),
        (Some(low), None) => format!("{}{unit} or more", shown(low)),
        (None, Some(high)) => format!("at most {}{unit}", shown(high)),
        (None, None) => "a number".to_owned(),
    };
    Err(CellFault::new("out_of_range", cell, expected, "check the number, and the unit in the column's name"))
}

fn boolean<'a>(cell: &str) -> Result<Value<'a>, CellFault> {
    match cell.to_ascii_lowercase().as_str() {
        "yes" | "y" | "true" | "1" => Ok(Value::Boolean(true)),
        "no" | "n" | "false" | "0" => Ok(Value::Boolean(false)),
        _ => Err(CellFault::new("not_yes_or_no", cell, "yes, no, y, n, true, false, 1 or 0", "write yes or no")),
    }
}

/// At most 60 letters of what was found, so that a message stays a message.
fn shorten(text: &str) -> String {
    if text.chars().count() <= 60 { text.to_owned() } else { text.chars().take(57).chain("...".chars()).collect() }
}
