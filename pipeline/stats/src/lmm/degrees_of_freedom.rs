//! Satterthwaite degrees of freedom.
//!
//! A variance `V(ψ)` of a contrast depends on the variance parameters ψ. Matching its mean and variance to a scaled chi-squared
//! gives `df = 2 V² / (g'Ag)`, with g the gradient of V and A the asymptotic covariance of the estimates of ψ, twice the
//! inverse of the second derivatives of `-2 log L` (Giesbrecht & Burns 1985; Kuznetsova, Brockhoff & Christensen 2017,
//! J. Stat. Soft. 82(13)). Here ψ = (log sigma, log theta); at an optimum the result does not depend on that choice.

use super::profile::{Criterion, Profile};
use crate::dense::{cholesky_in_place, dot, inverse_from_cholesky, quadratic_form};
use crate::derivatives::{STEP, derivatives};
use crate::note::Note;

/// What is known about the uncertainty of the variance parameters.
#[derive(Debug, Clone)]
pub(super) struct VarianceUncertainty {
    source: Source,
    /// Names of terms estimated as zero.
    left_out: Vec<String>,
}

#[derive(Debug, Clone)]
enum Source {
    /// Only sigma is uncertain: the t distribution is exact.
    Residual,
    Satterthwaite {
        /// Covariance of (log sigma, log theta of the terms above zero).
        covariance: Vec<f64>,
        /// Derivatives of the unscaled covariance on Q by log theta, one matrix per term above zero.
        slopes: Vec<Vec<f64>>,
    },
    /// The curvature was not usable: fewest groups less one.
    Containment(f64),
}

impl VarianceUncertainty {
    pub(super) fn new(
        profile: &Profile,
        criterion: Criterion,
        theta: &[f64],
        sigma: f64,
        names: &[String],
        fewest_groups: usize,
    ) -> Self {
        let active: Vec<usize> = (0..theta.len()).filter(|&k| theta[k] > 0.0).collect();
        let left_out = (0..theta.len()).filter(|&k| theta[k] == 0.0).map(|k| names[k].clone()).collect();
        let source = if active.is_empty() {
            Source::Residual
        } else {
            satterthwaite(profile, criterion, theta, sigma, &active)
                .unwrap_or(Source::Containment((fewest_groups.max(2) - 1) as f64))
        };
        Self { source, left_out }
    }

    /// Degrees of freedom of the contrast with coordinates `on_q`.
    pub(super) fn df(&self, on_q: &[f64], unscaled: &[f64], residual_df: usize) -> f64 {
        match &self.source {
            Source::Residual => residual_df as f64,
            Source::Containment(df) => *df,
            Source::Satterthwaite { covariance, slopes } => {
                // Sigma² cancels: V, its gradient and its variance are all taken without it.
                let variance = quadratic_form(unscaled, on_q);
                let mut gradient = vec![2.0 * variance];
                gradient.extend(slopes.iter().map(|slope| quadratic_form(slope, on_q)));
                2.0 * variance * variance / quadratic_form(covariance, &gradient)
            }
        }
    }

    /// Short name of the method, with the terms left out.
    pub(super) fn method(&self) -> String {
        let name = match self.source {
            Source::Residual => "residual",
            Source::Satterthwaite { .. } => "satterthwaite",
            Source::Containment(_) => "containment",
        };
        if self.left_out.is_empty() {
            name.into()
        } else {
            format!("{name} (left out, estimated as zero: {})", self.left_out.join(", "))
        }
    }

    pub(super) fn note(&self) -> Option<Note> {
        match self.source {
            Source::Containment(df) => Some(Note::new(
                "degrees-of-freedom",
                format!(
                    "the curvature at the optimum was not usable, so degrees of freedom are the fewest groups less one ({df})"
                ),
            )),
            _ => None,
        }
    }
}

fn satterthwaite(
    profile: &Profile,
    criterion: Criterion,
    theta: &[f64],
    sigma: f64,
    active: &[usize],
) -> Option<Source> {
    let logs: Vec<f64> = active.iter().map(|&k| theta[k].ln()).collect();
    let mut work = profile.workspace();
    let mut whole = theta.to_vec();
    let outputs = |logs: &[f64]| {
        for (&k, value) in active.iter().zip(logs) {
            whole[k] = value.exp();
        }
        if !profile.factor(&whole, &mut work) {
            return None;
        }
        let rank = profile.rank();
        let mut values = vec![profile.log_determinants(&work, criterion), work.sum_of_squares];
        values.extend(inverse_from_cholesky(profile.information_factor(&work), rank + 1, rank));
        Some(values)
    };
    let local = derivatives(outputs, &logs, STEP)?;
    // -2 log L (log sigma, log theta) = log determinants + 2 df log sigma + r² / sigma² + constant.
    let size = active.len() + 1;
    let variance = sigma * sigma;
    let mut curvature = vec![0.0; size * size];
    curvature[0] = 4.0 * profile.sigma_df(criterion);
    for k in 0..active.len() {
        let cross = -2.0 * local.gradient[k][1] / variance;
        curvature[k + 1] = cross;
        curvature[(k + 1) * size] = cross;
        for l in 0..active.len() {
            let second = &local.hessian[k * active.len() + l];
            curvature[(k + 1) * size + l + 1] = second[0] + second[1] / variance;
        }
    }
    if !cholesky_in_place(&mut curvature, size) {
        return None;
    }
    let covariance =
        inverse_from_cholesky(&curvature, size, size).iter().map(|value| 2.0 * value).collect::<Vec<f64>>();
    if !dot(&covariance, &covariance).is_finite() {
        return None;
    }
    Some(Source::Satterthwaite { covariance, slopes: local.gradient.iter().map(|g| g[2..].to_vec()).collect() })
}
