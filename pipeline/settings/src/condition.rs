//! How strips are sorted into conditions.

use serde::Deserialize;

use crate::SettingsError;

/// A part of a condition label.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ConditionPart {
    /// dry, moist, wet.
    Moisture,
    /// bare, covered.
    Residue,
    /// coarse, medium, fine.
    TextureGroup,
    /// Tillage of the field.
    Tillage,
    /// What the operator called it.
    Logged,
}

/// The condition scheme: which parts make a label, and the limits between classes.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct ConditionScheme {
    /// Parts of the label; `None` means: logged where every strip has it, else moisture and residue.
    pub by: Option<Vec<ConditionPart>>,
    /// Cover from which the ground counts as covered. Default 0.30, the usual line of conservation tillage.
    pub residue_limit: f64,
    /// Water by mass below which soil is dry, and above which it is wet. Default 0.12 and 0.24 (common practice, no source).
    pub moisture_gravimetric: [f64; 2],
    /// Water by volume below which soil is dry, and above which it is wet. Default 0.15 and 0.32 (common practice, no source).
    pub moisture_volumetric: [f64; 2],
    /// Deepest note that still tells of the seed zone, in metres. Default 0.10.
    pub seed_zone_m: f64,
}

impl Default for ConditionScheme {
    fn default() -> Self {
        Self {
            by: None,
            residue_limit: 0.30,
            moisture_gravimetric: [0.12, 0.24],
            moisture_volumetric: [0.15, 0.32],
            seed_zone_m: 0.10,
        }
    }
}

impl ConditionScheme {
    pub(crate) fn check(&self) -> Result<(), SettingsError> {
        if self.by.as_ref().is_some_and(Vec::is_empty) {
            return Err(SettingsError::value(
                "condition.by",
                "an empty list",
                "one or more of moisture, residue, texture_group, tillage, logged",
            ));
        }
        if !(0.0..=1.0).contains(&self.residue_limit) {
            return Err(SettingsError::value("condition.residue_limit", self.residue_limit, "a share between 0 and 1"));
        }
        for (key, limits) in [
            ("condition.moisture_gravimetric", self.moisture_gravimetric),
            ("condition.moisture_volumetric", self.moisture_volumetric),
        ] {
            if !(limits[0] > 0.0 && limits[0] < limits[1]) {
                return Err(SettingsError::value(
                    key,
                    format!("[{}, {}]", limits[0], limits[1]),
                    "two shares, dry limit below wet limit",
                ));
            }
        }
        Ok(())
    }
}
