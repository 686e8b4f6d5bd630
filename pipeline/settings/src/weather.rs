//! How daily weather becomes degree-days.

use evenstand_agronomy::{TemperatureLimits, TemperatureReading, daily_degree_days};
use serde::Deserialize;

use crate::SettingsError;

/// Which of the two readings of the degree-day formula.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DegreeDays {
    /// Each temperature is brought between the limits, then averaged.
    #[default]
    ClipEach,
    /// The temperatures are averaged, then the mean is brought between the limits.
    MeanFirst,
}

/// Choices about weather.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Weather {
    /// Temperature below which nothing grows, in degrees Celsius. Default 10.
    pub base_c: f64,
    /// Temperature above which more warmth adds nothing, in degrees Celsius. Default 30.
    pub ceiling_c: f64,
    /// Reading of the formula.
    pub degree_days: DegreeDays,
    /// Longest gap, in days, that is filled on a straight line between the days around it. Default 0: none is filled.
    pub fill_gaps_days: u32,
}

impl Default for Weather {
    fn default() -> Self {
        Self { base_c: 10.0, ceiling_c: 30.0, degree_days: DegreeDays::ClipEach, fill_gaps_days: 0 }
    }
}

/// A longer gap is no gap but weather that nobody recorded.
const LONGEST_GAP_DAYS: u32 = 7;

impl Weather {
    /// Degree-days Celsius of a day of these temperatures (°C), by the method that was chosen; `None` where they are no temperatures of a day.
    pub fn degree_days_of(&self, low_c: f64, high_c: f64) -> Option<f64> {
        let limits = TemperatureLimits { base_c: self.base_c, ceiling_c: Some(self.ceiling_c) };
        let reading = match self.degree_days {
            DegreeDays::ClipEach => TemperatureReading::ClipEach,
            DegreeDays::MeanFirst => TemperatureReading::MeanFirst,
        };
        daily_degree_days(low_c, high_c, limits, reading)
    }

    pub(crate) fn check(&self) -> Result<(), SettingsError> {
        if !(self.base_c.is_finite() && self.base_c < self.ceiling_c) {
            return Err(SettingsError::value(
                "weather.base_c",
                self.base_c,
                format!("a temperature below ceiling_c, which is {}", self.ceiling_c),
            ));
        }
        if self.fill_gaps_days > LONGEST_GAP_DAYS {
            return Err(SettingsError::value(
                "weather.fill_gaps_days",
                self.fill_gaps_days,
                format!("0 to {LONGEST_GAP_DAYS} days"),
            ));
        }
        Ok(())
    }
}
