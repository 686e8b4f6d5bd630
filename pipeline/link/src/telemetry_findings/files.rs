//! Findings about logs that stand in two files.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_tables::{Finding, Severity};

use super::words::count;
use crate::telemetry_watch::Watched;

/// What a file shares with another one.
#[derive(Default)]
struct Shared<'a> {
    other_file: &'a str,
    first_row: Option<i64>,
    strips: BTreeSet<Option<&'a str>>,
    /// Whether a strip's log is the same in both, row by row.
    copied: bool,
}

/// Logs of one strip and row unit that overlap in time with those of another file: at most one finding a file and
/// field-season, which names the other file.
pub(crate) fn overlapping_files(watched: &[Watched]) -> Vec<Finding> {
    let mut logs: BTreeMap<_, Vec<&Watched>> = BTreeMap::new();
    for log in watched {
        let row = &log.row;
        let key = (&row.field_id, row.season, &row.strip_id, &row.planter_id, &row.row_unit);
        logs.entry(key).or_default().push(log);
    }
    let mut shared: BTreeMap<(&str, &str, i64), Shared> = BTreeMap::new();
    for mut logs in logs.into_values().filter(|logs| logs.len() > 1) {
        logs.sort_by_key(|log| (log.row.started_at, &log.row.source_file));
        for (earlier, later) in logs.iter().zip(logs.iter().skip(1)) {
            if later.row.started_at >= earlier.row.ended_at {
                continue;
            }
            let entry = shared.entry((&later.row.source_file, &later.row.field_id, later.row.season)).or_default();
            let copied = is_copy(earlier, later);
            // A file that holds the same rows is the one to name.
            if entry.other_file.is_empty() || (copied && !entry.copied) {
                entry.other_file = &earlier.row.source_file;
            }
            entry.copied |= copied;
            entry.first_row = entry.first_row.into_iter().chain([later.seen.first_row]).min();
            entry.strips.insert(later.row.strip_id.as_deref());
        }
    }
    shared.into_iter().map(|((file, field_id, season), shared)| finding(file, field_id, season, &shared)).collect()
}

/// Whether two logs hold the same times and measured values, row by row.
fn is_copy(a: &Watched, b: &Watched) -> bool {
    a.row.rows == b.row.rows && a.seen.fingerprint.is_some() && a.seen.fingerprint == b.seen.fingerprint
}

fn finding(file: &str, field_id: &str, season: i64, shared: &Shared) -> Finding {
    let strips = count(shared.strips.len() as u64, "strip", "strips");
    let other = shared.other_file;
    let (severity, message, remedy) = if shared.copied {
        (
            Severity::Warning,
            format!("the log stands in {other} too, row by row, and its rows count twice in the means; {strips}"),
            "take one of the two files out of raw/",
        )
    } else {
        (
            Severity::Note,
            format!("the log overlaps in time with that of {other}; {strips}"),
            "check that no row stands in both files; where they are of different row units, name these in row_unit",
        )
    };
    Finding::new(severity, "telemetry_in_two_files", message)
        .table("setting_log")
        .source(file, shared.first_row)
        .field(field_id, season)
        .remedy(remedy)
}
