//! Collects rows of one table and season into Arrow batches.

use std::sync::Arc;

use arrow::array::{
    ArrayRef, BooleanBuilder, Date32Builder, Float64Builder, Int64Builder, RecordBatch, StringBuilder,
    TimestampMicrosecondBuilder,
};
use evenstand_tables::{ColumnType, TableSchema, TablesError};

use crate::value::Value;

enum Builder {
    Text(StringBuilder),
    Number(Float64Builder),
    Integer(Int64Builder),
    Boolean(BooleanBuilder),
    Moment(TimestampMicrosecondBuilder),
    Day(Date32Builder),
}

impl Builder {
    fn new(column_type: ColumnType) -> Self {
        match column_type {
            ColumnType::String => Builder::Text(StringBuilder::new()),
            ColumnType::Number => Builder::Number(Float64Builder::new()),
            ColumnType::Integer => Builder::Integer(Int64Builder::new()),
            ColumnType::Boolean => Builder::Boolean(BooleanBuilder::new()),
            ColumnType::Datetime => Builder::Moment(TimestampMicrosecondBuilder::new().with_timezone("UTC")),
            ColumnType::Date => Builder::Day(Date32Builder::new()),
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

/// Rows of one kept table and season on their way to the sink.
pub(crate) struct Batch {
    schema: &'static TableSchema,
    builders: Vec<Builder>,
    rows: usize,
}

impl Batch {
    pub fn new(schema: &'static TableSchema) -> Self {
        Self {
            schema,
            builders: schema.columns.iter().map(|column| Builder::new(column.column_type)).collect(),
            rows: 0,
        }
    }

    /// Appends one row: the values of the raw columns, then the provenance.
    pub fn push(&mut self, values: &[Value], provenance: [Value; 3]) {
        for (builder, value) in self.builders.iter_mut().zip(values.iter().copied().chain(provenance)) {
            builder.push(value);
        }
        self.rows += 1;
    }

    pub fn rows(&self) -> usize {
        self.rows
    }

    /// Takes the rows collected so far.
    pub fn take(&mut self) -> Result<RecordBatch, TablesError> {
        self.rows = 0;
        let columns = self.builders.iter_mut().map(Builder::finish).collect();
        Ok(RecordBatch::try_new(self.schema.arrow(), columns)?)
    }
}
