//! What of the watched telemetry a person should look at: at most one finding a kind, file and field-season.

mod clock;
mod files;
mod values;
mod words;

use std::collections::{BTreeMap, BTreeSet};

use evenstand_settings::Settings;
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
            log.shared_sensors(),
            log.off_set(settings),
            log.never_arrived(settings),
            log.lag(settings),
            log.sags(settings),
            log.start_zeros(),
        ];
        findings.extend(found.into_iter().flatten());
    }
    findings.extend(files::overlapping_files(watched));
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

fn strips<'a>(series: &[&'a Watched]) -> BTreeSet<Option<&'a str>> {
    series.iter().map(|series| series.row.strip_id.as_deref()).collect()
}
