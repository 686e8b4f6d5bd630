//! What ends a command with exit status 2.

use std::io::Write;

/// Why nothing could be done, and what to do next.
#[derive(Debug)]
pub struct Failure {
    message: String,
    remedy: String,
}

impl Failure {
    /// A failure with its remedy.
    pub fn new(message: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { message: message.into(), remedy: remedy.into() }
    }

    /// Something that should not happen whatever the data are.
    pub fn bug(message: impl Into<String>) -> Self {
        Self::new(message, "this is an error in evenstand-cluster; run with --log and report what it says")
    }

    /// Says it on standard error.
    pub fn tell(&self) {
        let _ = writeln!(std::io::stderr(), "error: {}\n  {}", self.message, self.remedy);
    }

    #[cfg(test)]
    pub fn message(&self) -> &str {
        &self.message
    }
}
