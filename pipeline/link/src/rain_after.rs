//! Rain in the days after planting.

use std::collections::BTreeMap;

use evenstand_tables::Moment;
use evenstand_tables::rows::WeatherRow;
use jiff::tz::TimeZone;

use crate::emergence::local_days;

/// Daily rain: by field, and of all fields together.
pub(crate) struct Rain {
    own: BTreeMap<String, BTreeMap<i32, f64>>,
    shared: BTreeMap<i32, f64>,
}

impl Rain {
    /// Days without a value of rain are left out; of two rows about one day the later one counts.
    pub fn new(weather: &[WeatherRow]) -> Self {
        let mut rain = Self { own: BTreeMap::new(), shared: BTreeMap::new() };
        for row in weather {
            let Some(rain_mm) = row.rain_mm else { continue };
            let days = match &row.field_id {
                Some(field) => rain.own.entry(field.clone()).or_default(),
                None => &mut rain.shared,
            };
            days.insert(row.date.0, rain_mm);
        }
        rain
    }

    /// Rain in millimetres in the `days` calendar days after the one of planting: from the field's own rows where they have all of these days,
    /// else from those of all fields. `None` where neither has.
    ///
    /// The day of planting does not count: a daily sum does not tell whether it fell on the open field or on the closed trench.
    pub fn after(&self, field_id: &str, planted_at: Moment, zone: &TimeZone, days: u32) -> Option<f64> {
        let planted = local_days(planted_at, 0.0, zone).floor() as i32;
        let sum = |rain: &BTreeMap<i32, f64>| {
            (1..=days).map(|day| rain.get(&planted.checked_add_unsigned(day)?).copied()).sum::<Option<f64>>()
        };
        self.own.get(field_id).and_then(sum).or_else(|| sum(&self.shared))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstand_tables::Day;

    fn day(field: Option<&str>, date: i32, rain_mm: Option<f64>) -> WeatherRow {
        WeatherRow { field_id: field.map(Into::into), date: Day(date), rain_mm, ..WeatherRow::default() }
    }

    /// Planted on day 100 at noon, UTC.
    fn after(weather: &[WeatherRow], days: u32) -> Option<f64> {
        Rain::new(weather).after("A", Moment(100 * 86_400_000_000 + 43_200_000_000), &TimeZone::UTC, days)
    }

    #[test]
    fn rain_is_summed_over_the_days_after_the_day_of_planting() {
        let weather: Vec<WeatherRow> = (98..106).map(|date| day(None, date, Some(f64::from(date - 98)))).collect();
        assert_eq!(after(&weather, 3), Some(3.0 + 4.0 + 5.0));
        assert_eq!(after(&weather, 1), Some(3.0));
        assert_eq!(after(&weather, 6), None, "the sixth day is not there");
    }

    #[test]
    fn a_field_s_own_gauge_goes_first_where_it_has_every_day() {
        let mut weather: Vec<WeatherRow> = (101..104).map(|date| day(None, date, Some(1.0))).collect();
        weather.extend((101..104).map(|date| day(Some("A"), date, Some(7.0))));
        weather.extend((101..104).map(|date| day(Some("B"), date, Some(50.0))));
        assert_eq!(after(&weather, 3), Some(21.0));
        weather.retain(|row| row.field_id.is_none() || row.date != Day(102));
        assert_eq!(after(&weather, 3), Some(3.0));
        weather.push(day(None, 102, None));
        assert_eq!(after(&weather, 3), Some(3.0), "a row without rain takes nothing away");
    }

    #[test]
    fn a_missing_day_leaves_the_sum_open_and_the_day_is_that_of_the_field() {
        let weather = [day(None, 101, Some(4.0)), day(None, 102, None), day(None, 103, Some(4.0))];
        assert_eq!((after(&weather, 1), after(&weather, 3)), (Some(4.0), None));
        // Two in the morning UTC of day 101 is still day 100 in Chicago.
        let planted = Moment(101 * 86_400_000_000 + 7_200_000_000);
        let zone = TimeZone::get("America/Chicago").unwrap();
        let rain = Rain::new(&weather);
        assert_eq!(rain.after("A", planted, &zone, 1), Some(4.0));
        assert_eq!(rain.after("A", planted, &TimeZone::UTC, 1), None);
    }
}
