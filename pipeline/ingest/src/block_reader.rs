//! Many rows at once, column by column.
//!
//! Rows that are written as rows mostly are become columns without being looked at as rows. Any other row, such as one with a
//! cell too many, a value out of range or a word that nobody knows, is read as the only row there was
//! ([`Rules::values`]), so that what becomes of it, and what is said about it, does not depend on its neighbours.

use std::collections::BTreeSet;

use evenstand_tables::{Column, ColumnType};
use jiff::tz::TimeZone;

use crate::batch::{Piece, array};
use crate::block::{BlockRow, DelimitedCells, Rows};
use crate::header::{Feed, Layout, Origin};
use crate::plain::{Written, decimal, time};
use crate::record::Cell;
use crate::row::{RowFault, Texts, dated_by, year_of};
use crate::rules::{LONGEST_CELL, Rules, raw_text};
use crate::same_rows::Sketch;
use crate::time::{Zones, at_zone};
use crate::value::{CellContext, Value, read_cell};
use crate::whereabouts::{Finder, Tally, Whereabouts};

/// Reads blocks of a table whose header is known. Nothing in it changes, so that threads can share it.
pub(crate) struct BlockReader<'t> {
    pub rules: &'t Rules<'t>,
    pub layout: &'t Layout,
    pub zones: &'t Zones,
    pub whereabouts: &'t Whereabouts,
}

/// A row that is set aside: its number, why, and its text.
pub(crate) struct Aside {
    pub number: i64,
    pub fault: RowFault,
    pub raw: String,
}

/// What became of the rows of a block.
#[derive(Default)]
pub(crate) struct Outcome {
    pub rows_read: u64,
    pub rows_kept: u64,
    pub examples: u64,
    pub skipped: u64,
    pub aside: Vec<Aside>,
    /// Fields and seasons whose times were read as UTC, because nobody named their zone.
    pub local_without_zone: BTreeSet<(String, i64)>,
    pub sketch: Sketch,
    pub tally: Tally,
    /// Kept rows by season.
    pub pieces: Vec<(i64, Piece)>,
}

/// Values of a column of a block.
enum Values<'b> {
    /// The same in every row.
    Same(Value<'b>),
    Each(Vec<Value<'b>>),
}

impl<'b> Values<'b> {
    fn get(&self, row: usize) -> Value<'b> {
        match self {
            Values::Same(value) => *value,
            Values::Each(values) => values[row],
        }
    }

    fn set(&mut self, row: usize, value: Value<'b>, rows: usize) {
        match self {
            Values::Same(same) if *same == value => {}
            Values::Same(same) => {
                let mut each = vec![*same; rows];
                each[row] = value;
                *self = Values::Each(each);
            }
            Values::Each(values) => values[row] = value,
        }
    }
}

/// The rows of a block while they are read.
struct Reading<'b> {
    rows: &'b Rows,
    /// Their bytes as text, where they are text throughout.
    text: Option<&'b str>,
    /// Rows that are read one by one.
    single: Vec<bool>,
    columns: Vec<Values<'b>>,
}

