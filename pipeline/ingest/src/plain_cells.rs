//! The commonest writing of the cells of one column, with what its unit and its limits say of them.

use evenstand_agronomy::Conversion;
use evenstand_tables::{Column, ColumnType};
use jiff::tz::TimeZone;

use crate::header::Feed;
use crate::plain::{Written, decimal, time};
use crate::reading::Reading;
use crate::time::at_zone;
use crate::value::Value;

/// Reads cells of a column. Each function gives what [`read_cell`](crate::value::read_cell) would, or `None` where the cell is
/// written in another way, or is none that can be kept.
pub(crate) struct PlainCells<'t> {
    reading: &'t Reading,
    /// Whether there is any such writing: words of the file that stand for others are looked up elsewhere.
    any: bool,
    knows_unit: bool,
    /// Whether the column is one of whole numbers.
    counts: bool,
    /// The decimal sign.
    point: u8,
    conversion: Option<Conversion>,
    low: f64,
    high: f64,
}

impl<'t> PlainCells<'t> {
    pub fn new(reading: &'t Reading, column: &Column, feed: &Feed) -> Self {
        let conversion = feed.unit.as_ref().map(|(kind, suffix)| kind.conversion(suffix));
        let any = feed.synonyms.is_empty() && reading.decimal.is_ascii() && conversion != Some(None);
        Self {
            reading,
            any,
            knows_unit: conversion != Some(None),
            counts: any && column.column_type == ColumnType::Integer,
            point: reading.decimal as u8,
            conversion: conversion.flatten(),
            low: column.minimum().unwrap_or(f64::NEG_INFINITY),
            high: column.maximum().unwrap_or(f64::INFINITY),
        }
    }

    /// A number in the kept unit; not a number where it stands for a missing one.
    pub fn number(&self, cell: &[u8]) -> Option<f64> {
        let number = decimal(cell, self.point).filter(|_| self.any)?;
        if self.reading.is_missing_number(number) {
            return Some(f64::NAN);
        }
        self.kept(number)
    }

    /// A number of a cell that is one.
    pub fn measured<'b>(&self, number: f64) -> Option<Value<'b>> {
        if self.reading.is_missing_number(number) {
            return Some(Value::Missing);
        }
        self.kept(number).filter(|_| number.is_finite() && self.knows_unit).map(Value::Number)
    }

    fn kept(&self, number: f64) -> Option<f64> {
        let kept = self.conversion.map_or(number, |conversion| conversion.to_kept(number));
        (self.low..=self.high).contains(&kept).then_some(kept)
    }

    /// A whole number of a cell that is one.
    pub fn counted<'b>(&self, whole: i64) -> Option<Value<'b>> {
        if self.reading.is_missing_number(whole as f64) {
            return Some(Value::Missing);
        }
        (self.low..=self.high).contains(&(whole as f64)).then_some(Value::Integer(whole))
    }

    /// A whole number in a column of such.
    pub fn whole<'b>(&self, cell: &[u8]) -> Option<Value<'b>> {
        if !self.counts || cell.len() > 15 || !cell.iter().all(u8::is_ascii_digit) {
            return None;
        }
        self.counted(std::str::from_utf8(cell).ok()?.parse().ok()?)
    }

    /// A moment; `zone` is that of a local time.
    pub fn moment<'b>(&self, cell: &[u8], zone: impl FnOnce() -> TimeZone) -> Option<Value<'b>> {
        let written = time(cell).filter(|_| self.any)?;
        if !self.reading.missing.is_empty() && self.reading.is_missing(std::str::from_utf8(cell).ok()?) {
            return Some(Value::Missing);
        }
        Some(match written {
            Written::Instant(microseconds) => Value::Moment { microseconds, local: false },
            Written::Local(local) => Value::Moment { microseconds: at_zone(local, zone).ok()?, local: true },
        })
    }
}
