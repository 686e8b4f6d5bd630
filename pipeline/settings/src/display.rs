//! The person's own units.

use evenstand_agronomy::Kind;
use serde::Deserialize;

use crate::SettingsError;

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
enum System {
    #[default]
    Metric,
    Us,
}

/// Units the report speaks in. Each is a suffix of its kind, as in column headers.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Display {
    #[serde(rename = "units")]
    system: System,
    force: Option<String>,
    speed: Option<String>,
    pressure: Option<String>,
}

impl Display {
    /// Whether United States customary units were asked for; otherwise metric ones.
    pub fn us_customary(&self) -> bool {
        self.system == System::Us
    }
    /// Unit of forces: `n`, `lbf` or `kgf`.
    pub fn force(&self) -> &str {
        self.force.as_deref().unwrap_or(if self.system == System::Us { "lbf" } else { "n" })
    }
    /// Unit of speeds.
    pub fn speed(&self) -> &str {
        self.speed.as_deref().unwrap_or(if self.system == System::Us { "mph" } else { "km_h" })
    }
    /// Unit of pressures where it was asked for; otherwise each planter's own.
    pub fn pressure(&self) -> Option<&str> {
        self.pressure.as_deref()
    }

    pub(crate) fn check(&self) -> Result<(), SettingsError> {
        for (key, value, kind) in [
            ("display.force", &self.force, Kind::Force),
            ("display.speed", &self.speed, Kind::Speed),
            ("display.pressure", &self.pressure, Kind::Pressure),
        ] {
            if let Some(unit) = value
                && !kind.suffixes().contains(&unit.as_str())
            {
                return Err(SettingsError::value(key, format!("\"{unit}\""), kind.suffixes().join(", ")));
            }
        }
        Ok(())
    }
}
