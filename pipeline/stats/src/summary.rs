//! Means, spreads and quantiles of plain numbers or posterior draws.

use crate::checks::{check_finite, check_length};
use crate::error::{Result, StatsError};

/// Arithmetic mean.
///
/// # Errors
/// No values.
pub fn mean(values: &[f64]) -> Result<f64> {
    need("a mean", values.len(), 1)?;
    let first = values.iter().sum::<f64>() / values.len() as f64;
    // One correction pass removes the rounding of the long sum.
    Ok(first + values.iter().map(|value| value - first).sum::<f64>() / values.len() as f64)
}

/// Standard deviation with divisor n - 1.
///
/// # Errors
/// Fewer than two values.
pub fn standard_deviation(values: &[f64]) -> Result<f64> {
    need("a standard deviation", values.len(), 2)?;
    let centre = mean(values)?;
    let sum: f64 = values.iter().map(|value| (value - centre).powi(2)).sum();
    Ok((sum / (values.len() - 1) as f64).sqrt())
}

/// Weighted mean `Σ w x / Σ w`.
///
/// # Errors
/// Lengths that differ, no values, negative weights or weights that sum to zero.
pub fn weighted_mean(values: &[f64], weights: &[f64]) -> Result<f64> {
    need("a weighted mean", values.len(), 1)?;
    check_length("the weights", weights.len(), values.len())?;
    check_finite("the weights", weights)?;
    let total: f64 = weights.iter().sum();
    if let Some(position) = weights.iter().position(|&weight| weight < 0.0) {
        return Err(StatsError::Weight { position, value: weights[position] });
    }
    if total <= 0.0 {
        return Err(StatsError::OutOfRange {
            what: "the sum of weights",
            value: total,
            expected: "a number above zero",
        });
    }
    Ok(values.iter().zip(weights).map(|(x, w)| x * w).sum::<f64>() / total)
}

/// Sample quantile by linear interpolation of order statistics, at position `(n - 1) p` (type 7 of Hyndman & Fan 1996).
///
/// # Errors
/// No values, a value that is not a number, or `p` outside [0, 1].
pub fn quantile(values: &[f64], p: f64) -> Result<f64> {
    check_quantile(values, p)?;
    let (below, share) = place(values.len(), p);
    let (low, high) = order_statistics(&mut values.to_vec(), below);
    Ok(between(low, high, share))
}

/// [`quantile`] at two probabilities, `low` not above `high`: the limits of an interval, for little more than one of them takes.
///
/// # Errors
/// As [`quantile`]; `low` above `high`.
pub fn limits(values: &[f64], low: f64, high: f64) -> Result<(f64, f64)> {
    check_quantile(values, low)?;
    check_quantile(values, high)?;
    if low > high {
        return Err(StatsError::OutOfRange {
            what: "the lower probability",
            value: low,
            expected: "at most the upper",
        });
    }
    let ((first, first_share), (second, second_share)) = (place(values.len(), low), place(values.len(), high));
    let mut values = values.to_vec();
    let upper = order_statistics(&mut values, second);
    // What lies below the upper limit has the lower one among it, but for the neighbour that is the upper one itself.
    let lower = order_statistics(&mut values[..=second], first);
    let lower = if first == second { upper } else { lower };
    Ok((between(lower.0, lower.1, first_share), between(upper.0, upper.1, second_share)))
}

/// The order statistic of this number and the next above it; the values below it come before it.
fn order_statistics(values: &mut [f64], number: usize) -> (f64, f64) {
    let (_, at, above) = values.select_nth_unstable_by(number, f64::total_cmp);
    let at = *at;
    (at, above.iter().copied().min_by(f64::total_cmp).unwrap_or(at))
}

/// [`quantile`] of values that are already in ascending order, for many quantiles of one sample.
///
/// # Errors
/// As [`quantile`].
pub fn quantile_of_sorted(sorted: &[f64], p: f64) -> Result<f64> {
    check_quantile(sorted, p)?;
    let (below, share) = place(sorted.len(), p);
    Ok(between(sorted[below], sorted.get(below + 1).copied().unwrap_or(sorted[below]), share))
}

fn check_quantile(values: &[f64], p: f64) -> Result<()> {
    need("a quantile", values.len(), 1)?;
    if !(0.0..=1.0).contains(&p) {
        return Err(StatsError::OutOfRange { what: "the probability", value: p, expected: "a number from 0 to 1" });
    }
    if let Some(position) = values.iter().position(|value| value.is_nan()) {
        return Err(StatsError::NotFinite { what: "the sample".into(), position, value: f64::NAN });
    }
    Ok(())
}

/// Order statistic below the quantile, and how far the quantile lies towards the next.
fn place(count: usize, p: f64) -> (usize, f64) {
    let position = (count - 1) as f64 * p;
    (position.floor() as usize, position - position.floor())
}

fn between(low: f64, high: f64, share: f64) -> f64 {
    if share == 0.0 { low } else { low + share * (high - low) }
}

fn need(what: &'static str, found: usize, needed: usize) -> Result<()> {
    if found >= needed { Ok(()) } else { Err(StatsError::TooFewValues { what, needed, found }) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_interpolate_between_order_statistics() {
        let values = [4.0, 1.0, 3.0, 2.0];
        assert_eq!(quantile(&values, 0.0), Ok(1.0));
        assert_eq!(quantile(&values, 0.5), Ok(2.5));
        assert_eq!(quantile(&values, 0.25), Ok(1.75));
        assert_eq!(quantile(&values, 1.0), Ok(4.0));
    }

    #[test]
    fn two_limits_at_once_are_the_quantiles_one_by_one() {
        let values: Vec<f64> = (0..41).map(|number| f64::from(number * number % 29) - 7.5).collect();
        for count in [1, 2, 3, 20, 41] {
            for (low, high) in [(0.0, 1.0), (0.05, 0.95), (0.49, 0.51), (0.5, 0.5), (0.02, 0.03)] {
                let apart = (quantile(&values[..count], low).unwrap(), quantile(&values[..count], high).unwrap());
                assert_eq!(limits(&values[..count], low, high), Ok(apart), "{count} {low} {high}");
            }
        }
        assert!(limits(&values, 0.6, 0.4).is_err() && limits(&[], 0.1, 0.9).is_err());
    }

    #[test]
    fn a_large_common_offset_costs_no_digits() {
        let values = [1e9 + 0.25, 1e9 + 0.5, 1e9 + 0.75];
        assert_eq!(mean(&values), Ok(1e9 + 0.5));
        assert_eq!(standard_deviation(&values), Ok(0.25));
    }

    #[test]
    fn the_weighted_mean_is_pulled_to_the_heavy_value() {
        assert_eq!(weighted_mean(&[1.0, 5.0], &[3.0, 1.0]), Ok(2.0));
        assert!(weighted_mean(&[1.0, 5.0], &[0.0, 0.0]).is_err());
        assert!(weighted_mean(&[1.0, 5.0], &[2.0, -1.0]).is_err());
    }

    #[test]
    fn empty_samples_are_refused() {
        assert!(mean(&[]).is_err());
        assert!(standard_deviation(&[1.0]).is_err());
        assert!(quantile(&[], 0.5).is_err());
        assert!(quantile(&[1.0, f64::NAN], 0.5).is_err());
    }
}
