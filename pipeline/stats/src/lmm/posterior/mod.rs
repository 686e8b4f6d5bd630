//! Draws from the posterior of a mixed model, for uncertainty that a handful of groups cannot give by large-sample theory.
//!
//! Priors: flat on the coefficients, 1/sigma on sigma, and an independent half-normal or tapered half-Cauchy on the standard deviation
//! `tau_k = sigma theta_k` of every random term, with a scale that the caller states in response units (per unit of the covariate).
//! Given (sigma, theta) everything else is normal and drawn exactly; only (log sigma, theta) is sampled, by weighted points or by a random
//! walk, with the coefficients and effects integrated out by the same factorisation that the fit uses.

mod points;
mod prior;
mod proposal;
mod student;
mod target;
mod walk;

use self::points::WeightedPoints;
use self::target::Target;
use self::walk::{Walk, effective_sample_size};
use super::fit::optimise;
use super::profile::{Criterion, Profile, Workspace};
use crate::checks::check_length;
use crate::dense::solve_upper;
use crate::design::Design;
use crate::error::{Result, StatsError};
use crate::inference::LinearFit;
use crate::least_squares::LeastSquaresFit;
use crate::random_term::Structure;
use ndarray::{Array2, ShapeBuilder};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

pub use prior::SpreadPrior;

/// How log sigma and theta are sampled.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sampling {
    /// Independent weighted points; a walk where they do not cover the posterior.
    Points,
    /// A random walk.
    Walk,
}

/// How to sample.
#[derive(Debug, Clone, PartialEq)]
pub struct PosteriorOptions {
    /// Number of stored draws.
    pub draws: usize,
    /// Points, or a walk from the start.
    pub sampling: Sampling,
    /// Steps of a walk before the first stored draw; it adapts only during these.
    pub burn_in: usize,
    /// Steps of a walk per stored draw.
    pub thin: usize,
    /// Seed; the same seed, data and options give the same bytes.
    pub seed: u64,
    /// Prior of each random term's standard deviation.
    pub priors: Vec<SpreadPrior>,
}

impl PosteriorOptions {
    /// 2000 draws by points, 200 to 2000 evaluations; if they fail, a walk of 2000 steps of burn-in and 4 steps per draw. Half-normal priors with
    /// the given scales.
    pub fn new(scales: Vec<f64>, seed: u64) -> Self {
        let priors = scales.into_iter().map(SpreadPrior::HalfNormal).collect();
        Self { draws: 2000, sampling: Sampling::Points, burn_in: 2000, thin: 4, seed, priors }
    }

    fn check(&self, terms: usize) -> Result<()> {
        check_length("the list of priors", self.priors.len(), terms)?;
        let mut scales = self.priors.iter().flat_map(|prior| [prior.scale(), prior.slab()]);
        if let Some(value) = scales.find(|scale| !(*scale > 0.0 && scale.is_finite())) {
            return Err(StatsError::OutOfRange { what: "a prior scale", value, expected: "a number above zero" });
        }
        for (what, value) in [("the number of draws", self.draws), ("the steps per draw", self.thin)] {
            if value == 0 {
                return Err(StatsError::OutOfRange { what, value: 0.0, expected: "at least 1" });
            }
        }
        Ok(())
    }
}

/// Stored draws.
#[derive(Debug, Clone)]
pub struct Posterior {
    /// Residual standard deviation, one per draw; all 1 where sampling variances are known.
    pub sigma: Vec<f64>,
    /// Standard deviation of each random term (draws × terms), in response units.
    pub standard_deviations: Array2<f64>,
    /// Fixed coefficients (draws × p).
    pub coefficients: Array2<f64>,
    /// Random effects (draws × q), term by term, group by group; see [`Posterior::effect_offset`].
    pub effects: Array2<f64>,
    /// Share of proposals that a walk accepted after burn-in; `None` where points were used.
    pub acceptance_rate: Option<f64>,
    /// Effective sample size of sigma and of each standard deviation, in this order: by weights, or of a walk by Geyer (1992).
    pub effective_sample_size: Vec<f64>,
    offset: Vec<usize>,
}

