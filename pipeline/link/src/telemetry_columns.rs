//! Columns of kept telemetry on their way from Arrow to polars.
//!
//! Telemetry stands still in its words: thousands of rows name the same field, strip and planter. They are numbered here, so
//! that polars groups by one number, and a column without a value is never copied.

use std::collections::HashMap;

use arrow::array::{Array, Float64Array, StringArray, TimestampMicrosecondArray};
use evenstand_settings::Planter;
use polars::prelude::{Column, DataFrame, DataType, Int64Chunked, IntoColumn};
use polars::series::IsSorted;

use crate::LinkError;

/// Field, strip and planter of a row; its planter is its own, else that of its field.
type Place<'a> = (&'a str, Option<&'a str>, Option<&'a str>);

/// Where the rows of a batch were planted, and by what.
pub(crate) struct Places<'a> {
    /// Number of each row's place.
    of_rows: Vec<u32>,
    places: Vec<Place<'a>>,
}

impl<'a> Places<'a> {
    /// Numbers the places in the order in which they come.
    pub fn of(
        fields: &'a StringArray,
        strips: &'a StringArray,
        own_planters: &'a StringArray,
        planters: &HashMap<&'a str, Option<&'a str>>,
    ) -> Self {
        let text = |array: &'a StringArray, row: usize| array.is_valid(row).then(|| array.value(row));
        let mut numbers: HashMap<Place, u32> = HashMap::new();
        let mut places = Vec::new();
        let mut above: Option<(Place, u32)> = None;
        let of_rows = (0..fields.len())
            .map(|row| {
                // The planter as the row names it: that of its field is looked up once a place.
                let named = (text(fields, row).unwrap_or_default(), text(strips, row), text(own_planters, row));
                match above {
                    Some((known, number)) if known == named => number,
                    _ => {
                        let number = *numbers.entry(named).or_insert_with(|| {
                            let (field, strip, own) = named;
                            places.push((field, strip, own.or_else(|| planters.get(field).copied().flatten())));
                            places.len() as u32 - 1
                        });
                        above = Some((named, number));
                        number
                    }
                }
            })
            .collect();
        Self { of_rows, places }
    }

    /// The numbers as a column. A planter is in one strip after the other, so that they mostly rise, and polars then groups by
    /// where they change.
    pub fn column(&self) -> Column {
        let mut column = Column::new("place".into(), self.of_rows.as_slice());
        if self.of_rows.is_sorted() {
            column.set_sorted_flag(IsSorted::Ascending);
        }
        column
    }

    /// The planter of each row, where the settings have it.
    pub fn planters<'s>(&self, planters: &'s [Planter]) -> Vec<Option<&'s Planter>> {
        let known = |place: &Place| planters.iter().find(|planter| Some(planter.id.as_str()) == place.2);
        let known: Vec<Option<&Planter>> = self.places.iter().map(known).collect();
        self.of_rows.iter().map(|place| known[*place as usize]).collect()
    }

    /// Writes field, strip and planter beside the number of their place.
    pub fn named(&self, frame: &mut DataFrame) -> Result<(), LinkError> {
        let numbers = frame.column("place")?.u32()?.clone();
        let places: Vec<Place> = numbers
            .iter()
            .map(|number| self.places.get(number.unwrap_or(0) as usize).copied().unwrap_or_default())
            .collect();
        let fields: Vec<&str> = places.iter().map(|place| place.0).collect();
        let strips: Vec<Option<&str>> = places.iter().map(|place| place.1).collect();
        let planters: Vec<Option<&str>> = places.iter().map(|place| place.2).collect();
        frame.with_column(Column::new("field_id".into(), fields))?;
        frame.with_column(Column::new("strip_id".into(), strips))?;
        frame.with_column(Column::new("planter".into(), planters))?;
        Ok(())
    }
}

/// One number a row; NaN where it is missing.
pub(crate) struct Values(Vec<f64>);

impl Values {
    pub fn of(column: &Float64Array) -> Self {
        if column.null_count() == 0 {
            return Self(column.values().to_vec());
        }
        Self(column.iter().map(|value| value.unwrap_or(f64::NAN)).collect())
    }

