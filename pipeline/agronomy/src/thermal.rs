//! Growing degree-days: a day's worth from its lowest and highest temperature, and a clock that adds them up.
//!
//! One formula is read in two ways, and they differ on cold and on hot days (McMaster & Wilhelm 1997, Agricultural and
//! Forest Meteorology 87:291-300). What corn growers call "86/50" clips each temperature first; it is the default.

/// Limits between which a temperature counts, in degrees Celsius.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TemperatureLimits {
    /// Below it nothing grows.
    pub base_c: f64,
    /// Above it more warmth adds nothing; `None` for no such limit.
    pub ceiling_c: Option<f64>,
}

impl TemperatureLimits {
    /// 10 °C and 30 °C, which are exactly the 50 °F and 86 °F of the corn growers' rule.
    pub const CORN: TemperatureLimits = TemperatureLimits { base_c: 10.0, ceiling_c: Some(30.0) };
}

/// The two readings of the degree-day formula.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum TemperatureReading {
    /// Method 2: both temperatures are brought between the limits, then averaged.
    #[default]
    ClipEach,
    /// Method 1: the temperatures are averaged, then the mean is brought between the limits.
    MeanFirst,
}

/// Degree-days Celsius of one day, zero or more: mean temperature less the base, within the limits.
///
/// `None` where a temperature is not finite or the minimum lies above the maximum.
pub fn daily_degree_days(
    minimum_c: f64,
    maximum_c: f64,
    limits: TemperatureLimits,
    reading: TemperatureReading,
) -> Option<f64> {
    if !(minimum_c.is_finite() && maximum_c.is_finite() && minimum_c <= maximum_c) {
        return None;
    }
    let ceiling = limits.ceiling_c.unwrap_or(f64::INFINITY);
    // Not `clamp`, which panics where a person set the limits the wrong way round.
    let clip = |temperature: f64| temperature.min(ceiling).max(limits.base_c);
    let mean = match reading {
        TemperatureReading::ClipEach => (clip(minimum_c) + clip(maximum_c)) / 2.0,
        TemperatureReading::MeanFirst => clip((minimum_c + maximum_c) / 2.0),
    };
    Some(mean - limits.base_c)
}

/// Degree-days Fahrenheit that are the same warmth as these degree-days Celsius: × 1.8, with no offset.
pub fn degree_days_fahrenheit(degree_days_c: f64) -> f64 {
    degree_days_c * 1.8
}

/// Daily degree-days in a row of days, added up between any two moments.
#[derive(Debug, Clone, PartialEq)]
pub struct ThermalClock {
    first_day_number: i64,
    daily: Vec<Option<f64>>,
}

impl ThermalClock {
    /// A clock of consecutive days; `daily[0]` belongs to the day of that number, `None` to a day without weather.
    ///
    /// Days are numbered from any origin, in local time: day `d` lasts from `d` to `d + 1`. Degree-days that are not
    /// finite count as missing.
    pub fn new(first_day_number: i64, daily: Vec<Option<f64>>) -> ThermalClock {
        let daily = daily.into_iter().map(|day| day.filter(|value| value.is_finite())).collect();
        ThermalClock { first_day_number, daily }
    }

    /// Degree-days of the day of that number; `None` where it is missing or outside the clock.
    pub fn degree_days_of(&self, day_number: i64) -> Option<f64> {
        let index = day_number.checked_sub(self.first_day_number)?;
        self.daily.get(usize::try_from(index).ok()?).copied().flatten()
    }