impl<'t> BlockReader<'t> {
    /// Reads the rows of a block.
    pub fn read(&self, rows: &Rows) -> Outcome {
        let mut outcome = Outcome::default();
        let mut reading = Reading {
            rows,
            text: std::str::from_utf8(rows.bytes()).ok(),
            single: (0..rows.len()).map(|row| !self.is_plain(rows.number(row), &rows.row(row))).collect(),
            columns: Vec::with_capacity(self.layout.feeds.len()),
        };
        for (column, feed) in self.rules.schema.columns.iter().zip(&self.layout.feeds) {
            let values = self.column(column, feed, &mut reading);
            reading.columns.push(values);
        }
        self.fill_seasons(&mut reading);
        self.check_columns(&mut reading);
        // Read one by one.
        let alone: Vec<(usize, BlockRow)> =
            (0..rows.len()).filter(|row| reading.single[*row]).map(|row| (row, rows.row(row))).collect();
        let cells = self.rules.reader(self.layout, self.zones);
        let texts: Vec<Texts> = alone.iter().map(|(_, record)| cells.texts(record)).collect();
        let mut finder = Finder::new(self.whereabouts, self.rules.schema);
        let mut kept = vec![true; rows.len()];
        for ((row, record), texts) in alone.iter().zip(&texts) {
            let number = rows.number(*row);
            kept[*row] = false;
            if self.rules.is_example(record) {
                outcome.examples += 1;
                continue;
            }
            if self.rules.is_skipped(number, record) {
                outcome.skipped += 1;
                continue;
            }
            outcome.rows_read += 1;
            match self.rules.values(self.layout, self.zones, &mut finder, (number, record), texts) {
                Ok(values) => {
                    for (column, value) in reading.columns.iter_mut().zip(values.into_iter().flatten()) {
                        column.set(*row, value, rows.len());
                    }
                    kept[*row] = true;
                }
                Err(fault) => outcome.aside.push(Aside { number, fault, raw: raw_text(record) }),
            }
        }
        outcome.tally = finder.into_tally();
        outcome.rows_read += (rows.len() - alone.len()) as u64;
        let kept: Vec<usize> = (0..rows.len()).filter(|row| kept[*row]).collect();
        outcome.rows_kept = kept.len() as u64;
        self.note_zones(&reading, &kept, &mut outcome);
        for row in &kept {
            outcome.sketch.add(reading.columns.iter().map(|column| column.get(*row)));
        }
        outcome.pieces = self.pieces(&reading, kept);
        outcome
    }

    /// Whether a row has the shape that rows mostly have.
    fn is_plain(&self, number: i64, row: &BlockRow) -> bool {
        let text = row.text();
        let is_marked = match text.first() {
            // The first cell is empty, or may be the word of an example.
            Some(b'(') | None => true,
            Some(first) => *first == row.delimiter() || first.is_ascii_whitespace(),
        };
        let names_rows =
            self.rules.rule.is_some_and(|rule| !rule.skip_rows.is_empty() || !rule.skip_rows_with.is_empty());
        row.cells() == self.layout.columns
            && text.len() <= LONGEST_CELL
            && !(row.may_hold_breaks() && text.contains(&b'\n'))
            && !(is_marked && self.rules.is_example(row))
            && !(names_rows && self.rules.is_skipped(number, row))
    }

