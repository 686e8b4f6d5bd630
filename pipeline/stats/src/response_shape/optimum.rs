//! The optimum of a quadratic response, from any fit of a linear predictor.

use super::confidence_set::{ConstrainedSet, FiellerSet};
use super::profile_set::check_range;
use crate::checks::{check_finite, check_length, check_level};
use crate::dense::dot;
use crate::distribution::t_quantile;
use crate::error::{Result, StatsError};
use crate::inference::{Contrast, LinearFit};
use crate::interval::Interval;
use crate::note::Note;

/// Where a fit keeps its quadratic: the response over x is `… + b1 (x - centre) + b2 (x - centre)²`.
///
/// Rows run over the coefficients of the fit, so a quadratic of one condition among several is told by the sum of two coefficients.
#[derive(Debug, Clone, PartialEq)]
pub struct QuadraticRows {
    /// Row whose product with the coefficients is b1, the slope at the centre.
    pub slope: Vec<f64>,
    /// Row whose product with the coefficients is b2, half the second derivative.
    pub curvature: Vec<f64>,
    /// The x that was subtracted before squaring; 0 for raw powers.
    pub centre: f64,
}

impl QuadraticRows {
    /// Row of the slope at `x`, `b1 + 2 b2 (x - centre)`.
    pub fn slope_at(&self, x: f64) -> Vec<f64> {
        let twice = 2.0 * (x - self.centre);
        self.slope.iter().zip(&self.curvature).map(|(slope, curvature)| slope + twice * curvature).collect()
    }

    /// Row of the response at `x` less the response at `reference`.
    pub fn difference(&self, x: f64, reference: f64) -> Vec<f64> {
        let linear = x - reference;
        let square = linear * (x + reference - 2.0 * self.centre);
        self.slope.iter().zip(&self.curvature).map(|(slope, curvature)| linear * slope + square * curvature).collect()
    }

    /// Where the quadratic with these coefficients, less `gradient` per unit of x, is highest inside `range`.
    ///
    /// A curve that bends upwards or not at all is highest at an end; the lower end when both ends are equal. NaN coefficients give NaN.
    pub fn constrained_argmax(&self, coefficients: &[f64], gradient: f64, range: Interval) -> f64 {
        let slope = dot(&self.slope, coefficients) - gradient;
        let curvature = dot(&self.curvature, coefficients);
        if slope.is_nan() || curvature.is_nan() {
            return f64::NAN;
        }
        if curvature < 0.0 {
            return (self.centre - slope / (2.0 * curvature)).clamp(range.low, range.high);
        }
        // Value at the upper end less value at the lower end, over the width.
        let rise = slope + curvature * (range.high + range.low - 2.0 * self.centre);
        if rise > 0.0 { range.high } else { range.low }
    }
}

/// The x at which a quadratic response has a given slope: 0 for its optimum, a ratio of prices for its economic optimum.
///
/// `estimate = centre + (gradient - b1) / (2 b2)`.
#[derive(Debug, Clone)]
pub struct QuadraticOptimum {
    b1: f64,
    b2: f64,
    /// Variances of b1 and b2, and their covariance.
    v11: f64,
    v22: f64,
    v12: f64,
    centre: f64,
    gradient: f64,
    df: f64,
    curvature: Contrast,
    notes: Vec<Note>,
}

impl QuadraticOptimum {
    /// Takes the quadratic out of `fit`.
    ///
    /// Degrees of freedom: the smaller of those of the curvature and of the slope at the estimate, which do not depend on how x is
    /// centred or scaled. [`QuadraticOptimum::with_df`] replaces them.
    ///
    /// # Errors
    /// Rows of the wrong length or not finite, a curvature row without variance, a gradient that is not finite.
    pub fn new(fit: &impl LinearFit, rows: &QuadraticRows, gradient: f64) -> Result<Self> {
        let coefficients = fit.coefficients();
        check_length("the row of the slope", rows.slope.len(), coefficients.len())?;
        check_finite("the centre and the gradient", &[rows.centre, gradient])?;
        let curvature = fit.contrast(&rows.curvature)?;
        let slope = fit.contrast(&rows.slope)?;
        let covariance = fit.covariance();
        let image: Vec<f64> = covariance.rows().into_iter().map(|row| dot(&row.to_vec(), &rows.curvature)).collect();
        let mut optimum = Self {
            b1: slope.estimate,
            b2: curvature.estimate,
            v11: slope.std_error.powi(2),
            v22: curvature.std_error.powi(2),
            v12: dot(&rows.slope, &image),
            centre: rows.centre,
            gradient,
            df: curvature.df,
            curvature,
            notes: Vec::new(),
        };
        if !(optimum.v22 > 0.0) {
            return Err(StatsError::OutOfRange {
                what: "the variance of the curvature",
                value: optimum.v22,
                expected: "a number above zero",
            });
        }
        if let Some(estimate) = optimum.estimate() {
            optimum.df = optimum.df.min(fit.contrast(&rows.slope_at(estimate))?.df);
        }
        if optimum.b2 >= 0.0 {
            optimum.notes.push(Note::new(
                "not-a-maximum",
                "the fitted curve does not bend downwards: where its slope has the asked value is no maximum, and inside a range \
                 the best value is an end",
            ));
        }
        Ok(optimum)
    }

    /// The same with other degrees of freedom; infinite ones give limits from the normal distribution.
    ///
    /// # Errors
    /// Degrees of freedom that are not above zero.
    pub fn with_df(mut self, df: f64) -> Result<Self> {
        if !(df > 0.0) {
            return Err(StatsError::OutOfRange {
                what: "the degrees of freedom",
                value: df,
                expected: "a number above zero",
            });
        }
        self.df = df;
        Ok(self)
    }

