//! What ends a command with exit status 2.

use evenstand_ingest::IngestError;
use evenstand_link::LinkError;
use evenstand_report::ReportError;
use evenstand_store::StoreError;
use evenstand_tables::TablesError;
use evenstand_trial::TrialError;

/// Why nothing could be done, and what to do next.
#[derive(Debug)]
pub struct Failure {
    /// What was found, and where.
    pub message: String,
    /// What to do next.
    pub remedy: Option<String>,
}

impl Failure {
    /// A failure with its remedy.
    pub fn new(message: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { message: message.into(), remedy: Some(remedy.into()) }
    }
}

macro_rules! failure_from {
    ($($error:ty),+) => {$(
        impl From<$error> for Failure {
            fn from(error: $error) -> Self {
                Self { message: error.to_string(), remedy: None }
            }
        }
    )+};
}

failure_from!(StoreError, TablesError, IngestError, ReportError, TrialError);

impl From<LinkError> for Failure {
    fn from(error: LinkError) -> Self {
        match error {
            LinkError::Scratch { folder, error } => StoreError::file(&folder, &error).into(),
            other => Self { message: other.to_string(), remedy: None },
        }
    }
}
