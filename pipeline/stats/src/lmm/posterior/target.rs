//! What is sampled: the density of log sigma and theta, and the normal part given them.

use super::prior::SpreadPrior;
use crate::dense::solve_lower_transpose;
use crate::lmm::profile::{Criterion, Profile, Workspace};
use rand::Rng;
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// The posterior of a design with coefficients and effects integrated out. A position is log sigma, then theta in units of its term.
#[derive(Clone, Copy)]
pub(super) struct Target<'a> {
    pub(super) profile: &'a Profile,
    priors: &'a [SpreadPrior],
}

impl<'a> Target<'a> {
    pub(super) fn new(profile: &'a Profile, priors: &'a [SpreadPrior]) -> Self {
        Self { profile, priors }
    }

    /// Factors at a position; false where numbers overflow.
    #[must_use]
    pub(super) fn factor(&self, position: &[f64], work: &mut Workspace) -> bool {
        self.profile.factor(&self.theta(position), work)
    }

    pub(super) fn theta(&self, position: &[f64]) -> Vec<f64> {
        position[1..].iter().zip(self.profile.unit()).map(|(theta, unit)| theta * unit).collect()
    }

    /// Log density of a position that `work` was factored at. It is even in every theta.
    ///
    /// The restricted likelihood is the integral over a flat prior; 1/sigma d sigma is flat in log sigma; a density of tau is one
    /// of theta times sigma.
    pub(super) fn log_density(&self, position: &[f64], work: &Workspace) -> f64 {
        let log_sigma = position[0];
        let variance = (2.0 * log_sigma).exp();
        let mut density = -0.5 * self.profile.log_determinants(work, Criterion::Reml)
            - self.profile.sigma_df(Criterion::Reml) * log_sigma
            - 0.5 * work.sum_of_squares / variance;
        for ((theta, unit), prior) in position[1..].iter().zip(self.profile.unit()).zip(self.priors) {
            density += log_sigma + prior.log_density(variance.sqrt() * theta * unit);
        }
        density
    }

    /// Degrees of freedom of sigma given theta where the priors are wide: sigma² is then `sum_of_squares / chi²`. The priors of standard
    /// deviations, being densities per sigma, take one each.
    pub(super) fn sigma_df(&self) -> f64 {
        self.profile.sigma_df(Criterion::Reml) - self.priors.len() as f64
    }

    /// Coefficients on Q (relative to least squares) and effects, drawn from their normal distributions at a position that `work` was
    /// factored at.
    pub(super) fn normal_part(
        &self,
        log_sigma: f64,
        work: &Workspace,
        random: &mut ChaCha8Rng,
    ) -> (Vec<f64>, Vec<f64>) {
        let sigma = log_sigma.exp();
        let rank = self.profile.rank();
        let mut draw: Vec<f64> = (0..rank).map(|_| sigma * random.sample::<f64, _>(StandardNormal)).collect();
        solve_lower_transpose(self.profile.information_factor(work), rank + 1, &mut draw);
        for (value, centre) in draw.iter_mut().zip(self.profile.shift_on_q(work)) {
            *value += centre;
        }
        let noise: Vec<f64> =
            (0..self.profile.n_effects()).map(|_| sigma * random.sample::<f64, _>(StandardNormal)).collect();
        let effects = self.profile.effects(work, &draw, Some(&noise));
        (draw, effects)
    }
}
