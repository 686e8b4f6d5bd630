//! A schema with a record batch that follows it.

use std::sync::Arc;

use arrow::array::{Array, ArrayRef, AsArray, Float64Array, RecordBatch, new_null_array};
use arrow::compute::concat_batches;
use arrow::datatypes::{DataType, Float64Type};

use crate::{TableSchema, TablesError};

/// A table: the schema, and an Arrow batch with exactly its columns in its order.
#[derive(Debug, Clone)]
pub struct Table {
    schema: &'static TableSchema,
    batch: RecordBatch,
}

impl Table {
    /// A table without rows.
    pub fn empty(schema: &'static TableSchema) -> Self {
        Self { schema, batch: RecordBatch::new_empty(schema.arrow()) }
    }

    /// Takes batches that have the schema's columns (by name; others are ignored, absent optional ones become
    /// missing) and makes one table of them. Errors where a needed column is absent or has another type.
    pub fn from_batches(schema: &'static TableSchema, batches: &[RecordBatch]) -> Result<Self, TablesError> {
        let arranged: Vec<RecordBatch> =
            batches.iter().map(|batch| arrange(schema, batch)).collect::<Result<_, TablesError>>()?;
        Ok(Self { schema, batch: concat_batches(&schema.arrow(), &arranged)? })
    }

    /// The schema.
    pub fn schema(&self) -> &'static TableSchema {
        self.schema
    }
    /// The record batch.
    pub fn batch(&self) -> &RecordBatch {
        &self.batch
    }
    /// Some rows of the table, which share its memory. Panics where it has no such rows.
    pub fn slice(&self, first: usize, rows: usize) -> Self {
        Self { schema: self.schema, batch: self.batch.slice(first, rows) }
    }
    /// The table in parts of about so many rows, none with fewer where there are as many; they share its memory.
    pub fn split(&self, rows: usize) -> impl Iterator<Item = Self> {
        let parts = (self.len() / rows.max(1)).max(1);
        let border = move |part: usize| self.len() * part / parts;
        (0..parts).map(move |part| self.slice(border(part), border(part + 1) - border(part)))
    }
    /// The table with every number missing that is none, or larger than `largest` either way, and how many these were; `None` where there is
    /// no such number. Errors where a column that must not be empty holds one.
    pub fn with_usable_numbers(&self, largest: f64) -> Result<Option<(Self, usize)>, TablesError> {
        let usable = |value: &f64| value.abs() <= largest;
        let mut taken_out = 0;
        let columns = self.batch.columns().iter().map(|column| match column.data_type() {
            DataType::Float64 => {
                let numbers = column.as_primitive::<Float64Type>();
                let odd = numbers.iter().flatten().filter(|value| !usable(value)).count();
                taken_out += odd;
                match odd {
                    0 => column.clone(),
                    _ => {
                        Arc::new(numbers.iter().map(|value| value.filter(usable)).collect::<Float64Array>()) as ArrayRef
                    }
                }
            }
            _ => column.clone(),
        });
        let columns: Vec<ArrayRef> = columns.collect();
        if taken_out == 0 {
            return Ok(None);
        }
        let batch = RecordBatch::try_new(self.batch.schema(), columns)?;
        Ok(Some((Self::from_batches(self.schema, &[batch])?, taken_out)))
    }

    /// Number of rows.
    pub fn len(&self) -> usize {
        self.batch.num_rows()
    }
    /// Whether there are no rows.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
}

fn arrange(schema: &'static TableSchema, batch: &RecordBatch) -> Result<RecordBatch, TablesError> {
    let columns = schema
        .columns
        .iter()
        .map(|column| match batch.column_by_name(&column.name) {
            Some(array) if *array.data_type() == column.column_type.arrow() => Ok(array.clone()),
            Some(array) => Err(TablesError::Mismatch {
                table: schema.name.clone(),
                problem: format!(
                    "column {} has type {}, expected {}",
                    column.name,
                    array.data_type(),
                    column.column_type.arrow()
                ),
            }),
            None if column.required() && batch.num_rows() > 0 => Err(TablesError::Mismatch {
                table: schema.name.clone(),
                problem: format!("column {} is not there", column.name),
            }),
            None => Ok(new_null_array(&column.column_type.arrow(), batch.num_rows())),
        })
        .collect::<Result<Vec<_>, _>>()?;
    Ok(RecordBatch::try_new(schema.arrow(), columns)?)
}
