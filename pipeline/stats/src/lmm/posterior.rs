//! Draws from the posterior of a mixed model, for uncertainty that a handful of groups cannot give by large-sample theory.
//!
//! Priors: flat on the coefficients, 1/sigma on sigma, and an independent half-normal or tapered half-Cauchy on the standard deviation
//! `tau_k = sigma theta_k` of every random term, with a scale that the caller states in response units (per unit of the covariate).
//! Given (sigma, theta) everything else is normal and drawn exactly; only (log sigma, log theta) is walked over, with the coefficients and
//! effects integrated out (`chain.rs`, `elimination.rs`). On the logarithm a spread that a handful of groups tells has light tails on both
//! sides: on its own scale it reaches from next to nothing to the prior's, many times its median, and a walk with steps of one size hardly gets there.

use super::chain::Chain;
use super::elimination::Elimination;
use super::profile::Profile;
use crate::checks::check_length;
use crate::dense::solve_upper;
use crate::design::Design;
use crate::error::{Result, StatsError};
use crate::inference::LinearFit;
use crate::random_term::Structure;
use ndarray::{Array2, ShapeBuilder};

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
    pub(super) fn log_density(self, deviation: f64) -> f64 {
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
    /// Steps per stored draw; a step is one factorisation, moves one spread that many groups tell, one that few tell, and sigma.
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
    /// In single precision: they are most of what a large model holds, and a draw says less than seven digits.
    pub effects: Array2<f32>,
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
        let elimination = Elimination::new(design, &design.weighted(least_squares.residuals()));
        let mut chain = Chain::new(&profile, &elimination, options)?;
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
            chain.warm_up();
        }
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
            let effects: Vec<f32> = effects.into_iter().map(|effect| effect as f32).collect();
            let mut coefficients = shift;
            solve_upper(&design.qr.r, &mut coefficients);
            for (j, value) in coefficients.iter().enumerate() {
                posterior.coefficients[[draw, j]] = least_squares.coefficients()[j] + value;
            }
            for (place, effect) in stored.iter().enumerate() {
                posterior.effects[[draw, place]] = effects[*effect];
            }
            posterior.effect_means.iter_mut().zip(effects).for_each(|(sum, value)| *sum += f64::from(value));
        }
        posterior.effect_means.iter_mut().for_each(|sum| *sum /= options.draws as f64);
        posterior.acceptance_rate = chain.acceptance_rate();
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
    use rand::{Rng, SeedableRng};
    use rand_chacha::ChaCha8Rng;
    use rand_distr::StandardNormal;

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