    /// Reads one column. Rows whose cell is none that can be kept are left for later.
    fn column<'b>(&self, column: &'t Column, feed: &'t Feed, reading: &mut Reading<'b>) -> Values<'b>
    where
        't: 'b,
    {
        let cell = match &feed.origin {
            Origin::Absent => return Values::Same(Value::Missing),
            Origin::Cell(cell) => *cell,
            Origin::Constant(constant) if column.column_type != ColumnType::Datetime => {
                let context = CellContext { reading: &self.rules.reading, zones: self.zones, zone: &|| TimeZone::UTC };
                return match read_cell(column, feed, constant.as_cell(), None, &context) {
                    Ok(value) => Values::Same(value),
                    Err(_) => left_for_later(reading),
                };
            }
            Origin::Constant(_) | Origin::Joined(..) | Origin::EachColumn => return left_for_later(reading),
        };
        let plain = PlainCells::new(self.rules, column, feed);
        let zone = std::cell::RefCell::new(ZoneOfRow { above: None });
        // The cell above and its value: most columns repeat themselves.
        let mut above: (&[u8], Value) = (b"", Value::Missing);
        let mut values = Vec::with_capacity(reading.rows.len());
        let Reading { rows, text, single, columns } = reading;
        for (row, single) in single.iter_mut().enumerate() {
            if *single {
                values.push(Value::Missing);
                continue;
            }
            let range = rows.row(row).range(cell);
            let bytes = &rows.bytes()[range.clone()];
            if bytes == above.0 {
                values.push(above.1);
                continue;
            }
            let zone_of_row = || zone.borrow_mut().of(self, columns, row);
            let value = plain.read(bytes, zone_of_row).or_else(|| {
                let cell = Cell::of(text.as_ref()?.get(range)?);
                let context = CellContext { reading: &self.rules.reading, zones: self.zones, zone: &zone_of_row };
                read_cell(column, feed, cell, None, &context).ok()
            });
            values.push(value.unwrap_or(Value::Missing));
            match value {
                None => *single = true,
                // Another row may be in another zone.
                Some(Value::Moment { local: true, .. }) => {}
                Some(value) => above = (bytes, value),
            }
        }
        Values::Each(values)
    }

    /// Gives rows without a season the year of their day.
    fn fill_seasons(&self, reading: &mut Reading) {
        let Some(dated_by) = dated_by(self.rules.schema) else { return };
        let season = self.rules.season_column;
        let rows = reading.rows.len();
        for row in 0..rows {
            if !reading.single[row]
                && reading.columns[season].get(row) == Value::Missing
                && let Some(year) = year_of(reading.columns[dated_by].get(row))
            {
                reading.columns[season].set(row, Value::Integer(year), rows);
            }
        }
    }

    /// Leaves rows for later that lack a needed value, that find their strip by place or time, or that a plan may have written.
    fn check_columns(&self, reading: &mut Reading) {
        let schema = self.rules.schema;
        let strip = self.rules.column("strip_id").filter(|_| self.whereabouts.knows_any());
        let visit = self.rules.column("visit_number");
        for (index, column) in schema.columns.iter().enumerate() {
            let is_needed = column.required() || index == self.rules.season_column || Some(index) == strip;
            let Reading { single, columns, .. } = &mut *reading;
            let faulty = |row: usize| match columns[index].get(row) {
                Value::Missing => is_needed,
                Value::Integer(_) => Some(index) == visit,
                _ => index == self.rules.season_column || Some(index) == visit,
            };
            if let Values::Same(_) = columns[index]
                && !faulty(0)
            {
                continue;
            }
            for (row, single) in single.iter_mut().enumerate() {
                *single = *single || faulty(row);
            }
        }
    }

    /// Notes fields whose local times nobody named a zone for.
    fn note_zones(&self, reading: &Reading, kept: &[usize], outcome: &mut Outcome) {
        let is_time = |column: &&Values| match column {
            Values::Same(value) => matches!(value, Value::Moment { .. }),
            Values::Each(values) => values.iter().any(|value| matches!(value, Value::Moment { local: true, .. })),
        };
        let times: Vec<&Values> = reading.columns.iter().filter(is_time).collect();
        if times.is_empty() || self.rules.reading.zone.is_some() {
            return;
        }
        let mut above = None;
        for row in kept {
            if !times.iter().any(|column| matches!(column.get(*row), Value::Moment { local: true, .. })) {
                continue;
            }
            let place = self.place(&reading.columns, *row);
            if above != Some(place) && !self.zones.known(place.0, place.1) {
                outcome.local_without_zone.insert((place.0.to_owned(), place.1));
            }
            above = Some(place);
        }
    }

    /// Field and season of a row, as far as they are read.
    fn place<'b>(&self, columns: &[Values<'b>], row: usize) -> (&'b str, i64) {
        let field =
            match self.rules.column("field_id").and_then(|index| columns.get(index)).map(|column| column.get(row)) {
                Some(Value::Text(field)) => field,
                _ => "",
            };
        let season = match columns.get(self.rules.season_column).map(|column| column.get(row)) {
            Some(Value::Integer(season)) => season,
            _ => 0,
        };
        (field, season)
    }

    /// Kept rows by season, in the order in which seasons come first.
    fn pieces(&self, reading: &Reading, kept: Vec<usize>) -> Vec<(i64, Piece)> {
        let mut seasons: Vec<(i64, Vec<usize>)> = Vec::new();
        for row in kept {
            let Value::Integer(season) = reading.columns[self.rules.season_column].get(row) else { continue };
            match seasons.iter_mut().rev().find(|(known, _)| *known == season) {
                Some((_, rows)) => rows.push(row),
                None => seasons.push((season, vec![row])),
            }
        }
        let columns = || self.rules.schema.columns.iter().zip(&reading.columns);
        let piece = |rows: &[usize]| Piece {
            columns: columns()
                .map(|(column, values)| match values {
                    Values::Same(Value::Missing) => None,
                    values => Some(array(column.column_type, rows.iter().map(|row| values.get(*row)))),
                })
                .collect(),
            numbers: array(ColumnType::Integer, rows.iter().map(|row| Value::Integer(reading.rows.number(*row)))),
        };
        seasons.iter().map(|(season, rows)| (*season, piece(rows))).collect()
    }
}

