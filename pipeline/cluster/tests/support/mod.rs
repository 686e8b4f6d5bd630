//! A store of invented seasons, processes of the engine, and tables to compare.

pub mod object_server;
pub mod process;
pub mod review;

use std::fs::File;
use std::path::Path;

use arrow::array::RecordBatch;
use arrow::compute::concat_batches;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;

/// A Parquet file as one batch.
pub fn table(path: &Path) -> RecordBatch {
    let builder = ParquetRecordBatchReaderBuilder::try_new(File::open(path).unwrap()).unwrap();
    let schema = builder.schema().clone();
    let batches: Vec<RecordBatch> = builder.build().unwrap().map(Result::unwrap).collect();
    concat_batches(&schema, &batches).unwrap()
}

/// Panics unless two files hold the same table, row for row; says the first row that differs.
pub fn same_tables(one: &Path, other: &Path) {
    let (one, other) = (table(one), table(other));
    assert_eq!(one.schema().fields(), other.schema().fields());
    assert_eq!(one.num_rows(), other.num_rows());
    for row in 0..one.num_rows() {
        assert_eq!(one.slice(row, 1), other.slice(row, 1), "row {row}");
    }
}
