//! Logistic regression by maximum likelihood and by Firth's penalised likelihood.

use super::coefficients::Coefficients;
use super::columns::Columns;
use super::design::BinomialDesign;
use super::kernel::criterion_constants;
use super::logistic_result::LogisticFit;
use super::objective::Objective;
use super::separation::{self, Separation};
use crate::dense::{cholesky_in_place, inverse_from_cholesky};
use crate::error::{Result, StatsError};
use crate::newton::minimise;
use crate::note::Note;
use crate::search_record::SearchRecord;

/// Options of a logistic regression on the fixed columns of a [`BinomialDesign`]; its random terms are ignored.
///
/// ```
/// use evenstand_stats::{BinomialDesign, LinearFit, Logistic};
/// use ndarray::array;
///
/// let columns = array![[1.0, 0.0], [1.0, 1.0]];
/// let names = vec!["one".into(), "treated".into()];
/// let design = BinomialDesign::new(vec![10.0, 15.0], vec![20.0, 20.0], columns, names, vec![])?;
/// let fit = Logistic::ordinary().fit(&design)?;
/// // The log odds ratio of 15:5 against 10:10.
/// assert!((fit.coefficients()[1] - 3.0_f64.ln()).abs() < 1e-12);
/// # Ok::<(), evenstand_stats::StatsError>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Logistic {
    pub(super) penalised: bool,
    pub(super) estimated_dispersion: bool,
}

/// Newton needs five to ten steps; data without a finite maximum about forty.
pub(super) const STEP_LIMIT: usize = 200;

/// Pearson's chi-squared below this is what Newton leaves of none at all.
const NO_RESIDUALS: f64 = 1e-15;

/// No coefficient on the basis moves by more than this on the logit in one step.
pub(super) const LONGEST_STEP: f64 = 3.0;

impl Logistic {
    /// Maximum likelihood.
    ///
    /// Where the data are separated the result says so ([`LogisticFit::separation`], and a note with code `separation`): the
    /// coefficients that run away are infinite, the others are at their limit, and questions about the former are errors.
    pub fn ordinary() -> Self {
        Self { penalised: false, estimated_dispersion: false }
    }

    /// Firth's (1993, Biometrika 80:27-38) penalised likelihood, `log L + ½ log |X'WX|`: finite for every data set and less biased.
    /// For tests and limits prefer [`LogisticFit::profile_interval`] to standard errors (Heinze & Schemper 2002).
    pub fn firth() -> Self {
        Self { penalised: true, estimated_dispersion: false }
    }

    /// Quasi-binomial standard errors: those of maximum likelihood times the root of Pearson's chi-squared over its degrees of
    /// freedom, compared with t. Only for ordinary fits, and only sensible when rows hold several trials. Log-likelihood and AIC stay
    /// those of binomial counts and compare nothing here. Rows that the columns reproduce leave no dispersion: the note `perfect-fit`
    /// says that there is nothing to test.
    pub fn with_estimated_dispersion(mut self) -> Self {
        self.estimated_dispersion = true;
        self
    }

    pub(super) fn check(&self) -> Result<()> {
        if self.estimated_dispersion && self.penalised {
            return Err(StatsError::NotPossible {
                what: "an estimated dispersion".into(),
                reason: "Firth's penalty is that of a binomial likelihood".into(),
                next: "use the ordinary fit",
            });
        }
        Ok(())
    }

