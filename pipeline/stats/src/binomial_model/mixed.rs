//! Fitting a logistic mixed model.

use super::coefficients::Coefficients;
use super::design::BinomialDesign;
use super::kernel::{criterion_constants, probabilities};
use super::laplace::Laplace;
use super::logistic::Logistic;
use super::mixed_result::{BinomialMixedFit, RandomDeviation};
use super::mixed_search::{Found, Marginal, search};
use super::quadrature::Quadrature;
use crate::checks::{check_finite, check_length};
use crate::dense::dot;
use crate::error::{Result, StatsError};
use crate::lmm::{ConditionalModes, estimated_as_zero, few_groups};
use crate::note::Note;

/// Options of a logistic mixed model: `logit p = x'β + Σ_k z_k b_k`, effects normal with mean zero and one standard deviation per term.
///
/// Terms may be nested, crossed, slopes (uncorrelated), or one group per row, which models overdispersion.
///
/// ```
/// use evenstand_stats::{BinomialDesign, BinomialMixed, LinearFit, RandomTerm};
/// use ndarray::Array2;
///
/// let plates = RandomTerm::intercept("plate", vec![0, 1, 2, 3, 4, 5], 6);
/// let design = BinomialDesign::new(
///     vec![10.0, 23.0, 9.0, 26.0, 17.0, 3.0], vec![39.0, 62.0, 51.0, 39.0, 39.0, 16.0],
///     Array2::ones((6, 1)), vec!["mean".into()], vec![plates],
/// )?;
/// let fit = BinomialMixed::quadrature(9).fit(&design)?;
/// assert!(fit.record().converged && fit.random_deviations()[0].standard_deviation > 0.3);
/// # Ok::<(), evenstand_stats::StatsError>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BinomialMixed {
    nodes: Option<usize>,
}

const MOST_NODES: usize = 100;

impl BinomialMixed {
    /// Laplace's approximation of the likelihood; any number of terms.
    pub fn laplace() -> Self {
        Self { nodes: None }
    }

    /// Adaptive Gauss-Hermite quadrature with 1 to 100 `nodes`; only for one random intercept. One node is Laplace's approximation,
    /// and 9 to 25 are exact for most purposes.
    pub fn quadrature(nodes: usize) -> Self {
        Self { nodes: Some(nodes) }
    }

    fn check(&self, design: &BinomialDesign) -> Result<()> {
        let refuse =
            |what: &str, reason: String, next| Err(StatsError::NotPossible { what: what.into(), reason, next });
        if design.random().is_empty() {
            return refuse("a mixed model", "the design has no random terms".into(), "use logistic regression");
        }
        let Some(nodes) = self.nodes else { return Ok(()) };
        if !(1..=MOST_NODES).contains(&nodes) {
            return Err(StatsError::OutOfRange {
                what: "the number of nodes",
                value: nodes as f64,
                expected: "from 1 to 100",
            });
        }
        let [term] = design.random() else {
            let reason = format!("it needs one random term, the design has {}", design.random().len());
            return refuse("quadrature", reason, "use Laplace's approximation");
        };
        if !term.is_intercept() {
            let reason = format!("it needs a random intercept, and `{}` is a slope", term.name);
            return refuse("quadrature", reason, "use Laplace's approximation");
        }
        Ok(())
    }

    /// Fits coefficients and one standard deviation per random term by maximum (approximate) likelihood.
    ///
    /// Standard errors come from the second derivatives by coefficients and standard deviations together. A standard deviation
    /// estimated as zero is a result with a note.
    ///
    /// # Errors
    /// No random terms; quadrature for anything but one random intercept, or with no or too many nodes; fixed columns that separate
    /// the data, so that no finite maximum exists; numbers that overflow.
    pub fn fit(&self, design: &BinomialDesign) -> Result<BinomialMixedFit> {
        self.check(design)?;
        // A direction that separates the data raises the likelihood whatever the effects are, so the mixed model has no maximum either.
        let start = Logistic::ordinary().fit(design)?;
        if let Some(found) = start.separation() {
            return Err(StatsError::NoFiniteMaximum { column: found.columns[0].clone() });
        }
        let mut point = start.point.clone();
        point.extend(vec![START_THETA; design.random().len()]);
        match self.nodes {
            None => fit_with(Laplace::new(design), design, &point),
            Some(nodes) => fit_with(Quadrature::new(design, nodes), design, &point),
        }
    }

