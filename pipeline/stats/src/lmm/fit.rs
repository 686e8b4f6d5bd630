//! Fitting a mixed model.

use super::degrees_of_freedom::DegreesOfFreedom;
use super::kenward_roger::KenwardRoger;
use super::optimizer::OptimumRecord;
use super::profile::{Criterion, Profile, Workspace};
use super::remarks::{boundary, few_groups, stopped_early};
use super::result::{ConditionalModes, Correlation, LmmFit, TermShape, VarianceComponent};
use super::search::{Found, Near, Objective, minimise, minimise_near};
use crate::baseline::disagreement;
use crate::checks::{check_finite, check_length};
use crate::combinations::unscaled_covariance_from;
use crate::dense::{inverse_from_cholesky, solve_upper};
use crate::design::Design;
use crate::error::{Result, StatsError};
use crate::inference::LinearFit;
use crate::note::{Note, PERFECT_FIT};
use crate::random_term::Structure;
use crate::threads::both;
use std::sync::OnceLock;

/// Options of a linear mixed model; [`Lmm::fit`] does the work.
///
/// ```
/// use evenstand_stats::{Design, LinearFit, Lmm, RandomTerm};
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
    degrees_of_freedom: DegreesOfFreedom,
}

impl Lmm {
    /// Restricted maximum likelihood.
    pub fn reml() -> Self {
        Self { criterion: Criterion::Reml, degrees_of_freedom: DegreesOfFreedom::Satterthwaite }
    }

    /// Maximum likelihood.
    pub fn maximum_likelihood() -> Self {
        Self { criterion: Criterion::MaximumLikelihood, degrees_of_freedom: DegreesOfFreedom::Satterthwaite }
    }

    /// The same fit with other degrees of freedom for its tests. Does not change estimates; Kenward-Roger changes standard errors.
    pub fn with_degrees_of_freedom(self, degrees_of_freedom: DegreesOfFreedom) -> Self {
        Self { degrees_of_freedom, ..self }
    }

    /// Fits the design: fixed coefficients, the covariance of every random term, and sigma.
    ///
    /// Without random terms the result is least squares. A standard deviation estimated as zero is a result with a note.
    ///
    /// # Errors
    /// The fixed columns reproduce the response, a random term lies inside them, or the numbers overflow. Kenward-Roger asked for with
    /// maximum likelihood, or where it does not exist.
    pub fn fit(&self, design: &Design) -> Result<LmmFit> {
        let wants_adjustment = self.degrees_of_freedom == DegreesOfFreedom::KenwardRoger;
        if wants_adjustment && self.criterion != Criterion::Reml {
            return Err(StatsError::DegreesOfFreedom {
                method: "Kenward-Roger",
                reason: "they are defined for restricted maximum likelihood",
            });
        }
        let (start, profile) = Profile::of(design)?;
        // Without residuals the known variances still hold, and no others reach this line.
        let mut notes: Vec<Note> = start.notes().iter().filter(|note| note.code != PERFECT_FIT).cloned().collect();
        // Two questions of one design that do not wait for each other.
        let compare = || disagreement(design, start.coefficients(), &start.standard_errors());
        let search = || optimise(&profile, self.criterion);
        let (compared, (theta, optimum)) = both(design.n_observations(), compare, search);
        notes.extend(compared);
        notes.extend(few_groups(design.random()));
        notes.extend(stopped_early(&optimum));
        notes.extend(boundary(design, &profile, &theta));
        let mut fit = assemble(
            &Data { design, response: design.response(), least_squares: start.coefficients() },
            profile,
            *self,
            theta,
            optimum,
            notes,
        )?;
        fit.work_out_degrees_of_freedom();
        Ok(fit)
    }

    pub(super) fn criterion(&self) -> Criterion {
        self.criterion
    }

    pub(super) fn degrees_of_freedom(&self) -> DegreesOfFreedom {
        self.degrees_of_freedom
    }
}

