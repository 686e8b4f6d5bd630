//! One cell, read by the type, unit and limits of its column.

use evenstand_agronomy::Kind;
use evenstand_tables::{Column, ColumnType, unguarded};
use jiff::civil::{DateTime, Time};
use jiff::tz::TimeZone;

use crate::header::Feed;
use crate::reading::Reading;
use crate::record::Cell;
use crate::time::{Zones, at_zone, days_since_1970};

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

/// Reads a cell by the type, unit and limits of its column. `text` is what the cell reads as, where it is wanted as text.
pub(crate) fn read_cell<'a>(
    column: &'a Column,
    feed: &'a Feed,
    cell: Cell<'a>,
    text: Option<&'a str>,
    context: &CellContext,
) -> Result<Value<'a>, CellFault> {
    let text = match (text, cell) {
        (Some(text), _) | (None, Cell::Text(text)) => Some(text),
        _ => None,
    };
    match (text, cell) {
        (_, Cell::Empty) => return Ok(Value::Missing),
        (_, Cell::Fault(code)) => {
            return Err(CellFault::new(
                "error_cell",
                code,
                "a value, not a spreadsheet's error",
                "mend the formula of this cell, or leave it empty",
            ));
        }
        (Some(text), _) if context.reading.is_missing(text) => return Ok(Value::Missing),
        (_, Cell::Number(number)) if context.reading.is_missing_number(number) => return Ok(Value::Missing),
        _ => {}
    }
    if let Some(word) = text.and_then(|text| synonym(feed, text)) {
        return plain(column, feed, word, context);
    }
    match (column.column_type, cell) {
        (ColumnType::Number, Cell::Number(number)) => measured(column, feed, number, &cell.text()),
        (ColumnType::Number, Cell::Share(share)) => percentage(column, feed, share, &cell.text()),
        (ColumnType::Integer, Cell::Number(number)) => counted(column, feed, whole(number), &cell.text()),
        (ColumnType::Boolean, Cell::Boolean(yes)) => Ok(Value::Boolean(yes)),
        (ColumnType::Datetime, Cell::Day(day)) => local(day.to_datetime(Time::midnight()), context),
        (ColumnType::Datetime, Cell::Moment(moment)) => local(moment, context),
        (ColumnType::Datetime, Cell::Instant(microseconds)) => Ok(Value::Moment { microseconds, local: false }),
        (ColumnType::Date, Cell::Day(day)) => Ok(Value::Day(days_since_1970(day))),
        (ColumnType::Date, Cell::Moment(moment)) => Ok(Value::Day(days_since_1970(moment.date()))),
        _ => match text {
            Some(text) => plain(column, feed, text, context),
            // A cell of another type: what it reads as may still be understood, such as 20200101 as a date.
            None => match plain(column, feed, &cell.text(), context).map_err(|fault| of_type(fault, cell))? {
                Value::Text(_) | Value::Missing => Ok(Value::Missing),
                Value::Number(number) => Ok(Value::Number(number)),
                Value::Integer(whole) => Ok(Value::Integer(whole)),
                Value::Boolean(yes) => Ok(Value::Boolean(yes)),
                Value::Moment { microseconds, local } => Ok(Value::Moment { microseconds, local }),
                Value::Day(day) => Ok(Value::Day(day)),
            },
        },
    }
}

/// A fault of a cell whose type says more about it than its text.
fn of_type(fault: CellFault, cell: Cell) -> CellFault {
    match (fault.code, cell) {
        ("bad_time", Cell::Number(_)) => CellFault {
            remedy:
                "a spreadsheet keeps days as such numbers: give the cells of this column the format of a date there, \
                     or write the date as year-month-day"
                    .into(),
            ..fault
        },
        _ => fault,
    }
}

/// What is known about the file and the row while a cell is read.
pub(crate) struct CellContext<'a> {
    pub reading: &'a Reading,
    pub zones: &'a Zones,
    /// The zone of local times in this row.
    pub zone: &'a dyn Fn() -> TimeZone,
}

fn plain<'a>(column: &'a Column, feed: &Feed, text: &'a str, context: &CellContext) -> Result<Value<'a>, CellFault> {
    match column.column_type {
        ColumnType::String => word(column, text),
        ColumnType::Number if text.ends_with('%') => {
            let number = text.strip_suffix('%').and_then(|number| context.reading.number(number.trim_end()));
            let number = number
                .ok_or_else(|| CellFault::new("not_a_number", text, "a number", context.reading.number_remedy(text)))?;
            percentage(column, feed, number / 100.0, text)
        }
        ColumnType::Number => {
            let number = context
                .reading
                .number(text)
                .ok_or_else(|| CellFault::new("not_a_number", text, "a number", context.reading.number_remedy(text)))?;
            measured(column, feed, number, text)
        }
        ColumnType::Integer => counted(column, feed, whole_of(text, context.reading), text),
        ColumnType::Boolean => boolean(text),
        ColumnType::Datetime => context
            .zones
            .moment(text, &context.reading.formats, context.zone)
            .map(|(microseconds, local)| Value::Moment { microseconds, local })
            .map_err(|fault| CellFault::new(fault.code, text, fault.expected, fault.remedy)),
        ColumnType::Date => context
            .zones
            .day(text, &context.reading.formats)
            .map(Value::Day)
            .map_err(|fault| CellFault::new(fault.code, text, fault.expected, fault.remedy)),
    }
}