    /// Log-likelihood with binomial coefficients at given `coefficients` (p, on the kept columns) and `standard_deviations` (one per
    /// term). For checks of the approximation itself, and for likelihood profiles.
    ///
    /// # Errors
    /// As [`BinomialMixed::fit`], separation excepted; arguments of the wrong length, not finite, or standard deviations below zero.
    pub fn log_likelihood_at(
        &self,
        design: &BinomialDesign,
        coefficients: &[f64],
        standard_deviations: &[f64],
    ) -> Result<f64> {
        self.check(design)?;
        let rank = design.rank();
        check_length("the coefficients", coefficients.len(), rank)?;
        check_finite("the coefficients", coefficients)?;
        check_length("the standard deviations", standard_deviations.len(), design.random().len())?;
        check_finite("the standard deviations", standard_deviations)?;
        if let Some(&value) = standard_deviations.iter().find(|value| **value < 0.0) {
            return Err(StatsError::OutOfRange {
                what: "a standard deviation",
                value,
                expected: "a number not below zero",
            });
        }
        let point = design.columns.on_basis(coefficients);
        let value = match self.nodes {
            None => value_at(Laplace::new(design), point, standard_deviations),
            Some(nodes) => value_at(Quadrature::new(design, nodes), point, standard_deviations),
        };
        let value = value.ok_or(StatsError::Numerical { step: "the likelihood at the given values" })?;
        Ok(criterion_constants(design.successes(), design.trials()) - value)
    }
}

/// A spread of half a logit: small against usual data, far from the stationary point at zero.
const START_THETA: f64 = 0.5;

/// A standard deviation in logits that only groups without any overlap give.
const RUNAWAY: f64 = 8.0;

fn value_at(mut model: impl Marginal, mut point: Vec<f64>, standard_deviations: &[f64]) -> Option<f64> {
    point.extend(standard_deviations.iter().zip(model.units()).map(|(sd, unit)| sd / unit));
    model.evaluate(&point).map(|(value, _)| value)
}

fn fit_with(mut model: impl Marginal, design: &BinomialDesign, start: &[f64]) -> Result<BinomialMixedFit> {
    let rank = design.rank();
    let size = start.len();
    let failed = StatsError::Numerical { step: "the search of the mixed model" };
    let Found { point, value, covariance, record } = search(&mut model, start, rank).ok_or(failed)?;
    let mut notes = design.columns.aliasing.notes();
    notes.extend(record.note());
    // Without a maximum there is no covariance; the note says that the search failed, and NaN stands for every standard error.
    let covariance = covariance.unwrap_or_else(|| vec![f64::NAN; size * size]);
    let on_basis = (0..rank).flat_map(|i| covariance[i * size..i * size + rank].to_vec()).collect();
    let coefficients = Coefficients::new(&design.columns, &point[..rank], on_basis, f64::INFINITY, "z");
    let deviations: Vec<RandomDeviation> = design
        .random()
        .iter()
        .enumerate()
        .map(|(k, term)| {
            let (theta, unit) = (point[rank + k].abs(), model.units()[k]);
            let spread = covariance[(rank + k) * size + rank + k].sqrt();
            RandomDeviation {
                term: term.name.clone(),
                standard_deviation: theta * unit,
                std_error_of_log: Some(spread / theta).filter(|error| error.is_finite()),
            }
        })
        .collect();
    notes.extend(few_groups(design.random()));
    for deviation in deviations.iter().filter(|deviation| deviation.standard_deviation == 0.0) {
        notes.push(Note::new("boundary", estimated_as_zero(&deviation.term)));
    }
    if !record.converged {
        notes.extend(deviations.iter().filter(|d| d.standard_deviation > RUNAWAY).map(|deviation| {
            Note::new(
                "runaway",
                format!(
                    "the standard deviation of `{}` grows without end: in nearly all of its groups all trials succeed or all fail",
                    deviation.term
                ),
            )
        }));
    }
    let modes = model
        .effects(&point)
        .into_iter()
        .zip(design.random())
        .map(|((modes, conditional_sd), term)| ConditionalModes {
            term: term.name.clone(),
            column: term.column_names[0].clone(),
            modes,
            conditional_sd,
        })
        .collect();
    let fixed_part = |row: &[f64]| dot(row, &point[..rank]);
    Ok(BinomialMixedFit {
        coefficients,
        deviations,
        modes,
        log_likelihood: criterion_constants(design.successes(), design.trials()) - value,
        probabilities: model.logits().iter().map(|&logit| probabilities(logit).0).collect(),
        marginal_logits: design.columns.basis.chunks_exact(rank).map(fixed_part).collect(),
        record,
        notes,
        n_observations: design.n_observations(),
    })
}