    /// The same for the quadratic of a group not yet seen, whose slope at the centre and curvature vary about the mean ones with these variances,
    /// independently (Higgins, Thompson & Spiegelhalter 2009 for a mean; here for a quadratic). The degrees of freedom stay those of the mean
    /// quadratic.
    pub fn for_new_group(mut self, slope_variance: f64, curvature_variance: f64) -> Self {
        self.v11 += slope_variance.max(0.0);
        self.v22 += curvature_variance.max(0.0);
        self
    }

    /// The x with the asked slope; `None` for a curvature of exactly zero, or one so small that the x is beyond all numbers.
    pub fn estimate(&self) -> Option<f64> {
        let estimate = self.centre + (self.gradient - self.b1) / (2.0 * self.b2);
        estimate.is_finite().then_some(estimate)
    }

    /// Standard error by the delta method; `None` without an estimate.
    ///
    /// Far too short or too long when the curvature is not well told from zero; the Fieller set is right in all cases.
    pub fn delta_std_error(&self) -> Option<f64> {
        let offset = self.estimate()? - self.centre;
        let error = self.slope_variance(offset).sqrt() / (2.0 * self.b2.abs());
        error.is_finite().then_some(error)
    }

    /// `estimate ± t std_error` by the delta method, for comparison with the Fieller set; `None` without an estimate.
    pub fn delta_interval(&self, confidence: f64) -> Option<Interval> {
        let half = t_quantile(0.5 + 0.5 * confidence, self.df) * self.delta_std_error()?;
        self.estimate().map(|estimate| Interval { low: estimate - half, high: estimate + half })
    }

    /// Every x whose slope cannot be told from the gradient (Fieller 1954; for a quadratic: Bachmaier 2009).
    ///
    /// # Errors
    /// A confidence outside (0, 1).
    pub fn fieller_set(&self, confidence: f64) -> Result<FiellerSet> {
        check_level("the confidence", confidence)?;
        let t2 = t_quantile(0.5 + 0.5 * confidence, self.df).powi(2);
        let slope = self.b1 - self.gradient;
        Ok(FiellerSet::solve(
            4.0 * (self.b2 * self.b2 - t2 * self.v22),
            4.0 * (slope * self.b2 - t2 * self.v12),
            slope * slope - t2 * self.v11,
            self.centre,
        ))
    }

    /// The set of x that may be best inside `range`; see [`ConstrainedSet`] for the rule (Peterson, Cahya & del Castillo 2002).
    ///
    /// # Errors
    /// A range that is empty or not finite, a confidence outside (0, 1).
    pub fn constrained_set(&self, confidence: f64, range: Interval) -> Result<ConstrainedSet> {
        check_range(range)?;
        let inner = self.fieller_set(confidence)?;
        let one_sided = t_quantile(confidence, self.df);
        let excess = |x: f64| {
            let offset = x - self.centre;
            let slope = self.b1 + 2.0 * self.b2 * offset - self.gradient;
            slope / self.slope_variance(offset).sqrt()
        };
        let low_allowed = excess(range.low) <= one_sided.max(0.0);
        let high_allowed = excess(range.high) >= -one_sided.max(0.0);
        Ok(ConstrainedSet::new(inner, range, confidence, low_allowed, high_allowed))
    }

    /// Where the fitted curve, less the gradient, is highest inside `range`.
    ///
    /// # Errors
    /// A range that is empty or not finite.
    pub fn constrained_estimate(&self, range: Interval) -> Result<f64> {
        check_range(range)?;
        let rows = QuadraticRows { slope: vec![1.0, 0.0], curvature: vec![0.0, 1.0], centre: self.centre };
        Ok(rows.constrained_argmax(&[self.b1, self.b2], self.gradient, range))
    }

    /// The curvature b2 with its standard error: a maximum needs it below zero.
    pub fn curvature(&self) -> &Contrast {
        &self.curvature
    }

    /// Degrees of freedom behind the limits.
    pub fn df(&self) -> f64 {
        self.df
    }

    /// Remarks.
    pub fn notes(&self) -> &[Note] {
        &self.notes
    }

    /// Variance of the slope at `centre + offset`.
    fn slope_variance(&self, offset: f64) -> f64 {
        self.v11 + 4.0 * offset * self.v12 + 4.0 * offset * offset * self.v22
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows() -> QuadraticRows {
        QuadraticRows { slope: vec![1.0, 0.0], curvature: vec![0.0, 1.0], centre: 2.0 }
    }

    #[test]
    fn the_constrained_argmax_is_the_best_point_of_a_fine_grid() {
        let range = Interval { low: -1.0, high: 4.0 };
        for slope in [-3.0, -0.2, 0.0, 1.0, 7.0] {
            for curvature in [-2.0, -0.3, 0.0, 0.4] {
                for gradient in [0.0, 0.5] {
                    let value = |x: f64| (slope - gradient) * (x - 2.0) + curvature * (x - 2.0).powi(2);
                    let found = rows().constrained_argmax(&[slope, curvature], gradient, range);
                    let best =
                        (0..=5000).map(|k| value(-1.0 + f64::from(k) / 1000.0)).fold(f64::NEG_INFINITY, f64::max);
                    assert!(value(found) >= best - 1e-12, "{slope} {curvature}: {found}");
                }
            }
        }
    }

    #[test]
    fn the_difference_row_is_the_difference_of_two_values() {
        let value = |x: f64| 3.0 * (x - 2.0) - 0.5 * (x - 2.0).powi(2);
        let row = rows().difference(5.0, 1.0);
        assert!((dot(&row, &[3.0, -0.5]) - (value(5.0) - value(1.0))).abs() < 1e-13);
    }
}