fn synonym<'a>(feed: &'a Feed, text: &str) -> Option<&'a str> {
    if feed.synonyms.is_empty() {
        return None;
    }
    feed.synonyms.get(&text.to_lowercase()).map(String::as_str)
}

fn local<'a>(moment: DateTime, context: &CellContext) -> Result<Value<'a>, CellFault> {
    at_zone(moment, context.zone)
        .map(|microseconds| Value::Moment { microseconds, local: true })
        .map_err(|fault| CellFault::new(fault.code, &moment.to_string(), fault.expected, fault.remedy))
}

fn word<'a>(column: &'a Column, cell: &'a str) -> Result<Value<'a>, CellFault> {
    let allowed = column.allowed();
    if allowed.is_empty() {
        return Ok(Value::Text(unguarded(cell)));
    }
    let tidy = |text: &str| text.to_lowercase().replace(['-', ' '], "_");
    let wanted = tidy(cell);
    // A word that may also be yes or no takes the other ways to write these.
    let wanted = match wanted.as_str() {
        "y" | "true" | "1" if allowed.iter().any(|word| word == "yes") => "yes".to_owned(),
        "n" | "false" | "0" if allowed.iter().any(|word| word == "no") => "no".to_owned(),
        _ => wanted,
    };
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

fn measured<'a>(column: &Column, feed: &Feed, number: f64, text: &str) -> Result<Value<'a>, CellFault> {
    if !number.is_finite() {
        return Err(CellFault::new(
            "not_a_number",
            text,
            "a number",
            "leave the cell empty where nothing was measured",
        ));
    }
    let kept = match &feed.unit {
        None => number,
        Some((kind, suffix)) => kind.to_kept(suffix, number).ok_or_else(|| {
            CellFault::new("unknown_unit", text, "a known unit", "rename the column with a known unit")
        })?,
    };
    within(column, feed, kept, text)?;
    Ok(Value::Number(kept))
}

/// A number that says itself that it is per cent, whatever unit the header names: 35 % is 0.35 in `_pct` and `_frac` alike.
fn percentage<'a>(column: &Column, feed: &Feed, share: f64, text: &str) -> Result<Value<'a>, CellFault> {
    if !matches!(&feed.unit, Some((Kind::Share, _))) {
        return Err(CellFault::new(
            "not_a_number",
            text,
            "a number without a percent sign: this column is no share",
            "write the number in the column's own unit",
        ));
    }
    within(column, feed, share, text)?;
    Ok(Value::Number(share))
}

fn counted<'a>(column: &Column, feed: &Feed, whole: Option<i64>, text: &str) -> Result<Value<'a>, CellFault> {
    let whole = whole.ok_or_else(|| {
        CellFault::new(
            "not_a_number",
            text,
            "a whole number",
            "write a whole number; leave the cell empty where nothing was counted",
        )
    })?;
    within(column, feed, whole as f64, text)?;
    Ok(Value::Integer(whole))
}

/// Spreadsheets write whole numbers as 12.0; beyond 2^53 a double no longer tells neighbours apart.
fn whole(number: f64) -> Option<i64> {
    (number.fract() == 0.0 && number.abs() < 9.0e15).then_some(number as i64)
}

fn whole_of(text: &str, reading: &Reading) -> Option<i64> {
    text.parse().ok().or_else(|| whole(reading.number(text)?))
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
    let remedy = if own.is_some() { "check the number, and the unit in the column's name" } else { "check the number" };
    Err(CellFault::new("out_of_range", cell, expected, remedy))
}

fn boolean<'a>(cell: &str) -> Result<Value<'a>, CellFault> {
    match cell.to_ascii_lowercase().as_str() {
        "yes" | "y" | "true" | "1" => Ok(Value::Boolean(true)),
        "no" | "n" | "false" | "0" => Ok(Value::Boolean(false)),
        _ => Err(CellFault::new("not_yes_or_no", cell, "yes, no, y, n, true, false, 1 or 0", "write yes or no")),
    }
}

/// At most 60 letters of what was found, so that a message stays a message.
pub(crate) fn shorten(text: &str) -> String {
    if text.chars().count() <= 60 { text.to_owned() } else { text.chars().take(57).chain("...".chars()).collect() }
}
