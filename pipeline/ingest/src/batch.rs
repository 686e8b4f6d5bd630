//! Collects rows of one table and season into Arrow batches.

use std::sync::Arc;

use arrow::array::{
    Array, ArrayRef, BooleanBuilder, Date32Builder, Float64Builder, Int64Builder, RecordBatch, StringArray,
    StringBuilder, TimestampMicrosecondBuilder, new_null_array,
};
use arrow::compute::concat;
use evenstand_tables::{ColumnType, TableSchema, TablesError};
use rayon::prelude::*;

use crate::file_report::Source;
use crate::value::Value;

/// Rows that go to the sink at a time. Whatever pieces the rows came in, all batches of a season but the last have so many.
pub(crate) const BATCH_ROWS: usize = 1 << 15;

enum Builder {
    Text(StringBuilder),
    Number(Float64Builder),
    Integer(Int64Builder),
    Boolean(BooleanBuilder),
    Moment(TimestampMicrosecondBuilder),
    Day(Date32Builder),
}

impl Builder {
    fn new(column_type: ColumnType, rows: usize) -> Self {
        match column_type {
            ColumnType::String => Builder::Text(StringBuilder::with_capacity(rows, 8 * rows)),
            ColumnType::Number => Builder::Number(Float64Builder::with_capacity(rows)),
            ColumnType::Integer => Builder::Integer(Int64Builder::with_capacity(rows)),
            ColumnType::Boolean => Builder::Boolean(BooleanBuilder::with_capacity(rows)),
            ColumnType::Datetime => {
                Builder::Moment(TimestampMicrosecondBuilder::with_capacity(rows).with_timezone("UTC"))
            }
            ColumnType::Date => Builder::Day(Date32Builder::with_capacity(rows)),
        }
    }

    /// Appends a value; one of another type than the column becomes missing, which `read_cell` rules out.
    fn push(&mut self, value: Value) {
        match (self, value) {
            (Builder::Text(builder), Value::Text(text)) => builder.append_value(text),
            (Builder::Text(builder), _) => builder.append_null(),
            (Builder::Number(builder), Value::Number(number)) => builder.append_value(number),
            (Builder::Number(builder), _) => builder.append_null(),
            (Builder::Integer(builder), Value::Integer(whole)) => builder.append_value(whole),
            (Builder::Integer(builder), _) => builder.append_null(),
            (Builder::Boolean(builder), Value::Boolean(yes)) => builder.append_value(yes),
            (Builder::Boolean(builder), _) => builder.append_null(),
            (Builder::Moment(builder), Value::Moment { microseconds, .. }) => builder.append_value(microseconds),
            (Builder::Moment(builder), _) => builder.append_null(),
            (Builder::Day(builder), Value::Day(day)) => builder.append_value(day),
            (Builder::Day(builder), _) => builder.append_null(),
        }
    }

    fn finish(&mut self) -> ArrayRef {
        match self {
            Builder::Text(builder) => Arc::new(builder.finish()),
            Builder::Number(builder) => Arc::new(builder.finish()),
            Builder::Integer(builder) => Arc::new(builder.finish()),
            Builder::Boolean(builder) => Arc::new(builder.finish()),
            Builder::Moment(builder) => Arc::new(builder.finish()),
            Builder::Day(builder) => Arc::new(builder.finish()),
        }
    }
}

/// One column of values, one a row.
pub(crate) fn array<'v>(column_type: ColumnType, values: impl ExactSizeIterator<Item = Value<'v>>) -> ArrayRef {
    let mut builder = Builder::new(column_type, values.len());
    values.for_each(|value| builder.push(value));
    builder.finish()
}

/// Rows of one season, column by column.
pub(crate) struct Piece {
    /// The raw columns; `None` where no row has a value.
    pub columns: Vec<Option<ArrayRef>>,
    /// Numbers of the rows in their file.
    pub numbers: ArrayRef,
}

/// Rows of one kept table and season on their way to the sink.
pub(crate) struct Batch {
    schema: &'static TableSchema,
    /// Rows that came one by one, after all pieces.
    builders: Vec<Builder>,
    numbers: Int64Builder,
    built: usize,
    pieces: Vec<Piece>,
    rows: usize,
    /// The name of the file and its digest, as often as there are rows in a batch.
    provenance: Option<[ArrayRef; 2]>,
}

