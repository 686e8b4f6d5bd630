//! The promises as lines to hold, and which scenario misses which.

use crate::tally::{Estimate, Tally};

/// Coverage asked of the 90 % set, share asked of settled starts, share of flat truths that may be called anything else.
const COVERAGE: f64 = 0.87;
const SETTLED_RIGHT: f64 = 0.80;
const FALSE_SHAPE: f64 = 0.05;

/// A promise.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Line {
    Coverage,
    SettledRight,
    FlatIsFlat,
    NoWorse,
    LogsNeverSettled,
    NoFailure,
}

/// A line that one row misses.
#[derive(Debug, Clone, PartialEq)]
pub struct Miss {
    pub scenario: String,
    pub what: String,
    /// Whether chance in so many reviews explains it (two Monte Carlo standard errors).
    pub within_error: bool,
}

impl Line {
    pub const ALL: [Line; 6] =
        [Line::Coverage, Line::SettledRight, Line::FlatIsFlat, Line::NoWorse, Line::LogsNeverSettled, Line::NoFailure];

    /// The promise in words.
    pub fn words(self) -> String {
        match self {
            Line::Coverage => format!(
                "The 90 % set of forces that can be the best holds the best of a new field in at least {COVERAGE:.2}, over answers that claim evidence"
            ),
            Line::SettledRight => {
                format!("A settled start is within 2 points of the best in at least {SETTLED_RIGHT:.2} of new fields")
            }
            Line::FlatIsFlat => format!(
                "Where force does nothing, at most {FALSE_SHAPE:.2} of answers name a shape other than flat or untold"
            ),
            Line::NoWorse => "The mean loss is no more than that of any simpler way, by two Monte Carlo standard errors of the paired difference; where force does nothing, than that of the default".into(),
            Line::LogsNeverSettled => "What rests on logs alone is never settled".into(),
            Line::NoFailure => "Every review has a usable answer".into(),
        }
    }

    /// Whether a row can hold or miss the line.
    pub fn applies(self, tally: &Tally) -> bool {
        match self {
            Line::Coverage => tally.covered_spoken.count > 0,
            Line::SettledRight => tally.settled_right.count > 0,
            Line::FlatIsFlat => !tally.has_effect,
            Line::LogsNeverSettled => tally.is_logs,
            Line::NoWorse | Line::NoFailure => true,
        }
    }

    /// What one row misses; nothing where it holds the line.
    pub fn misses(self, tally: &Tally) -> Vec<Miss> {
        let miss = |what: String, within_error: bool| Miss { scenario: tally.name(), what, within_error };
        match self {
            Line::Coverage => below("coverage of the 90 % set", tally.covered_spoken, COVERAGE, miss),
            Line::SettledRight => below("settled right", tally.settled_right, SETTLED_RIGHT, miss),
            Line::FlatIsFlat if tally.has_effect => Vec::new(),
            Line::FlatIsFlat => {
                let claimed = tally.claimed.value.unwrap_or(0.0);
                let error = share_error(tally.claimed, FALSE_SHAPE);
                let what = format!("flat truth given a shape in {claimed:.3} ± {error:.3}, line {FALSE_SHAPE:.2}");
                (claimed > FALSE_SHAPE).then(|| miss(what, claimed <= FALSE_SHAPE + 2.0 * error)).into_iter().collect()
            }
            Line::NoWorse => {
                let held_against = if tally.has_effect { tally.rivals.len() } else { 1 };
                let rivals = tally.rivals.iter().take(held_against);
                let worse = rivals.filter_map(|rival| {
                    let (more, error) = (rival.ours_less.value?, rival.ours_less.error?);
                    let missed = if tally.has_effect { more > 2.0 * error } else { more > 0.0 };
                    let what =
                        format!("loses {:.2} ± {:.2} points more than {}", 100.0 * more, 100.0 * error, rival.name);
                    // A trifle of rounding is no loss.
                    (missed && more > 1e-9).then(|| miss(what, more <= 2.0 * error))
                });
                worse.collect()
            }
            Line::LogsNeverSettled => {
                let settled = tally.settled.value.filter(|share| tally.is_logs && *share > 0.0);
                settled.map(|share| miss(format!("logs settled in {share:.3}"), false)).into_iter().collect()
            }
            Line::NoFailure => {
                let why = tally.first_failure.iter();
                why.map(|why| miss(format!("{} failed, the first: {why}", tally.failures), false)).collect()
            }
        }
    }
}

/// A share that lies below its line.
fn below(name: &str, share: Estimate, line: f64, miss: impl Fn(String, bool) -> Miss) -> Vec<Miss> {
    let Some(value) = share.value.filter(|value| *value < line) else { return Vec::new() };
    let error = share_error(share, line);
    let what = format!("{name} {value:.3} ± {error:.3} over {} answers, line {line:.2}", share.count);
    vec![miss(what, value >= line - 2.0 * error)]
}

/// Error of a share, never less than that of independent answers on the line itself: a run of all or none has no spread of its own.
fn share_error(estimate: Estimate, line: f64) -> f64 {
    estimate.error.unwrap_or(0.0).max((line * (1.0 - line) / estimate.count.max(1) as f64).sqrt())
}
