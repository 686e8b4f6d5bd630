//! What stops a file from being read at all.

use evenstand_tables::TablesError;

/// An error that ends the run; faults of single files and rows are findings instead.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum IngestError {
    /// The file could not be read to its end.
    #[error("{file} could not be read: {problem}")]
    Read {
        /// File below `raw/`.
        file: String,
        /// What the system or the CSV reader said.
        problem: String,
    },
    /// The file is not what its name says, or cannot be understood as a whole; other files can still be read.
    #[error("{file}: {problem}")]
    Format {
        /// File below `raw/`.
        file: String,
        /// What was found.
        problem: String,
        /// What to do about it.
        remedy: String,
    },
    /// The receiver of rows failed, or a table and its schema do not fit.
    #[error(transparent)]
    Tables(#[from] TablesError),
}

impl IngestError {
    pub(crate) fn read(file: &str, problem: &dyn std::fmt::Display) -> Self {
        Self::Read { file: file.to_owned(), problem: problem.to_string() }
    }
}
