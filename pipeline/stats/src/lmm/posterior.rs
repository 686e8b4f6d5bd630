//! Draws from the posterior of a mixed model, for uncertainty that a handful of groups cannot give by large-sample theory.
//!
//! Priors: flat on the coefficients, 1/sigma on sigma, and an independent half-normal or tapered half-Cauchy on the standard deviation
//! `tau_k = sigma theta_k` of every random term, with a scale that the caller states in response units (per unit of the covariate).
//! Given (sigma, theta) everything else is normal and drawn exactly; only (log sigma, log theta) is walked over, with the coefficients and
//! effects integrated out by the same factorisation that the fit uses. On the logarithm a spread that a handful of groups tells has light tails on both
//! sides: on its own scale it reaches from next to nothing to the prior's, many times its median, and a walk with steps of one size hardly gets there.

use super::fit::optimise;
use super::profile::{Criterion, Profile, Workspace};
use super::proposal::Proposal;
use crate::checks::check_length;
use crate::dense::{solve_lower_transpose, solve_upper};
use crate::design::Design;
use crate::error::{Result, StatsError};
use crate::inference::LinearFit;
use crate::random_term::Structure;
use ndarray::{Array2, ShapeBuilder};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// Prior of the standard deviation of a random term, in response units per unit of the covariate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SpreadPrior {
    /// Half-normal with this scale.
    HalfNormal(f64),
    /// Half-Cauchy with this scale (Gelman 2006), its tail cut by a half-normal of scale `slab` (Piironen & Vehtari 2017): most often small, and
    /// up to the size of the slab where the data say so. Without the slab, directions that the data do not show would go anywhere.
    TaperedCauchy {
        /// Scale near zero.
        scale: f64,
        /// Scale of the half-normal.
        slab: f64,
    },
}

impl SpreadPrior {
    /// Scale of the prior near zero.
    pub fn scale(self) -> f64 {
        match self {
            Self::HalfNormal(scale) | Self::TaperedCauchy { scale, .. } => scale,
        }
    }

    /// Scale of its tail.
    pub fn slab(self) -> f64 {
        match self {
            Self::HalfNormal(scale) => scale,
            Self::TaperedCauchy { slab, .. } => slab,
        }
    }

    /// Log density at a standard deviation, up to a constant.
    fn log_density(self, deviation: f64) -> f64 {
        match self {
            Self::HalfNormal(scale) => -0.5 * (deviation / scale).powi(2),
            Self::TaperedCauchy { scale, slab } => {
                -(deviation / scale).powi(2).ln_1p() - 0.5 * (deviation / slab).powi(2)
            }
        }
    }
}

/// How to sample.
#[derive(Debug, Clone, PartialEq)]
pub struct PosteriorOptions {
    /// Number of stored draws.
    pub draws: usize,
    /// Steps before the first stored draw; proposals adapt only during these.
    pub burn_in: usize,
    /// Steps per stored draw; a step is one factorisation.
    pub thin: usize,
    /// Seed; the same seed, data and options give the same bytes.
    pub seed: u64,
    /// Prior of each random term's standard deviation.
    pub priors: Vec<SpreadPrior>,
    /// Numbers of the random terms of whose effects the mean over the draws is enough: draws of a term with thousands of groups take much room.
    pub mean_only: Vec<usize>,
}

