//! When plants are counted: from the days on which emergence is expected to begin and to end.

use jiff::{ToSpan, civil::Date};

use crate::plan::{Visit, Visits};

/// Degree-days Celsius (base 10 °C, ceiling 30 °C) from planting to emergence of maize: 115 Fahrenheit degree-days, the middle of 90 to 120 (Iowa
/// State University, as quoted by the University of Nebraska–Lincoln in 2015).
const EMERGENCE_CD: f64 = 115.0 / 1.8;
/// A stand that comes up within 25 Fahrenheit degree-days may be called even (Nafziger, quoted in the farm press, 2013): half of
/// that on either side.
const HALF_SPREAD_CD: f64 = 12.5 / 1.8;
/// Days before the first tenth on which counting begins: a count before it is needed to tell when it was.
const BEFORE: f64 = 2.0;
/// Days after nine tenths until the final stand is counted; common practice, no source.
const FINAL_AFTER: f64 = 10.0;
/// After so many days without an end of emergence something else is wrong.
const LONGEST: usize = 120;

/// What is known of when plants come up.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Expected {
    /// Planting date.
    pub planting: Option<Date>,
    /// Degree-days Celsius to a tenth and nine tenths of the plants that come up, from the review's strips.
    pub seen_cd: Option<(f64, f64)>,
    /// Days to the same, from the review's strips.
    pub seen_days: Option<(f64, f64)>,
    /// Mean degree-days of each day of the year (366, from 1 January), where the review has weather.
    pub normal: Option<Vec<Option<f64>>>,
    /// Seasons behind that mean.
    pub normal_seasons: usize,
}

/// Visits for a response that needs the course of emergence (or the final stand alone), with an on-time window in hours.
pub(crate) fn visits(expected: &Expected, course: bool, on_time_window_h: f64) -> Visits {
    let (first_tenth, nine_tenths, basis) = days(expected);
    let window = (on_time_window_h / 24.0).ceil();
    let mut days: Vec<(f64, &str)> = Vec::new();
    if course {
        let begin = (first_tenth.floor() - BEFORE).max(1.0);
        days.push((begin, "before the first plants: go earlier if any are up"));
        let daily_until = first_tenth.ceil() + window;
        let mut day = begin + 1.0;
        while day <= daily_until {
            let reason = if day <= first_tenth.ceil() {
                "every day until a tenth is up"
            } else {
                "every day through the on-time window"
            };
            days.push((day, reason));
            day += 1.0;
        }
        let mut last = daily_until;
        while last < nine_tenths.ceil() + 2.0 {
            last += 2.0;
            days.push((last, "every second day until no more come up"));
        }
    }
    let last = days.last().map_or(0.0, |(day, _)| *day);
    days.push(((nine_tenths.ceil() + FINAL_AFTER).max(last + 2.0), "final stand"));
    let visits = days
        .into_iter()
        .map(|(day, reason)| Visit {
            day: day as u32,
            date: expected
                .planting
                .and_then(|date| date.checked_add((day as i64).days()).ok())
                .map(|date| date.to_string()),
            reason: reason.to_owned(),
        })
        .collect();
    Visits { visits, basis, first_tenth_day: first_tenth, nine_tenths_day: nine_tenths }
}

/// Days to a tenth and nine tenths, and where they come from.
fn days(expected: &Expected) -> (f64, f64, String) {
    let (first_cd, last_cd) =
        expected.seen_cd.unwrap_or((EMERGENCE_CD - HALF_SPREAD_CD, EMERGENCE_CD + HALF_SPREAD_CD));
    let from = if expected.seen_cd.is_some() {
        "as the strips of this review took"
    } else {
        "a rule for maize from extension services; other crops differ"
    };
    if let (Some(planting), Some(normal)) = (expected.planting, &expected.normal)
        && let (Some(first), Some(last)) = (day_of(planting, normal, first_cd), day_of(planting, normal, last_cd))
    {
        return (
            first,
            last,
            format!(
                "{first_cd:.0} to {last_cd:.0} degree-days Celsius after planting, {from}, at the mean temperatures of {} seasons of weather in this review",
                expected.normal_seasons
            ),
        );
    }
    if let Some((first, last)) = expected.seen_days {
        return (
            first,
            last,
            "as many days as the strips of this review took; a warmer or colder spring moves them".into(),
        );
    }
    // Six degree-days a day: 16 °C, as in the weeks when maize is planted; no source, and said so.
    const DAILY_CD: f64 = 6.0;
    (
        first_cd / DAILY_CD,
        last_cd / DAILY_CD,
        format!(
            "{first_cd:.0} to {last_cd:.0} degree-days Celsius after planting, {from}, and {DAILY_CD:.0} of them a day, which is an assumption: add weather and a planting date for better ones"
        ),
    )
}

