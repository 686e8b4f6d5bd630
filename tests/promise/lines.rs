//! Which promises a scenario does not keep.

use crate::tally::{Estimate, Tally};

/// Coverage asked of the 90 % set, share asked of settled starts, share of flat truths that may be called anything else.
pub const COVERAGE: f64 = 0.87;
pub const SETTLED_RIGHT: f64 = 0.80;
pub const FALSE_SHAPE: f64 = 0.05;

/// A line that a scenario misses.
#[derive(Debug, Clone, PartialEq)]
pub struct Miss {
    pub scenario: String,
    pub line: String,
    /// Whether chance in so many reviews explains it (two Monte Carlo standard errors).
    pub within_error: bool,
}

/// Every line that one row misses.
pub fn misses(tally: &Tally) -> Vec<Miss> {
    let mut found = Vec::new();
    let mut miss = |line: String, within_error: bool| {
        found.push(Miss { scenario: tally.name(), line, within_error });
    };
    for (what, estimate, line) in [
        ("coverage of the 90 % set", tally.covered_spoken, COVERAGE),
        ("settled right", tally.settled_right, SETTLED_RIGHT),
    ] {
        if let Some(value) = estimate.value.filter(|value| *value < line) {
            let error = share_error(estimate, line);
            miss(
                format!("{what} {value:.3} (error {error:.3}, {} answers), line {line:.2}", estimate.count),
                value >= line - 2.0 * error,
            );
        }
    }
    if !tally.has_effect && tally.claimed_shape() > FALSE_SHAPE {
        let claimed = tally.claimed_shape();
        let error = (claimed * (1.0 - claimed) / tally.settled.count as f64).sqrt();
        miss(
            format!("flat truth given a shape in {claimed:.3} (error {error:.3}), line {FALSE_SHAPE:.2}"),
            claimed <= FALSE_SHAPE + 2.0 * error,
        );
    }
    let held_against = if tally.has_effect { tally.rivals.len() } else { 1 };
    for rival in tally.rivals.iter().take(held_against) {
        let (Some(more), Some(error)) = (rival.ours_less.value, rival.ours_less.error) else { continue };
        if more > 1e-12 && (more > 2.0 * error || !tally.has_effect) {
            miss(
                format!("loses {:.2} points more than {} (error {:.2})", 100.0 * more, rival.name, 100.0 * error),
                more <= 2.0 * error,
            );
        }
    }
    if tally.is_logs && tally.settled.value.is_some_and(|share| share > 0.0) {
        miss("logs called settled".into(), false);
    }
    if tally.failures > 0 {
        let why = tally.first_failure.as_deref().unwrap_or("unknown");
        miss(format!("{} answers failed, the first: {why}", tally.failures), false);
    }
    found
}

/// Error of a share, never less than that of independent answers on the line itself: a run of all or none has no spread of its own.
fn share_error(estimate: Estimate, line: f64) -> f64 {
    estimate.error.unwrap_or(0.0).max((line * (1.0 - line) / estimate.count.max(1) as f64).sqrt())
}
