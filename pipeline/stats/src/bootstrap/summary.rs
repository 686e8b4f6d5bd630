//! What bootstrap replicates say: limits, standard errors and p-values, with failed replicates counted in.

use crate::checks::check_level;
use crate::error::{Result, StatsError};
use crate::interval::Interval;
use crate::note::Note;

/// A replicate without an answer.
#[derive(Debug, Clone, PartialEq)]
pub struct BootstrapFailure {
    /// Zero-based number of the replicate.
    pub replicate: usize,
    /// What went wrong.
    pub reason: String,
}

/// Direction in which a statistic speaks against a hypothesis.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tail {
    /// Large values.
    Upper,
    /// Small values.
    Lower,
}

/// Replicates of one or several statistics.
///
/// Failed replicates are never left out: where a value is needed, they count on the side that makes the answer more careful.
#[derive(Debug, Clone, PartialEq)]
pub struct Bootstrap {
    observed: Vec<f64>,
    /// Statistics of each replicate; NaN where there is no answer.
    values: Vec<Vec<f64>>,
    failures: Vec<BootstrapFailure>,
    not_converged: usize,
    distinct_resamples: Option<f64>,
    notes: Vec<Note>,
}

impl Bootstrap {
    /// Gathers replicates: statistics with the word whether the fit converged, or the reason of the failure.
    pub(super) fn gather(observed: Vec<f64>, replicates: Vec<std::result::Result<(Vec<f64>, bool), String>>) -> Self {
        let mut bootstrap = Self {
            values: Vec::with_capacity(replicates.len()),
            failures: Vec::new(),
            not_converged: 0,
            distinct_resamples: None,
            notes: Vec::new(),
            observed,
        };
        let width = bootstrap.observed.len();
        for (replicate, outcome) in replicates.into_iter().enumerate() {
            let outcome = outcome.and_then(|(values, converged)| {
                if values.len() == width {
                    Ok((values, converged))
                } else {
                    Err(format!("the statistic gave {} values, expected {width}", values.len()))
                }
            });
            match outcome {
                Ok((values, converged)) => {
                    bootstrap.not_converged += usize::from(!converged);
                    if let Some(k) = values.iter().position(|value| value.is_nan()) {
                        let reason = format!("statistic {k} is not a number");
                        bootstrap.failures.push(BootstrapFailure { replicate, reason });
                    }
                    bootstrap.values.push(values);
                }
                Err(reason) => {
                    bootstrap.values.push(vec![f64::NAN; width]);
                    bootstrap.failures.push(BootstrapFailure { replicate, reason });
                }
            }
        }
        if let Some(first) = bootstrap.failures.first() {
            bootstrap.notes.push(Note::new(
                "bootstrap-failures",
                format!(
                    "{} of {} replicates have no answer and count as the most extreme ones; the first: {}",
                    bootstrap.failures.len(),
                    bootstrap.values.len(),
                    first.reason
                ),
            ));
        }
        if bootstrap.not_converged > 0 {
            bootstrap.notes.push(Note::new(
                "bootstrap-stopped-early",
                format!(
                    "in {} of {} replicates the search for the standard deviations stopped early; their values are used",
                    bootstrap.not_converged,
                    bootstrap.values.len()
                ),
            ));
        }
        bootstrap
    }

    /// Says how many different resamples `groups` whole groups allow, with a note when they are few.
    pub(super) fn with_groups(mut self, groups: usize) -> Self {
        // Multisets of size G from G groups: (2 G - 1) choose G.
        let distinct: f64 = (1..=groups).map(|k| (groups - 1 + k) as f64 / k as f64).product::<f64>().round();
        self.distinct_resamples = Some(distinct);
        if distinct < 2000.0 {
            self.notes.push(Note::new(
                "few-resamples",
                format!(
                    "{groups} groups allow only {distinct} different resamples ({groups}^{groups} in any order): limits far out \
                     in the tails are not told by these data"
                ),
            ));
        }
        self
    }

    /// Statistics of the original fit.
    pub fn observed(&self) -> &[f64] {
        &self.observed
    }

    /// Number of replicates, failed ones included.
    pub fn replicates(&self) -> usize {
        self.values.len()
    }

    /// Values of statistic `k` in every replicate, NaN where there is no answer.
    ///
    /// # Errors
    /// No such statistic.
    pub fn values(&self, k: usize) -> Result<Vec<f64>> {
        if k >= self.observed.len() {
            return Err(StatsError::OutOfRange {
                what: "the number of the statistic",
                value: k as f64,
                expected: "a number below the number of statistics",
            });
        }
        Ok(self.values.iter().map(|row| row[k]).collect())
    }

    /// Replicates without an answer.
    pub fn failures(&self) -> &[BootstrapFailure] {
        &self.failures
    }

    /// Replicates whose search stopped early; their values are in use.
    pub fn not_converged(&self) -> usize {
        self.not_converged
    }

    /// Number of different resamples (order aside) that the groups allow; `None` for a parametric bootstrap.
    pub fn distinct_resamples(&self) -> Option<f64> {
        self.distinct_resamples
    }

    /// Remarks.
    pub fn notes(&self) -> &[Note] {
        &self.notes
    }

