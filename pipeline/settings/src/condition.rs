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
    /// cool, warm.
    SoilTemp,
    /// crusted, no crust.
    Crust,
    /// rain after, dry after.
    Rain,
}

impl ConditionPart {
    /// Every part, in the order in which tables list them.
    pub const ALL: [ConditionPart; 8] = [
        ConditionPart::Moisture,
        ConditionPart::Residue,
        ConditionPart::TextureGroup,
        ConditionPart::Tillage,
        ConditionPart::Logged,
        ConditionPart::SoilTemp,
        ConditionPart::Crust,
        ConditionPart::Rain,
    ];

    /// The part as the settings name it.
    pub fn name(self) -> &'static str {
        match self {
            ConditionPart::Moisture => "moisture",
            ConditionPart::Residue => "residue",
            ConditionPart::TextureGroup => "texture_group",
            ConditionPart::Tillage => "tillage",
            ConditionPart::Logged => "logged",
            ConditionPart::SoilTemp => "soil_temp",
            ConditionPart::Crust => "crust",
            ConditionPart::Rain => "rain",
        }
    }
}

/// The condition scheme: which parts make a label, and the limits between classes.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct ConditionScheme {
    /// Parts of the label; `None` means: logged where every strip has it, else moisture and residue.
    pub by: Option<Vec<ConditionPart>>,
    /// Cover from which the ground counts as covered. Default 0.30, the usual line of conservation tillage.
    pub residue_limit: f64,
    /// Share of the available water below which soil is dry, and from which it is wet, where it was judged by feel. Default 0.25 and 0.75:
    /// borders of the bands of the feel guide. Below the first it gives no ball, or a very weak one; from the second on loams and clays
    /// ribbon and coat the fingers.
    pub available_water: [f64; 2],
    /// Water by mass as a share of the plastic limit of the same soil: below the first it is dry, from the second on wet. Default 0.7
    /// and 1.0: above its plastic limit soil rolls to a thread and compacts; soils are tilled best at about 0.9 of it, a sandy loam at 0.77 (Dexter
    /// & Bird 2001). The lower limit is common practice, no source.
    pub moisture_plastic: [f64; 2],
    /// Water by mass below which soil is dry, and above which it is wet. Default 0.12 and 0.24 (common practice, no source).
    pub moisture_gravimetric: [f64; 2],
    /// Water by volume below which soil is dry, and above which it is wet. Default 0.15 and 0.32 (common practice, no source).
    pub moisture_volumetric: [f64; 2],
    /// Other limits of moisture for a texture group (coarse, medium, fine), where a note tells the texture.
    pub texture: BTreeMap<String, TextureLimits>,
    /// Deepest note that still tells of the seed zone, in metres. Default 0.10.
    pub seed_zone_m: f64,
    /// Soil temperature from which the soil is warm, in degrees Celsius. Default 10 (50 °F): below it maize takes about three weeks to come up, above it
    /// two or less (Iowa State University Extension 2021).
    pub soil_temp_limit_c: f64,
    /// Days after planting in which a note about a crust counts. Default 21, about as long as maize takes to come up in cold soil.
    pub crust_days: u32,
    /// Days after the day of planting whose rain is summed. Default 3 (common practice, no source).
    pub rain_days: u32,
    /// Rain in these days, in millimetres, from which it rained after planting. Default 10 (common practice, no source).
    pub rain_limit_mm: f64,
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
            available_water: [0.25, 0.75],
            moisture_plastic: [0.7, 1.0],
            moisture_gravimetric: [0.12, 0.24],
            moisture_volumetric: [0.15, 0.32],
            texture: BTreeMap::new(),
            seed_zone_m: 0.10,
            soil_temp_limit_c: 10.0,
            crust_days: 21,
            rain_days: 3,
            rain_limit_mm: 10.0,
        }
    }
}

impl ConditionScheme {
    pub(crate) fn check(&self) -> Result<(), SettingsError> {
        if self.by.as_ref().is_some_and(Vec::is_empty) {
            return Err(SettingsError::value(
                "condition.by",
                "an empty list",
                format!("one or more of {}", ConditionPart::ALL.map(ConditionPart::name).join(", ")),
            ));
        }
        if let Some((number, part)) = self.repeated_part() {
            return Err(SettingsError::value(
                format!("condition.by[{number}]"),
                format!("\"{}\" a second time", part.name()),
                "each part once",
            ));
        }
        if !(0.0..=1.0).contains(&self.residue_limit) {
            return Err(SettingsError::value("condition.residue_limit", self.residue_limit, "a share between 0 and 1"));
        }
        check_limits("condition.available_water", self.available_water)?;
        check_limits("condition.moisture_plastic", self.moisture_plastic)?;
        check_limits("condition.moisture_gravimetric", self.moisture_gravimetric)?;
        check_limits("condition.moisture_volumetric", self.moisture_volumetric)?;
        if !(-30.0..=50.0).contains(&self.soil_temp_limit_c) {
            return Err(SettingsError::value(
                "condition.soil_temp_limit_c",
                self.soil_temp_limit_c,
                "degrees Celsius between -30 and 50, for example 10",
            ));
        }
        for (key, days) in [("condition.crust_days", self.crust_days), ("condition.rain_days", self.rain_days)] {
            if !(1..=LONGEST_DAYS).contains(&days) {
                return Err(SettingsError::value(key, days, format!("1 to {LONGEST_DAYS} days")));
            }
        }
        if !(self.rain_limit_mm > 0.0 && self.rain_limit_mm.is_finite()) {
            return Err(SettingsError::value("condition.rain_limit_mm", self.rain_limit_mm, "millimetres, above 0"));
        }
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

    fn repeated_part(&self) -> Option<(usize, ConditionPart)> {
        let by = self.by.as_deref().unwrap_or_default();
        by.iter().copied().enumerate().find(|(number, part)| by[..*number].contains(part))
    }
}

/// Longer after planting it is the crop that was rained on, not the seed.
const LONGEST_DAYS: u32 = 60;

fn check_limits(key: &str, limits: [f64; 2]) -> Result<(), SettingsError> {
    if limits[0] > 0.0 && limits[0] < limits[1] {
        return Ok(());
    }
    Err(SettingsError::value(key, format!("[{}, {}]", limits[0], limits[1]), "two shares, dry limit below wet limit"))
}

#[cfg(test)]
mod tests {
    use super::ConditionPart;
    use crate::Settings;

    #[test]
    fn every_part_is_read_by_the_name_that_tables_give_it() {
        for part in ConditionPart::ALL {
            let settings = Settings::parse(&format!("[condition]\nby = [\"{}\"]", part.name())).unwrap();
            assert_eq!(settings.condition.by, Some(vec![part]));
        }
    }

    #[test]
    fn a_scheme_that_makes_no_sense_is_named_with_what_was_expected() {
        for (line, key) in [
            ("by = []", "by"),
            ("by = [\"residue\", \"moisture\", \"residue\"]", "by[2]"),
            ("by = [\"weather\"]", "weather"),
            ("residue_limit = 30", "residue_limit"),
            ("available_water = [0.75, 0.25]", "available_water"),
            ("moisture_plastic = [0.0, 1.0]", "moisture_plastic"),
            ("soil_temp_limit_c = nan", "soil_temp_limit_c"),
            ("crust_days = 0", "crust_days"),
            ("rain_days = 61", "rain_days"),
            ("rain_limit_mm = 0", "rain_limit_mm"),
        ] {
            let message = Settings::parse(&format!("[condition]\n{line}")).unwrap_err().to_string();
            assert!(message.contains(key) && message.contains("expected"), "{message}");
        }
    }
}
