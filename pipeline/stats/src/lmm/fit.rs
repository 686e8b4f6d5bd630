//! Fitting a mixed model.

use super::degrees_of_freedom::VarianceUncertainty;
use super::optimizer::OptimumRecord;
use super::profile::{Criterion, Profile};
use super::result::{LmmFit, VarianceComponent};
use super::search::minimise;
use crate::baseline::disagreement;
use crate::dense::{inverse_from_cholesky, solve_upper};
use crate::design::{Design, check_finite, check_length};
use crate::error::{Result, StatsError};
use crate::inference::LinearFit;
use crate::least_squares::{LeastSquares, LeastSquaresFit, unscaled_covariance_from};
use crate::note::Note;

/// Options of a linear mixed model; [`Lmm::fit`] does the work.
///
/// ```
/// use evenstand_stats::{Design, Lmm, RandomTerm};
/// use ndarray::Array2;
///
/// // Three batches of two measurements.
/// let response = vec![10.0, 11.0, 14.0, 15.0, 9.0, 8.5];
/// let batches = RandomTerm::intercept("batch", vec![0, 0, 1, 1, 2, 2], 3);
/// let design = Design::new(response, Array2::ones((6, 1)), vec!["mean".into()], vec![batches], None)?;
/// let fit = Lmm::reml().fit(&design)?;
/// assert!((fit.coefficients()[0] - 11.25).abs() < 1e-12);
/// assert_eq!(fit.variance_components().len(), 2);
/// # Ok::<(), evenstand_stats::StatsError>(())
/// ```
#[derive(Debug, Clone, Copy)]
pub struct Lmm {
    criterion: Criterion,
}

impl Lmm {
    /// Restricted maximum likelihood.
    pub fn reml() -> Self {
        Self { criterion: Criterion::Reml }
    }

    /// Maximum likelihood.
    pub fn maximum_likelihood() -> Self {
        Self { criterion: Criterion::MaximumLikelihood }
    }

    /// Fits the design: fixed coefficients, one standard deviation per random term, and the residual's.
    ///
    /// Without random terms the result is least squares. A standard deviation estimated as zero is a result with a note.
    ///
    /// # Errors
    /// The fixed columns reproduce the response, a random term lies inside them, or the numbers overflow.
    pub fn fit(&self, design: &Design) -> Result<LmmFit> {
        let start = LeastSquares.fit(design)?;
        let profile = Profile::new(design, &design.weighted(start.residuals()))?;
        let mut notes = start.notes().to_vec();
        notes.extend(disagreement(design, start.coefficients(), &start.standard_errors()));
        notes.extend(few_groups(design));
        let (theta, optimum) = optimise(&profile, self.criterion);
        if !optimum.converged {
            notes.push(Note::new(
                "stopped-early",
                format!(
                    "the search for the standard deviations stopped early: {}; largest derivative {:.1e}",
                    optimum.reason, optimum.largest_gradient
                ),
            ));
        }
        for (term, _) in design.random().iter().zip(&theta).filter(|(_, value)| **value == 0.0) {
            notes.push(Note::new(
                "boundary",
                format!(
                    "the standard deviation of `{}` was estimated as zero: these data cannot tell it from zero, \
                     which does not show that it is zero",
                    term.name
                ),
            ));
        }
        assemble(design, &start, &profile, self.criterion, theta, optimum, notes)
    }
}

/// `-2 log L` at given relative standard deviations `theta` (one per term, in units of sigma), with sigma and the coefficients at
/// their best. For checks of the criterion itself, and for likelihood profiles.
///
/// # Errors
/// As [`Lmm::fit`]; a theta of the wrong length, negative or not finite.
pub fn deviance_at(design: &Design, theta: &[f64], criterion: Criterion) -> Result<f64> {
    check_length("theta", theta.len(), design.random().len())?;
    check_finite("theta", theta)?;
    if let Some(&value) = theta.iter().find(|value| **value < 0.0) {
        return Err(StatsError::OutOfRange { what: "theta", value, expected: "a number not below zero" });
    }
    let start = LeastSquares.fit(design)?;
    let profile = Profile::new(design, &design.weighted(start.residuals()))?;
    let mut work = profile.workspace();
    if profile.factor(theta, &mut work) {
        Ok(profile.deviance(&work, criterion))
    } else {
        Err(StatsError::Numerical { step: "the factorisation at the given theta" })
    }
}