/// `-2 log L` at given relative covariance factors `theta` (laid out as in [`LmmFit::theta`]), with sigma and the coefficients at
/// their best. For checks of the criterion itself, and for likelihood profiles.
///
/// # Errors
/// As [`Lmm::fit`]; a theta of the wrong length, not finite, or negative on the diagonal of a factor.
pub fn deviance_at(design: &Design, theta: &[f64], criterion: Criterion) -> Result<f64> {
    check_length("theta", theta.len(), design.random().iter().map(|term| term.n_parameters()).sum())?;
    check_finite("theta", theta)?;
    let (_, profile) = Profile::of(design)?;
    for (&value, parameter) in theta.iter().zip(&profile.layout.parameters) {
        if value < 0.0 && parameter.is_diagonal() {
            return Err(StatsError::OutOfRange { what: "theta", value, expected: "a number not below zero" });
        }
    }
    let mut work = profile.workspace();
    if profile.factor(theta, &mut work) {
        Ok(profile.deviance(&work, criterion))
    } else {
        Err(StatsError::Numerical { step: "the factorisation at the given theta" })
    }
}

/// The best theta from two starts: moments of the residuals, and every term as large as the residual.
pub(super) fn optimise(profile: &Profile, criterion: Criterion) -> (Vec<f64>, OptimumRecord) {
    let moments = profile.moment_start().iter().zip(profile.unit()).map(|(theta, u)| theta / u).collect();
    let plain = profile.layout.parameters.iter().map(|p| f64::from(u8::from(p.is_diagonal()))).collect();
    search_with(profile, criterion, |objective| minimise(objective, &profile.layout, &[moments, plain]))
}

/// The best theta near that of another fit.
pub(super) fn optimise_near(profile: &Profile, criterion: Criterion, near: &Near) -> (Vec<f64>, OptimumRecord) {
    search_with(profile, criterion, |objective| minimise_near(objective, &profile.layout, near))
}

/// `start` (in units of each theta) with the second derivatives of the criterion there.
pub(super) fn near(profile: &Profile, criterion: Criterion, start: Vec<f64>) -> Near {
    Near::new(&mut Deviance::new(profile, criterion), &profile.layout, start)
}

fn search_with(
    profile: &Profile,
    criterion: Criterion,
    search: impl FnOnce(&mut Deviance) -> Found,
) -> (Vec<f64>, OptimumRecord) {
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
    let found = search(&mut Deviance::new(profile, criterion));
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

/// The criterion as the search sees it.
struct Deviance<'a> {
    profile: &'a Profile,
    criterion: Criterion,
    work: Workspace,
    theta: Vec<f64>,
}

impl<'a> Deviance<'a> {
    fn new(profile: &'a Profile, criterion: Criterion) -> Self {
        Self { profile, criterion, work: profile.workspace(), theta: vec![0.0; profile.n_parameters()] }
    }

    fn factor(&mut self, point: &[f64]) -> Option<f64> {
        self.theta.iter_mut().zip(point).zip(self.profile.unit()).for_each(|((theta, p), u)| *theta = p * u);
        self.profile.factor(&self.theta, &mut self.work).then(|| self.profile.deviance(&self.work, self.criterion))
    }
}

impl Objective for Deviance<'_> {
    fn value(&mut self, point: &[f64]) -> f64 {
        self.factor(point).unwrap_or(f64::INFINITY)
    }

    fn with_slopes(&mut self, point: &[f64]) -> Option<(f64, Vec<f64>)> {
        let value = self.factor(point).filter(|value| value.is_finite())?;
        let mut slopes = self.profile.gradient(&mut self.work, self.criterion)?;
        slopes.iter_mut().zip(self.profile.unit()).for_each(|(slope, unit)| *slope *= unit);
        Some((value, slopes))
    }
}

/// A design with the response that is fitted, which need not be its own, and that response's least-squares coefficients.
pub(super) struct Data<'a> {
    pub(super) design: &'a Design,
    pub(super) response: &'a [f64],
    pub(super) least_squares: &'a [f64],
}

