//! One Parquet file.

use std::fs::File;
use std::path::Path;

use arrow::array::RecordBatch;
use arrow::datatypes::{DataType, SchemaRef};
use evenstand_tables::{Table, TableSchema};
use parquet::arrow::ArrowWriter;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use parquet::basic::{Compression, Encoding};
use parquet::file::properties::WriterProperties;
use parquet::schema::types::ColumnPath;

use crate::StoreError;

/// Rows held in memory before a row group is written.
const ROW_GROUP_ROWS: usize = 1 << 17;

/// Opens a Parquet file for writing batches of this schema.
pub(crate) fn writer(path: &Path, schema: SchemaRef) -> Result<ArrowWriter<File>, StoreError> {
    let file = File::create(path).map_err(|error| StoreError::file(path, &error))?;
    let mut properties = WriterProperties::builder()
        .set_compression(Compression::SNAPPY)
        .set_max_row_group_row_count(Some(ROW_GROUP_ROWS))
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
    ArrowWriter::try_new(file, schema, Some(properties.build())).map_err(|error| write_error(path, &error))
}

/// Writes a whole table.
pub(crate) fn write_table(path: &Path, table: &Table) -> Result<(), StoreError> {
    let mut writer = writer(path, table.schema().arrow())?;
    writer.write(table.batch()).and_then(|()| writer.close().map(drop)).map_err(|error| write_error(path, &error))
}

/// Reads all batches of a file.
pub(crate) fn read_batches(path: &Path) -> Result<Vec<RecordBatch>, StoreError> {
    let file = File::open(path).map_err(|error| StoreError::file(path, &error))?;
    let reader = ParquetRecordBatchReaderBuilder::try_new(file)
        .and_then(|builder| builder.build())
        .map_err(|error| StoreError::damaged(path, error))?;
    reader.collect::<Result<_, _>>().map_err(|error| StoreError::damaged(path, error))
}

/// Reads a file as a table of this schema.
pub(crate) fn read_table(path: &Path, schema: &'static TableSchema) -> Result<Table, StoreError> {
    Ok(Table::from_batches(schema, &read_batches(path)?)?)
}

pub(crate) fn write_error(path: &Path, error: &parquet::errors::ParquetError) -> StoreError {
    StoreError::File { path: path.to_owned(), problem: error.to_string() }
}
