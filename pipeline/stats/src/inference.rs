//! Answers to questions put to a fit: one contrast, or several at once.

use crate::distribution::{f_sf, t_quantile, t_sf};
use crate::error::Result;
use crate::interval::Interval;
use crate::note::Note;
use ndarray::Array2;

/// What every fit of a linear predictor can be asked, whatever its likelihood.
///
/// Rows run over the *kept* columns of the design; [`Design::estimable_row`](crate::Design::estimable_row) makes them from all columns.
pub trait LinearFit {
    /// Names of the coefficients.
    fn names(&self) -> &[String];

    /// Coefficients (p).
    fn coefficients(&self) -> &[f64];

    /// Covariance of the coefficients (p × p) that goes with [`LinearFit::contrast`].
    fn covariance(&self) -> &Array2<f64>;

    /// Value of `row · coefficients` with its standard error and degrees of freedom.
    ///
    /// # Errors
    /// A row of the wrong length or not finite.
    fn contrast(&self, row: &[f64]) -> Result<Contrast>;

    /// Joint test that all `rows · coefficients` (r × p) are zero.
    ///
    /// # Errors
    /// Rows of the wrong length, not finite, or all zero.
    fn joint_test(&self, rows: &Array2<f64>) -> Result<JointTest>;

    /// Maximised log-likelihood with all constants (restricted, penalised or approximate where the fit says so).
    fn log_likelihood(&self) -> f64;

    /// Number of estimated parameters, those of the variances included.
    fn n_parameters(&self) -> usize;

    /// Number of rows.
    fn n_observations(&self) -> usize;

    /// Remarks about the fit.
    fn notes(&self) -> &[Note];

    /// Standard errors of the coefficients (p).
    fn standard_errors(&self) -> Vec<f64> {
        self.covariance().diag().iter().map(|v| v.sqrt()).collect()
    }

    /// Akaike's criterion, `-2 log L + 2 k`. Only likelihoods of one kind may be compared; restricted ones only at equal fixed columns.
    fn aic(&self) -> f64 {
        -2.0 * self.log_likelihood() + 2.0 * self.n_parameters() as f64
    }

    /// Akaike's criterion corrected for small samples, `AIC + 2 k (k + 1) / (n - k - 1)` (Hurvich & Tsai 1989); infinite when n ≤ k + 1.
    fn aicc(&self) -> f64 {
        let (k, n) = (self.n_parameters() as f64, self.n_observations() as f64);
        if n > k + 1.0 { self.aic() + 2.0 * k * (k + 1.0) / (n - k - 1.0) } else { f64::INFINITY }
    }
}

/// A linear combination of the fixed coefficients.
#[derive(Debug, Clone, PartialEq)]
pub struct Contrast {
    /// Value of the combination.
    pub estimate: f64,
    /// Its standard error.
    pub std_error: f64,
    /// Degrees of freedom of the t distribution it is compared with.
    pub df: f64,
    /// Where the degrees of freedom come from: `residual`, `satterthwaite`, or one of these with a remark in brackets.
    pub method: String,
}

impl Contrast {
    /// Estimate divided by its standard error.
    pub fn t(&self) -> f64 {
        self.estimate / self.std_error
    }

    /// Two-sided confidence limits, `estimate ± t std_error`. NaN limits for a level outside (0, 1).
    pub fn interval(&self, level: f64) -> Interval {
        let half = t_quantile(0.5 + 0.5 * level, self.df) * self.std_error;
        Interval { low: self.estimate - half, high: self.estimate + half }
    }

    /// Two-sided p-value of the hypothesis that the combination is zero.
    pub fn p_value(&self) -> f64 {
        // A tail of a half may be rounded up.
        (2.0 * t_sf(self.t().abs(), self.df)).min(1.0)
    }
}

/// Joint test that several combinations are all zero.
#[derive(Debug, Clone, PartialEq)]
pub struct JointTest {
    /// F statistic.
    pub f: f64,
    /// Numerator degrees of freedom: the number of independent combinations.
    pub numerator_df: f64,
    /// Denominator degrees of freedom.
    pub denominator_df: f64,
    /// Upper tail probability of `f`.
    pub p_value: f64,
    /// Where the denominator degrees of freedom come from, as in [`Contrast::method`].
    pub method: String,
}

impl JointTest {
    pub(crate) fn new(f: f64, numerator_df: f64, denominator_df: f64, method: String) -> Self {
        Self { f, numerator_df, denominator_df, p_value: f_sf(f, numerator_df, denominator_df), method }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_interval_excludes_zero_exactly_when_the_p_value_is_below_alpha() {
        for estimate in [1.0, 2.0, 2.7, 2.8, 4.0] {
            let contrast = Contrast { estimate, std_error: 1.0, df: 4.0, method: "residual".into() };
            assert_eq!(!contrast.interval(0.95).contains(0.0), contrast.p_value() < 0.05);
        }
    }

    #[test]
    fn a_joint_test_of_one_row_has_the_p_value_of_its_t_test() {
        let contrast = Contrast { estimate: 1.3, std_error: 0.5, df: 7.3, method: "residual".into() };
        let joint = JointTest::new(contrast.t().powi(2), 1.0, 7.3, "residual".into());
        assert!((joint.p_value - contrast.p_value()).abs() < 1e-14);
    }
}
