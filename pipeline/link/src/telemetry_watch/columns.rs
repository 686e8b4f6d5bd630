//! Columns of a batch of setting log rows, read row by row.

use std::cell::Cell;
use std::collections::HashMap;

use arrow::array::{Array, Float64Array, Int64Array, RecordBatch, StringArray, TimestampMicrosecondArray};

use super::SeriesKey;
use super::sample::Sample;
use crate::LinkError;

/// The columns that the watch needs.
pub(crate) struct Columns<'a> {
    source_file: &'a StringArray,
    field_id: &'a StringArray,
    strip_id: &'a StringArray,
    planter_id: &'a StringArray,
    row_unit: &'a StringArray,
    time: &'a TimestampMicrosecondArray,
    source_row: &'a Int64Array,
    speed: &'a Float64Array,
    set: [&'a Float64Array; 2],
    actual: [&'a Float64Array; 2],
    place: [&'a Float64Array; 2],
    /// Field of the last row without a planter of its own, and the planter of that field.
    last_field: Cell<Option<(&'a str, Option<&'a str>)>>,
}

impl<'a> Columns<'a> {
    /// Errors where a column is absent or of another type.
    pub fn of(batch: &'a RecordBatch) -> Result<Self, LinkError> {
        Ok(Self {
            source_file: column(batch, "source_file")?,
            field_id: column(batch, "field_id")?,
            strip_id: column(batch, "strip_id")?,
            planter_id: column(batch, "planter_id")?,
            row_unit: column(batch, "row_unit")?,
            time: column(batch, "time")?,
            source_row: column(batch, "source_row")?,
            speed: column(batch, "speed_m_s")?,
            set: [column(batch, "set_force_n")?, column(batch, "set_pressure_kpa")?],
            actual: [column(batch, "actual_force_n")?, column(batch, "actual_pressure_kpa")?],
            place: [column(batch, "lat")?, column(batch, "lon")?],
            last_field: Cell::new(None),
        })
    }

    /// The row; `None` where it has no time. A row without a speed counts as at working speed, as in the means.
    pub fn sample(&self, row: usize, min_speed: f64) -> Option<Sample> {
        let number = |array: &Float64Array| if array.is_valid(row) { array.value(row) } else { f64::NAN };
        let speed = number(self.speed);
        self.time.is_valid(row).then(|| Sample {
            time: self.time.value(row),
            source_row: if self.source_row.is_valid(row) { self.source_row.value(row) } else { 0 },
            at_speed: speed.is_nan() || speed >= min_speed,
            speed,
            set: self.set.map(number),
            actual: self.actual.map(number),
            place: self.place.map(number),
        })
    }

    /// What makes the row's series; its planter is the row's own, else that of its field.
    pub fn key(&self, row: usize, planters: &HashMap<&'a str, Option<&'a str>>) -> RowKey<'a> {
        let field_id = text(self.field_id, row).unwrap_or_default();
        RowKey {
            source_file: text(self.source_file, row).unwrap_or_default(),
            field_id,
            strip_id: text(self.strip_id, row),
            planter_id: text(self.planter_id, row).or_else(|| self.planter_of(field_id, planters)),
            row_unit: text(self.row_unit, row),
        }
    }

    fn planter_of(&self, field_id: &'a str, planters: &HashMap<&'a str, Option<&'a str>>) -> Option<&'a str> {
        match self.last_field.get() {
            Some((field, planter)) if field == field_id => planter,
            _ => {
                let planter = planters.get(field_id).copied().flatten();
                self.last_field.set(Some((field_id, planter)));
                planter
            }
        }
    }
}

fn text(array: &StringArray, row: usize) -> Option<&str> {
    array.is_valid(row).then(|| array.value(row))
}

/// A key that borrows from its batch.
pub(crate) struct RowKey<'a> {
    source_file: &'a str,
    field_id: &'a str,
    strip_id: Option<&'a str>,
    planter_id: Option<&'a str>,
    row_unit: Option<&'a str>,
}

impl RowKey<'_> {
    pub fn is(&self, key: &SeriesKey) -> bool {
        // What differs most often comes first.
        self.row_unit == key.row_unit.as_deref()
            && self.strip_id == key.strip_id.as_deref()
            && self.field_id == key.field_id
            && self.planter_id == key.planter_id.as_deref()
            && self.source_file == key.source_file
    }

    pub fn to_key(&self) -> SeriesKey {
        SeriesKey {
            source_file: self.source_file.to_owned(),
            field_id: self.field_id.to_owned(),
            strip_id: self.strip_id.map(str::to_owned),
            planter_id: self.planter_id.map(str::to_owned),
            row_unit: self.row_unit.map(str::to_owned),
        }
    }
}

fn column<'a, A: 'static>(batch: &'a RecordBatch, name: &str) -> Result<&'a A, LinkError> {
    batch
        .column_by_name(name)
        .and_then(|column| column.as_any().downcast_ref())
        .ok_or_else(|| LinkError::Telemetry(format!("no column {name} of the expected type")))
}