/// Every row is read one by one.
fn left_for_later<'b>(reading: &mut Reading<'b>) -> Values<'b> {
    reading.single.fill(true);
    Values::Same(Value::Missing)
}

/// Reads the commonest writing of the cells of one column.
struct PlainCells<'t> {
    column_type: ColumnType,
    feed: &'t Feed,
    reading: &'t crate::reading::Reading,
    /// The decimal sign.
    point: u8,
    /// Whether there is any such writing: words of the file that stand for others are looked up elsewhere.
    any: bool,
    low: f64,
    high: f64,
}

impl<'t> PlainCells<'t> {
    fn new(rules: &'t Rules, column: &Column, feed: &'t Feed) -> Self {
        Self {
            column_type: column.column_type,
            feed,
            reading: &rules.reading,
            point: rules.reading.decimal as u8,
            any: feed.synonyms.is_empty() && rules.reading.decimal.is_ascii(),
            low: column.minimum().unwrap_or(f64::NEG_INFINITY),
            high: column.maximum().unwrap_or(f64::INFINITY),
        }
    }

    /// The value of a cell; `None` where it is written in another way, or is none that can be kept.
    fn read<'b>(&self, cell: &[u8], zone: impl FnOnce() -> TimeZone) -> Option<Value<'b>> {
        match self.column_type {
            ColumnType::Number if self.any => {
                let number = decimal(cell, self.point)?;
                if self.reading.is_missing_number(number) {
                    return Some(Value::Missing);
                }
                let kept = match &self.feed.unit {
                    None => number,
                    Some((kind, suffix)) => kind.to_kept(suffix, number)?,
                };
                (self.low..=self.high).contains(&kept).then_some(Value::Number(kept))
            }
            ColumnType::Integer if self.any && cell.len() <= 15 && cell.iter().all(u8::is_ascii_digit) => {
                let whole: i64 = std::str::from_utf8(cell).ok()?.parse().ok()?;
                if self.reading.is_missing_number(whole as f64) {
                    return Some(Value::Missing);
                }
                (self.low..=self.high).contains(&(whole as f64)).then_some(Value::Integer(whole))
            }
            ColumnType::Datetime if self.any => {
                let written = time(cell)?;
                if !self.reading.missing.is_empty() && self.reading.is_missing(std::str::from_utf8(cell).ok()?) {
                    return Some(Value::Missing);
                }
                match written {
                    Written::Instant(microseconds) => Some(Value::Moment { microseconds, local: false }),
                    Written::Local(local) => {
                        let microseconds = at_zone(local, zone).ok()?;
                        Some(Value::Moment { microseconds, local: true })
                    }
                }
            }
            _ => None,
        }
    }
}

/// The zone of local times, row after row: mostly that of the row above.
struct ZoneOfRow<'b> {
    above: Option<((&'b str, i64), TimeZone)>,
}

impl<'b> ZoneOfRow<'b> {
    fn of(&mut self, reader: &BlockReader, columns: &[Values<'b>], row: usize) -> TimeZone {
        if let Some(zone) = &reader.rules.reading.zone {
            return zone.clone();
        }
        let place = reader.place(columns, row);
        match &self.above {
            Some((above, zone)) if *above == place => zone.clone(),
            _ => {
                let zone = reader.zones.of(place.0, place.1);
                self.above = Some((place, zone.clone()));
                zone
            }
        }
    }
}
