//! One row of a file becomes the values of one kept row, or of several where the table is wide.

use evenstand_tables::{ColumnType, TableSchema};
use jiff::civil::Time;
use jiff::tz::TimeZone;

use crate::header::{EachColumn, Feed, Layout, Origin};
use crate::reading::Reading;
use crate::record::{Cell, Record};
use crate::time::{Zones, zone};
use crate::value::{CellContext, CellFault, Value, read_cell};

/// Why a row is set aside.
#[derive(Debug)]
pub(crate) struct RowFault {
    pub code: &'static str,
    pub message: String,
    pub remedy: String,
}

/// Everything that a row is read with.
pub(crate) struct RowReader<'a> {
    pub schema: &'static TableSchema,
    pub layout: &'a Layout,
    pub reading: &'a Reading,
    pub zones: &'a Zones,
}

/// Text of cells that is not in the record itself, by column of the schema; see [`RowReader::texts`].
pub(crate) type Texts = Vec<Option<String>>;

impl<'a> RowReader<'a> {
    /// Text that must be put together first: joined cells, and typed cells of text columns.
    pub fn texts(&self, record: &dyn Record) -> Texts {
        let columns = self.schema.columns.iter().zip(&self.layout.feeds);
        columns
            .map(|(column, feed)| match &feed.origin {
                Origin::Joined(cells, between) => {
                    Some(joined(record, cells, between, column.column_type != ColumnType::String))
                }
                Origin::Cell(cell) if column.column_type == ColumnType::String => match record.cell(*cell) {
                    Cell::Empty | Cell::Text(_) | Cell::Fault(_) | Cell::NotText(_) => None,
                    typed => Some(typed.text().into_owned()),
                },
                _ => None,
            })
            .collect()
    }

    /// The values of a row, one a column of the schema. Columns that are needed may still be missing.
    ///
    /// `each` is the column of a wide table that this kept row comes from.
    pub fn values(
        &self,
        record: &'a dyn Record,
        texts: &'a Texts,
        each: Option<&'a EachColumn>,
    ) -> Result<Vec<Value<'a>>, RowFault> {
        let mut values: Vec<Value<'a>> = Vec::with_capacity(self.layout.feeds.len());
        for (index, (column, feed)) in self.schema.columns.iter().zip(&self.layout.feeds).enumerate() {
            let cell = match (&feed.origin, each, self.layout.each_to) {
                (Origin::Absent, ..) => Cell::Empty,
                (Origin::Cell(cell), ..) => record.cell(*cell),
                (Origin::Constant(constant), ..) => constant.as_cell(),
                (Origin::Joined(..), ..) => Cell::of(texts[index].as_deref().unwrap_or_default()),
                (Origin::EachColumn, Some(each), Some((name_to, _))) if name_to == index => Cell::of(&each.name),
                (Origin::EachColumn, Some(each), _) => record.cell(each.cell),
                (Origin::EachColumn, None, _) => Cell::Empty,
            };
            if let Cell::NotText(bytes) = cell {
                return Err(RowFault {
                    code: "not_utf8",
                    message: format!(
                        "column {}: the text is not UTF-8: {}",
                        feed.label,
                        String::from_utf8_lossy(bytes)
                    ),
                    remedy:
                        "save the file as UTF-8 (in a spreadsheet: CSV UTF-8), or name its encoding in a [[source]] \
                             block of evenstand.toml, for example encoding = \"windows-1252\""
                            .into(),
                });
            }
            let zone_of_row = || self.zone_of_row(record, &values);
            let context = CellContext { reading: self.reading, zones: self.zones, zone: &zone_of_row };
            let read = read_cell(column, feed, cell, texts[index].as_deref(), &context);
            let value = read.map_err(|fault| row_fault(feed, each, fault))?;
            if column.name == "timezone"
                && let Value::Text(name) = value
                && let Err(problem) = zone(name)
            {
                return Err(RowFault {
                    code: "unknown_timezone",
                    message: format!("column timezone: {problem}"),
                    remedy: "write the IANA name of the zone".into(),
                });
            }
            values.push(value);
        }
        Ok(values)
    }

    /// The zone of the row's own `timezone` cell, else of its file, else of its field and season.
    fn zone_of_row(&self, record: &dyn Record, values: &[Value]) -> TimeZone {
        let own = self.column("timezone").and_then(|index| match &self.layout.feeds[index].origin {
            Origin::Cell(cell) => Some(record.cell(*cell).text().into_owned()),
            Origin::Constant(constant) => Some(constant.as_cell().text().into_owned()),
            _ => None,
        });
        if let Some(Ok(zone)) = own.filter(|name| !self.reading.is_missing(name)).map(|name| zone(&name)) {
            return zone;
        }
        if let Some(zone) = &self.reading.zone {
            return zone.clone();
        }
        let season = match self.column("season").and_then(|index| values.get(index)) {
            Some(Value::Integer(season)) => *season,
            _ => 0,
        };
        self.zones.of(text_of(values, self.schema, "field_id"), season)
    }

    /// Whether somebody named the zone of local times in this row.
    fn knows_zone(&self, values: &[Value]) -> bool {
        let season = match self.column("season").map(|index| values[index]) {
            Some(Value::Integer(season)) => season,
            _ => 0,
        };
        let own = self.column("timezone").is_some_and(|index| self.layout.feeds[index].origin != Origin::Absent);
        own || self.reading.zone.is_some() || self.zones.known(text_of(values, self.schema, "field_id"), season)
    }

    /// Whether times of this row are read as UTC, because nobody named their zone.
    pub fn lacks_zone(&self, values: &[Value]) -> bool {
        values.iter().any(|value| matches!(value, Value::Moment { local: true, .. })) && !self.knows_zone(values)
    }

    fn column(&self, name: &str) -> Option<usize> {
        column_of(self.schema, name)
    }
}

