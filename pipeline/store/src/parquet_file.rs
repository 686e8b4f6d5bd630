//! One Parquet file.

use std::fs::File;
use std::path::{Path, PathBuf};

use arrow::array::RecordBatch;
use arrow::datatypes::{DataType, SchemaRef};
use evenstand_tables::{Table, TableSchema};
use parquet::arrow::ArrowWriter;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use parquet::arrow::arrow_writer::{ArrowColumnChunk, ArrowColumnWriter, ArrowRowGroupWriterFactory, compute_leaves};
use parquet::basic::{Compression, Encoding};
use parquet::errors::ParquetError;
use parquet::file::properties::{EnabledStatistics, WriterProperties};
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::types::ColumnPath;
use rayon::prelude::*;

use crate::StoreError;

/// Rows held in memory before a row group is written.
const ROW_GROUP_ROWS: usize = 1 << 17;

/// A Parquet file that is being written. Columns are packed side by side, each by one thread at a time and in the order of its
/// rows, so that the bytes do not depend on the number of threads.
pub(crate) struct TableWriter {
    path: PathBuf,
    file: SerializedFileWriter<File>,
    factory: ArrowRowGroupWriterFactory,
    schema: SchemaRef,
    /// Columns of the row group that is being filled, and its rows so far.
    columns: Vec<ArrowColumnWriter>,
    rows: usize,
}

impl TableWriter {
    /// Opens a Parquet file for writing batches of this schema.
    pub fn create(path: &Path, schema: SchemaRef) -> Result<Self, StoreError> {
        let file = File::create(path).map_err(|error| StoreError::file(path, &error))?;
        let failed = |error| write_error(path, &error);
        let writer = ArrowWriter::try_new(file, schema.clone(), Some(properties(&schema))).map_err(failed)?;
        let (file, factory) = writer.into_serialized_writer().map_err(failed)?;
        Ok(Self { path: path.to_owned(), file, factory, schema, columns: Vec::new(), rows: 0 })
    }

    /// Writes rows; where pages begin and end depends on how they are divided into batches.
    pub fn write(&mut self, batch: &RecordBatch) -> Result<(), StoreError> {
        let mut from = 0;
        while from < batch.num_rows() {
            let rows = (batch.num_rows() - from).min(ROW_GROUP_ROWS - self.rows);
            self.pack(&batch.slice(from, rows)).map_err(|error| write_error(&self.path, &error))?;
            from += rows;
        }
        Ok(())
    }

    /// Writes what is held, and the end of the file.
    pub fn close(mut self) -> Result<(), StoreError> {
        self.end_group().and_then(|()| self.file.finish().map(drop)).map_err(|error| write_error(&self.path, &error))
    }

    fn pack(&mut self, batch: &RecordBatch) -> Result<(), ParquetError> {
        if self.columns.is_empty() {
            self.columns = self.factory.create_column_writers(self.file.flushed_row_groups().len())?;
        }
        let arrays = self.schema.fields().par_iter().zip(batch.columns());
        arrays.zip(&mut self.columns).try_for_each(|((field, array), column)| {
            compute_leaves(field, array)?.iter().try_for_each(|leaf| column.write(leaf))
        })?;
        self.rows += batch.num_rows();
        if self.rows == ROW_GROUP_ROWS { self.end_group() } else { Ok(()) }
    }

    fn end_group(&mut self) -> Result<(), ParquetError> {
        if self.rows == 0 {
            return Ok(());
        }
        let columns = std::mem::take(&mut self.columns);
        let packed: Vec<ArrowColumnChunk> =
            columns.into_par_iter().map(ArrowColumnWriter::close).collect::<Result<_, _>>()?;
        let mut group = self.file.next_row_group()?;
        packed.into_iter().try_for_each(|column| column.append_to_row_group(&mut group))?;
        self.rows = 0;
        group.close().map(drop)
    }
}

/// How the columns of a kept table are packed.
fn properties(schema: &SchemaRef) -> WriterProperties {
    let mut properties = WriterProperties::builder()
        .set_compression(Compression::SNAPPY)
        .set_max_row_group_row_count(Some(ROW_GROUP_ROWS))
        // Where pages lie and what is in them is held for the whole file until its end; readers here choose whole row groups.
        .set_statistics_enabled(EnabledStatistics::Chunk)
        .set_offset_index_disabled(true)
        .set_created_by("evenstand".into());
    // A dictionary of values that hardly repeat is made and thrown away; times and row numbers are small as differences.
    for field in schema.fields() {
        let column = ColumnPath::from(field.name().as_str());
        match (field.data_type(), field.name().as_str()) {
            (DataType::Timestamp(..), _) | (DataType::Int64, "source_row") => {
                properties = properties
                    .set_column_dictionary_enabled(column.clone(), false)
                    .set_column_encoding(column, Encoding::DELTA_BINARY_PACKED);
            }
            (DataType::Float64, "lat" | "lon") => {
                properties = properties.set_column_dictionary_enabled(column, false);
            }
            _ => {}
        }
    }
    properties.build()
}

/// Writes a whole table.
pub(crate) fn write_table(path: &Path, table: &Table) -> Result<(), StoreError> {
    let mut writer = TableWriter::create(path, table.schema().arrow())?;
    writer.write(table.batch())?;
    writer.close()
}

/// Batches of a file with so many rows each, or all in one piece: many would stand in memory once more while they are joined.
pub(crate) fn batches(
    path: &Path,
    rows: Option<usize>,
) -> Result<impl Iterator<Item = Result<RecordBatch, StoreError>> + use<>, StoreError> {
    let file = File::open(path).map_err(|error| StoreError::file(path, &error))?;
    let reader = ParquetRecordBatchReaderBuilder::try_new(file)
        .and_then(|builder| {
            let all = usize::try_from(builder.metadata().file_metadata().num_rows()).unwrap_or(0);
            builder.with_batch_size(rows.unwrap_or(all).max(1)).build()
        })
        .map_err(|error| StoreError::damaged(path, error))?;
    let path = path.to_owned();
    Ok(reader.map(move |batch| batch.map_err(|error| StoreError::damaged(&path, error))))
}

/// Reads all batches of a file.
pub(crate) fn read_batches(path: &Path) -> Result<Vec<RecordBatch>, StoreError> {
    batches(path, None)?.collect()
}

/// Reads a file as a table of this schema.
pub(crate) fn read_table(path: &Path, schema: &'static TableSchema) -> Result<Table, StoreError> {
    Ok(Table::from_batches(schema, &read_batches(path)?)?)
}

pub(crate) fn write_error(path: &Path, error: &ParquetError) -> StoreError {
    if let ParquetError::External(inner) = error
        && let Some(error) = inner.downcast_ref::<std::io::Error>()
    {
        return StoreError::file(path, error);
    }
    StoreError::File { path: path.to_owned(), problem: error.to_string() }
}
