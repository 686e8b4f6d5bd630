//! The whole settings file.

use std::collections::BTreeMap;

use evenstand_agronomy::Kind;
use serde::Deserialize;

use crate::place::Place;
use crate::planter::{self, Planter};
use crate::source::{self, SourceRule};
use crate::{
    Analysis, ConditionScheme, Dig, Display, Hardware, LastSeason, SettingsError, Telemetry, Tolerances, Weather,
};

/// Every choice about a review, with defaults filled in.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Settings {
    /// Title of the review.
    pub name: Option<String>,
    /// IANA time zone of times without an offset, where the field has none.
    pub timezone: Option<String>,
    /// Formats of times and dates other than RFC 3339 and ISO 8601, in `strftime` letters, tried in order.
    pub time_formats: Vec<String>,
    /// Unit of columns whose header names none, by kind.
    pub default_units: BTreeMap<String, String>,
    /// Condition scheme.
    pub condition: ConditionScheme,
    /// Choices of the analysis.
    pub analysis: Analysis,
    /// Tolerances by response.
    pub tolerance: Tolerances,
    /// Limits by which telemetry is watched.
    pub telemetry: Telemetry,
    /// Limits of the dig window.
    pub dig: Dig,
    /// Parts of planters that usually stand together.
    pub hardware: Hardware,
    /// Display units.
    pub display: Display,
    /// How rows find their strip by place.
    pub place: Place,
    /// How weather becomes degree-days.
    pub weather: Weather,
    /// Last season's answers.
    pub last_season: LastSeason,
    /// Planters in the order of the file.
    pub planters: Vec<Planter>,
    /// How files that were not made for this program are read, in the order of the file.
    pub sources: Vec<SourceRule>,
}

#[derive(Deserialize, Default)]
#[serde(default, deny_unknown_fields)]
struct File {
    name: Option<String>,
    timezone: Option<String>,
    time_formats: Vec<String>,
    units: BTreeMap<String, String>,
    condition: ConditionScheme,
    analysis: Analysis,
    tolerance: Tolerances,
    telemetry: Telemetry,
    dig: Dig,
    hardware: Hardware,
    display: Display,
    place: Place,
    weather: Weather,
    last_season: LastSeason,
    planter: Vec<toml::Table>,
    source: Vec<toml::Table>,
}

impl Settings {
    /// Reads the text of `evenstand.toml`. Keys of `[analysis]` may also stand at the top of the file.
    ///
    /// Errors name the key, what was found and what was expected.
    pub fn parse(text: &str) -> Result<Self, SettingsError> {
        let mut table: toml::Table = text.parse().map_err(|error: toml::de::Error| syntax(&error))?;
        lift_analysis_keys(&mut table)?;
        let file: File = table.try_into().map_err(|error: toml::de::Error| syntax(&error))?;
        file.condition.check()?;
        file.analysis.check()?;
        file.tolerance.check()?;
        file.telemetry.check()?;
        file.dig.check()?;
        file.hardware.check()?;
        file.display.check()?;
        file.place.check()?;
        file.weather.check()?;
        for (kind, unit) in &file.units {
            let known = Kind::parse(kind).ok_or_else(|| {
                SettingsError::value(
                    format!("units.{kind}"),
                    kind,
                    "a kind of unit such as force, pressure, length or speed",
                )
            })?;
            if !known.suffixes().contains(&unit.as_str()) {
                return Err(SettingsError::value(
                    format!("units.{kind}"),
                    format!("\"{unit}\""),
                    known.suffixes().join(", "),
                ));
            }
        }
        let mut planters: Vec<Planter> = Vec::new();
        for block in &file.planter {
            let planter = planter::parse(block)?;
            if planters.iter().any(|other| other.id == planter.id) {
                return Err(SettingsError::value(
                    "planter.id",
                    format!("\"{}\" twice", planter.id),
                    "each planter once",
                ));
            }
            planters.push(planter);
        }
        Ok(Self {
            name: file.name,
            timezone: file.timezone,
            time_formats: file.time_formats,
            default_units: file.units,
            condition: file.condition,
            analysis: file.analysis,
            tolerance: file.tolerance,
            telemetry: file.telemetry,
            dig: file.dig,
            hardware: file.hardware,
            display: file.display,
            place: file.place,
            weather: file.weather,
            last_season: file.last_season,
            planters,
            sources: (1..)
                .zip(&file.source)
                .map(|(number, block)| source::parse(number, block))
                .collect::<Result<_, _>>()?,
        })
    }

    /// The planter of this name; one that is not in the file is a planter of which nothing is known.
    pub fn planter(&self, id: &str) -> Planter {
        self.planters.iter().find(|planter| planter.id == id).cloned().unwrap_or_else(|| Planter::unknown(id))
    }
}

/// Moves analysis keys from the top of the file into `[analysis]`, and `default_force_*` into newtons.
fn lift_analysis_keys(table: &mut toml::Table) -> Result<(), SettingsError> {
    let mut analysis = match table.remove("analysis") {
        None => toml::Table::new(),
        Some(toml::Value::Table(inner)) => inner,
        Some(other) => return Err(SettingsError::value("analysis", other, "an [analysis] table")),
    };
    let top: Vec<String> = table
        .keys()
        .filter(|key| Analysis::KEYS.contains(&key.as_str()) || key.starts_with("default_force_"))
        .cloned()
        .collect();
    for key in top {
        if let Some(value) = table.remove(&key) {
            analysis.insert(key, value);
        }
    }
    let forces: Vec<String> = analysis.keys().filter(|key| key.starts_with("default_force_")).cloned().collect();
    for key in forces {
        let suffix = &key["default_force_".len()..];
        let value =
            analysis.remove(&key).and_then(|value| value.as_float().or(value.as_integer().map(|whole| whole as f64)));
        let newtons = value.and_then(|value| Kind::Force.to_kept(suffix, value)).ok_or_else(|| {
            SettingsError::value(
                &key,
                "a value or unit that is not understood",
                "a number, for example default_force_n = 180",
            )
        })?;
        analysis.insert("default_force_n".into(), toml::Value::Float(newtons));
    }
    table.insert("analysis".into(), toml::Value::Table(analysis));
    Ok(())
}

fn syntax(error: &toml::de::Error) -> SettingsError {
    SettingsError::Syntax(error.to_string().trim_end().to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_empty_file_gives_the_defaults() {
        let settings = Settings::parse("").unwrap();
        assert_eq!(settings, Settings::default());
        assert_eq!(settings.analysis.on_time_window_h, 48.0);
        assert_eq!(settings.tolerance.of("on_time_share"), Some(0.02));
        assert_eq!(settings.tolerance.of("spread_h"), Some(6.0));
        assert_eq!(settings.tolerance.of("measure:yield"), None);
    }

    #[test]
    fn analysis_keys_may_stand_at_the_top_or_in_their_table() {
        let settings =
            Settings::parse("clock = \"thermal\"\ndefault_force_lbf = 40\n[analysis]\non_time_window_h = 36").unwrap();
        assert_eq!(settings.analysis.clock, crate::Clock::Thermal);
        assert_eq!(settings.analysis.on_time_window_h, 36.0);
        assert!((settings.analysis.default_force_n.unwrap() - 177.928_864_610_42).abs() < 1e-9);
    }

    #[test]
    fn a_misspelt_key_is_named_and_the_known_ones_listed() {
        let message = Settings::parse("[condition]\nbye = [\"moisture\"]").unwrap_err().to_string();
        assert!(message.contains("bye") && message.contains("residue_limit"), "{message}");
    }
}
