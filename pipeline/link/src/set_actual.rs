//! How the measured closing force or pressure followed the one that was set: by strip, and by planter and season.
//!
//! All of it is read off the watched telemetry of strips; rows outside strips (headlands) are left out. Whether a measured value is near the set one is
//! decided in one place, row by row, by `near_set_share` (`telemetry_watch/follow.rs`). Shares and means are over time at working speed: a log of
//! one row a second and one of five count alike.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_tables::rows::{SetActualRow, StripRow};

use crate::checks::off_strips;
use crate::key::StripKey;
use crate::telemetry_watch::Watched;

/// Share of the time at working speed that the measured value was near the set one, of each strip that has both; row units together.
pub(crate) fn at_set_shares(watched: &[Watched]) -> BTreeMap<StripKey, f64> {
    let mut times: BTreeMap<StripKey, Times> = BTreeMap::new();
    for series in watched {
        if let Some(key) = strip_of(series) {
            times.entry(key).or_default().add(series);
        }
    }
    times.into_iter().filter_map(|(key, times)| Some((key, times.at_set_share()?))).collect()
}

/// Planter, season, and kind of value that was compared.
type PlanterSeason<'a> = (Option<&'a str>, i64, &'a str);

/// One row a planter, season and kind that was compared, in this order.
pub(crate) fn set_actual_rows(watched: &[Watched], strips: &[StripRow]) -> Vec<SetActualRow> {
    let mut by_planter: BTreeMap<PlanterSeason, Vec<(StripKey, &Watched)>> = BTreeMap::new();
    for series in watched {
        if let (Some(key), Some(compared)) = (strip_of(series), series.row.compared.as_deref()) {
            let of = (series.row.planter_id.as_deref(), series.row.season, compared);
            by_planter.entry(of).or_default().push((key, series));
        }
    }
    let off = off_strips(strips);
    let off: BTreeSet<StripKey> =
        off.iter().map(|off| StripKey::new(&off.strip.field_id, off.strip.season, &off.strip.strip_id)).collect();
    by_planter
        .into_iter()
        .map(|((planter_id, season, compared), series)| {
            let mut times = Times::default();
            series.iter().for_each(|(_, series)| times.add(series));
            let keys: BTreeSet<&StripKey> = series.iter().map(|(key, _)| key).collect();
            let sum = |value: fn(&Watched) -> Option<i64>| {
                Some(series.iter().filter_map(|(_, series)| value(series)).fold(0_i64, i64::saturating_add))
            };
            SetActualRow {
                planter_id: planter_id.map(str::to_owned),
                season,
                compared: Some(compared.to_owned()),
                n_strips: Some(keys.len() as i64),
                at_set_share: times.at_set_share(),
                mean_set: times.mean_set(),
                mean_actual: times.mean_set().zip(times.mean_difference()).map(|(set, difference)| set + difference),
                mean_difference: times.mean_difference(),
                changes: sum(|series| series.row.changes),
                lag_s: median_over_strips(&series),
                never_arrived: sum(|series| series.row.never_arrived),
                sags: sum(|series| series.row.sags),
                sag_s: Some(series.iter().filter_map(|(_, series)| series.row.sag_s).sum()),
                n_off_strips: Some(keys.into_iter().filter(|key| off.contains(key)).count() as i64),
            }
        })
        .collect()
}

/// The strip of a series that compared something.
fn strip_of(series: &Watched) -> Option<StripKey> {
    let row = &series.row;
    row.compared.as_ref()?;
    Some(StripKey::new(&row.field_id, row.season, row.strip_id.as_deref()?))
}

/// Sums over series, weighted by time.
#[derive(Debug, Clone, Copy, Default)]
struct Times {
    compared_s: f64,
    judged_s: f64,
    outside_s: f64,
    set: f64,
    difference: f64,
}

impl Times {
    fn add(&mut self, series: &Watched) {
        let (all_s, judged_s) = (series.compared.all_s, series.compared.judged_s);
        self.compared_s += all_s;
        self.judged_s += judged_s;
        self.outside_s += series.row.outside_share.unwrap_or_default() * judged_s;
        self.set += series.row.mean_set.unwrap_or_default() * all_s;
        self.difference += series.row.mean_difference.unwrap_or_default() * all_s;
    }

    fn at_set_share(&self) -> Option<f64> {
        (self.judged_s > 0.0).then(|| (1.0 - self.outside_s / self.judged_s).clamp(0.0, 1.0))
    }

    fn mean_set(&self) -> Option<f64> {
        (self.compared_s > 0.0).then(|| self.set / self.compared_s)
    }

    fn mean_difference(&self) -> Option<f64> {
        (self.compared_s > 0.0).then(|| self.difference / self.compared_s)
    }
}

/// Median over strips of their lag, which is the median over their row units; `None` where nothing was followed.
fn median_over_strips(series: &[(StripKey, &Watched)]) -> Option<f64> {
    let mut by_strip: BTreeMap<&StripKey, Vec<f64>> = BTreeMap::new();
    for (key, series) in series {
        by_strip.entry(key).or_default().extend(series.row.lag_s);
    }
    median(by_strip.into_values().filter_map(median).collect())
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    let upper = *values.get(middle)?;
    let lower = if values.len().is_multiple_of(2) { *values.get(middle.checked_sub(1)?)? } else { upper };
    Some((lower + upper) / 2.0)
}

#[cfg(test)]
mod tests {
    use evenstand_tables::rows::TelemetryRow;

    use super::*;
    use crate::telemetry_watch::ComparedTime;

