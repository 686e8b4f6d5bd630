//! What stops linking.

use std::io;
use std::path::PathBuf;

use evenstand_tables::TablesError;

/// An error that ends the run; doubtful data are findings instead.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum LinkError {
    /// The setting logs in the store could not be read.
    #[error("the setting logs in the store could not be read ({0}); run `evenstand ingest` again to rebuild the store")]
    Telemetry(String),
    /// Totals by strip were given that are not of this store and these settings.
    #[error("the totals by strip do not fit this review ({0}); make them again with `evenstand link`")]
    OtherTotals(String),
    /// What waits on the disk meanwhile could not be written or read back.
    #[error("{folder}: {error}", folder = folder.display())]
    Scratch {
        /// The folder on whose disk it waits.
        folder: PathBuf,
        /// What the system said.
        error: io::Error,
    },
    /// Rows became no table.
    #[error(transparent)]
    Tables(#[from] TablesError),
}

impl From<polars::error::PolarsError> for LinkError {
    fn from(error: polars::error::PolarsError) -> Self {
        Self::Telemetry(error.to_string())
    }
}
