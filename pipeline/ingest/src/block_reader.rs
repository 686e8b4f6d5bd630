//! Many rows at once, column by column.
//!
//! Rows that are written as rows mostly are become columns without being looked at as rows. Any other row, such as one with a
//! cell too many, a value out of range or a word that nobody knows, is read as the only row there was
//! ([`Rules::values`]), so that what becomes of it, and what is said about it, does not depend on its neighbours.

use std::cell::RefCell;
use std::collections::BTreeSet;
use std::ops::Range;
use std::sync::Arc;

use arrow::array::{Array, Int64Array};
use evenstand_tables::{Column, ColumnType};
use jiff::tz::TimeZone;

use crate::batch::Piece;
use crate::block::{Cells, ManyRows};
use crate::columnar::LARGEST_EXACT;
use crate::columns::{Picked, Values, moment_of};
use crate::header::{Feed, Layout, Origin};
use crate::plain_cells::PlainCells;
use crate::record::Record;
use crate::row::{RowFault, Texts, dated_by, year_of};
use crate::rules::{Rules, raw_text};
use crate::same_rows::{RowHash, Sketch};
use crate::time::Zones;
use crate::value::{CellContext, Value, read_cell};
use crate::whereabouts::{Finder, Tally, Whereabouts};

/// Reads blocks of a table whose header is known. Nothing in it changes, so that threads can share it.
pub(crate) struct BlockReader<'t> {
    pub rules: &'t Rules<'t>,
    pub layout: &'t Layout,
    pub zones: &'t Zones,
    pub whereabouts: &'t Whereabouts,
    /// An empty sketch of the table's rows.
    pub sketch: Sketch,
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

/// The rows of a block while they are read.
struct Reading<'b> {
    rows: &'b dyn ManyRows,
    /// Their bytes as text, where they are text throughout.
    text: Option<&'b str>,
    /// Rows that are read one by one.
    single: Vec<bool>,
    columns: Vec<Values<'b>>,
}

