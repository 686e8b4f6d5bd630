//! Values that a table can hold, and how a column of them becomes an Arrow array and back.

use std::sync::Arc;

use arrow::array::{
    Array, ArrayRef, BooleanArray, Date32Array, Float64Array, Int64Array, StringArray, TimestampMicrosecondArray,
};

use crate::{ColumnType, Table, TablesError};

/// A point in time: microseconds since 1970-01-01 00:00 UTC.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Moment(pub i64);

impl Moment {
    /// Hours from `earlier` to this moment.
    pub fn hours_since(self, earlier: Moment) -> f64 {
        (self.0 - earlier.0) as f64 / 3.6e9
    }
    /// Years from the start of a calendar year to this moment, by the mean length of a year: good to a day or two.
    pub fn years_since_start_of(self, year: i64) -> f64 {
        1970.0 + self.days() / 365.2425 - year as f64
    }
    /// Days since 1970-01-01 UTC, with fraction. Days of a field are local days, which differ.
    pub fn days(self) -> f64 {
        self.0 as f64 / 8.64e10
    }
}

/// A calendar day: days since 1970-01-01.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Day(pub i32);

/// A value of a typed row. `Option` marks columns that may be missing.
pub trait Cell: Sized {
    /// The column type this value is kept in.
    const COLUMN_TYPE: ColumnType;
    /// Whether the value may be missing.
    const NULLABLE: bool;
    /// Reads a whole column. Errors where the column is absent, of another type, or lacks a needed value.
    fn read(table: &Table, column: &str) -> Result<Vec<Self>, TablesError>;
    /// Builds an Arrow array in the order given.
    fn build<'a>(values: impl Iterator<Item = &'a Self>) -> ArrayRef
    where
        Self: 'a;
}

fn downcast<'a, A: 'static>(table: &'a Table, column: &str) -> Result<&'a A, TablesError> {
    let array = table.batch().column_by_name(column).ok_or_else(|| TablesError::Mismatch {
        table: table.schema().name.clone(),
        problem: format!("column {column} is not there"),
    })?;
    array.as_any().downcast_ref::<A>().ok_or_else(|| TablesError::Mismatch {
        table: table.schema().name.clone(),
        problem: format!("column {column} has type {}", array.data_type()),
    })
}

fn required<T>(table: &Table, column: &str, values: Vec<Option<T>>) -> Result<Vec<T>, TablesError> {
    values
        .into_iter()
        .enumerate()
        .map(|(row, value)| {
            value.ok_or_else(|| TablesError::MissingValue {
                table: table.schema().name.clone(),
                column: column.to_owned(),
                row,
            })
        })
        .collect()
}

macro_rules! cell {
    ($type:ty, $column_type:ident, $array:ty, $get:expr, $put:expr, $finish:expr) => {
        impl Cell for Option<$type> {
            const COLUMN_TYPE: ColumnType = ColumnType::$column_type;
            const NULLABLE: bool = true;
            fn read(table: &Table, column: &str) -> Result<Vec<Self>, TablesError> {
                let array = downcast::<$array>(table, column)?;
                let get: fn(&$array, usize) -> $type = $get;
                Ok((0..array.len()).map(|row| array.is_valid(row).then(|| get(array, row))).collect())
            }
            fn build<'a>(values: impl Iterator<Item = &'a Self>) -> ArrayRef
            where
                Self: 'a,
            {
                let put = $put;
                let array: $array = values.map(|value| value.as_ref().map(put)).collect();
                Arc::new($finish(array))
            }
        }
        impl Cell for $type {
            const COLUMN_TYPE: ColumnType = ColumnType::$column_type;
            const NULLABLE: bool = false;
            fn read(table: &Table, column: &str) -> Result<Vec<Self>, TablesError> {
                required(table, column, <Option<$type> as Cell>::read(table, column)?)
            }
            fn build<'a>(values: impl Iterator<Item = &'a Self>) -> ArrayRef
            where
                Self: 'a,
            {
                let put = $put;
                let array: $array = values.map(|value| Some(put(value))).collect();
                Arc::new($finish(array))
            }
        }
    };
}

fn unchanged<A>(array: A) -> A {
    array
}

/// Without the room that was kept for more text.
fn shrunk(mut array: StringArray) -> StringArray {
    array.shrink_to_fit();
    array
}

cell!(String, String, StringArray, |a, i| a.value(i).to_owned(), String::as_str, shrunk);
cell!(f64, Number, Float64Array, |a, i| a.value(i), |v: &f64| *v, unchanged);
cell!(i64, Integer, Int64Array, |a, i| a.value(i), |v: &i64| *v, unchanged);
cell!(bool, Boolean, BooleanArray, |a, i| a.value(i), |v: &bool| *v, unchanged);
cell!(
    Moment,
    Datetime,
    TimestampMicrosecondArray,
    |a, i| Moment(a.value(i)),
    |v: &Moment| v.0,
    |a: TimestampMicrosecondArray| a.with_timezone("UTC")
);
cell!(Day, Date, Date32Array, |a, i| Day(a.value(i)), |v: &Day| v.0, unchanged);