    /// These forces, and where one is missing that of the pressure: weighed, or 1 nominal N a kPa, as along the strips.
    pub fn or_force_of(&self, pressures: &Self, planters: &[Option<&Planter>]) -> Self {
        let force = |((own, pressure), planter): ((&f64, &f64), &Option<&Planter>)| {
            if !own.is_nan() || pressure.is_nan() {
                return *own;
            }
            planter.and_then(|planter| planter.force_at_pressure(*pressure)).unwrap_or(*pressure)
        };
        Self(self.0.iter().zip(&pressures.0).zip(planters).map(force).collect())
    }

    /// Which values are not below a limit; a missing one counts as such.
    pub fn at_least_or_missing(&self, limit: f64) -> Vec<bool> {
        self.0.iter().map(|value| value.is_nan() || *value >= limit).collect()
    }

    /// 1 for each wanted row that has a value, 0 for the others; `None` where no row has one.
    pub fn counted(&self, wanted: &[bool]) -> Option<Vec<i64>> {
        self.known()
            .then(|| self.0.iter().zip(wanted).map(|(value, wanted)| i64::from(*wanted && !value.is_nan())).collect())
    }

    /// As [`Values::counted`], of rows in which the other value is missing.
    pub fn counted_beside(&self, other: &Self, wanted: &[bool]) -> Option<Vec<i64>> {
        let wanted: Vec<bool> = wanted.iter().zip(&other.0).map(|(wanted, other)| *wanted && other.is_nan()).collect();
        self.counted(&wanted)
    }

    /// Values to the nearest whole unit, away from zero in the middle; 0 where a row is not wanted or has no value. `None` where no row has one.
    pub fn whole(&self, units: f64, wanted: &[bool]) -> Option<Vec<i64>> {
        let whole = |(value, wanted): (&f64, &bool)| {
            let scaled = value * units;
            let half = if scaled < 0.0 { -0.5 } else { 0.5 };
            // The whole number of NaN is 0.
            if *wanted { (scaled + half) as i64 } else { 0 }
        };
        self.known().then(|| self.0.iter().zip(wanted).map(whole).collect())
    }

    fn known(&self) -> bool {
        self.0.iter().any(|value| !value.is_nan())
    }
}

/// A column of whole numbers.
pub(crate) fn whole_column(name: &str, values: Vec<i64>) -> Column {
    Int64Chunked::from_vec(name.into(), values).into_column()
}

/// A column of times as microseconds; missing where a row has none.
pub(crate) fn time_column(name: &str, column: &TimestampMicrosecondArray) -> Column {
    match column.null_count() {
        0 => Column::new(name.into(), column.values().as_ref()),
        _ => Column::new(name.into(), column.iter().collect::<Vec<_>>()),
    }
}

/// A column of words; `None` where no row has one.
pub(crate) fn text_column(name: &str, column: &StringArray) -> Option<Column> {
    (column.null_count() < column.len()).then(|| Column::new(name.into(), column.iter().collect::<Vec<_>>()))
}

/// A column of words in which no row has one.
pub(crate) fn no_text(name: &str, rows: usize) -> Column {
    Column::full_null(name.into(), rows, &DataType::String)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whole_numbers_are_the_nearest_and_rows_without_a_value_or_too_slow_add_nothing() {
        let values = Values(vec![1.006, -1.006, f64::NAN, 7.0]);
        let wanted = [true, true, true, false];
        assert_eq!(values.whole(100.0, &wanted), Some(vec![101, -101, 0, 0]));
        assert_eq!(values.counted(&wanted), Some(vec![1, 1, 0, 0]));
        assert_eq!(Values(vec![f64::NAN]).whole(100.0, &[true]), None);
        let forces = Values(vec![f64::NAN, 5.0, f64::NAN, f64::NAN]);
        assert_eq!(values.counted_beside(&forces, &wanted), Some(vec![1, 0, 0, 0]));
        assert_eq!(values.at_least_or_missing(1.0), [true, false, true, true]);
    }
}