fn row_fault(feed: &Feed, each: Option<&EachColumn>, fault: CellFault) -> RowFault {
    let label = match (&feed.origin, each) {
        (Origin::EachColumn, Some(each)) => format!("{} (\"{}\")", feed.label, each.label),
        _ => feed.label.clone(),
    };
    RowFault {
        code: fault.code,
        message: format!("column {label}: found \"{}\", expected {}", fault.found, fault.expected),
        remedy: fault.remedy,
    }
}

/// Cells put together; nothing where a part of a name, or the date of a time, is missing.
fn joined(record: &dyn Record, cells: &[usize], between: &str, is_time: bool) -> String {
    let part = |cell: &usize| match record.cell(*cell) {
        // A spreadsheet's day beside a time in another cell.
        Cell::Moment(moment) if is_time && moment.time() == Time::midnight() => moment.date().to_string(),
        other => other.text().into_owned(),
    };
    let parts: Vec<String> = cells.iter().map(part).collect();
    let needed = if is_time { &parts[..parts.len().min(1)] } else { &parts };
    if needed.iter().any(|part| part.is_empty()) {
        return String::new();
    }
    parts.into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join(between)
}

/// Position of a column of the schema.
pub(crate) fn column_of(schema: &TableSchema, name: &str) -> Option<usize> {
    schema.columns.iter().position(|column| column.name == name)
}

/// The text of a column; empty where it is missing.
pub(crate) fn text_of<'a>(values: &[Value<'a>], schema: &TableSchema, name: &str) -> &'a str {
    match column_of(schema, name).and_then(|index| values.get(index)) {
        Some(Value::Text(text)) => text,
        _ => "",
    }
}

/// Whether a row names a visit of a plan and holds nothing but what the plan filled in: nobody went there.
///
/// Rows without a visit are people's own, and an empty count there is a fault that they should hear of.
pub(crate) fn is_left_blank(schema: &TableSchema, values: &[Value]) -> bool {
    let of_a_plan = column_of(schema, "visit_number").is_some_and(|visit| values[visit] != Value::Missing);
    let written = |(column, value): (&evenstand_tables::Column, &Value)| !column.planned() && *value != Value::Missing;
    of_a_plan && !schema.columns.iter().zip(values).any(written)
}

/// Names the first needed column that is missing.
pub(crate) fn check_needed(schema: &TableSchema, layout: &Layout, values: &[Value]) -> Result<(), RowFault> {
    let missing =
        schema.columns.iter().zip(values).position(|(column, value)| column.required() && *value == Value::Missing);
    let Some(index) = missing else { return Ok(()) };
    let label = &layout.feeds[index].label;
    Err(RowFault {
        code: "missing_value",
        message: format!("column {label}: the cell is empty, expected a value"),
        remedy: format!("fill in {}", schema.columns[index].name),
    })
}

/// A row without a season belongs to the year of its day: weather, and the planter's own log.
pub(crate) fn fill_season(schema: &TableSchema, values: &mut [Value]) {
    let Some(season) = column_of(schema, "season") else { return };
    if let Some(year) = dated_by(schema).and_then(|column| year_of(values[column])) {
        values[season] = Value::Integer(year);
    }
}

/// The column whose day or time tells the season of a row that names none.
pub(crate) fn dated_by(schema: &TableSchema) -> Option<usize> {
    let day = schema.columns.iter().position(|column| column.column_type == ColumnType::Date);
    day.or_else(|| column_of(schema, "time").filter(|_| schema.name == "setting_log"))
}

/// The year of a day or time. Nobody plants at midnight of New Year: the year is the same in every zone.
pub(crate) fn year_of(value: Value) -> Option<i64> {
    let date = match value {
        Value::Day(day) => jiff::civil::Date::constant(1970, 1, 1).saturating_add(jiff::Span::new().days(day)),
        Value::Moment { microseconds, .. } => {
            TimeZone::UTC.to_datetime(jiff::Timestamp::from_microsecond(microseconds).ok()?).date()
        }
        _ => return None,
    };
    Some(i64::from(date.year()))
}
