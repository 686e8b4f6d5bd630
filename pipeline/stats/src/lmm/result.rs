//! What a mixed model fit can be asked.

use super::degrees_of_freedom::{DegreesOfFreedom, VarianceUncertainty};
use super::fit::Lmm;
use super::kenward_roger::KenwardRoger;
use super::optimizer::OptimumRecord;
use super::profile::{Criterion, Profile};

use crate::combinations::{IndependentCombinations, on_orthonormal};
use crate::dense::{dot, quadratic_form};
use crate::error::Result;
use crate::inference::{Contrast, JointTest, LinearFit};
use crate::note::Note;
use crate::random_term::Structure;
use ndarray::Array2;
use std::sync::OnceLock;

/// Estimated variance of one random column, or of the residual.
#[derive(Debug, Clone, PartialEq)]
pub struct VarianceComponent {
    /// Name of the term, with the column in brackets where it has several; `residual` for the last one.
    pub term: String,
    /// Variance, in squared units of the response (per squared unit of the covariate for a slope).
    pub variance: f64,
    /// Its square root.
    pub standard_deviation: f64,
}

impl VarianceComponent {
    pub(super) fn new(term: &str, standard_deviation: f64) -> Self {
        Self { term: term.into(), variance: standard_deviation * standard_deviation, standard_deviation }
    }
}

/// Estimated correlation of the effects of two columns of one term.
#[derive(Debug, Clone, PartialEq)]
pub struct Correlation {
    /// Name of the term.
    pub term: String,
    /// Names of the two columns.
    pub columns: (String, String),
    /// Correlation; NaN where one of the two variances is zero.
    pub correlation: f64,
    /// Covariance, in squared units of the response (over those of the columns).
    pub covariance: f64,
}

/// Predicted effects of one column of a random term.
#[derive(Debug, Clone, PartialEq)]
pub struct ConditionalModes {
    /// Name of the term.
    pub term: String,
    /// Name of the column that the effects multiply.
    pub column: String,
    /// Most likely effect of each group given the data and the estimates, also known as BLUP.
    pub modes: Vec<f64>,
    /// Standard deviation of each effect given the data, the estimates *and* the fixed coefficients, which understates
    /// the uncertainty when there are few groups.
    pub conditional_sd: Vec<f64>,
}

/// Shape of a random term, for comparisons of fits.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct TermShape {
    pub(super) name: String,
    pub(super) columns: usize,
    pub(super) structure: Structure,
}

/// Result of [`Lmm::fit`](super::Lmm::fit).
#[derive(Debug, Clone)]
pub struct LmmFit {
    pub(super) options: Lmm,
    pub(super) names: Vec<String>,
    pub(super) coefficients: Vec<f64>,
    pub(super) covariance: Array2<f64>,
    pub(super) upper: Vec<f64>,
    pub(super) unscaled: Vec<f64>,
    pub(super) sigma: f64,
    pub(super) deviance: f64,
    pub(super) theta: Vec<f64>,
    pub(super) components: Vec<VarianceComponent>,
    pub(super) terms: Vec<TermShape>,
    pub(super) correlations: Vec<Correlation>,
    pub(super) modes: Vec<ConditionalModes>,
    pub(super) sigma_known: bool,
    pub(super) marginal: Vec<f64>,
    pub(super) fitted: Vec<f64>,
    pub(super) residuals: Vec<f64>,
    /// Worked out when first asked for; a first fit asks at once where it is what tests use.
    pub(super) uncertainty: OnceLock<VarianceUncertainty>,
    pub(super) fewest_groups: usize,
    /// Name of the column behind each theta.
    pub(super) labels: Vec<String>,
    pub(super) kenward_roger: Option<KenwardRoger>,
    /// Adjusted covariance, where Kenward-Roger was asked for.
    pub(super) adjusted: Option<Array2<f64>>,
    pub(super) optimum: OptimumRecord,
    pub(super) notes: Vec<Note>,
    pub(super) n_observations: usize,
    pub(super) profile: Profile,
}