impl Posterior {
    /// Samples the posterior of `design`.
    ///
    /// # Errors
    /// As [`Lmm::fit`](crate::Lmm::fit); scales of the wrong number or not above zero; no draws.
    pub fn sample(design: &Design, options: &PosteriorOptions) -> Result<Self> {
        options.check(design.random().len())?;
        if let Some(term) = design.random().iter().find(|term| term.structure == Structure::Correlated) {
            return Err(StatsError::RandomTerm {
                term: term.name.clone(),
                reason: "its effects are correlated, and the draws have a prior for one standard deviation per term"
                    .into(),
            });
        }
        let (least_squares, profile) = Profile::of(design)?;
        let (theta, _) = optimise(&profile, Criterion::Reml);
        let target = Target::new(&profile, &options.priors);
        let mut start = vec![0.0];
        start.extend(theta.iter().zip(profile.unit()).map(|(theta, unit)| theta / unit));
        let mut random = ChaCha8Rng::seed_from_u64(options.seed);
        let mut posterior = Self {
            sigma: vec![0.0; options.draws],
            standard_deviations: Array2::zeros((options.draws, profile.n_parameters())),
            coefficients: Array2::zeros((options.draws, design.rank())),
            // Draws of one effect stand together: they are read effect by effect.
            effects: Array2::zeros((options.draws, profile.n_effects()).f()),
            acceptance_rate: None,
            effective_sample_size: Vec::new(),
            offset: profile.layout.offset.clone(),
        };
        let mut given = Given { design, least_squares: &least_squares, target, random: &mut random };
        let points = match options.sampling {
            Sampling::Points => WeightedPoints::new(target, &start, options.draws, given.random),
            Sampling::Walk => None,
        };
        match points {
            Some(points) => posterior.take(&points, &mut given)?,
            None => posterior.walk(&start, options, &mut given)?,
        }
        Ok(posterior)
    }

    /// Draws at weighted points.
    fn take(&mut self, points: &WeightedPoints, given: &mut Given) -> Result<()> {
        let mut drawn: Vec<(usize, usize)> = points
            .resample(self.draws(), given.random)
            .into_iter()
            .enumerate()
            .map(|(draw, point)| (point, draw))
            .collect();
        // Draws of one point share its factorisation.
        drawn.sort_unstable();
        let mut work = given.target.profile.workspace();
        let mut factored = None;
        for (point, draw) in drawn {
            let position = points.position(point);
            if factored != Some(point) && !given.target.factor(position, &mut work) {
                return Err(StatsError::Numerical { step: "the factorisation at a point of the posterior" });
            }
            factored = Some(point);
            self.store(draw, position, &work, given);
        }
        self.effective_sample_size =
            points.effective_sizes().into_iter().map(|size| size.min(self.draws() as f64)).collect();
        Ok(())
    }

    /// Draws along a random walk.
    fn walk(&mut self, start: &[f64], options: &PosteriorOptions, given: &mut Given) -> Result<()> {
        let mut start = start.to_vec();
        let mut work = given.target.profile.workspace();
        if given.target.factor(&start, &mut work) {
            start[0] = given.target.profile.sigma(&work, Criterion::Reml).ln();
        }
        let mut walk = Walk::new(given.target, &start)?;
        for step in 0..options.burn_in {
            walk.learn(step, given.random);
        }
        walk.accepted = 0;
        for draw in 0..options.draws {
            for _ in 0..options.thin {
                walk.step(given.random);
            }
            self.store(draw, &walk.position, &walk.current, given);
        }
        self.acceptance_rate = Some(walk.accepted as f64 / (options.draws * options.thin) as f64);
        self.effective_sample_size = std::iter::once(self.sigma.clone())
            .chain(self.standard_deviations.columns().into_iter().map(|column| column.to_vec()))
            .map(|values| effective_sample_size(&values))
            .collect();
        Ok(())
    }

    /// Stores one draw at a position that `work` was factored at, with coefficients and effects drawn given it.
    fn store(&mut self, draw: usize, position: &[f64], work: &Workspace, given: &mut Given) {
        let sigma = position[0].exp();
        self.sigma[draw] = sigma;
        for (k, theta) in given.target.theta(position).into_iter().enumerate() {
            self.standard_deviations[[draw, k]] = sigma * theta;
        }
        let (shift, effects) = given.target.normal_part(position[0], work, given.random);
        let mut coefficients = shift;
        solve_upper(&given.design.qr.r, &mut coefficients);
        for (j, value) in coefficients.iter().enumerate() {
            self.coefficients[[draw, j]] = given.least_squares.coefficients()[j] + value;
        }
        for (i, value) in effects.into_iter().enumerate() {
            self.effects[[draw, i]] = value;
        }
    }

    /// Number of stored draws.
    pub fn draws(&self) -> usize {
        self.sigma.len()
    }

    /// First column of [`Posterior::effects`] that belongs to `term`; group g stands g columns further. The offset of the term
    /// after the last is the number of columns; `None` beyond.
    pub fn effect_offset(&self, term: usize) -> Option<usize> {
        self.offset.get(term).copied()
    }
}

/// What every draw is made from.
struct Given<'a> {
    design: &'a Design,
    least_squares: &'a LeastSquaresFit,
    target: Target<'a>,
    random: &'a mut ChaCha8Rng,
}