    /// Degree-days from moment `from_days` to moment `to_days`, both in days with fractions, at an even pace within a day.
    ///
    /// `None` where a day that is touched is missing, where the end lies before the start, or where a moment is not
    /// finite. No time at all is zero degree-days, whatever the weather.
    pub fn degree_days_between(&self, from_days: f64, to_days: f64) -> Option<f64> {
        if !(from_days.is_finite() && to_days.is_finite() && from_days <= to_days) {
            return None;
        }
        if from_days == to_days {
            return Some(0.0);
        }
        let first = self.first_day_number as f64;
        // Outside the clock first: the loop below then is never longer than the clock.
        if from_days < first || to_days > first + self.daily.len() as f64 {
            return None;
        }
        let mut sum = 0.0;
        for (index, &day) in self.daily.iter().enumerate() {
            let start = first + index as f64;
            let part = to_days.min(start + 1.0) - from_days.max(start);
            if part > 0.0 {
                sum += part * day?;
            }
        }
        Some(sum)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn corn(minimum: f64, maximum: f64, reading: TemperatureReading) -> Option<f64> {
        daily_degree_days(minimum, maximum, TemperatureLimits::CORN, reading)
    }

    #[test]
    fn the_two_readings_differ_on_a_cold_night() {
        // 20/4 °C: mean 12 is 2 above the base; clipped 20/10 has mean 15, 5 above it.
        assert_eq!(corn(4.0, 20.0, TemperatureReading::MeanFirst), Some(2.0));
        assert_eq!(corn(4.0, 20.0, TemperatureReading::ClipEach), Some(5.0));
        assert_eq!(TemperatureReading::default(), TemperatureReading::ClipEach);
    }

    #[test]
    fn other_limits_and_no_ceiling_work_alike() {
        let open = TemperatureLimits { base_c: 0.0, ceiling_c: None };
        assert_eq!(daily_degree_days(-4.0, 40.0, open, TemperatureReading::ClipEach), Some(20.0));
        assert_eq!(daily_degree_days(-4.0, 40.0, open, TemperatureReading::MeanFirst), Some(18.0));
    }

    #[test]
    fn impossible_temperatures_give_nothing_and_swapped_limits_do_not_panic() {
        assert_eq!(corn(20.0, 4.0, TemperatureReading::ClipEach), None);
        assert_eq!(corn(f64::NAN, 4.0, TemperatureReading::ClipEach), None);
        assert_eq!(corn(4.0, f64::INFINITY, TemperatureReading::ClipEach), None);
        let swapped = TemperatureLimits { base_c: 30.0, ceiling_c: Some(10.0) };
        assert_eq!(daily_degree_days(4.0, 20.0, swapped, TemperatureReading::ClipEach), Some(0.0));
    }

    #[test]
    fn degree_days_add_up_evenly_within_a_day() {
        let clock = ThermalClock::new(100, vec![Some(8.0), Some(4.0), Some(0.0), Some(12.0)]);
        assert_eq!(clock.degree_days_between(100.0, 104.0), Some(24.0));
        assert_eq!(clock.degree_days_between(100.5, 101.25), Some(5.0));
        assert_eq!(clock.degree_days_between(101.25, 101.75), Some(2.0));
        assert_eq!(clock.degree_days_between(102.0, 103.0), Some(0.0));
        assert_eq!(clock.degree_days_of(103), Some(12.0));
        assert_eq!(clock.degree_days_of(99), None);
        assert_eq!(clock.degree_days_of(104), None);
        assert_eq!(clock.degree_days_of(i64::MIN), None);
    }

    #[test]
    fn a_missing_day_hides_only_what_touches_it() {
        let clock = ThermalClock::new(0, vec![Some(8.0), None, Some(6.0), Some(f64::NAN)]);
        assert_eq!(clock.degree_days_between(0.0, 1.0), Some(8.0));
        assert_eq!(clock.degree_days_between(0.0, 1.1), None);
        assert_eq!(clock.degree_days_between(1.9, 2.5), None);
        assert_eq!(clock.degree_days_between(2.0, 3.0), Some(6.0));
        assert_eq!(clock.degree_days_between(2.5, 3.5), None);
        assert_eq!(clock.degree_days_between(1.5, 1.5), Some(0.0));
    }

    #[test]
    fn moments_outside_the_clock_or_out_of_order_give_nothing() {
        let clock = ThermalClock::new(10, vec![Some(8.0)]);
        assert_eq!(clock.degree_days_between(9.9, 10.5), None);
        assert_eq!(clock.degree_days_between(10.5, 11.1), None);
        assert_eq!(clock.degree_days_between(10.6, 10.5), None);
        assert_eq!(clock.degree_days_between(f64::NAN, 10.5), None);
        assert_eq!(clock.degree_days_between(10.0, 1e300), None);
        assert_eq!(ThermalClock::new(10, vec![]).degree_days_between(10.0, 10.1), None);
    }
}