    /// A series that held `set` for `seconds`, off by `difference`, a share of the time not near.
    fn series(strip: &str, unit: &str, seconds: f64, set: f64, difference: f64, outside: f64) -> Watched {
        Watched {
            row: TelemetryRow {
                field_id: "A".into(),
                season: 2025,
                strip_id: Some(strip.into()),
                planter_id: Some("north".into()),
                row_unit: Some(unit.into()),
                compared: Some("force".into()),
                outside_share: Some(outside),
                mean_set: Some(set),
                mean_difference: Some(difference),
                changes: Some(2),
                never_arrived: Some(1),
                sags: Some(1),
                sag_s: Some(12.0),
                ..TelemetryRow::default()
            },
            compared: ComparedTime { all_s: seconds, judged_s: seconds },
            ..Watched::default()
        }
    }

    fn lag(lag_s: f64, mut watched: Watched) -> Watched {
        watched.row.lag_s = Some(lag_s);
        watched
    }

    #[test]
    fn shares_and_means_are_over_time_and_not_over_rows_or_strips() {
        // 100 s fully at 200 N, and 300 s at 300 N of which a third is 30 N low: near for 300 of 400 s.
        let watched = [
            lag(2.0, series("1", "1", 100.0, 200.0, 0.0, 0.0)),
            lag(6.0, series("2", "1", 300.0, 300.0, -10.0, 1.0 / 3.0)),
        ];
        let rows = set_actual_rows(&watched, &[]);
        assert_eq!(rows.len(), 1);
        let row = &rows[0];
        assert_eq!(
            (row.planter_id.as_deref(), row.season, row.compared.as_deref()),
            (Some("north"), 2025, Some("force"))
        );
        assert!((row.at_set_share.unwrap() - 0.75).abs() < 1e-12);
        assert_eq!((row.mean_set, row.mean_difference, row.mean_actual), (Some(275.0), Some(-7.5), Some(267.5)));
        assert_eq!((row.n_strips, row.changes, row.never_arrived), (Some(2), Some(4), Some(2)));
        assert_eq!((row.sags, row.sag_s, row.lag_s), (Some(2), Some(24.0), Some(4.0)));
    }

    #[test]
    fn row_units_of_a_strip_are_one_strip() {
        let watched = [
            lag(1.0, series("1", "1", 100.0, 200.0, 0.0, 0.0)),
            lag(3.0, series("1", "2", 100.0, 200.0, 0.0, 0.5)),
            lag(9.0, series("2", "1", 50.0, 200.0, 0.0, 1.0)),
        ];
        let row = &set_actual_rows(&watched, &[])[0];
        assert_eq!((row.n_strips, row.lag_s), (Some(2), Some(5.5)), "medians 2 and 9");
        let shares = at_set_shares(&watched);
        assert_eq!(shares[&StripKey::new("A", 2025, "1")], 0.75);
        assert_eq!(shares[&StripKey::new("A", 2025, "2")], 0.0);
    }

    #[test]
    fn planters_seasons_and_kinds_have_rows_of_their_own_and_headlands_none() {
        let mut watched = vec![series("1", "1", 60.0, 200.0, 0.0, 0.0); 5];
        watched[1].row.planter_id = None;
        watched[2].row.season = 2024;
        watched[3].row.compared = Some("pressure".into());
        watched[4].row.strip_id = None;
        let rows = set_actual_rows(&watched, &[]);
        let of: Vec<_> =
            rows.iter().map(|row| (row.planter_id.as_deref(), row.season, row.compared.as_deref())).collect();
        assert_eq!(
            of,
            [
                (None, 2025, Some("force")),
                (Some("north"), 2024, Some("force")),
                (Some("north"), 2025, Some("force")),
                (Some("north"), 2025, Some("pressure")),
            ]
        );
        assert!(rows.iter().all(|row| row.n_strips == Some(1)));
        let nothing_compared =
            Watched { row: TelemetryRow { compared: None, ..watched[0].row.clone() }, ..Watched::default() };
        assert!(
            set_actual_rows(std::slice::from_ref(&nothing_compared), &[]).is_empty()
                && at_set_shares(&[nothing_compared]).is_empty()
        );
    }

    #[test]
    fn a_set_value_of_zero_is_compared_but_cannot_be_near() {
        let mut off = series("1", "1", 60.0, 0.0, 4.0, 0.0);
        off.row.outside_share = None;
        off.compared.judged_s = 0.0;
        let row = &set_actual_rows(&[off.clone()], &[])[0];
        assert_eq!((row.at_set_share, row.mean_set, row.mean_actual), (None, Some(0.0), Some(4.0)));
        assert!(at_set_shares(&[off]).is_empty());
    }

    #[test]
    fn strips_off_by_more_than_half_the_gap_between_settings_are_counted() {
        let strip = |id: &str, set: f64, actual: f64| StripRow {
            field_id: "A".into(),
            season: 2025,
            strip_id: id.into(),
            set_force_n: Some(set),
            actual_force_n: Some(actual),
            ..StripRow::default()
        };
        let watched: Vec<Watched> = ["1", "2", "3"].map(|id| series(id, "1", 60.0, 200.0, 0.0, 0.0)).into();
        // Settings 100, 200 and 300: more than 50 N off is nearer to another one.
        let strips = [strip("1", 100.0, 149.0), strip("2", 200.0, 251.0), strip("3", 300.0, 300.0)];
        assert_eq!(set_actual_rows(&watched, &strips)[0].n_off_strips, Some(1));
        assert_eq!(set_actual_rows(&watched[..1], &strips)[0].n_off_strips, Some(0), "strip 2 has no telemetry");
    }
}
