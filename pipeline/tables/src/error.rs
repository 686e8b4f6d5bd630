//! What can go wrong between a table and its schema.

/// An error of this crate. All of them are faults of the program or of a damaged store, not of a person's files.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TablesError {
    /// No schema file carries this name.
    #[error("there is no {group} table called {name}; there are: {known}")]
    UnknownTable {
        /// raw, kept or results.
        group: &'static str,
        /// The name asked for.
        name: String,
        /// The names there are.
        known: String,
    },
    /// The batch does not follow the schema.
    #[error("table {table}: {problem}")]
    Mismatch {
        /// Table at fault.
        table: String,
        /// What does not fit.
        problem: String,
    },
    /// A missing value where the row type needs one.
    #[error("table {table}, column {column}, row {row}: a value is missing")]
    MissingValue {
        /// Table at fault.
        table: String,
        /// Column at fault.
        column: String,
        /// Row, from 0.
        row: usize,
    },
    /// Arrow refused to build a batch.
    #[error("arrow: {0}")]
    Arrow(#[from] arrow::error::ArrowError),
    /// A table in memory could not be packed or unpacked.
    #[error("parquet: {0}")]
    Parquet(#[from] parquet::errors::ParquetError),
    /// The receiver of rows failed (a full disk, say).
    #[error("{0}")]
    Sink(String),
}