/// The day after planting, with its fraction, on which so many degree-days have come together; `None` where the weather has a gap or it takes too long.
fn day_of(planting: Date, normal: &[Option<f64>], degree_days: f64) -> Option<f64> {
    let mut sum = 0.0;
    for day in 0..LONGEST {
        let date = planting.checked_add((day as i64).days()).ok()?;
        let daily = (*normal.get(date.day_of_year() as usize - 1)?)?;
        if sum + daily >= degree_days {
            return Some(day as f64 + (degree_days - sum) / daily);
        }
        sum += daily;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    fn normal(daily: f64) -> Expected {
        Expected {
            planting: Some(date(2027, 5, 5)),
            normal: Some(vec![Some(daily); 366]),
            normal_seasons: 4,
            ..Expected::default()
        }
    }

    #[test]
    fn degree_days_and_the_weather_tell_the_days() {
        // 115 ± 12.5 Fahrenheit degree-days are 56.9 and 70.8 Celsius ones; at 8 a day 7.12 and 8.85 days.
        let planned = visits(&normal(8.0), true, 48.0);
        assert!(
            (planned.first_tenth_day - 56.944_44 / 8.0).abs() < 1e-4
                && (planned.nine_tenths_day - 70.833_33 / 8.0).abs() < 1e-4
        );
        let days: Vec<u32> = planned.visits.iter().map(|visit| visit.day).collect();
        assert_eq!(days, [5, 6, 7, 8, 9, 10, 12, 19]);
        assert_eq!(planned.visits[0].date.as_deref(), Some("2027-05-10"));
        assert!(planned.basis.contains("4 seasons"), "{}", planned.basis);
    }

    #[test]
    fn counting_begins_before_a_tenth_is_up_and_covers_the_window() {
        for daily in [3.0, 5.0, 7.3, 9.9, 14.0] {
            for window in [24.0, 48.0, 72.0] {
                let planned = visits(&normal(daily), true, window);
                let days: Vec<f64> = planned.visits.iter().map(|visit| f64::from(visit.day)).collect();
                assert!(days[0] <= (planned.first_tenth_day - 1.0).max(1.0), "{days:?}");
                assert!(days.windows(2).all(|pair| pair[1] > pair[0]), "{days:?}");
                let inside = |day: f64| days.iter().any(|visit| (*visit - day).abs() < 0.5);
                let window_end = planned.first_tenth_day.ceil() + (window / 24.0).ceil();
                assert!(inside(window_end) && inside(planned.first_tenth_day.ceil()), "{days:?}");
                assert!(
                    days[days.len() - 2] >= planned.nine_tenths_day
                        && days[days.len() - 1] >= planned.nine_tenths_day + 10.0
                );
            }
        }
    }

    #[test]
    fn without_weather_the_reviews_own_days_are_taken_and_without_them_an_assumption_is_named() {
        let seen = Expected { seen_days: Some((9.5, 12.0)), ..Expected::default() };
        assert_eq!(visits(&seen, true, 48.0).first_tenth_day, 9.5);
        let nothing = visits(&Expected::default(), false, 48.0);
        assert!(nothing.basis.contains("assumption"), "{}", nothing.basis);
        assert_eq!(nothing.visits.len(), 1, "a final stand is one visit");
        let cold = Expected { normal: Some(vec![Some(0.1); 366]), ..normal(0.1) };
        assert!(visits(&cold, true, 48.0).basis.contains("assumption"), "a spring that never comes is no basis");
    }
}
