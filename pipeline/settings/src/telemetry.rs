//! What counts as a fault of telemetry.

use serde::Deserialize;

use crate::SettingsError;

/// Limits by which telemetry is watched. The defaults are common practice and have no source.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Telemetry {
    /// A gap is longer than this many usual steps between rows. Default 10.
    pub gap_steps: f64,
    /// And longer than this, in seconds. Default 5.
    pub step_gap_s: f64,
    /// A clock that runs back by more than this, in seconds, jumped. Default 60.
    pub clock_back_s: f64,
    /// Seconds at working speed from which an unchanged measured value is stuck. Default 60.
    pub stuck_s: f64,
    /// And rows. Default 20.
    pub stuck_rows: u64,
    /// A measured value is near the set one within this share of it. Default 0.05.
    pub near_set_share: f64,
    /// A set value changed where it moved by this share of the old one or more. Default 0.10.
    pub set_change_share: f64,
    /// Seconds in which the measured value should come near a changed set value. Default 60.
    pub arrive_s: f64,
    /// Seconds below the set value from which the measured one sags. Default 10.
    pub sag_s: f64,
}

impl Default for Telemetry {
    fn default() -> Self {
        Self {
            gap_steps: 10.0,
            step_gap_s: 5.0,
            clock_back_s: 60.0,
            stuck_s: 60.0,
            stuck_rows: 20,
            near_set_share: 0.05,
            set_change_share: 0.10,
            arrive_s: 60.0,
            sag_s: 10.0,
        }
    }
}

impl Telemetry {
    /// Longest time that may be set, in seconds: a day. Longer steps are jumps of the clock.
    const DAY_S: f64 = 86_400.0;

    pub(crate) fn check(&self) -> Result<(), SettingsError> {
        if !(self.gap_steps > 1.0 && self.gap_steps <= 1e6) {
            return Err(SettingsError::value("telemetry.gap_steps", self.gap_steps, "a number of steps above 1"));
        }
        for (key, seconds) in [
            ("telemetry.step_gap_s", self.step_gap_s),
            ("telemetry.clock_back_s", self.clock_back_s),
            ("telemetry.stuck_s", self.stuck_s),
            ("telemetry.arrive_s", self.arrive_s),
            ("telemetry.sag_s", self.sag_s),
        ] {
            if !(seconds > 0.0 && seconds <= Self::DAY_S) {
                return Err(SettingsError::value(key, seconds, "seconds, above 0 and at most 86400 (a day)"));
            }
        }
        if self.stuck_rows < 2 {
            return Err(SettingsError::value("telemetry.stuck_rows", self.stuck_rows, "2 rows or more"));
        }
        for (key, share) in
            [("telemetry.near_set_share", self.near_set_share), ("telemetry.set_change_share", self.set_change_share)]
        {
            if !(share > 0.0 && share < 1.0) {
                return Err(SettingsError::value(key, share, "a share between 0 and 1, for example 0.05 for 5 %"));
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use crate::Settings;

    #[test]
    fn limits_of_telemetry_have_defaults_and_may_be_set() {
        let settings = Settings::parse("[telemetry]\nstuck_s = 30\nnear_set_share = 0.1").unwrap();
        assert_eq!((settings.telemetry.stuck_s, settings.telemetry.near_set_share), (30.0, 0.1));
        assert_eq!((settings.telemetry.step_gap_s, settings.telemetry.gap_steps), (5.0, 10.0));
    }

    #[test]
    fn a_limit_that_makes_no_sense_is_named_with_what_was_expected() {
        for (line, key) in [
            ("near_set_share = 5", "near_set_share"),
            ("set_change_share = 0", "set_change_share"),
            ("step_gap_s = -1", "step_gap_s"),
            ("stuck_s = nan", "stuck_s"),
            ("arrive_s = 1e9", "arrive_s"),
            ("stuck_rows = 1", "stuck_rows"),
            ("gap_steps = 1", "gap_steps"),
            ("stuck_min = 1", "stuck_min"),
        ] {
            let message = Settings::parse(&format!("[telemetry]\n{line}")).unwrap_err().to_string();
            assert!(message.contains(key) && message.contains("expected"), "{message}");
        }
    }
}
