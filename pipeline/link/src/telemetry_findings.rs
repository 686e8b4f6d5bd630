//! What of the watched telemetry a person should look at: at most one finding a kind, file and field-season.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_agronomy::Kind;
use evenstand_settings::{Knob, Settings};
use evenstand_tables::rows::TelemetryRow;
use evenstand_tables::{Finding, Severity};

use crate::telemetry_watch::{FirstSeen, Watched};

/// Rows of a file that were not watched, because it has too many strips and row units.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Unwatched {
    pub source_file: String,
    pub season: i64,
    pub rows: u64,
}

/// Share of rows or of time from which a fault moves the mean of a strip too far to trust it. Our own choice, equal
/// to the usual nearness of measured and set values.
const SHARE_THAT_MATTERS: f64 = 0.05;
/// Row units that are named; more are counted.
const UNITS_NAMED: usize = 4;

/// Findings in the order of files, fields and seasons.
pub(crate) fn telemetry_findings(watched: &[Watched], left_out: &[Unwatched], settings: &Settings) -> Vec<Finding> {
    let mut logs: BTreeMap<(&str, &str, i64), Vec<&Watched>> = BTreeMap::new();
    for log in watched {
        logs.entry((&log.row.source_file, &log.row.field_id, log.row.season)).or_default().push(log);
    }
    let mut findings: Vec<Finding> = Vec::new();
    for log in logs.into_values().map(|series| Log { series, near: settings.telemetry.near_set_share }) {
        let found = [
            log.clock_jumps(),
            log.time_order(),
            log.same_time(),
            log.repeated_rows(),
            log.gaps(),
            log.stuck(),
            log.off_set(settings),
            log.never_arrived(settings),
            log.lag(settings),
            log.sags(settings),
            log.start_zeros(),
        ];
        findings.extend(found.into_iter().flatten());
    }
    findings.extend(left_out.iter().map(|file| {
        let mut finding = Finding::warning(
            "telemetry_unwatched",
            format!("the file names so many strips and row units that {} rows were not checked for faults", file.rows),
        )
        .table("setting_log")
        .source(&file.source_file, None)
        .remedy("check that strip_id and row_unit are names, not counters");
        finding.season = Some(file.season);
        finding
    }));
    findings
}

/// The series of one file and field-season.
struct Log<'a> {
    series: Vec<&'a Watched>,
    near: f64,
}

/// The series of a log that have a fault.
struct Affected<'a> {
    series: Vec<&'a Watched>,
    of: usize,
}

