//! What can be wrong with a request for a trial.

use thiserror::Error;

/// Why no trial can be planned.
#[derive(Debug, Error)]
pub enum TrialError {
    /// A part of the request cannot be met.
    #[error("{what}: found {found}, expected {expected}")]
    Request {
        /// Which part.
        what: String,
        /// What was asked for.
        found: String,
        /// What can be had, and what to do.
        expected: String,
    },
    /// A page could not be made.
    #[error("{file} cannot be made: {source}")]
    Paper {
        /// The file.
        file: String,
        /// Why.
        source: minijinja::Error,
    },
    /// Power cannot be worked out.
    #[error(transparent)]
    Statistics(#[from] evenstand_stats::StatsError),
}

impl TrialError {
    pub(crate) fn request(what: impl Into<String>, found: impl ToString, expected: impl Into<String>) -> Self {
        Self::Request { what: what.into(), found: found.to_string(), expected: expected.into() }
    }
}
