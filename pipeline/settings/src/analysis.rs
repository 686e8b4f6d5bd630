//! Choices of the analysis and their defaults.

use std::collections::BTreeMap;

use serde::Deserialize;

use crate::SettingsError;

/// Which force is analysed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Axis {
    /// The force that was set: the knob is what a person turns.
    #[default]
    Set,
    /// The force that was measured.
    Actual,
}

/// Which clock emergence is told in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Clock {
    /// Hours alone.
    #[default]
    Elapsed,
    /// Hours, and degree-days Celsius beside them.
    Thermal,
}

/// Choices of the analysis.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Analysis {
    /// Force that is analysed.
    pub axis: Axis,
    /// Clock of emergence times.
    pub clock: Clock,
    /// Hours after T10 within which a plant is on time. Default 48.
    pub on_time_window_h: f64,
    /// Telemetry rows slower than this, in m/s, are left out. Default 1.
    pub min_speed_m_s: f64,
    /// Response that decides; `None` means on_time_share, or emerged_share where no course was taken.
    pub primary: Option<String>,
    /// Default force in newtons, for planters that have none.
    pub default_force_n: Option<f64>,
    /// Measures taken before planting (`measure:NAME`) that comparisons and tests of factors adjust for. Default none.
    pub covariates: Vec<String>,
    /// Factors that were given to a stretch of strips in each block and not drawn strip by strip; `None` means the parts of the planter that are changed by hand.
    pub whole_plots: Option<Vec<String>>,
    /// Seed of all draws. Default 1.
    pub seed: u64,
    /// Draws of the fitted model behind every probability. Default 2000.
    pub draws: usize,
}

impl Default for Analysis {
    fn default() -> Self {
        Self {
            axis: Axis::Set,
            clock: Clock::Elapsed,
            on_time_window_h: 48.0,
            min_speed_m_s: 1.0,
            primary: None,
            default_force_n: None,
            covariates: Vec::new(),
            whole_plots: None,
            seed: 1,
            draws: 2000,
        }
    }
}

impl Analysis {
    /// Names of the keys, which may also stand at the top of the file.
    pub(crate) const KEYS: [&'static str; 10] = [
        "axis",
        "clock",
        "on_time_window_h",
        "min_speed_m_s",
        "primary",
        "default_force_n",
        "covariates",
        "whole_plots",
        "seed",
        "draws",
    ];

    /// Factors that whole plots may have.
    const FACTORS: [&'static str; 7] =
        ["force", "closer", "speed", "depth_stop", "press_position", "gauge_wheel", "treatment"];

    /// Responses that may decide, apart from other measures.
    const RESPONSES: [&'static str; 10] = [
        "on_time_share",
        "emerged_share",
        "spread_h",
        "t50_h",
        "spread_fit_h",
        "t50_fit_h",
        "spread_cd",
        "t50_cd",
        "spacing_cv",
        "leaf_stage_sd",
    ];

    pub(crate) fn check(&self) -> Result<(), SettingsError> {
        let positive = |key: &str, value: f64| {
            if value.is_finite() && value > 0.0 {
                Ok(())
            } else {
                Err(SettingsError::value(key, value, "a number above 0"))
            }
        };
        if let Some(primary) = &self.primary
            && !Self::RESPONSES.contains(&primary.as_str())
            && !primary.starts_with("measure:")
        {
            return Err(SettingsError::value(
                "primary",
                format!("\"{primary}\""),
                format!("one of {}, or measure:NAME", Self::RESPONSES.join(", ")),
            ));
        }
        let quoted = |word: &String| format!("\"{word}\"");
        if let Some(other) = self.covariates.iter().find(|name| name.strip_prefix("measure:").is_none_or(str::is_empty))
        {
            return Err(SettingsError::value(
                "covariates",
                quoted(other),
                "measures, for example [\"measure:yield_before\"]",
            ));
        }
        if let Some(primary) = self.primary.as_ref().filter(|primary| self.covariates.contains(primary)) {
            return Err(SettingsError::value(
                "covariates",
                quoted(primary),
                "measures other than the one that decides",
            ));
        }
        let whole_plots = self.whole_plots.iter().flatten();
        if let Some(other) = whole_plots.into_iter().find(|name| !Self::FACTORS.contains(&name.as_str())) {
            return Err(SettingsError::value(
                "whole_plots",
                quoted(other),
                format!("any of {}", Self::FACTORS.join(", ")),
            ));
        }
        positive("on_time_window_h", self.on_time_window_h)?;
        if !(self.min_speed_m_s.is_finite() && self.min_speed_m_s >= 0.0) {
            return Err(SettingsError::value("min_speed_m_s", self.min_speed_m_s, "a speed of 0 m/s or more"));
        }
        if let Some(force) = self.default_force_n {
            positive("default_force_n", force)?;
        }
        if !(200..=100_000).contains(&self.draws) {
            return Err(SettingsError::value("draws", self.draws, "a whole number from 200 to 100000"));
        }
        Ok(())
    }
}

/// How much worse than the best is still as good, by response.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
#[serde(transparent)]
pub struct Tolerances {
    own: BTreeMap<String, f64>,
}

impl Tolerances {
    /// Tolerance of a response in its own unit: shares 0.02, times and spread 6 h or 2.5 °C·d, spacing_cv 0.03, leaf_stage_sd 0.1;
    /// `None` for other measures, whose default is 2 % of their mean.
    pub fn of(&self, response: &str) -> Option<f64> {
        if let Some(own) = self.own.get(response) {
            return Some(*own);
        }
        match response {
            "spacing_cv" => Some(0.03),
            "leaf_stage_sd" => Some(0.1),
            name if name.ends_with("_share") => Some(0.02),
            name if name.ends_with("_h") => Some(6.0),
            // Six hours of a day whose temperatures lie 10 °C above the base.
            name if name.ends_with("_cd") => Some(2.5),
            _ => None,
        }
    }

    pub(crate) fn check(&self) -> Result<(), SettingsError> {
        for (key, value) in &self.own {
            if !(value.is_finite() && *value > 0.0) {
                return Err(SettingsError::value(format!("tolerance.{key}"), value, "a number above 0"));
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use crate::Settings;

    #[test]
    fn covariates_and_whole_plots_stand_at_the_top_or_in_the_block() {
        let settings = Settings::parse("covariates = [\"measure:yield_before\"]\nwhole_plots = []").unwrap();
        assert_eq!(settings.analysis.covariates, ["measure:yield_before"]);
        assert_eq!(settings.analysis.whole_plots, Some(Vec::new()));
        let settings = Settings::parse("[analysis]\nwhole_plots = [\"force\", \"speed\"]").unwrap();
        assert_eq!(settings.analysis.whole_plots.unwrap(), ["force", "speed"]);
        assert_eq!(settings.analysis.covariates, Vec::<String>::new());
    }

    #[test]
    fn a_covariate_that_is_no_measure_and_a_factor_that_is_none_are_named_with_what_was_expected() {
        for (line, found) in [
            ("covariates = [\"yield\"]", "\"yield\""),
            ("covariates = [\"measure:\"]", "\"measure:\""),
            ("primary = \"measure:y\"\ncovariates = [\"measure:y\"]", "\"measure:y\""),
            ("whole_plots = [\"seed\"]", "\"seed\""),
        ] {
            let message = Settings::parse(line).unwrap_err().to_string();
            assert!(message.contains(found) && message.contains("expected"), "{message}");
        }
    }
}