    /// Percentile limits of statistic `k`: sample quantiles (type 7) at `(1 ∓ confidence) / 2`. Failed replicates count as -∞ for the
    /// lower and as +∞ for the upper limit.
    ///
    /// # Errors
    /// No such statistic, a confidence outside (0, 1).
    pub fn percentile(&self, k: usize, confidence: f64) -> Result<Interval> {
        check_level("the confidence", confidence)?;
        let values = self.values(k)?;
        let tail = 0.5 - 0.5 * confidence;
        let upper = outer_quantile(&values, tail, 1.0);
        let lower = outer_quantile(&values, tail, -1.0);
        Ok(Interval { low: lower, high: upper })
    }

    /// Basic limits of statistic `k`: the percentile limits mirrored at the observed value (Davison & Hinkley 1997).
    ///
    /// # Errors
    /// As [`Bootstrap::percentile`].
    pub fn basic(&self, k: usize, confidence: f64) -> Result<Interval> {
        let percentile = self.percentile(k, confidence)?;
        let twice = 2.0 * self.observed[k];
        Ok(Interval { low: twice - percentile.high, high: twice - percentile.low })
    }

    /// Standard deviation of statistic `k` over the replicates; infinite when some have no finite answer, for a spread without them
    /// would be too small.
    ///
    /// # Errors
    /// No such statistic, fewer than two replicates.
    pub fn std_error(&self, k: usize) -> Result<f64> {
        let values = self.values(k)?;
        if values.iter().any(|value| !value.is_finite()) {
            return Ok(f64::INFINITY);
        }
        crate::summary::standard_deviation(&values)
    }

    /// `(b + 1) / (B + 1)` with b the replicates of statistic `k` at least as extreme as `value`, failed ones included
    /// (Phipson & Smyth 2010): a valid p-value of `value` when the replicates were drawn under the hypothesis. Never zero.
    ///
    /// # Errors
    /// No such statistic, a `value` that is not a number.
    pub fn p_value(&self, k: usize, value: f64, tail: Tail) -> Result<f64> {
        if value.is_nan() {
            return Err(StatsError::NotFinite { what: "the value to judge".into(), position: 0, value });
        }
        let values = self.values(k)?;
        let extreme = values.iter().filter(|replicate| match tail {
            Tail::Upper => !(**replicate < value),
            Tail::Lower => !(**replicate > value),
        });
        Ok((extreme.count() + 1) as f64 / (values.len() + 1) as f64)
    }

    /// Share of replicates in which statistic `k` meets a condition; failed ones do not meet it.
    ///
    /// # Errors
    /// No such statistic.
    pub fn share(&self, k: usize, condition: impl Fn(f64) -> bool) -> Result<f64> {
        let values = self.values(k)?;
        let met = values.iter().filter(|value| !value.is_nan() && condition(**value)).count();
        Ok(met as f64 / values.len() as f64)
    }
}

/// Quantile with probability `tail` beyond it on the side `sign`; values that are not numbers stand at infinity on that side.
fn outer_quantile(values: &[f64], tail: f64, sign: f64) -> f64 {
    let mut sorted: Vec<f64> =
        values.iter().map(|value| if value.is_nan() { f64::INFINITY } else { sign * value }).collect();
    sorted.sort_by(|a, b| b.total_cmp(a));
    let position = (sorted.len() - 1) as f64 * tail;
    let at = position.floor() as usize;
    let share = position - position.floor();
    let next = sorted[(at + 1).min(sorted.len() - 1)];
    let outer = sorted[at];
    // Between an infinite and a finite value every interpolation is infinite.
    let value =
        if share == 0.0 || outer == next || outer.is_infinite() { outer } else { outer + share * (next - outer) };
    sign * value
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(values: &[f64]) -> Bootstrap {
        Bootstrap::gather(vec![2.0], values.iter().map(|v| Ok((vec![*v], true))).collect())
    }

    #[test]
    fn limits_without_failures_are_plain_quantiles() {
        let values: Vec<f64> = (0..41).map(|k| f64::from((k * 7) % 41)).collect();
        let limits = of(&values).percentile(0, 0.9).unwrap();
        assert!((limits.low - 2.0).abs() < 1e-12 && (limits.high - 38.0).abs() < 1e-12);
        let basic = of(&values).basic(0, 0.9).unwrap();
        assert!((basic.low + 34.0).abs() < 1e-12 && (basic.high - 2.0).abs() < 1e-12);
    }

    #[test]
    fn failures_widen_limits_and_raise_p_values() {
        let mut values: Vec<f64> = (0..40).map(f64::from).collect();
        let (before, p) = (of(&values), of(&values).p_value(0, 38.0, Tail::Upper).unwrap());
        assert_eq!(p, 3.0 / 41.0);
        values.push(f64::NAN);
        let after = of(&values);
        assert_eq!((after.failures().len(), after.replicates()), (1, 41));
        let (narrow, wide) = (before.percentile(0, 0.9).unwrap(), after.percentile(0, 0.9).unwrap());
        assert!(wide.low < narrow.low && wide.high > narrow.high);
        assert_eq!(after.percentile(0, 0.999).unwrap().high, f64::INFINITY);
        assert_eq!(after.p_value(0, 38.0, Tail::Upper).unwrap(), 4.0 / 42.0);
        assert_eq!(after.std_error(0).unwrap(), f64::INFINITY);
        assert_eq!(after.notes()[0].code, "bootstrap-failures");
    }

    #[test]
    fn few_groups_allow_few_different_resamples() {
        let three = of(&[1.0, 2.0]).with_groups(3);
        assert_eq!(three.distinct_resamples(), Some(10.0));
        assert_eq!(three.notes()[0].code, "few-resamples");
        assert_eq!(of(&[1.0, 2.0]).with_groups(10).distinct_resamples(), Some(92378.0));
    }
}
