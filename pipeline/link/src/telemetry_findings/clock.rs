//! Findings about the clock of a log: jumps, order, equal times, repeated rows, gaps.

use evenstand_tables::{Finding, Severity};

use super::Log;
use super::words::{count, seconds, severity, times, whole};
use crate::telemetry_watch::Watched;

impl Log<'_> {
    pub fn clock_jumps(&self) -> Option<Finding> {
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
            None if direction == "forward" => (
                ", by more than a day: the clock is wrong, or planting stopped".to_owned(),
                "nothing has to be done where the strip was planted on two days; else check the clock of the logger",
            ),
            None => (
                String::new(),
                "check the clock of the logger and the order of the rows; do not trust the start times of these strips",
            ),
        };
        let message = format!("the clock jumps {direction} {}{slip}{}", times(jumps), affected.place());
        Some(affected.finding(Severity::Warning, "telemetry_clock_jump", message, remedy, |seen| seen.jumps.first_row))
    }

    pub fn time_order(&self) -> Option<Finding> {
        let back = |series: &Watched| series.seen.back.times.saturating_sub(series.seen.back_jumps);
        let affected = self.affected(|series| back(series) > 0)?;
        let rows = count(affected.sum(back), "row runs back in time", "rows run back in time");
        let message = format!("{rows}{}", affected.place());
        let remedy =
            "nothing has to be done for the means; export the log in the order of time where lags and turns matter";
        Some(affected.finding(Severity::Note, "telemetry_time_order", message, remedy, |seen| seen.back.first_row))
    }

    pub fn same_time(&self) -> Option<Finding> {
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

    pub fn repeated_rows(&self) -> Option<Finding> {
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

    pub fn gaps(&self) -> Option<Finding> {
        let affected = self.affected(|series| series.seen.gaps.times > 0)?;
        let gaps = count(affected.sum(|series| series.seen.gaps.times), "gap", "gaps");
        let longest = affected.largest(|row| row.longest_gap_s).unwrap_or_default();
        let message = format!("{gaps} in the log, the longest {}{}", seconds(longest), affected.place());
        let remedy =
            "nothing has to be done where the planter stood or a turn was not logged; else look for a lost signal";
        Some(affected.finding(Severity::Note, "telemetry_gaps", message, remedy, |seen| seen.gaps.first_row))
    }
}

/// Whether rows of the same time are repeated ones. Where most of them differ the clock is coarse, and a planter that
/// stands still then gives equal rows that are no repetition.
fn repeats_rows(series: &Watched) -> bool {
    let (repeated, same_time) = (series.seen.repeated.times, series.seen.same_time.times);
    repeated > 0 && repeated.saturating_mul(2) >= same_time
}