impl PosteriorOptions {
    /// 2000 draws, 1000 steps of burn-in, 2 steps per draw: 5000 factorisations. Half-normal priors with the given scales.
    pub fn new(scales: Vec<f64>, seed: u64) -> Self {
        let priors = scales.into_iter().map(SpreadPrior::HalfNormal).collect();
        Self { draws: 2000, burn_in: 1000, thin: 2, seed, priors, mean_only: Vec::new() }
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
    /// Random effects (draws × q), term by term, group by group, without the terms that are `mean_only`; see [`Posterior::effect_offset`].
    pub effects: Array2<f64>,
    /// Mean over the draws of every random effect, term by term, group by group.
    effect_means: Vec<f64>,
    /// Share of proposals accepted after burn-in.
    pub acceptance_rate: f64,
    /// Effective sample size of sigma and of each standard deviation, in this order (Geyer 1992).
    pub effective_sample_size: Vec<f64>,
    /// First effect of each term in `effect_means`, and their number at the end.
    first: Vec<usize>,
    /// The same in `effects`; none of terms that are `mean_only`.
    offset: Vec<Option<usize>>,
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
        let mut chain = Chain::new(&profile, options, &theta)?;
        let terms = profile.n_parameters();
        let first = profile.layout.offset.clone();
        let mut stored = Vec::with_capacity(first[terms]);
        let mut offset = Vec::with_capacity(terms + 1);
        for term in 0..terms {
            let kept = !options.mean_only.contains(&term);
            offset.push(kept.then_some(stored.len()));
            stored.extend((first[term]..first[term + 1]).filter(|_| kept));
        }
        offset.push(Some(stored.len()));
        let mut posterior = Self {
            sigma: Vec::with_capacity(options.draws),
            standard_deviations: Array2::zeros((options.draws, terms)),
            coefficients: Array2::zeros((options.draws, design.rank())),
            // Draws of one effect stand together: they are read effect by effect.
            effects: Array2::zeros((options.draws, stored.len()).f()),
            effect_means: vec![0.0; profile.n_effects()],
            acceptance_rate: 0.0,
            effective_sample_size: Vec::new(),
            first,
            offset,
        };
        for _ in 0..options.burn_in {
            chain.step();
            chain.proposal.learn(&chain.position);
        }
        chain.accepted = 0;
        for draw in 0..options.draws {
            for _ in 0..options.thin {
                chain.step();
            }
            let sigma = chain.sigma();
            posterior.sigma.push(sigma);
            for (k, theta) in chain.theta().iter().enumerate() {
                posterior.standard_deviations[[draw, k]] = sigma * theta;
            }
            let (shift, effects) = chain.normal_part();
            let mut coefficients = shift;
            solve_upper(&design.qr.r, &mut coefficients);
            for (j, value) in coefficients.iter().enumerate() {
                posterior.coefficients[[draw, j]] = least_squares.coefficients()[j] + value;
            }
            for (place, effect) in stored.iter().enumerate() {
                posterior.effects[[draw, place]] = effects[*effect];
            }
            posterior.effect_means.iter_mut().zip(effects).for_each(|(sum, value)| *sum += value);
        }
        posterior.effect_means.iter_mut().for_each(|sum| *sum /= options.draws as f64);
        posterior.acceptance_rate = chain.accepted as f64 / (options.draws * options.thin) as f64;
        posterior.effective_sample_size = std::iter::once(posterior.sigma.clone())
            .chain(posterior.standard_deviations.columns().into_iter().map(|c| c.to_vec()))
            .map(|values| effective_sample_size(&values))
            .collect();
        Ok(posterior)
    }

    /// Number of stored draws.
    pub fn draws(&self) -> usize {
        self.sigma.len()
    }

    /// First column of [`Posterior::effects`] that belongs to `term`; group g stands g columns further. The offset of the term
    /// after the last is the number of columns; `None` beyond, and for a term that is `mean_only`.
    pub fn effect_offset(&self, term: usize) -> Option<usize> {
        self.offset.get(term).copied().flatten()
    }

    /// Mean over the draws of the effect of `group` in `term`; `None` where there is no such effect.
    pub fn mean_effect(&self, term: usize, group: usize) -> Option<f64> {
        let range = *self.first.get(term)?..*self.first.get(term + 1)?;
        self.effect_means[range].get(group).copied()
    }
}

/// State of the walk. Position: log sigma, then the logarithm of each theta in units of its term.
struct Chain<'a> {
    profile: &'a Profile,
    priors: &'a [SpreadPrior],
    position: Vec<f64>,
    density: f64,
    /// Factors at the current position, and a spare for the proposal.
    current: Workspace,
    spare: Workspace,
    proposal: Proposal,
    /// Which theta is proposed next; all of them together after the last.
    turn: usize,
    accepted: usize,
    random: ChaCha8Rng,
}

impl<'a> Chain<'a> {
    /// Starts at the optimum `theta` and the best sigma there.
    fn new(profile: &'a Profile, options: &'a PosteriorOptions, theta: &[f64]) -> Result<Self> {
        let failed = StatsError::Numerical { step: "the factorisation at the start of the random walk" };
        let mut current = profile.workspace();
        if !profile.factor(theta, &mut current) {
            return Err(failed);
        }
        let mut position = vec![profile.sigma(&current, Criterion::Reml).ln()];
        // A start on the boundary is moved inside, where the walk begins better.
        position.extend(theta.iter().zip(profile.unit()).map(|(t, u)| (t / u).max(0.1).ln()));
        let mut chain = Self {
            profile,
            priors: &options.priors,
            density: f64::NEG_INFINITY,
            current,
            spare: profile.workspace(),
            proposal: Proposal::new(&position, profile.sigma_df(Criterion::Reml)),
            position,
            turn: 0,
            accepted: 0,
            random: ChaCha8Rng::seed_from_u64(options.seed),
        };
        let theta = chain.theta();
        if !profile.factor(&theta, &mut chain.current) {
            return Err(failed);
        }
        chain.density = chain.log_density(&chain.position, &chain.current);
        Ok(chain)
    }

    fn sigma(&self) -> f64 {
        self.position[0].exp()
    }

    fn theta(&self) -> Vec<f64> {
        self.theta_at(&self.position)
    }

    fn theta_at(&self, position: &[f64]) -> Vec<f64> {
        position[1..].iter().zip(self.profile.unit()).map(|(log_theta, unit)| log_theta.exp() * unit).collect()
    }