impl Batch {
    /// Nothing yet, of a kept table: its raw columns, then the file, its row and its digest.
    pub fn new(schema: &'static TableSchema) -> Self {
        let raw = &schema.columns[..schema.columns.len().saturating_sub(3)];
        Self {
            schema,
            builders: raw.iter().map(|column| Builder::new(column.column_type, 0)).collect(),
            numbers: Int64Builder::new(),
            built: 0,
            pieces: Vec::new(),
            rows: 0,
            provenance: None,
        }
    }

    /// Appends one row: the values of the raw columns, and its number.
    pub fn push(&mut self, values: &[Value], number: i64) {
        for (builder, value) in self.builders.iter_mut().zip(values) {
            builder.push(*value);
        }
        self.numbers.append_value(number);
        self.built += 1;
        self.rows += 1;
    }

    /// Appends many rows.
    pub fn extend(&mut self, piece: Piece) {
        self.close();
        self.rows += piece.numbers.len();
        self.pieces.push(piece);
    }

    pub fn rows(&self) -> usize {
        self.rows
    }

    /// Takes the first rows: as many as one batch holds, or all that there are.
    pub fn take(&mut self, source: &Source) -> Result<RecordBatch, TablesError> {
        self.close();
        let rows = self.rows.min(BATCH_ROWS);
        // Pieces that go as a whole, and how many rows of the next one.
        let (mut whole, mut left) = (0, rows);
        while let Some(piece) = self.pieces.get(whole).filter(|piece| piece.numbers.len() <= left && left > 0) {
            left -= piece.numbers.len();
            whole += 1;
        }
        let mut taken: Vec<Piece> = self.pieces.drain(..whole).collect();
        if left > 0
            && let Some(next) = self.pieces.first_mut()
        {
            taken.push(next.split(left));
        }
        self.rows -= rows;
        let raw = self.schema.columns.len().saturating_sub(3);
        let mut columns: Vec<ArrayRef> = (0..=raw)
            .into_par_iter()
            .map(|index| {
                if index == raw {
                    let numbers: Vec<&dyn Array> = taken.iter().map(|piece| piece.numbers.as_ref()).collect();
                    return Ok(concat(&numbers)?);
                }
                joined(&self.schema.columns[index].column_type, &taken, index, rows)
            })
            .collect::<Result<_, TablesError>>()?;
        let [file, digest] = self.provenance.get_or_insert_with(|| {
            [&source.file, &source.sha256].map(|text| -> ArrayRef {
                Arc::new(StringArray::from_iter_values(std::iter::repeat_n(text, BATCH_ROWS)))
            })
        });
        columns.insert(raw, file.slice(0, rows));
        columns.push(digest.slice(0, rows));
        Ok(RecordBatch::try_new(self.schema.arrow(), columns)?)
    }

    /// Makes a piece of the rows that came one by one.
    fn close(&mut self) {
        if self.built > 0 {
            let columns = self.builders.iter_mut().map(|builder| Some(builder.finish())).collect();
            self.pieces.push(Piece { columns, numbers: Arc::new(self.numbers.finish()) });
            self.built = 0;
        }
    }
}

impl Piece {
    /// Cuts the first rows off.
    fn split(&mut self, rows: usize) -> Piece {
        let cut = |array: &mut ArrayRef| {
            let first = array.slice(0, rows);
            *array = array.slice(rows, array.len() - rows);
            first
        };
        Piece {
            columns: self.columns.iter_mut().map(|column| column.as_mut().map(cut)).collect(),
            numbers: cut(&mut self.numbers),
        }
    }
}

/// One column of several pieces.
fn joined(column_type: &ColumnType, pieces: &[Piece], index: usize, rows: usize) -> Result<ArrayRef, TablesError> {
    if pieces.iter().all(|piece| piece.columns[index].is_none()) {
        return Ok(new_null_array(&column_type.arrow(), rows));
    }
    let columns: Vec<ArrayRef> = pieces
        .iter()
        .map(|piece| match &piece.columns[index] {
            Some(column) => column.clone(),
            None => new_null_array(&column_type.arrow(), piece.numbers.len()),
        })
        .collect();
    match columns.as_slice() {
        [only] => Ok(only.clone()),
        several => Ok(concat(&several.iter().map(AsRef::as_ref).collect::<Vec<_>>())?),
    }
}
