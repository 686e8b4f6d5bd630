//! A schema with a record batch that follows it.

use arrow::array::{RecordBatch, new_null_array};
use arrow::compute::concat_batches;

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
