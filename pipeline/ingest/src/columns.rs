//! Values of one column of many rows, each type in a list of its own.

use std::sync::Arc;

use arrow::array::{ArrayRef, Float64Array, StringBuilder, TimestampMicrosecondArray};
use arrow::buffer::{BooleanBuffer, NullBuffer};
use evenstand_tables::ColumnType;

use crate::batch::array;
use crate::same_rows::RowHash;
use crate::value::Value;

/// A moment that is missing; the calendar does not reach so far.
const NO_MOMENT: i64 = i64::MIN;

/// Values of a column, one a row.
pub(crate) enum Values<'b> {
    /// The same in every row.
    Same(Value<'b>),
    /// Numbers; what is not a number is missing.
    Numbers(Vec<f64>),
    Texts(Vec<Option<&'b str>>),
    /// Microseconds since 1970 UTC, and whether they were written without an offset.
    Moments(Vec<i64>, Vec<bool>),
    /// Values of any type.
    Each(Vec<Value<'b>>),
}

impl<'b> Values<'b> {
    /// An empty list for values of a type.
    pub fn of_type(column_type: ColumnType, rows: usize) -> Self {
        match column_type {
            ColumnType::Number => Values::Numbers(Vec::with_capacity(rows)),
            ColumnType::String => Values::Texts(Vec::with_capacity(rows)),
            ColumnType::Datetime => Values::Moments(Vec::with_capacity(rows), Vec::with_capacity(rows)),
            _ => Values::Each(Vec::with_capacity(rows)),
        }
    }

    pub fn get(&self, row: usize) -> Value<'b> {
        match self {
            Values::Same(value) => *value,
            Values::Numbers(numbers) if numbers[row].is_nan() => Value::Missing,
            Values::Numbers(numbers) => Value::Number(numbers[row]),
            Values::Texts(texts) => texts[row].map_or(Value::Missing, Value::Text),
            Values::Moments(moments, _) if moments[row] == NO_MOMENT => Value::Missing,
            Values::Moments(moments, local) => Value::Moment { microseconds: moments[row], local: local[row] },
            Values::Each(values) => values[row],
        }
    }

    /// Appends a value. One of another type than the list becomes missing, which `read_cell` rules out.
    pub fn push(&mut self, value: Value<'b>) {
        match (self, value) {
            (Values::Same(_), _) => {}
            (Values::Numbers(numbers), Value::Number(number)) => numbers.push(number),
            (Values::Numbers(numbers), _) => numbers.push(f64::NAN),
            (Values::Texts(texts), Value::Text(text)) => texts.push(Some(text)),
            (Values::Texts(texts), _) => texts.push(None),
            (Values::Moments(moments, locals), value) => {
                let (moment, local) = moment_of(value);
                moments.push(moment);
                locals.push(local);
            }
            (Values::Each(values), value) => values.push(value),
        }
    }

    /// Puts another value into a row, of `rows` in all.
    pub fn set(&mut self, row: usize, value: Value<'b>, rows: usize) {
        match self {
            Values::Same(same) if *same == value => {}
            Values::Same(same) => {
                let mut each = vec![*same; rows];
                each[row] = value;
                *self = Values::Each(each);
            }
            Values::Numbers(numbers) => {
                numbers[row] = if let Value::Number(number) = value { number } else { f64::NAN }
            }
            Values::Texts(texts) => texts[row] = if let Value::Text(text) = value { Some(text) } else { None },
            Values::Moments(moments, locals) => {
                (moments[row], locals[row]) = moment_of(value);
            }
            Values::Each(values) => values[row] = value,
        }
    }

    /// Whether some row has a time that was written without an offset.
    pub fn has_local_times(&self) -> bool {
        let is_local = |value: &Value| matches!(value, Value::Moment { local: true, .. });
        match self {
            Values::Same(value) => is_local(value),
            Values::Moments(_, locals) => locals.contains(&true),
            Values::Each(values) => values.iter().any(is_local),
            _ => false,
        }
    }

    /// Takes the values into the hashes of their rows.
    pub fn hash(&self, column: usize, hashes: &mut [RowHash]) {
        match self {
            Values::Same(Value::Missing) => {}
            Values::Numbers(numbers) => {
                for (hash, number) in hashes.iter_mut().zip(numbers).filter(|(_, number)| !number.is_nan()) {
                    hash.number(column, *number);
                }
            }
            Values::Moments(moments, _) => {
                for (hash, moment) in hashes.iter_mut().zip(moments).filter(|(_, moment)| **moment != NO_MOMENT) {
                    hash.moment(column, *moment);
                }
            }
            Values::Texts(texts) => {
                for (hash, text) in hashes.iter_mut().zip(texts) {
                    hash.value(column, text.map_or(Value::Missing, Value::Text));
                }
            }
            Values::Each(values) => {
                hashes.iter_mut().zip(values).for_each(|(hash, value)| hash.value(column, *value));
            }
            Values::Same(value) => hashes.iter_mut().for_each(|hash| hash.value(column, *value)),
        }
    }

    /// The values of the rows picked, as an Arrow column; `None` where the column is missing in every row.
    pub fn array(&self, column_type: ColumnType, rows: Picked) -> Option<ArrayRef> {
        Some(match self {
            Values::Same(Value::Missing) => return None,
            Values::Numbers(numbers) => {
                let numbers = picked(numbers, rows);
                let nulls = present(numbers.len(), |row| !numbers[row].is_nan());
                Arc::new(Float64Array::new(numbers.into(), nulls))
            }
            Values::Moments(moments, _) => {
                let moments = picked(moments, rows);
                let nulls = present(moments.len(), |row| moments[row] != NO_MOMENT);
                Arc::new(TimestampMicrosecondArray::new(moments.into(), nulls).with_timezone("UTC"))
            }
            Values::Texts(texts) => {
                let mut builder = StringBuilder::with_capacity(rows.len(), 8 * rows.len());
                match rows {
                    Picked::All(_) => texts.iter().for_each(|text| builder.append_option(*text)),
                    Picked::Some(rows) => rows.iter().for_each(|row| builder.append_option(texts[*row])),
                }
                Arc::new(builder.finish())
            }
            Values::Each(values) => match rows {
                Picked::All(_) => array(column_type, values.iter().copied()),
                Picked::Some(rows) => array(column_type, rows.iter().map(|row| values[*row])),
            },
            Values::Same(value) => array(column_type, std::iter::repeat_n(*value, rows.len())),
        })
    }
}

/// Rows of a block.
#[derive(Clone, Copy)]
pub(crate) enum Picked<'p> {
    /// All of them, so many.
    All(usize),
    /// Those with these positions.
    Some(&'p [usize]),
}

impl Picked<'_> {
    pub fn len(&self) -> usize {
        match self {
            Picked::All(rows) => *rows,
            Picked::Some(rows) => rows.len(),
        }
    }
}

/// A moment as a list of such keeps it, and whether it was written without an offset.
pub(crate) fn moment_of(value: Value) -> (i64, bool) {
    match value {
        Value::Moment { microseconds, local } => (microseconds, local),
        _ => (NO_MOMENT, false),
    }
}

/// The values of the rows picked.
fn picked<T: Copy>(values: &[T], rows: Picked) -> Vec<T> {
    match rows {
        Picked::All(_) => values.to_vec(),
        Picked::Some(rows) => rows.iter().map(|row| values[*row]).collect(),
    }
}

/// Which rows have a value; `None` where all have.
fn present(rows: usize, is_there: impl Fn(usize) -> bool) -> Option<NullBuffer> {
    let there = BooleanBuffer::collect_bool(rows, is_there);
    Some(NullBuffer::new(there)).filter(|nulls| nulls.null_count() > 0)
}