fn few_groups(design: &Design) -> Vec<Note> {
    design
        .random()
        .iter()
        .map(|term| (term, term.used_groups()))
        .filter(|(_, used)| *used < 5)
        .map(|(term, used)| {
            Note::new(
                "few-groups",
                format!(
                    "the standard deviation of `{}` rests on {used} groups: it may be far off in either direction",
                    term.name
                ),
            )
        })
        .collect()
}

fn optimise(profile: &Profile, criterion: Criterion) -> (Vec<f64>, OptimumRecord) {
    let unit = profile.unit();
    let rescale = |point: &[f64]| -> Vec<f64> { point.iter().zip(unit).map(|(p, u)| p * u).collect() };
    if unit.is_empty() {
        let record = OptimumRecord {
            start: Vec::new(),
            end: Vec::new(),
            evaluations: 0,
            reason: "no random terms, nothing to search".into(),
            converged: true,
            largest_gradient: 0.0,
        };
        return (Vec::new(), record);
    }
    let mut work = profile.workspace();
    let criterion_at = |point: &[f64]| {
        if profile.factor(&rescale(point), &mut work) { profile.deviance(&work, criterion) } else { f64::INFINITY }
    };
    let moments: Vec<f64> = profile.moment_start().iter().zip(unit).map(|(theta, u)| theta / u).collect();
    let found = minimise(criterion_at, &[moments, vec![1.0; unit.len()]]);
    let theta = rescale(&found.point);
    let record = OptimumRecord {
        start: rescale(&found.start),
        end: theta.clone(),
        evaluations: found.evaluations,
        reason: found.reason,
        converged: found.converged,
        largest_gradient: found.largest_gradient,
    };
    (theta, record)
}

/// Everything that follows from theta.
fn assemble(
    design: &Design,
    start: &LeastSquaresFit,
    profile: &Profile,
    criterion: Criterion,
    theta: Vec<f64>,
    optimum: OptimumRecord,
    mut notes: Vec<Note>,
) -> Result<LmmFit> {
    let mut work = profile.workspace();
    if !profile.factor(&theta, &mut work) {
        return Err(StatsError::Numerical { step: "the factorisation at the optimum" });
    }
    let rank = design.rank();
    let sigma = (work.sum_of_squares / profile.sigma_df(criterion)).sqrt();
    let on_q = profile.shift_on_q(&work);
    let mut shift = on_q.clone();
    solve_upper(&design.qr.r, &mut shift);
    let coefficients: Vec<f64> = start.coefficients().iter().zip(&shift).map(|(a, b)| a + b).collect();
    let unscaled = inverse_from_cholesky(profile.information_factor(&work), rank + 1, rank);
    let covariance = unscaled_covariance_from(&design.qr.r, &unscaled, rank).mapv(|value| value * sigma * sigma);
    let effects = profile.effects(&work, &on_q, None);
    let spread: Vec<f64> = profile.conditional_spread(&work).iter().map(|value| value * sigma).collect();
    let offset = profile.offsets();
    let marginal = design.fixed_part(&coefficients);
    let mut fitted = marginal.clone();
    for (k, term) in design.random().iter().enumerate() {
        for (i, value) in fitted.iter_mut().enumerate() {
            let z = term.covariate.as_ref().map_or(1.0, |covariate| covariate[i]);
            *value += z * effects[offset[k] + term.groups[i]];
        }
    }
    let residuals = design.response().iter().zip(&fitted).map(|(y, f)| y - f).collect();
    let mut components: Vec<VarianceComponent> = design
        .random()
        .iter()
        .zip(&theta)
        .map(|(term, theta)| VarianceComponent::new(&term.name, sigma * theta))
        .collect();
    components.push(VarianceComponent::new("residual", sigma));
    let term_names: Vec<String> = design.random().iter().map(|term| term.name.clone()).collect();
    let fewest_groups = design.random().iter().map(|term| term.used_groups()).min().unwrap_or(0);
    let uncertainty = VarianceUncertainty::new(profile, criterion, &theta, sigma, &term_names, fewest_groups);
    notes.extend(uncertainty.note());
    Ok(LmmFit {
        criterion,
        names: design.names().to_vec(),
        coefficients,
        covariance,
        upper: design.qr.r.clone(),
        unscaled,
        sigma,
        deviance: profile.deviance(&work, criterion),
        theta,
        components,
        term_names,
        offset: offset.to_vec(),
        effects,
        spread,
        marginal,
        fitted,
        residuals,
        uncertainty,
        optimum,
        notes,
        n_observations: design.n_observations(),
    })
}