impl<'t> BlockReader<'t> {
    /// Reads the rows of a block.
    pub fn read(&self, rows: &dyn ManyRows) -> Outcome {
        let mut outcome = Outcome { sketch: self.sketch.clone(), ..Outcome::default() };
        let mut reading = Reading {
            rows,
            text: rows.text(),
            single: self.shaped_otherwise(rows),
            columns: Vec::with_capacity(self.layout.feeds.len()),
        };
        for (column, feed) in self.rules.schema.columns.iter().zip(&self.layout.feeds) {
            let values = self.column(column, feed, &mut reading);
            reading.columns.push(values);
        }
        self.fill_seasons(&mut reading);
        self.check_columns(&mut reading);
        // Read one by one.
        let alone: Vec<(usize, Box<dyn Record + '_>)> =
            (0..rows.len()).filter(|row| reading.single[*row]).map(|row| (row, rows.record(row))).collect();
        let cells = self.rules.reader(self.layout, self.zones);
        let texts: Vec<Texts> = alone.iter().map(|(_, record)| cells.texts(record.as_ref())).collect();
        let mut finder = Finder::new(self.whereabouts, self.rules.schema);
        let mut kept = vec![true; rows.len()];
        for ((row, record), texts) in alone.iter().zip(&texts) {
            let record = record.as_ref();
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
        let mut hashes = vec![RowHash::EMPTY; rows.len()];
        reading.columns.iter().enumerate().for_each(|(index, column)| column.hash(index, &mut hashes));
        kept.iter().for_each(|row| outcome.sketch.add_hash(hashes[*row]));
        outcome.pieces = self.pieces(&reading, kept);
        outcome
    }

    /// Rows that have not the shape that rows mostly have.
    fn shaped_otherwise(&self, rows: &dyn ManyRows) -> Vec<bool> {
        let names_rows =
            self.rules.rule.is_some_and(|rule| !rule.skip_rows.is_empty() || !rule.skip_rows_with.is_empty());
        let is_odd = |row: usize| {
            !rows.is_even(row, self.layout.columns)
                || (!rows.begins_plainly(row) && self.rules.is_example(rows.record(row).as_ref()))
                || (names_rows && self.rules.is_skipped(rows.number(row), rows.record(row).as_ref()))
        };
        (0..rows.len()).map(is_odd).collect()
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
        let plain = PlainCells::new(&self.rules.reading, column, feed);
        let cells = match (reading.rows.cells(cell, reading.text), column.column_type) {
            (Cells::Text(cells), _) => cells,
            // A name may be made of digits.
            (Cells::Whole(_), ColumnType::String) => match reading.rows.names(cell) {
                Some(cells) => cells,
                None => return left_for_later(reading),
            },
            (typed, column_type) => return typed_column(&typed, column_type, &plain, reading),
        };
        let Reading { rows, single, columns, .. } = reading;
        let above = RefCell::new(None);
        let zone_of = |row: usize| self.zone_of_row(columns, row, &above);
        let in_full = |row: usize, range: Range<usize>| {
            let cell = cells.cell(range)?;
            let zone = || zone_of(row);
            let context = CellContext { reading: &self.rules.reading, zones: self.zones, zone: &zone };
            read_cell(column, feed, cell, None, &context).ok()
        };
        // Most columns of words and whole numbers repeat themselves: what the cell above was is remembered.
        let mut values = Values::of_type(column.column_type, rows.len());
        match &mut values {
            Values::Numbers(numbers) => {
                for (row, single) in single.iter_mut().enumerate() {
                    if *single {
                        numbers.push(f64::NAN);
                        continue;
                    }
                    let range = cells.range(row);
                    if let Some(number) = plain.number(&cells.bytes[range.clone()]) {
                        numbers.push(number);
                        continue;
                    }
                    numbers.push(match in_full(row, range) {
                        Some(Value::Number(number)) => number,
                        Some(_) => f64::NAN,
                        None => {
                            *single = true;
                            f64::NAN
                        }
                    });
                }
            }
            Values::Moments(moments, locals) => {
                for (row, single) in single.iter_mut().enumerate() {
                    let range = if *single { None } else { Some(cells.range(row)) };
                    let value = range.and_then(|range| {
                        let value = plain.moment(&cells.bytes[range.clone()], || zone_of(row));
                        value.or_else(|| in_full(row, range))
                    });
                    *single = value.is_none();
                    let (moment, local) = moment_of(value.unwrap_or(Value::Missing));
                    moments.push(moment);
                    locals.push(local);
                }
            }
            Values::Texts(texts) => {
                let mut above: (&[u8], Option<&str>) = (b"", None);
                for (row, single) in single.iter_mut().enumerate() {
                    if *single {
                        texts.push(None);
                        continue;
                    }
                    let range = cells.range(row);
                    let bytes = &cells.bytes[range.clone()];
                    if bytes != above.0 {
                        let value = in_full(row, range);
                        *single = value.is_none();
                        // Below a cell that is left for later nothing is known, as below the header.
                        above = match value {
                            Some(Value::Text(text)) => (bytes, Some(text)),
                            Some(_) => (bytes, None),
                            None => (b"", None),
                        };
                    }
                    texts.push(above.1);
                }
            }
            _ => {
                let mut above: (&[u8], Value) = (b"", Value::Missing);
                for (row, single) in single.iter_mut().enumerate() {
                    if *single {
                        values.push(Value::Missing);
                        continue;
                    }
                    let range = cells.range(row);
                    let bytes = &cells.bytes[range.clone()];
                    if bytes != above.0 {
                        let value = plain.whole(bytes).or_else(|| in_full(row, range));
                        *single = value.is_none();
                        above = value.map_or((b"", Value::Missing), |value| (bytes, value));
                    }
                    values.push(above.1);
                }
            }
        }
        values
    }

    /// The zone of local times in a row: mostly that of the row asked about before.
    fn zone_of_row<'b>(
        &self,
        columns: &[Values<'b>],
        row: usize,
        above: &RefCell<Option<((&'b str, i64), TimeZone)>>,
    ) -> TimeZone {
        if let Some(zone) = &self.rules.reading.zone {
            return zone.clone();
        }
        let place = self.place(columns, row);
        let mut above = above.borrow_mut();
        match &*above {
            Some((known, zone)) if *known == place => zone.clone(),
            _ => above.insert((place, self.zones.of(place.0, place.1))).1.clone(),
        }
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
        let times: Vec<&Values> = reading.columns.iter().filter(|column| column.has_local_times()).collect();
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
        let piece = |rows: &[usize]| {
            let numbers = Int64Array::from_iter_values(rows.iter().map(|row| reading.rows.number(*row)));
            let all = reading.rows.len();
            let rows = if rows.len() == all { Picked::All(all) } else { Picked::Some(rows) };
            let columns = self.rules.schema.columns.iter().zip(&reading.columns);
            Piece {
                columns: columns.map(|(column, values)| values.array(column.column_type, rows)).collect(),
                numbers: Arc::new(numbers),
            }
        };
        seasons.iter().map(|(season, rows)| (*season, piece(rows))).collect()
    }
}

/// Reads a column of a file that keeps numbers and times as such.
fn typed_column<'b>(
    cells: &Cells,
    column_type: ColumnType,
    plain: &PlainCells,
    reading: &mut Reading<'b>,
) -> Values<'b> {
    let mut values = Values::of_type(column_type, reading.rows.len());
    let single = &mut reading.single;
    let mut each = |value: &dyn Fn(usize) -> Option<Value<'b>>| {
        for (row, single) in single.iter_mut().enumerate() {
            let value = if *single { None } else { value(row) };
            *single = value.is_none();
            values.push(value.unwrap_or(Value::Missing));
        }
    };
    match (cells, column_type) {
        (Cells::Numbers(numbers), ColumnType::Number) => each(&|row| match numbers.value(row) {
            number if numbers.is_null(row) || number.is_nan() => Some(Value::Missing),
            number => plain.measured(number),
        }),
        (Cells::Whole(numbers), ColumnType::Number) => each(&|row| match numbers.value(row) {
            _ if numbers.is_null(row) => Some(Value::Missing),
            whole if whole.unsigned_abs() > LARGEST_EXACT.unsigned_abs() => None,
            whole => plain.measured(whole as f64),
        }),
        (Cells::Whole(numbers), ColumnType::Integer) => each(&|row| match numbers.value(row) {
            _ if numbers.is_null(row) => Some(Value::Missing),
            whole if whole.unsigned_abs() > LARGEST_EXACT.unsigned_abs() / 2 => None,
            whole => plain.counted(whole),
        }),
        (Cells::Numbers(numbers), ColumnType::Integer) => each(&|row| match numbers.value(row) {
            number if numbers.is_null(row) || number.is_nan() => Some(Value::Missing),
            number if number.fract() != 0.0 || number.abs() > LARGEST_EXACT as f64 / 2.0 => None,
            whole => plain.counted(whole as i64),
        }),
        (Cells::Instants(instants), ColumnType::Datetime) => each(&|row| {
            let moment = Value::Moment { microseconds: instants.value(row), local: false };
            Some(if instants.is_null(row) { Value::Missing } else { moment })
        }),
        _ => return left_for_later(reading),
    }
    values
}

/// Every row is read one by one.
fn left_for_later<'b>(reading: &mut Reading<'b>) -> Values<'b> {
    reading.single.fill(true);
    Values::Same(Value::Missing)
}