impl LmmFit {
    /// Covariance of the fixed coefficients (p × p) given the estimated variances, not adjusted by any method.
    pub fn plain_covariance(&self) -> &Array2<f64> {
        &self.covariance
    }

    pub(super) fn options(&self) -> Lmm {
        self.options
    }

    fn uncertainty(&self) -> &VarianceUncertainty {
        self.uncertainty.get_or_init(|| {
            VarianceUncertainty::new(
                &self.profile,
                self.likelihood(),
                &self.theta,
                self.sigma,
                &self.labels,
                self.fewest_groups,
            )
        })
    }

    /// Works out Satterthwaite's degrees of freedom where tests use them, with what is to be said about them.
    pub(super) fn work_out_degrees_of_freedom(&mut self) {
        if self.kenward_roger.is_none() {
            let note = self.uncertainty().note();
            self.notes.extend(note);
        }
    }

    /// Which degrees of freedom the tests use.
    pub fn degrees_of_freedom(&self) -> DegreesOfFreedom {
        self.options.degrees_of_freedom()
    }

    /// Residual standard deviation of a row with weight one; exactly 1 where sampling variances are known.
    pub fn sigma(&self) -> f64 {
        self.sigma
    }

    /// Relative covariance factors, term by term: the standard deviation over sigma of a term with one, or the lower triangle of the
    /// factor of a correlated term, column by column.
    pub fn theta(&self) -> &[f64] {
        &self.theta
    }

    /// Variance of each random column (one for a term with a common standard deviation), and of the residual last. Where sampling
    /// variances are known there is no residual entry.
    pub fn variance_components(&self) -> &[VarianceComponent] {
        &self.components
    }

    /// Correlations of correlated terms, pair by pair; empty without such terms.
    pub fn correlations(&self) -> &[Correlation] {
        &self.correlations
    }

    /// Which likelihood was maximised.
    pub fn likelihood(&self) -> Criterion {
        self.options.criterion()
    }

    /// `-2 log_likelihood`, the number that was minimised.
    pub fn criterion(&self) -> f64 {
        self.deviance
    }

    /// Fitted values (n), random effects included.
    pub fn fitted(&self) -> &[f64] {
        &self.fitted
    }

    /// Fitted values (n) of the fixed part alone.
    pub fn marginal_fitted(&self) -> &[f64] {
        &self.marginal
    }

    /// Response minus fitted values (n), not weighted.
    pub fn residuals(&self) -> &[f64] {
        &self.residuals
    }

    /// Predicted effects, one entry per column of every random term.
    pub fn conditional_modes(&self) -> &[ConditionalModes] {
        &self.modes
    }

    /// How the search for the variances went.
    pub fn optimum(&self) -> &OptimumRecord {
        &self.optimum
    }

    /// Rows less coefficients.
    pub fn residual_df(&self) -> usize {
        self.n_observations - self.coefficients.len()
    }
}

impl LinearFit for LmmFit {
    /// Names of the fixed coefficients.
    fn names(&self) -> &[String] {
        &self.names
    }

    /// Fixed coefficients (p).
    fn coefficients(&self) -> &[f64] {
        &self.coefficients
    }

    /// Covariance of the fixed coefficients (p × p): given the estimated variances, or with Kenward and Roger's adjustment.
    fn covariance(&self) -> &Array2<f64> {
        self.adjusted.as_ref().unwrap_or(&self.covariance)
    }

    /// Maximised (restricted) log-likelihood with all constants.
    fn log_likelihood(&self) -> f64 {
        -0.5 * self.deviance
    }

    /// Number of estimated parameters: coefficients, thetas, and sigma where it is estimated.
    fn n_parameters(&self) -> usize {
        self.coefficients.len() + self.theta.len() + usize::from(!self.sigma_known)
    }

    /// Remarks about the fit.
    fn notes(&self) -> &[Note] {
        &self.notes
    }

    /// Number of rows.
    fn n_observations(&self) -> usize {
        self.n_observations
    }

