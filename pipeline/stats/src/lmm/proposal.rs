//! Proposals of the random walk, adapted during burn-in (Haario, Saksman & Tamminen 2001).

use crate::dense::cholesky_in_place;
use rand::Rng;
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// Acceptance rate that random walks in a few dimensions do best with (Roberts, Gelman & Gilks 1997, rounded up for few dimensions).
const TARGET: f64 = 0.3;

/// Normal increments whose shape follows the draws seen so far.
pub(super) struct Proposal {
    /// Lower factor of the increment covariance, without `log_scale`.
    factor: Vec<f64>,
    log_scale: f64,
    sigma_step: f64,
    mean: Vec<f64>,
    covariance: Vec<f64>,
    seen: f64,
    last_accepted: bool,
}

impl Proposal {
    /// A start from large-sample theory: log sigma is known to about `1 / sqrt(2 df)`, a theta to about half its size.
    pub(super) fn new(position: &[f64], sigma_df: f64) -> Self {
        let size = position.len();
        let mut factor = vec![0.0; size * size];
        factor[0] = (0.5 / sigma_df).sqrt();
        for k in 1..size {
            factor[k * size + k] = 0.5 * position[k];
        }
        Self {
            sigma_step: 2.4 * factor[0],
            factor,
            log_scale: (2.4 / (size as f64).sqrt()).ln(),
            mean: position.to_vec(),
            covariance: vec![0.0; size * size],
            seen: 0.0,
            last_accepted: false,
        }
    }

    pub(super) fn joint(&self, position: &[f64], random: &mut ChaCha8Rng) -> Vec<f64> {
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

    pub(super) fn record(&mut self, accepted: bool) {
        self.last_accepted = accepted;
    }

    /// Burn-in only: moves the scale towards the target acceptance and the shape towards the covariance of the draws.
    pub(super) fn learn(&mut self, step: usize, position: &[f64]) {
        let size = position.len();
        let rate = ((step + 1) as f64).powf(-0.6).min(0.5);
        self.log_scale += rate * (f64::from(u8::from(self.last_accepted)) - TARGET);
        self.seen += 1.0;
        // Early draws still travel to the bulk, therefore old draws are forgotten slowly.
        let weight = (1.0 / self.seen).max(0.002);
        let difference: Vec<f64> = position.iter().zip(&self.mean).map(|(p, m)| p - m).collect();
        for i in 0..size {
            self.mean[i] += weight * difference[i];
            for j in 0..size {
                let entry = &mut self.covariance[i * size + j];
                *entry = (1.0 - weight) * (*entry + weight * difference[i] * difference[j]);
            }
        }
        if step % 50 == 49 && step >= 199 {
            let mut factor = self.covariance.clone();
            for k in 0..size {
                // A floor keeps every direction alive.
                factor[k * size + k] += 1e-10 + 1e-6 * position[k] * position[k] * f64::from(u8::from(k > 0));
            }
            if cholesky_in_place(&mut factor, size) {
                if step < 250 {
                    self.log_scale = (2.4 / (size as f64).sqrt()).ln();
                }
                self.factor = factor;
            }
        }
    }
}
