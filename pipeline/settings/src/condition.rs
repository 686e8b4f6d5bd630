//! How strips are sorted into conditions.

use std::collections::BTreeMap;

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
    /// Other limits of moisture for a texture group (coarse, medium, fine), where a note tells the texture.
    pub texture: BTreeMap<String, TextureLimits>,
    /// Deepest note that still tells of the seed zone, in metres. Default 0.10.
    pub seed_zone_m: f64,
}

/// Limits of moisture of one texture group: sand is wet at a water content at which clay is dry.
#[derive(Debug, Clone, Copy, PartialEq, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct TextureLimits {
    /// As [`ConditionScheme::moisture_gravimetric`].
    pub moisture_gravimetric: Option<[f64; 2]>,
    /// As [`ConditionScheme::moisture_volumetric`].
    pub moisture_volumetric: Option<[f64; 2]>,
}

impl Default for ConditionScheme {
    fn default() -> Self {
        Self {
            by: None,
            residue_limit: 0.30,
            moisture_gravimetric: [0.12, 0.24],
            moisture_volumetric: [0.15, 0.32],
            texture: BTreeMap::new(),
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
        check_limits("condition.moisture_gravimetric", self.moisture_gravimetric)?;
        check_limits("condition.moisture_volumetric", self.moisture_volumetric)?;
        for (group, limits) in &self.texture {
            if !["coarse", "medium", "fine"].contains(&group.as_str()) {
                return Err(SettingsError::value(
                    "condition.texture",
                    format!("\"{group}\""),
                    "coarse, medium or fine",
                ));
            }
            for (name, limits) in [
                ("moisture_gravimetric", limits.moisture_gravimetric),
                ("moisture_volumetric", limits.moisture_volumetric),
            ] {
                if let Some(limits) = limits {
                    check_limits(&format!("condition.texture.{group}.{name}"), limits)?;
                }
            }
        }
        Ok(())
    }
}

fn check_limits(key: &str, limits: [f64; 2]) -> Result<(), SettingsError> {
    if limits[0] > 0.0 && limits[0] < limits[1] {
        return Ok(());
    }
    Err(SettingsError::value(key, format!("[{}, {}]", limits[0], limits[1]), "two shares, dry limit below wet limit"))
}
