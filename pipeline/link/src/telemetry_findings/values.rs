//! Findings about the values of a log: sensors, set against measured, start-up zeros.

use std::collections::BTreeMap;

use evenstand_agronomy::Kind;
use evenstand_settings::{Knob, Settings};
use evenstand_tables::rows::TelemetryRow;
use evenstand_tables::{Finding, Severity};

use super::words::{count, percent, seconds, severity, times, whole};
use super::{Log, SHARE_THAT_MATTERS};
use crate::telemetry_watch::Watched;

/// A mean that is off by more than this many times what counts as near is a warning: noise alone takes the mean of a
/// short strip just past the limit. Our own choice.
const FAR: f64 = 2.0;

impl Log<'_> {
    pub fn stuck(&self) -> Option<Finding> {
        let is_speed = |series: &Watched| series.row.stuck_channel.as_deref() == Some("speed");
        let is_stuck = |series: &Watched| series.row.stuck_channel.is_some();
        // A stuck closing sensor is worse than a stuck speed.
        let affected =
            self.affected(|series| is_stuck(series) && !is_speed(series)).or_else(|| self.affected(is_stuck))?;
        let first = affected.series.first()?;
        let speed = is_speed(first);
        let name = match first.row.stuck_channel.as_deref() {
            Some("actual_force") => "the measured force",
            Some("actual_pressure") => "the measured pressure",
            _ => "the speed",
        };
        let whole_file = affected.series.iter().all(|series| series.seen.stuck_in_whole_file);
        let matters = !speed && affected.any_share(|series| series.row.stuck_share.unwrap_or_default());
        let what = if whole_file {
            format!("{name} has one value in the whole file")
        } else {
            let longest = affected.largest(|row| row.longest_stuck_s).unwrap_or_default();
            let share = affected.largest(|row| row.stuck_share).unwrap_or_default();
            format!(
                "{name} stands still for up to {} at working speed while other values move, {} of the rows{}",
                seconds(longest),
                percent(share),
                if affected.series.len() > 1 { " at worst" } else { "" }
            )
        };
        let remedy = if speed {
            "check where the speed comes from; while it stands still, turns cannot be told from work"
        } else {
            "check the sensor and its cable; do not trust the measured values of these strips"
        };
        let message = format!("{what}{}", affected.place());
        Some(affected.finding(severity(matters), "telemetry_stuck", message, remedy, |seen| seen.stuck.first_row))
    }

    /// Row units of a strip whose measured values are the same, row by row.
    pub fn shared_sensors(&self) -> Option<Finding> {
        let mut alike: BTreeMap<(Option<&str>, Option<&str>, u64), usize> = BTreeMap::new();
        for series in &self.series {
            if let Some(key) = shared_key(series) {
                *alike.entry(key).or_default() += 1;
            }
        }
        let shares = |series: &Watched| {
            shared_key(series).and_then(|key| alike.get(&key)).is_some_and(|row_units| *row_units > 1)
        };
        let affected = self.affected(shares)?;
        let message = format!(
            "row units with the same measured values, row by row: they share a sensor or were copied{}",
            affected.place()
        );
        let remedy = "nothing has to be done for the means; these row units are one reading, not several";
        Some(affected.finding(Severity::Note, "telemetry_shared_sensor", message, remedy, |seen| seen.first_row))
    }

    /// Whether the mean of the measured value is not near that of the set one.
    fn is_off(&self, row: &TelemetryRow) -> bool {
        off_share(row).is_some_and(|share| share.abs() > self.near)
    }

    pub fn off_set(&self, settings: &Settings) -> Option<Finding> {
        let outside = |row: &TelemetryRow| row.outside_share.unwrap_or_default();
        let mean_off = self.affected(|series| self.is_off(&series.row));
        let is_mean = mean_off.is_some();
        let affected = mean_off.or_else(|| self.affected(|series| outside(&series.row) > 0.5))?;
        let size = |row: &TelemetryRow| off_share(row).unwrap_or_default().abs();
        let worst = affected.series.iter().max_by(|a, b| size(&a.row).total_cmp(&size(&b.row)))?;
        let matters = size(&worst.row) > FAR * self.near;
        let difference = worst.row.mean_difference.unwrap_or_default();
        let (size_shown, unit) = in_own_unit(difference.abs(), &worst.row, settings);
        let message = format!(
            "the measured value is {size_shown} {unit} ({}) {} the set one on average, and more than {} away from it for {} of the time{}{}",
            percent(size(&worst.row)),
            if difference < 0.0 { "below" } else { "above" },
            percent(self.near),
            percent(outside(&worst.row)),
            if affected.series.len() > 1 { " at worst" } else { "" },
            affected.place()
        );
        let remedy = if is_mean {
            "check the sensor, its calibration and the supply; the set value is analysed unless [analysis] axis = \"actual\""
        } else {
            "nothing has to be done for the means, which are near; the measured value wanders"
        };
        Some(
            affected.finding(severity(matters), "telemetry_not_as_set", message, remedy, |seen| seen.outside.first_row),
        )
    }

    pub fn never_arrived(&self, settings: &Settings) -> Option<Finding> {
        let affected = self.affected(|series| series.seen.never.times > 0)?;
        let never = affected.sum(|series| series.seen.never.times);
        let changes = affected.sum(|series| series.seen.changes.times);
        let message = format!(
            "after {never} of {changes} changes of the set value the measured one did not come within {} of it in {} or before the next change{}",
            percent(self.near),
            seconds(settings.telemetry.arrive_s),
            affected.place()
        );
        let remedy = "check the supply and the valve; strips shorter than the system needs to settle do not have the force that was set";
        let matters = never.saturating_mul(2) >= changes;
        Some(
            affected
                .finding(severity(matters), "telemetry_never_arrived", message, remedy, |seen| seen.never.first_row),
        )
    }

    /// Lags that take more of the working time than matters.
    pub fn lag(&self, settings: &Settings) -> Option<Finding> {
        let share = |series: &Watched| {
            let arrived = series.seen.changes.times.saturating_sub(series.seen.never.times);
            series.row.lag_s.unwrap_or_default() * arrived as f64 / working_s(&series.row)
        };
        let affected = self.affected(|series| share(series) > SHARE_THAT_MATTERS)?;
        let mut lags: Vec<f64> = affected.series.iter().filter_map(|series| series.row.lag_s).collect();
        lags.sort_by(f64::total_cmp);
        let median = lags.get(lags.len() / 2).copied().unwrap_or_default();
        let worst = affected.series.iter().map(|series| share(series)).max_by(f64::total_cmp).unwrap_or_default();
        let message = format!(
            "after a change of the set value by {} or more the measured one takes {} to come within {} of it, in all {} of the working time{}{}",
            percent(settings.telemetry.set_change_share),
            seconds(median),
            percent(self.near),
            percent(worst.min(1.0)),
            if affected.series.len() > 1 { " at worst" } else { "" },
            affected.place()
        );
        let remedy = "leave the first metres after a change out of the strips, or change the setting less often";
        Some(affected.finding(Severity::Note, "telemetry_lag", message, remedy, |seen| seen.changes.first_row))
    }

    pub fn sags(&self, settings: &Settings) -> Option<Finding> {
        // Where the mean itself is off, that has been said; where it is not, a sag does it no harm.
        let affected = self.affected(|series| series.seen.sags.times > 0 && !self.is_off(&series.row))?;
        let sags = times(affected.sum(|series| series.seen.sags.times));
        let lasted: f64 = affected.series.iter().filter_map(|series| series.row.sag_s).sum();
        let message = format!(
            "the measured value stays more than {} below the set one for longer than {}, {sags}, in all for {}{}",
            percent(self.near),
            seconds(settings.telemetry.sag_s),
            seconds(lasted),
            affected.place()
        );
        let remedy = "look for leaks and a supply that is too small";
        Some(affected.finding(Severity::Note, "telemetry_sag", message, remedy, |seen| seen.sags.first_row))
    }

    pub fn start_zeros(&self) -> Option<Finding> {
        let affected = self.affected(|series| series.seen.start_zeros.times > 0)?;
        let rows = affected.sum(|series| series.seen.start_zeros.times);
        let matters = affected.any_share(|series| series.row.start_zero_share.unwrap_or_default());
        let message = format!(
            "{} at working speed at the start of a pass {} a measured value of 0 or none, up to {} of the rows of a strip{}",
            count(rows, "row", "rows"),
            if rows == 1 { "has" } else { "have" },
            percent(affected.largest(|row| row.start_zero_share).unwrap_or_default()),
            affected.place()
        );
        let remedy =
            "leave these rows out of the log where the sensor was only waking up; zeros pull the measured mean down";
        Some(
            affected.finding(severity(matters), "telemetry_start_zeros", message, remedy, |seen| {
                seen.start_zeros.first_row
            }),
        )
    }
}

