//! What stops linking.

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
}

impl From<polars::error::PolarsError> for LinkError {
    fn from(error: polars::error::PolarsError) -> Self {
        Self::Telemetry(error.to_string())
    }
}