/// Everything that follows from theta.
pub(super) fn assemble(
    data: &Data,
    profile: Profile,
    options: Lmm,
    theta: Vec<f64>,
    optimum: OptimumRecord,
    notes: Vec<Note>,
) -> Result<LmmFit> {
    let design = data.design;
    let mut work = profile.workspace();
    if !profile.factor(&theta, &mut work) {
        return Err(StatsError::Numerical { step: "the factorisation at the optimum" });
    }
    let criterion = options.criterion;
    let rank = design.rank();
    let sigma = profile.sigma(&work, criterion);
    let on_q = profile.shift_on_q(&work);
    let mut shift = on_q.clone();
    solve_upper(&design.qr.r, &mut shift);
    let coefficients: Vec<f64> = data.least_squares.iter().zip(&shift).map(|(a, b)| a + b).collect();
    let unscaled = inverse_from_cholesky(profile.information_factor(&work), rank + 1, rank);
    let covariance = unscaled_covariance_from(&design.qr.r, &unscaled, rank).mapv(|value| value * sigma * sigma);
    let effects = profile.effects(&work, &on_q);
    let spread: Vec<f64> = profile.conditional_spread(&work).iter().map(|value| value * sigma).collect();
    let marginal = design.fixed_part(&coefficients);
    let mut fitted = marginal.clone();
    let mut modes = Vec::new();
    for (k, term) in design.random().iter().enumerate() {
        let q = term.n_columns();
        for (column, values) in term.columns.iter().enumerate() {
            let place = |group: usize| profile.layout.offset[k] + group * q + column;
            for (i, value) in fitted.iter_mut().enumerate() {
                *value += values[i] * effects[place(term.groups[i])];
            }
            modes.push(ConditionalModes {
                term: term.name.clone(),
                column: term.column_names[column].clone(),
                modes: (0..term.n_groups).map(|group| effects[place(group)]).collect(),
                conditional_sd: (0..term.n_groups).map(|group| spread[place(group)]).collect(),
            });
        }
    }
    let residuals = data.response.iter().zip(&fitted).map(|(y, f)| y - f).collect();
    let (components, correlations) = variances(design, &profile, &theta, sigma);
    let (kenward_roger, adjusted) = if options.degrees_of_freedom == DegreesOfFreedom::KenwardRoger {
        let adjustment = KenwardRoger::new(&profile, &work, &theta, sigma, &unscaled)?;
        let adjusted = unscaled_covariance_from(&design.qr.r, &adjustment.adjusted, rank);
        (Some(adjustment), Some(adjusted))
    } else {
        (None, None)
    };
    Ok(LmmFit {
        options,
        names: design.names().to_vec(),
        coefficients,
        covariance,
        upper: design.qr.r.clone(),
        unscaled,
        sigma,
        deviance: profile.deviance(&work, criterion),
        theta,
        components,
        terms: design
            .random()
            .iter()
            .map(|term| TermShape { name: term.name.clone(), columns: term.n_columns(), structure: term.structure })
            .collect(),
        correlations,
        modes,
        sigma_known: profile.sigma_known(),
        marginal,
        fitted,
        residuals,
        uncertainty: OnceLock::new(),
        fewest_groups: design.random().iter().map(|term| term.used_groups()).min().unwrap_or(0),
        labels: profile
            .layout
            .parameters
            .iter()
            .map(|parameter| design.random()[parameter.term].label(parameter.row))
            .collect(),
        kenward_roger,
        adjusted,
        optimum,
        notes,
        n_observations: design.n_observations(),
        profile,
    })
}

/// Variances and correlations of all terms at `theta`, and the residual's variance.
fn variances(
    design: &Design,
    profile: &Profile,
    theta: &[f64],
    sigma: f64,
) -> (Vec<VarianceComponent>, Vec<Correlation>) {
    let mut components = Vec::new();
    let mut correlations = Vec::new();
    for (term, template) in design.random().iter().zip(&profile.layout.templates) {
        let q = template.columns;
        let relative = template.covariance(theta);
        let product = |a: usize, b: usize| relative[a * q + b];
        if term.structure == Structure::Common {
            components.push(VarianceComponent::new(&term.name, sigma * theta[template.first]));
            continue;
        }
        for a in 0..q {
            components.push(VarianceComponent::new(&term.label(a), sigma * product(a, a).sqrt()));
            for b in 0..a {
                correlations.push(Correlation {
                    term: term.name.clone(),
                    columns: (term.column_names[b].clone(), term.column_names[a].clone()),
                    correlation: product(a, b) / (product(a, a) * product(b, b)).sqrt(),
                    covariance: sigma * sigma * product(a, b),
                });
            }
        }
    }
    if !profile.sigma_known() {
        components.push(VarianceComponent::new("residual", sigma));
    }
    (components, correlations)
}
