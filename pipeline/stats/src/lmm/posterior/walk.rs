//! The random walk over log sigma and theta, for posteriors that weighted points do not cover.

use super::proposal::Proposal;
use super::target::Target;
use crate::error::{Result, StatsError};
use crate::lmm::profile::{Criterion, Workspace};
use rand::Rng;
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// State of the walk.
pub(super) struct Walk<'a> {
    target: Target<'a>,
    pub(super) position: Vec<f64>,
    density: f64,
    /// Factors at the current position, and a spare for the proposal.
    pub(super) current: Workspace,
    spare: Workspace,
    proposal: Proposal,
    pub(super) accepted: usize,
}

impl<'a> Walk<'a> {
    /// Starts at a position, moved inside from the edge: the posterior has density there, but the walk starts better off it.
    ///
    /// # Errors
    /// Numbers that overflow there.
    pub(super) fn new(target: Target<'a>, start: &[f64]) -> Result<Self> {
        let mut position = start.to_vec();
        position[1..].iter_mut().for_each(|theta| *theta = theta.max(0.1));
        let mut current = target.profile.workspace();
        if !target.factor(&position, &mut current) {
            return Err(StatsError::Numerical { step: "the factorisation at the start of the random walk" });
        }
        Ok(Self {
            density: target.log_density(&position, &current),
            spare: target.profile.workspace(),
            proposal: Proposal::new(&position, target.profile.sigma_df(Criterion::Reml)),
            target,
            position,
            current,
            accepted: 0,
        })
    }

    /// One step of the time before draws are stored, from which proposals learn.
    pub(super) fn learn(&mut self, step: usize, random: &mut ChaCha8Rng) {
        self.step(random);
        self.proposal.learn(step, &self.position);
    }

    /// One joint random-walk step, then one step of sigma alone, which needs no factorisation.
    pub(super) fn step(&mut self, random: &mut ChaCha8Rng) {
        let mut trial = self.proposal.joint(&self.position, random);
        // The density is even in theta, so reflection at zero keeps the walk symmetric.
        trial[1..].iter_mut().for_each(|theta| *theta = theta.abs());
        if self.target.profile.sigma_known() {
            trial[0] = 0.0;
        }
        let log_uniform = random.random::<f64>().ln();
        let mut accepted = false;
        if self.target.factor(&trial, &mut self.spare) {
            let density = self.target.log_density(&trial, &self.spare);
            if log_uniform < density - self.density {
                self.position = trial;
                self.density = density;
                std::mem::swap(&mut self.current, &mut self.spare);
                self.accepted += 1;
                accepted = true;
            }
        }
        self.proposal.record(accepted);
        if self.target.profile.sigma_known() {
            return;
        }
        let log_uniform = random.random::<f64>().ln();
        let noise: f64 = random.sample(StandardNormal);
        let old = self.position[0];
        self.position[0] = old + self.proposal.sigma_step() * noise;
        let density = self.target.log_density(&self.position, &self.current);
        if log_uniform < density - self.density {
            self.density = density;
        } else {
            self.position[0] = old;
        }
    }
}

/// Number of independent draws that would give the same precision of the mean (Geyer 1992, initial monotone sequence).
pub(super) fn effective_sample_size(values: &[f64]) -> f64 {
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
    use rand::SeedableRng;

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