    /// Fits the fixed columns of the design.
    ///
    /// # Errors
    /// As many coefficients as rows when the dispersion is estimated; an estimated dispersion with the penalised
    /// likelihood; numbers that overflow.
    pub fn fit(&self, design: &BinomialDesign) -> Result<LogisticFit> {
        let columns = &design.columns;
        let (rows, rank) = (design.n_observations(), design.rank());
        self.check()?;
        let residual_df = rows - rank;
        if self.estimated_dispersion && residual_df == 0 {
            return Err(StatsError::TooFewRows { rows, coefficients: rank });
        }
        let (successes, trials) = (design.successes(), design.trials());
        let objective = Objective::new(columns, successes, trials, self.penalised);
        let mut evaluations = 0;
        let counted = |point: &[f64]| {
            evaluations += 1;
            objective.local(point)
        };
        let minimum = minimise(counted, &objective.start(), STEP_LIMIT, LONGEST_STEP)
            .ok_or(StatsError::Numerical { step: "the start of logistic regression" })?;
        let mut record = SearchRecord::of(&minimum, evaluations);
        let points = objective.row_points(&minimum.point);
        let residuals: Vec<f64> = points.iter().map(|at| at.residual).collect();
        let separation = if self.penalised { None } else { separation::find(columns, successes, trials, &residuals)? };
        let mut information = objective.information(&minimum.point);
        if let Some(found) = &separation {
            fill_free_space(&mut information, columns, found);
        }
        if !cholesky_in_place(&mut information, rank) {
            return Err(StatsError::NotPossible {
                what: "logistic regression by maximum likelihood".into(),
                reason: "the fitted probabilities are all but 0 and 1, and columns that hardly differ from one another hide which of them \
                         separates the data"
                    .into(),
                next: "use Firth's penalised likelihood, or leave out one of the columns that hardly differ",
            });
        }
        let half_log_determinant: f64 = (0..rank).map(|j| information[j * rank + j].ln()).sum();
        let pearson: f64 =
            points.iter().filter(|at| at.weight > 0.0).map(|at| at.residual * at.residual / at.weight).sum();
        let scale = if self.estimated_dispersion { pearson / residual_df as f64 } else { 1.0 };
        let covariance = inverse_from_cholesky(&information, rank, rank).iter().map(|v| v * scale).collect();
        let (df, method) =
            if self.estimated_dispersion { (residual_df as f64, "residual") } else { (f64::INFINITY, "z") };
        let mut coefficients = Coefficients::new(columns, &minimum.point, covariance, df, method);
        let mut notes = columns.aliasing.notes();
        if self.estimated_dispersion && pearson < NO_RESIDUALS {
            notes.push(Note::perfect_fit());
        }
        if let Some(found) = &separation {
            let affected: Vec<bool> = found.space.rows().into_iter().map(|r| r.iter().any(|v| *v != 0.0)).collect();
            coefficients.mark_unbounded(&affected, &found.direction);
            notes.push(found.note(rows));
            record.converged = false;
            record.distance_left = f64::INFINITY;
            record.reason = "the likelihood has no finite maximum and was followed to its bound".into();
        } else {
            notes.extend(record.note());
        }
        let deviance = 2.0 * points.iter().map(|at| at.half_deviance).sum::<f64>();
        let unpenalised = criterion_constants(successes, trials) - 0.5 * deviance;
        let penalty = if self.penalised { half_log_determinant + 0.5 * columns.log_determinant } else { 0.0 };
        Ok(LogisticFit {
            options: *self,
            design: design.clone(),
            point: minimum.point,
            minimum: minimum.local.value,
            coefficients,
            log_likelihood: unpenalised + penalty,
            unpenalised,
            deviance,
            pearson,
            probabilities: points.iter().zip(trials).map(|(at, n)| at.expected / n).collect(),
            separation,
            record,
            notes,
            n_observations: rows,
        })
    }
}

/// Information in the directions that the data leave free. Any positive amount serves: combinations that are zero along these
/// directions have the same variance whatever stands there, and the others are not asked for.
fn fill_free_space(information: &mut [f64], columns: &Columns, found: &Separation) {
    let rank = columns.rank();
    for column in found.space.columns() {
        let on_basis = columns.on_basis(&column.to_vec());
        let square: f64 = on_basis.iter().map(|v| v * v).sum();
        for i in 0..rank {
            for j in 0..rank {
                information[i * rank + j] += on_basis[i] * on_basis[j] / square;
            }
        }
    }
}