impl<'a> Log<'a> {
    fn affected(&self, has_fault: impl Fn(&Watched) -> bool) -> Option<Affected<'a>> {
        let series: Vec<&Watched> = self.series.iter().copied().filter(|series| has_fault(series)).collect();
        (!series.is_empty()).then(|| Affected { series, of: strips(&self.series).len() })
    }

    fn clock_jumps(&self) -> Option<Finding> {
        let affected = self.affected(|series| series.seen.jumps.times > 0)?;
        let jumps = affected.sum(|series| series.seen.jumps.times);
        let hours = affected.series.iter().map(|series| series.seen.first_hours).find(|hours| *hours != 0);
        let direction = match affected.sum(|series| series.seen.back_jumps) {
            0 => "forward",
            back if back == jumps => "back",
            _ => "back and forward",
        };
        let (slip, remedy) = match hours {
            _ if affected.series.iter().any(|series| series.seen.restarts > 0) => (
                " onto the first row: the log stands in the file twice".to_owned(),
                "take the repetition out of the file; its rows count twice in the means",
            ),
            Some(hours) => (
                format!(
                    ", by {} h in whole hours: it reads as a change of time zone or of daylight saving",
                    hours.abs()
                ),
                "write times with their offset from UTC, or name the time zone of the field; until then do not trust the start times of these strips",
            ),
            None => (
                String::new(),
                "check the clock of the logger and the order of the rows; do not trust the start times of these strips",
            ),
        };
        let message = format!("the clock jumps {direction} {}{slip}{}", times(jumps), affected.place());
        Some(affected.finding(Severity::Warning, "telemetry_clock_jump", message, remedy, |seen| seen.jumps.first_row))
    }

    fn time_order(&self) -> Option<Finding> {
        let back = |series: &Watched| series.seen.back.times.saturating_sub(series.seen.back_jumps);
        let affected = self.affected(|series| back(series) > 0)?;
        let rows = count(affected.sum(back), "row runs back in time", "rows run back in time");
        let message = format!("{rows}{}", affected.place());
        let remedy =
            "nothing has to be done for the means; export the log in the order of time where lags and turns matter";
        Some(affected.finding(Severity::Note, "telemetry_time_order", message, remedy, |seen| seen.back.first_row))
    }

    fn same_time(&self) -> Option<Finding> {
        let affected = self.affected(|series| series.seen.same_time.times > 0 && !repeats_rows(series))?;
        let all = affected.sum(|series| whole(series.row.rows));
        let rows = affected.sum(|series| series.seen.same_time.times);
        let carry = count(rows, "row carries the time of the row above", "rows carry the time of the row above");
        let coarse =
            if rows.saturating_mul(2) >= all { "the clock is written more coarsely than rows come: " } else { "" };
        let message = format!("{coarse}{carry}{}", affected.place());
        let remedy =
            "nothing has to be done for the means; if several row units stand in one log, name them in row_unit";
        Some(affected.finding(Severity::Note, "telemetry_same_time", message, remedy, |seen| seen.same_time.first_row))
    }

    fn repeated_rows(&self) -> Option<Finding> {
        let affected = self.affected(repeats_rows)?;
        let rows = affected.sum(|series| series.seen.repeated.times);
        let matters =
            affected.any_share(|series| series.seen.repeated.times as f64 / whole(series.row.rows).max(1) as f64);
        let repeat = count(rows, "row repeats", "rows repeat");
        let message = format!("{repeat} the row above, time and all values, and count once more{}", affected.place());
        let remedy = "export the log again without repeated rows";
        Some(
            affected
                .finding(severity(matters), "telemetry_repeated_rows", message, remedy, |seen| seen.repeated.first_row),
        )
    }

    fn gaps(&self) -> Option<Finding> {
        let affected = self.affected(|series| series.seen.gaps.times > 0)?;
        let gaps = count(affected.sum(|series| series.seen.gaps.times), "gap", "gaps");
        let longest = affected.largest(|row| row.longest_gap_s).unwrap_or_default();
        let message = format!("{gaps} in the log, the longest {}{}", seconds(longest), affected.place());
        let remedy =
            "nothing has to be done where the planter stood or a turn was not logged; else look for a lost signal";
        Some(affected.finding(Severity::Note, "telemetry_gaps", message, remedy, |seen| seen.gaps.first_row))
    }

    fn stuck(&self) -> Option<Finding> {
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

    /// Whether the mean of the measured value is not near that of the set one.
    fn is_off(&self, row: &TelemetryRow) -> bool {
        off_share(row).is_some_and(|share| share.abs() > self.near)
    }

    fn off_set(&self, settings: &Settings) -> Option<Finding> {
        let outside = |row: &TelemetryRow| row.outside_share.unwrap_or_default();
        let mean_off = self.affected(|series| self.is_off(&series.row));
        let matters = mean_off.is_some();
        let affected = mean_off.or_else(|| self.affected(|series| outside(&series.row) > 0.5))?;
        let size = |row: &TelemetryRow| off_share(row).unwrap_or_default().abs();
        let worst = affected.series.iter().max_by(|a, b| size(&a.row).total_cmp(&size(&b.row)))?;
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
        let remedy = if matters {
            "check the sensor, its calibration and the supply; the set value is analysed unless [analysis] axis = \"actual\""
        } else {
            "nothing has to be done for the means, which are near; the measured value wanders"
        };
        Some(affected.finding(severity(matters), "telemetry_off_set", message, remedy, |seen| seen.outside.first_row))
    }

    fn never_arrived(&self, settings: &Settings) -> Option<Finding> {
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
    fn lag(&self, settings: &Settings) -> Option<Finding> {
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

    fn sags(&self, settings: &Settings) -> Option<Finding> {
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

    fn start_zeros(&self) -> Option<Finding> {
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

impl Affected<'_> {
    fn sum(&self, value: impl Fn(&Watched) -> u64) -> u64 {
        self.series.iter().map(|series| value(series)).sum()
    }

    fn largest(&self, value: impl Fn(&TelemetryRow) -> Option<f64>) -> Option<f64> {
        self.series.iter().filter_map(|series| value(&series.row)).max_by(f64::total_cmp)
    }

    fn any_share(&self, share: impl Fn(&Watched) -> f64) -> bool {
        self.series.iter().any(|series| share(series) >= SHARE_THAT_MATTERS)
    }

    /// How many strips, and which row units.
    fn place(&self) -> String {
        let mut words = match strips(&self.series).len() {
            affected if affected > 1 => format!("; {affected} of {} strips", self.of),
            _ => String::new(),
        };
        let units: BTreeSet<(usize, &str)> = self
            .series
            .iter()
            .filter_map(|series| series.row.row_unit.as_deref())
            .map(|unit| (unit.len(), unit))
            .collect();
        if (1..=UNITS_NAMED).contains(&units.len()) {
            let names: Vec<&str> = units.iter().map(|(_, unit)| *unit).collect();
            words.push_str(&format!("; row unit {}", names.join(", ")));
        } else if units.len() > UNITS_NAMED {
            words.push_str(&format!("; {} row units", units.len()));
        }
        words
    }

    fn finding(
        &self,
        severity: Severity,
        code: &str,
        message: String,
        remedy: &str,
        row: impl Fn(&FirstSeen) -> i64,
    ) -> Finding {
        let mut finding = Finding::new(severity, code, message).table("setting_log").remedy(remedy);
        if let Some(first) = self.series.first() {
            let first_row = self.series.iter().map(|series| row(&series.seen)).min();
            finding = finding.source(&first.row.source_file, first_row).field(&first.row.field_id, first.row.season);
        }
        if let [Some(only)] = strips(&self.series).into_iter().collect::<Vec<_>>().as_slice() {
            finding = finding.strip(only);
        }
        finding
    }
}

/// Whether rows of the same time are repeated ones. Where most of them differ the clock is coarse, and a planter that
/// stands still then gives equal rows that are no repetition.
fn repeats_rows(series: &Watched) -> bool {
    let (repeated, same_time) = (series.seen.repeated.times, series.seen.same_time.times);
    repeated > 0 && repeated.saturating_mul(2) >= same_time
}

fn strips<'a>(series: &[&'a Watched]) -> BTreeSet<Option<&'a str>> {
    series.iter().map(|series| series.row.strip_id.as_deref()).collect()
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

fn whole(value: Option<i64>) -> u64 {
    value.and_then(|value| u64::try_from(value).ok()).unwrap_or(0)
}

fn severity(matters: bool) -> Severity {
    if matters { Severity::Warning } else { Severity::Note }
}

fn count(number: u64, one: &str, many: &str) -> String {
    format!("{number} {}", if number == 1 { one } else { many })
}

fn times(number: u64) -> String {
    if number == 1 { "once".to_owned() } else { format!("{number} times") }
}

fn percent(share: f64) -> String {
    let percent = share * 100.0;
    if percent > 0.0 && percent < 1.0 { "less than 1 %".to_owned() } else { format!("{percent:.0} %") }
}

fn seconds(seconds: f64) -> String {
    if seconds < 10.0 {
        format!("{seconds:.1} s")
    } else if seconds < 600.0 {
        format!("{seconds:.0} s")
    } else if seconds < 36_000.0 {
        format!("{:.0} min", seconds / 60.0)
    } else {
        format!("{:.0} h", seconds / 3600.0)
    }
}
