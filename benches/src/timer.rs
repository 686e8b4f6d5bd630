//! A plain timer.

use std::hint::black_box;
use std::time::{Duration, Instant};

/// Seconds of the runs of one case.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Timing {
    /// Middle run.
    pub median: f64,
    /// Fastest run.
    pub fastest: f64,
    /// Slowest run.
    pub slowest: f64,
    /// Number of runs.
    pub runs: usize,
}

/// A case runs at least so often, and until this time is spent or the most runs are done.
#[derive(Debug, Clone, Copy)]
pub struct Effort {
    /// Fewest runs.
    pub fewest: usize,
    /// Most runs.
    pub most: usize,
    /// Time after which a case that has its fewest runs stops.
    pub enough: Duration,
}

/// Times `work`, after one run that does not count.
///
/// # Errors
/// Two runs with different results: the same input must give the same bytes.
pub fn time(effort: Effort, mut work: impl FnMut() -> f64) -> Result<Timing, String> {
    let first = work();
    let begin = Instant::now();
    let mut seconds = Vec::new();
    while seconds.len() < effort.fewest || (seconds.len() < effort.most && begin.elapsed() < effort.enough) {
        let clock = Instant::now();
        let again = black_box(work());
        seconds.push(clock.elapsed().as_secs_f64());
        if again.to_bits() != first.to_bits() {
            return Err(format!("two runs differ: {first:e} and {again:e}"));
        }
    }
    Ok(Timing::of(seconds))
}

impl Timing {
    fn of(mut seconds: Vec<f64>) -> Self {
        seconds.sort_by(f64::total_cmp);
        let runs = seconds.len();
        let median = 0.5 * (seconds[(runs - 1) / 2] + seconds[runs / 2]);
        Self { median, fastest: seconds[0], slowest: seconds[runs - 1], runs }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_median_is_the_middle_or_the_mean_of_the_two_middle_runs() {
        let odd = Timing::of(vec![3.0, 1.0, 2.0]);
        assert_eq!((odd.median, odd.fastest, odd.slowest, odd.runs), (2.0, 1.0, 3.0, 3));
        assert_eq!(Timing::of(vec![4.0, 1.0, 2.0, 8.0]).median, 3.0);
    }

    #[test]
    fn work_that_changes_its_answer_is_refused() {
        let effort = Effort { fewest: 2, most: 2, enough: Duration::ZERO };
        let mut calls = 0.0;
        let refused = time(effort, || {
            calls += 1.0;
            calls
        });
        assert!(refused.is_err());
        assert_eq!(time(effort, || 1.0).map(|timing| timing.runs), Ok(2));
    }
}
