//! Multiple comparisons with the best: which settings can still be the best one.

use crate::checks::check_level;
use crate::distribution::{MaximumT, Sides, t_sf};
use crate::error::{Result, StatsError};
use crate::inference::Contrast;
use crate::interval::Interval;
use ndarray::Array2;

/// Whether a large or a small mean is good.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Direction {
    /// The largest mean is the best.
    LargestIsBest,
    /// The smallest mean is the best.
    SmallestIsBest,
}

/// One mean against the best of the others.
#[derive(Debug, Clone, PartialEq)]
pub struct AgainstBest {
    /// Name of the mean.
    pub name: String,
    /// Estimated advantage over the best of the other means; at most one entry is positive.
    pub advantage: f64,
    /// Simultaneous limits for the true advantage. They are constrained: the lower one is never above zero and the upper one never
    /// below. An upper limit of zero means: not the best. A lower limit of zero means: the best, or tied with it.
    pub interval: Interval,
    /// Smallest error rate at which this mean is still ruled out as the best one; 1 for the mean that looks best.
    pub p_value: f64,
    /// One-sided constant of the comparisons of this mean with the others, at the smallest of their degrees of freedom.
    pub critical: f64,
}

impl AgainstBest {
    /// True unless the limits rule this mean out as the best one.
    pub fn can_be_best(&self) -> bool {
        self.interval.high > 0.0
    }
}

/// Limits for `mean_i - max_{j≠i} mean_j` of all means i at once (Hsu 1984; for unequal variances and correlated estimates Hsu 1996).
///
/// With confidence `level` all limits hold together, so the set of means that can be best holds the true best one. Each mean
/// in turn is the control of one-sided Dunnett constants; each difference uses its own degrees of freedom.
#[derive(Debug, Clone, PartialEq)]
pub struct BestComparisons {
    /// One entry per mean, in the order given.
    pub rows: Vec<AgainstBest>,
    /// Confidence level.
    pub level: f64,
    /// What was done, in words.
    pub method: String,
}

impl BestComparisons {
    /// Names of the means that can be the best.
    pub fn can_be_best(&self) -> Vec<&str> {
        self.rows.iter().filter(|row| row.can_be_best()).map(|row| row.name.as_str()).collect()
    }

    /// Compares means that are given by their differences: `differences(i)` gives mean i less each other mean in order, with the
    /// covariance of these differences.
    ///
    /// # Errors
    /// Fewer than two means, a level outside (0, 1), a difference without a standard error, and what `differences` returns.
    pub fn from_differences(
        names: &[String],
        direction: Direction,
        level: f64,
        differences: impl Fn(usize) -> Result<(Vec<Contrast>, Array2<f64>)>,
    ) -> Result<Self> {
        let k = names.len();
        if k < 2 {
            return Err(StatsError::TooFewValues { what: "a comparison with the best", needed: 2, found: k });
        }
        check_level("the confidence level", level)?;
        let sign = if direction == Direction::LargestIsBest { 1.0 } else { -1.0 };
        let mut limits = Vec::with_capacity(k);
        let mut rows = Vec::with_capacity(k);
        let mut constants: Vec<(Array2<f64>, MaximumT)> = Vec::new();
        let mut exact = true;
        for (i, name) in names.iter().enumerate() {
            let (mut contrasts, covariance) = differences(i)?;
            for (contrast, j) in contrasts.iter_mut().zip((0..k).filter(|&j| j != i)) {
                contrast.estimate *= sign;
                if !(contrast.std_error > 0.0) {
                    return Err(StatsError::NotPossible {
                        what: "a comparison with the best".into(),
                        reason: format!("`{name}` less `{}` has a standard error of {}", names[j], contrast.std_error),
                        next: "give each mean once, and rest the fit on repeated plots",
                    });
                }
            }
            let correlation = correlation_of(&covariance);
            // In a balanced trial every mean has the same correlations; the distribution is then built once.
            let same = |known: &Array2<f64>| known.iter().zip(&correlation).all(|(a, b)| (a - b).abs() < 1e-12);
            let maximum = match constants.iter().find(|(known, _)| same(known)) {
                Some((_, maximum)) => maximum.clone(),
                None => {
                    let maximum = MaximumT::new(&correlation, Sides::One)?;
                    constants.push((correlation, maximum.clone()));
                    maximum
                }
            };
            exact &= maximum.is_exact();
            let mut critical: Vec<(f64, f64)> = Vec::new();
            for contrast in &contrasts {
                if !critical.iter().any(|(df, _)| (df / contrast.df - 1.0).abs() < 1e-9 || *df == contrast.df) {
                    critical.push((contrast.df, maximum.quantile(level, contrast.df).value));
                }
            }
            let constant = |df: f64| {
                critical
                    .iter()
                    .find(|(known, _)| (known / df - 1.0).abs() < 1e-9 || *known == df)
                    .map_or(f64::NAN, |(_, value)| *value)
            };
            let smallest = |values: &mut dyn Iterator<Item = f64>| values.fold(f64::INFINITY, f64::min);
            let advantage = smallest(&mut contrasts.iter().map(|c| c.estimate));
            let high = smallest(&mut contrasts.iter().map(|c| c.estimate + constant(c.df) * c.std_error));
            let p_value = smallest(&mut contrasts.iter().map(|c| maximum.sf(-c.t(), c.df).value));
            rows.push(AgainstBest {
                name: name.clone(),
                advantage,
                interval: Interval { low: f64::NAN, high: high.max(0.0) },
                p_value: if advantage >= 0.0 { 1.0 } else { p_value },
                critical: critical.iter().fold(0.0, |largest: f64, (_, value)| largest.max(*value)),
            });
            // Lower limits of every other mean, should mean i be the best one: -(mean_i - mean_j + d se).
            limits.push(contrasts.iter().map(|c| -c.estimate - constant(c.df) * c.std_error).collect::<Vec<f64>>());
        }
        let candidates: Vec<bool> = rows.iter().map(AgainstBest::can_be_best).collect();
        for (i, row) in rows.iter_mut().enumerate() {
            // Position of mean i among the differences of mean j.
            let rivals = (0..k).filter(|&j| j != i && candidates[j]);
            let low = rivals.map(|j| limits[j][if i < j { i } else { i - 1 }]).fold(f64::INFINITY, f64::min);
            row.interval.low = low.min(0.0);
        }
        let how = if exact { "integrated" } else { "quasi-random directions" };
        Ok(BestComparisons {
            rows,
            level,
            method: format!("multiple comparisons with the best (Hsu), one-sided multivariate t, {how}"),
        })
    }
}

