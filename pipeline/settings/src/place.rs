//! How rows find their strip by place.

use serde::Deserialize;

use crate::SettingsError;

/// Choices about positions.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Place {
    /// How far off a position may be, in metres. Default 1: what a receiver with satellite corrections keeps within (common
    /// practice, no source).
    pub buffer_m: f64,
}

impl Default for Place {
    fn default() -> Self {
        Self { buffer_m: 1.0 }
    }
}

impl Place {
    pub(crate) fn check(&self) -> Result<(), SettingsError> {
        if (0.0..=100.0).contains(&self.buffer_m) {
            return Ok(());
        }
        Err(SettingsError::value("place.buffer_m", self.buffer_m, "metres between 0 and 100"))
    }
}