/// Strip, planter and values of a row unit's series.
fn shared_key(series: &Watched) -> Option<(Option<&str>, Option<&str>, u64)> {
    series.row.row_unit.as_ref()?;
    Some((series.row.strip_id.as_deref(), series.row.planter_id.as_deref(), series.seen.fingerprint?))
}

/// Mean difference as a share of the mean set value.
fn off_share(row: &TelemetryRow) -> Option<f64> {
    let set = row.mean_set.filter(|set| *set > 0.0)?;
    Some(row.mean_difference? / set)
}

/// A force in newtons, or a pressure in the unit of the planter's own gauge.
fn in_own_unit(value: f64, row: &TelemetryRow, settings: &Settings) -> (String, &'static str) {
    if row.compared.as_deref() == Some("force") {
        return (format!("{value:.0}"), "N");
    }
    let knob = row.planter_id.as_deref().and_then(|id| settings.planter(id).knob);
    let unit = match &knob {
        Some(Knob::Pressure { unit, .. }) => unit.as_str(),
        _ => "kpa",
    };
    let shown = Kind::Pressure.from_kept(unit, value).unwrap_or(value);
    let decimals = usize::from(shown < 10.0);
    (format!("{shown:.decimals$}"), Kind::Pressure.label(unit).unwrap_or("kPa"))
}

/// About how long a series was at working speed, in seconds; never 0.
fn working_s(row: &TelemetryRow) -> f64 {
    (whole(row.rows_at_speed) as f64 * row.step_s.unwrap_or_default()).max(1e-6)
}
