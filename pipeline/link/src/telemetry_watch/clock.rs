//! The clock of a log: its usual step, rows that run back or stand still, gaps and jumps.

use super::sample::{Limits, SECOND, Sample, Seen};

const HOUR: i64 = 3600 * SECOND;
const DAY: i64 = 24 * HOUR;
/// Zones of the world lie at most 14 hours from UTC (IANA time zone database).
const MOST_HOURS: i64 = 14;
/// Steps forward that the usual step is taken from.
const STEPS_LEARNT: usize = 31;
/// Rows that are waited for, where times stand still.
const ROWS_LEARNT: usize = 128;

/// What lies between a row and the one above it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Step {
    /// Time for which the row above holds, in microseconds.
    pub held: i64,
    /// Whether the rows belong to different stretches: a gap or a jump lies between them.
    pub broken: bool,
}

/// The clock of one log and row unit.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Clock {
    /// Usual step in microseconds; 0 where no time ever moved forward.
    pub usual: i64,
    /// Longest step that is no gap, in microseconds: at most a day, so that no sum of steps overflows.
    limit: i64,
    pub started: Option<i64>,
    pub ended: Option<i64>,
    pub back: Seen,
    pub same_time: Seen,
    pub repeated: Seen,
    pub gaps: Seen,
    pub longest_gap: i64,
    pub jumps: Seen,
    pub hour_jumps: u64,
    /// Whole hours of the first jump by whole hours.
    pub first_hours: i64,
    pub back_jumps: u64,
    /// Jumps back onto the first row of all, with the same values: the log stands there twice.
    pub restarts: u64,
    first: Option<Sample>,
}

impl Clock {
    /// Whether these first rows are enough to tell the usual step.
    pub fn can_learn(first: &[Sample]) -> bool {
        // Each row adds one step, so fewer rows need no look.
        first.len() > STEPS_LEARNT && (first.len() >= ROWS_LEARNT || forward_steps(first).count() >= STEPS_LEARNT)
    }

    /// Takes the usual step from the first rows: the median of their steps forward, of two in the middle the shorter.
    pub fn learn(&mut self, first: &[Sample], limits: &Limits) {
        let mut steps: Vec<i64> = forward_steps(first).collect();
        steps.sort_unstable();
        self.usual = steps.get(steps.len().saturating_sub(1) / 2).copied().unwrap_or(0);
        self.limit = ((self.usual as f64 * limits.gap_steps) as i64).max(limits.gap).min(DAY);
    }

    /// Whether a step is one forward, and no gap.
    pub fn is_ordinary(&self, length: i64) -> bool {
        (1..=self.limit).contains(&length)
    }

    /// Takes the time of a row, without judging the step to it.
    pub fn see(&mut self, row: &Sample) {
        self.first.get_or_insert(*row);
        self.started = Some(self.started.map_or(row.time, |time| time.min(row.time)));
        self.ended = Some(self.ended.map_or(row.time, |time| time.max(row.time)));
    }

    /// Judges the step from the row above.
    pub fn step(&mut self, above: &Sample, row: &Sample, limits: &Limits) -> Step {
        let length = row.time.saturating_sub(above.time);
        if self.is_ordinary(length) {
            return Step { held: length, broken: false };
        }
        if length == 0 {
            self.same_time.at(row.source_row);
            if row.repeats(above) {
                self.repeated.at(row.source_row);
            }
            return Step { held: 0, broken: false };
        }
        if length < 0 {
            self.back.at(row.source_row);
        }
        let hours = self.whole_hours(length);
        if length > DAY || length < -limits.back || hours.is_some() {
            self.jumps.at(row.source_row);
            self.back_jumps += u64::from(length < 0);
            let restarts = self.first.is_some_and(|first| first.time == row.time && row.repeats(&first));
            self.restarts += u64::from(length < 0 && restarts);
            if let Some(hours) = hours {
                if self.hour_jumps == 0 {
                    self.first_hours = hours;
                }
                self.hour_jumps += 1;
            }
            // How long the row truly held is not known; the usual step is the best guess.
            return Step { held: self.usual.min(self.limit), broken: true };
        }
        if length < 0 {
            return Step { held: 0, broken: false };
        }
        self.gaps.at(row.source_row);
        self.longest_gap = self.longest_gap.max(length);
        Step { held: self.limit, broken: true }
    }

    /// Whole hours by which a step differs from the usual one, where they are 1 to 14, to the usual step (1 to 5 s).
    fn whole_hours(&self, length: i64) -> Option<i64> {
        let beyond = length.saturating_sub(self.usual);
        let hours = (beyond as f64 / HOUR as f64).round() as i64;
        let slack = self.usual.clamp(SECOND, 5 * SECOND);
        let fits = (1..=MOST_HOURS).contains(&hours.abs()) && (beyond - hours * HOUR).abs() <= slack;
        (fits && self.usual > 0).then_some(hours)
    }
}

fn forward_steps(rows: &[Sample]) -> impl Iterator<Item = i64> {
    rows.windows(2).map(|pair| pair[1].time.saturating_sub(pair[0].time)).filter(|step| *step > 0)
}