fn correlation_of(covariance: &Array2<f64>) -> Array2<f64> {
    Array2::from_shape_fn(covariance.dim(), |(a, b)| {
        let value = covariance[[a, b]] / (covariance[[a, a]] * covariance[[b, b]]).sqrt();
        if a == b { 1.0 } else { value.clamp(-1.0, 1.0) }
    })
}

/// Up to so many means of any correlation the constant is computed; beyond, sampling it takes seconds.
const MOST_SAMPLED: usize = 5;

/// The means that can be the best, as [`BestComparisons::can_be_best`] tells them, without their limits: most means are decided by the
/// t distribution alone, because the constant lies between the quantile of one comparison and Bonferroni's. Of more than five means with
/// correlations that are no product of loadings, only Bonferroni's rules one out: some are kept that the limits would not keep.
///
/// `differences` as in [`BestComparisons::from_differences`]; answers the numbers of the means.
///
/// # Errors
/// As [`BestComparisons::from_differences`].
pub fn can_be_best(
    means: usize,
    direction: Direction,
    level: f64,
    differences: impl Fn(usize) -> Result<(Vec<Contrast>, Array2<f64>)>,
) -> Result<Vec<usize>> {
    if means < 2 {
        return Err(StatsError::TooFewValues { what: "a comparison with the best", needed: 2, found: means });
    }
    check_level("the confidence level", level)?;
    let sign = if direction == Direction::LargestIsBest { 1.0 } else { -1.0 };
    let error = 1.0 - level;
    let mut kept = Vec::new();
    for mean in 0..means {
        let (contrasts, covariance) = differences(mean)?;
        if let Some(contrast) = contrasts.iter().find(|contrast| !(contrast.std_error > 0.0)) {
            return Err(StatsError::NotPossible {
                what: "a comparison with the best".into(),
                reason: format!("a difference of mean {} has a standard error of {}", mean + 1, contrast.std_error),
                next: "give each mean once, and rest the fit on repeated plots",
            });
        }
        // How far a mean lies behind another, and how rarely one comparison alone would put it there.
        let behind: Vec<(f64, f64)> = contrasts.iter().map(|contrast| (-sign * contrast.t(), contrast.df)).collect();
        let rarest = behind.iter().map(|(t, df)| t_sf(*t, *df)).fold(1.0, f64::min);
        if rarest * (means - 1) as f64 <= error {
            continue;
        }
        if rarest > error {
            kept.push(mean);
            continue;
        }
        let correlation = correlation_of(&covariance);
        if means > MOST_SAMPLED && !MaximumT::is_integrable(&correlation) {
            kept.push(mean);
            continue;
        }
        let maximum = MaximumT::new(&correlation, Sides::One)?;
        if behind.iter().all(|(t, df)| t_sf(*t, *df) > error || maximum.sf(*t, *df).value > error) {
            kept.push(mean);
        }
    }
    Ok(kept)
}