    /// Value of `row · coefficients` with degrees of freedom by Satterthwaite's method (Kuznetsova, Brockhoff & Christensen 2017) or
    /// Kenward and Roger's, as the fit was asked for.
    ///
    /// # Errors
    /// A row of the wrong length or not finite.
    fn contrast(&self, row: &[f64]) -> Result<Contrast> {
        let on_q = on_orthonormal(row, &self.upper, "the contrast")?;
        let estimate = dot(row, &self.coefficients);
        if let Some(adjustment) = &self.kenward_roger {
            let (std_error, df) = adjustment.contrast(&on_q);
            return Ok(Contrast { estimate, std_error, df, method: KENWARD_ROGER.into() });
        }
        Ok(Contrast {
            estimate,
            std_error: self.sigma * quadratic_form(&self.unscaled, &on_q).sqrt(),
            df: self.uncertainty().df(&on_q, &self.unscaled, self.residual_df()),
            method: self.uncertainty().method(),
        })
    }

    /// Joint F test that all `rows · coefficients` (r × p) are zero.
    ///
    /// Satterthwaite: the rows are turned into uncorrelated contrasts with F the mean of their squared t values; the denominator degrees
    /// of freedom match the expectation of F (Fai & Cornelius 1996). Kenward-Roger: the scaled F of the paper.
    ///
    /// # Errors
    /// Rows of the wrong length, not finite, or all zero.
    fn joint_test(&self, rows: &Array2<f64>) -> Result<JointTest> {
        let combinations = IndependentCombinations::new(rows, &self.upper, Some(&self.unscaled))?;
        if let Some(adjustment) = &self.kenward_roger {
            let estimates: Vec<f64> = combinations.rows.iter().map(|row| dot(row, &self.coefficients)).collect();
            return adjustment.joint_test(&combinations.on_q, &estimates, KENWARD_ROGER.into());
        }
        let statistics = combinations.squared_over_variance(&self.coefficients);
        let rank = statistics.len();
        let f = statistics.iter().sum::<f64>() / (rank as f64 * self.sigma * self.sigma);
        let each: Vec<f64> = combinations
            .on_q
            .iter()
            .map(|on_q| self.uncertainty().df(on_q, &self.unscaled, self.residual_df()))
            .collect();
        Ok(JointTest::new(f, rank as f64, pooled_df(&each), self.uncertainty().method()))
    }
}

const KENWARD_ROGER: &str = "kenward-roger";

/// Denominator degrees of freedom of a mean of squared independent t values with the given degrees of freedom.
///
/// `E(t²) = ν / (ν - 2) = 1 + 2 / (ν - 2)`, and an F with `m` numerator and `ν` denominator degrees of freedom has the same mean; the
/// means agree at `2 + m / Σ 1 / (ν_i - 2)`. Where a mean does not exist (some ν ≤ 2) the smallest meaningful value, 2, is used.
fn pooled_df(each: &[f64]) -> f64 {
    let first = each[0];
    if each.iter().all(|df| (df - first).abs() < 1e-8 * first) {
        return each.iter().sum::<f64>() / each.len() as f64;
    }
    if each.iter().any(|df| *df <= 2.0) {
        return 2.0;
    }
    // Endless degrees of freedom add nothing to the sum.
    2.0 + each.len() as f64 / each.iter().map(|df| (df - 2.0).recip()).sum::<f64>()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pooled_degrees_of_freedom_lie_between_the_smallest_and_the_largest() {
        assert_eq!(pooled_df(&[7.5, 7.5]), 7.5);
        // 4 -> 2, 10 -> 1.25: 2 * 3.25 / 1.25
        assert!((pooled_df(&[4.0, 10.0]) - 5.2).abs() < 1e-14);
        assert_eq!(pooled_df(&[1.5, 10.0]), 2.0);
    }

    #[test]
    fn known_variances_leave_endless_degrees_of_freedom_to_a_joint_test() {
        assert_eq!(pooled_df(&[f64::INFINITY, f64::INFINITY]), f64::INFINITY);
        assert!((pooled_df(&[6.0, f64::INFINITY]) - 10.0).abs() < 1e-14);
    }
}
