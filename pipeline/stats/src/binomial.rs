//! Two-sided intervals for one binomial share.

use crate::checks::check_level;
use crate::distribution::{normal_quantile, solve_bracketed};
use crate::error::{Result, StatsError};
use crate::interval::Interval;
use statrs::function::beta::beta_reg;

/// Exact Clopper-Pearson interval for the share behind `successes` of `trials` (Clopper & Pearson 1934), from beta quantiles.
/// Covers with at least the stated `level`; the limits at 0 and at all successes are exactly 0 and 1.
///
/// # Errors
/// More successes than trials, no trials, or a level outside (0, 1).
pub fn clopper_pearson(successes: u64, trials: u64, level: f64) -> Result<Interval> {
    check(successes, trials, level)?;
    let tail = 0.5 * (1.0 - level);
    let (x, n) = (successes as f64, trials as f64);
    let low =
        if successes == 0 { 0.0 } else { solve_bracketed(|share| beta_reg(x, n - x + 1.0, share) - tail, 0.0, 1.0) };
    // Solved from the other side by the symmetry of the binomial, so that the small tail is the one compared.
    let high = if successes == trials {
        1.0
    } else {
        1.0 - solve_bracketed(|share| beta_reg(n - x, x + 1.0, share) - tail, 0.0, 1.0)
    };
    Ok(Interval { low, high })
}

/// Wilson's score interval (Wilson 1927): close to the stated level on average, shorter than the exact one.
///
/// # Errors
/// More successes than trials, no trials, or a level outside (0, 1).
pub fn wilson(successes: u64, trials: u64, level: f64) -> Result<Interval> {
    check(successes, trials, level)?;
    let z = normal_quantile(0.5 + 0.5 * level);
    let n = trials as f64;
    let share = successes as f64 / n;
    let centre = share + z * z / (2.0 * n);
    let half = z * (share * (1.0 - share) / n + z * z / (4.0 * n * n)).sqrt();
    let scale = 1.0 + z * z / n;
    // At 0 and at all successes one limit is exact; rounding would leave it a hair outside.
    Ok(Interval {
        low: if successes == 0 { 0.0 } else { (centre - half) / scale },
        high: if successes == trials { 1.0 } else { (centre + half) / scale },
    })
}

fn check(successes: u64, trials: u64, level: f64) -> Result<()> {
    if trials == 0 {
        return Err(StatsError::OutOfRange { what: "the number of trials", value: 0.0, expected: "at least 1" });
    }
    if successes > trials {
        return Err(StatsError::OutOfRange {
            what: "the number of successes",
            value: successes as f64,
            expected: "at most the number of trials",
        });
    }
    check_level("the confidence level", level)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_success_has_the_closed_form_upper_limit() {
        // 1 - (alpha/2)^(1/n)
        let interval = clopper_pearson(0, 20, 0.95).expect("valid");
        assert_eq!(interval.low, 0.0);
        assert!((interval.high - (1.0 - 0.025_f64.powf(1.0 / 20.0))).abs() < 1e-14);
    }

    #[test]
    fn intervals_mirror_when_successes_and_failures_swap() {
        for method in [clopper_pearson, wilson] {
            let one = method(3, 11, 0.9).expect("valid");
            let other = method(8, 11, 0.9).expect("valid");
            assert!((one.low - (1.0 - other.high)).abs() < 1e-14);
            assert!((one.high - (1.0 - other.low)).abs() < 1e-14);
        }
    }

    #[test]
    fn impossible_counts_are_refused() {
        assert!(clopper_pearson(3, 2, 0.95).is_err());
        assert!(wilson(0, 0, 0.95).is_err());
        assert!(wilson(1, 2, 1.0).is_err());
    }
}
