//! Daily weather as degree-day clocks, by field.

use std::collections::BTreeMap;

use evenstand_agronomy::ThermalClock;
use evenstand_settings::Weather;
use evenstand_tables::Finding;
use evenstand_tables::rows::WeatherRow;

/// Degree-day clocks: of each field that has weather of its own, and of all fields together.
pub(crate) struct Clocks {
    own: BTreeMap<String, ThermalClock>,
    shared: Option<ThermalClock>,
    /// Days that were filled, by field; `None` for all fields together.
    filled: BTreeMap<Option<String>, usize>,
}

/// Lowest and highest temperature of a day.
type Day = (f64, f64);

impl Clocks {
    /// Clocks by the method of the settings; gaps are filled as far as the settings allow.
    pub fn new(weather: &[WeatherRow], settings: &Weather) -> Self {
        let mut days: BTreeMap<Option<&str>, BTreeMap<i32, Option<Day>>> = BTreeMap::new();
        for row in weather {
            days.entry(row.field_id.as_deref()).or_default().insert(row.date.0, row.tmin_c.zip(row.tmax_c));
        }
        let mut clocks = Self { own: BTreeMap::new(), shared: None, filled: BTreeMap::new() };
        for (field, known) in &days {
            let Some((first, daily, filled)) = daily(known, settings.fill_gaps_days) else { continue };
            let degree_days =
                daily.into_iter().map(|day| day.and_then(|(low, high)| settings.degree_days_of(low, high))).collect();
            let clock = ThermalClock::new(i64::from(first), degree_days);
            if filled > 0 {
                clocks.filled.insert(field.map(str::to_owned), filled);
            }
            match field {
                Some(field) => drop(clocks.own.insert((*field).to_owned(), clock)),
                None => clocks.shared = Some(clock),
            }
        }
        clocks
    }

    /// The clock of a field: its own, else the one of all fields.
    pub fn of(&self, field_id: &str) -> Option<&ThermalClock> {
        self.own.get(field_id).or(self.shared.as_ref())
    }

    /// How many days were filled in.
    pub fn findings(&self) -> Vec<Finding> {
        let told = |(field, days): (&Option<String>, &usize)| {
            let whose = field
                .as_ref()
                .map_or("the weather of all fields".to_owned(), |field| format!("the weather of {field}"));
            Finding::note(
                "weather_filled",
                format!("{days} days without temperatures in {whose} were filled on a straight line between the days around them, as fill_gaps_days allows"),
            )
            .table("weather")
            .remedy("give the temperatures of these days, if they were recorded elsewhere")
        };
        self.filled.iter().map(told).collect()
    }
}

/// Consecutive days from the first that is known, and how many of them were filled.
fn daily(known: &BTreeMap<i32, Option<Day>>, longest_gap: u32) -> Option<(i32, Vec<Option<Day>>, usize)> {
    let (first, last) = (*known.keys().next()?, *known.keys().next_back()?);
    let mut daily: Vec<Option<Day>> = (first..=last).map(|day| known.get(&day).copied().flatten()).collect();
    let (mut filled, mut before) = (0, None);
    for index in 0..daily.len() {
        let Some(after) = daily[index] else { continue };
        if let Some((from, start)) = before.replace((index, after)) {
            let gap: usize = index - from - 1;
            if gap > 0 && gap <= longest_gap as usize {
                for step in 1..=gap {
                    let share = step as f64 / (gap + 1) as f64;
                    let between = |one: f64, two: f64| one + (two - one) * share;
                    daily[from + step] = Some((between(start.0, after.0), between(start.1, after.1)));
                }
                filled += gap;
            }
        }
    }
    Some((first, daily, filled))
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstand_settings::DegreeDays;
    use evenstand_tables::Day as Date;

    fn day(date: i32, temperatures: Option<Day>) -> WeatherRow {
        WeatherRow {
            date: Date(date),
            tmin_c: temperatures.map(|day| day.0),
            tmax_c: temperatures.map(|day| day.1),
            ..WeatherRow::default()
        }
    }

    fn sum(weather: &[WeatherRow], settings: &Weather, from: f64, to: f64) -> Option<f64> {
        Clocks::new(weather, settings).of("A")?.degree_days_between(from, to)
    }

    #[test]
    fn the_two_readings_of_the_formula_differ_on_a_cold_day() {
        // McMaster & Wilhelm 1997: 20 and 4 °C over a base of 10 give 2 by method 1 and 5 by method 2.
        let weather = [day(0, Some((4.0, 20.0)))];
        assert_eq!(sum(&weather, &Weather::default(), 0.0, 1.0), Some(5.0));
        let mean_first = Weather { degree_days: DegreeDays::MeanFirst, ..Weather::default() };
        assert_eq!(sum(&weather, &mean_first, 0.0, 1.0), Some(2.0));
    }

    #[test]
    fn gaps_are_filled_only_when_told_to_and_only_short_ones() {
        // Ten, then two days of nothing (one without a row), then sixteen above the base.
        let weather =
            [day(0, Some((20.0, 20.0))), day(1, None), day(3, Some((26.0, 26.0))), day(7, Some((26.0, 26.0)))];
        assert_eq!(sum(&weather, &Weather::default(), 0.0, 4.0), None);
        let fill = |days| Weather { fill_gaps_days: days, ..Weather::default() };
        assert_eq!(sum(&weather, &fill(1), 0.0, 4.0), None);
        assert_eq!(sum(&weather, &fill(2), 0.0, 4.0), Some(10.0 + 12.0 + 14.0 + 16.0));
        assert_eq!(sum(&weather, &fill(2), 0.0, 8.0), None, "three days are too many");
        let findings = Clocks::new(&weather, &fill(2)).findings();
        assert_eq!(findings.len(), 1);
        assert!(findings[0].message.starts_with("2 days"), "{}", findings[0].message);
        assert!(Clocks::new(&weather, &Weather::default()).findings().is_empty());
    }
}
