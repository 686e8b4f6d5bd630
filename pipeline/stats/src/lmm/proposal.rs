//! Proposals of the walk over spreads, adapted during burn-in.

use crate::dense::cholesky_in_place;
use rand::Rng;
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// Acceptance rate that random walks in a few dimensions do best with (Roberts, Gelman & Gilks 1997, rounded up for few dimensions).
const TARGET: f64 = 0.3;
/// Degrees of freedom of a proposal of one place alone, and its width in standard deviations seen: wide and with heavy tails, so that no place is one
/// that the walk stays at for long. Tried were 5 with 1, 1.2 and 1.5, and 3 and 10 with 1.2: of these five the pair used left the largest smallest effective number over 27 designs of reviews.
const FREEDOM: usize = 3;
const WIDTH: f64 = 1.2;
/// Positions seen before their standard deviations are believed.
const ENOUGH: f64 = 100.0;

/// Two kinds of proposals that follow the positions seen so far: one place alone, drawn afresh from a t distribution about its mean (an independence
/// sampler, Tierney 1994), and all places together by normal increments (Haario, Saksman & Tamminen 2001).
pub(super) struct Proposal {
    /// Lower factor of the increment covariance, without `log_scale`.
    factor: Vec<f64>,
    log_scale: f64,
    sigma_step: f64,
    mean: Vec<f64>,
    covariance: Vec<f64>,
    seen: f64,
    /// Whether the last step together was accepted, until it is learned from; and how many were learned from.
    accepted: Option<bool>,
    steps_together: f64,
}

impl Proposal {
    /// A start from large-sample theory: log sigma is known to about `1 / sqrt(2 df)`, a log theta to about a half.
    pub(super) fn new(position: &[f64], sigma_df: f64) -> Self {
        let size = position.len();
        let mut factor = vec![0.0; size * size];
        factor[0] = (0.5 / sigma_df).sqrt();
        for k in 1..size {
            factor[k * size + k] = 0.5;
        }
        Self {
            sigma_step: 2.4 * factor[0],
            factor,
            log_scale: (2.4 / (size as f64).sqrt()).ln(),
            mean: position.to_vec(),
            covariance: vec![0.0; size * size],
            seen: 0.0,
            accepted: None,
            steps_together: 0.0,
        }
    }

    /// The position with a new value in one place, whatever the old one is, and the logarithm of the density of proposing the old over that of
    /// the new.
    pub(super) fn alone(&self, place: usize, position: &[f64], random: &mut ChaCha8Rng) -> (Vec<f64>, f64) {
        let size = position.len();
        let seen = if self.seen < ENOUGH { 1.0 } else { self.covariance[place * size + place].sqrt().max(0.1) };
        let width = WIDTH * seen;
        let freedom = FREEDOM as f64;
        let noise: f64 = random.sample(StandardNormal);
        let chi_squared: f64 = (0..FREEDOM).map(|_| random.sample::<f64, _>(StandardNormal).powi(2)).sum();
        let new = noise / (chi_squared / freedom).sqrt();
        let old = (position[place] - self.mean[place]) / width;
        let log_density = |at: f64| -0.5 * (freedom + 1.0) * (at * at / freedom).ln_1p();
        let mut moved = position.to_vec();
        moved[place] = self.mean[place] + width * new;
        (moved, log_density(old) - log_density(new))
    }

    /// A step of all places.
    pub(super) fn together(&self, position: &[f64], random: &mut ChaCha8Rng) -> Vec<f64> {
        let size = position.len();
        let noise: Vec<f64> = (0..size).map(|_| random.sample(StandardNormal)).collect();
        let scale = self.log_scale.exp();
        (0..size)
            .map(|i| {
                let increment: f64 = (0..=i).map(|j| self.factor[i * size + j] * noise[j]).sum();
                position[i] + scale * increment
            })
            .collect()
    }

    pub(super) fn sigma_step(&self) -> f64 {
        self.sigma_step
    }

    /// Notes what became of a step together.
    pub(super) fn record(&mut self, accepted: bool) {
        self.accepted = Some(accepted);
    }

    /// Burn-in only: moves the scale of steps together towards the target acceptance, and mean and shape towards those of the positions.
    pub(super) fn learn(&mut self, position: &[f64]) {
        let size = position.len();
        if let Some(accepted) = self.accepted.take() {
            self.steps_together += 1.0;
            let rate = self.steps_together.powf(-0.6).min(0.5);
            self.log_scale += rate * (f64::from(u8::from(accepted)) - TARGET);
        }
        self.seen += 1.0;
        // Early positions still travel to the bulk, therefore old ones are forgotten slowly.
        let weight = (1.0 / self.seen).max(0.002);
        let difference: Vec<f64> = position.iter().zip(&self.mean).map(|(p, m)| p - m).collect();
        for i in 0..size {
            self.mean[i] += weight * difference[i];
            for j in 0..size {
                let entry = &mut self.covariance[i * size + j];
                *entry = (1.0 - weight) * (*entry + weight * difference[i] * difference[j]);
            }
        }
        if self.seen >= 2.0 * ENOUGH && self.seen % 50.0 == 0.0 {
            let mut factor = self.covariance.clone();
            for k in 0..size {
                // A floor keeps every direction alive.
                factor[k * size + k] += 1e-10 + 1e-6 * f64::from(u8::from(k > 0));
            }
            if cholesky_in_place(&mut factor, size) {
                if self.seen == 2.0 * ENOUGH {
                    self.log_scale = (2.4 / (size as f64).sqrt()).ln();
                }
                self.factor = factor;
            }
        }
    }
}