    /// Log density of (log sigma, log theta) with coefficients and effects integrated out.
    ///
    /// The restricted likelihood is the integral over a flat prior; 1/sigma d sigma is flat in log sigma; a density of tau is one
    /// of log theta times tau, here up to the unit of theta.
    fn log_density(&self, position: &[f64], work: &Workspace) -> f64 {
        let log_sigma = position[0];
        let variance = (2.0 * log_sigma).exp();
        let mut density = -0.5 * self.profile.log_determinants(work, Criterion::Reml)
            - self.profile.sigma_df(Criterion::Reml) * log_sigma
            - 0.5 * work.sum_of_squares / variance;
        for ((log_theta, unit), prior) in position[1..].iter().zip(self.profile.unit()).zip(self.priors) {
            let log_tau = log_sigma + log_theta;
            density += log_tau + prior.log_density(log_tau.exp() * unit);
        }
        density
    }

    /// One theta afresh, or after the last of them all together by a step of the walk; then sigma alone, which needs no factorisation.
    fn step(&mut self) {
        let together = self.turn == self.priors.len();
        let (mut trial, log_ratio) = if together {
            (self.proposal.together(&self.position, &mut self.random), 0.0)
        } else {
            self.proposal.alone(1 + self.turn, &self.position, &mut self.random)
        };
        self.turn = if together { 0 } else { self.turn + 1 };
        if self.profile.sigma_known() {
            trial[0] = 0.0;
        }
        let theta = self.theta_at(&trial);
        let log_uniform = self.random.random::<f64>().ln();
        let mut accepted = false;
        if self.profile.factor(&theta, &mut self.spare) {
            let density = self.log_density(&trial, &self.spare);
            if log_uniform < density - self.density + log_ratio {
                self.position = trial;
                self.density = density;
                std::mem::swap(&mut self.current, &mut self.spare);
                self.accepted += 1;
                accepted = true;
            }
        }
        if together {
            self.proposal.record(accepted);
        }
        if self.profile.sigma_known() {
            return;
        }
        let log_uniform = self.random.random::<f64>().ln();
        let noise: f64 = self.random.sample(StandardNormal);
        let old = self.position[0];
        self.position[0] = old + self.proposal.sigma_step() * noise;
        let density = self.log_density(&self.position, &self.current);
        if log_uniform < density - self.density {
            self.density = density;
        } else {
            self.position[0] = old;
        }
    }

    /// Coefficients on Q (relative to least squares) and effects, drawn from their normal distributions given the position.
    fn normal_part(&mut self) -> (Vec<f64>, Vec<f64>) {
        let sigma = self.sigma();
        let rank = self.profile.rank();
        let mut draw: Vec<f64> = (0..rank).map(|_| sigma * self.random.sample::<f64, _>(StandardNormal)).collect();
        solve_lower_transpose(self.profile.information_factor(&self.current), rank + 1, &mut draw);
        for (value, centre) in draw.iter_mut().zip(self.profile.shift_on_q(&self.current)) {
            *value += centre;
        }
        let noise: Vec<f64> =
            (0..self.profile.n_effects()).map(|_| sigma * self.random.sample::<f64, _>(StandardNormal)).collect();
        let effects = self.profile.effects(&self.current, &draw, Some(&noise));
        (draw, effects)
    }
}

/// Number of independent draws that would give the same precision of the mean (Geyer 1992, initial monotone sequence).
fn effective_sample_size(values: &[f64]) -> f64 {
    let count = values.len();
    let mean = values.iter().sum::<f64>() / count as f64;
    let centred: Vec<f64> = values.iter().map(|value| value - mean).collect();
    let covariance = |lag: usize| crate::dense::dot(&centred[..count - lag], &centred[lag..]) / count as f64;
    let variance = covariance(0);
    if !(variance > 0.0) {
        return count as f64;
    }
    let mut sum = -variance;
    let mut previous = f64::INFINITY;
    let mut lag = 0;
    while lag + 1 < count {
        let pair = (covariance(lag) + covariance(lag + 1)).min(previous);
        if !(pair > 0.0) {
            break;
        }
        sum += 2.0 * pair;
        previous = pair;
        lag += 2;
    }
    (count as f64 * variance / sum.max(variance / count as f64)).min(count as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn independent_draws_count_fully_and_sticky_draws_do_not() {
        let mut random = ChaCha8Rng::seed_from_u64(3);
        let independent: Vec<f64> = (0..4000).map(|_| random.sample(StandardNormal)).collect();
        assert!(effective_sample_size(&independent) > 3400.0);
        // A first-order autoregression with coefficient 0.8 has (1 - 0.8) / (1 + 0.8) = 1/9 of the information.
        let mut state = 0.0;
        let sticky: Vec<f64> = (0..40_000)
            .map(|_| {
                state = 0.8 * state + random.sample::<f64, _>(StandardNormal);
                state
            })
            .collect();
        let size = effective_sample_size(&sticky);
        assert!((size / 40_000.0 * 9.0 - 1.0).abs() < 0.15, "{size}");
    }
}
