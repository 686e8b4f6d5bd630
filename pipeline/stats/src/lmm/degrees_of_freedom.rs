//! Satterthwaite degrees of freedom.
//!
//! A variance `V(ψ)` of a contrast depends on the variance parameters ψ. Matching its mean and variance to a scaled chi-squared
//! gives `df = 2 V² / (g'Ag)`, with g the gradient of V and A the asymptotic covariance of the estimates of ψ, twice the
//! inverse of the second derivatives of `-2 log L` (Giesbrecht & Burns 1985; Kuznetsova, Brockhoff & Christensen 2017,
//! J. Stat. Soft. 82(13)). Here ψ = (log sigma, log theta); at an optimum the result does not depend on that choice.

use super::coordinates::Coordinates;
use super::profile::{Criterion, Profile};
use crate::dense::{cholesky_in_place, dot, inverse_from_cholesky, quadratic_form};
use crate::derivatives::{STEP, derivatives};
use crate::note::Note;

/// Which small-sample degrees of freedom a fit gives to its tests. What was used always stands in the result.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum DegreesOfFreedom {
    /// Moments of the estimated variance of a contrast; standard errors as they are. The default.
    #[default]
    Satterthwaite,
    /// Kenward & Roger (1997): standard errors adjusted for the estimation of the variances too. Restricted likelihood only.
    KenwardRoger,
}

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
    /// Nothing is uncertain: the normal distribution is exact.
    Known,
    Satterthwaite {
        /// Covariance of (log sigma, coordinates of the thetas that can move), without log sigma where it is known.
        covariance: Vec<f64>,
        sigma_known: bool,
        /// Derivatives of the unscaled covariance on Q by these coordinates.
        slopes: Vec<Vec<f64>>,
    },
    /// The curvature was not usable: fewest groups less one.
    Containment(f64),
}

impl VarianceUncertainty {
    /// `labels` name the diagonal thetas.
    pub(super) fn new(
        profile: &Profile,
        criterion: Criterion,
        theta: &[f64],
        sigma: f64,
        labels: &[String],
        fewest_groups: usize,
    ) -> Self {
        let coordinates = Coordinates::new(&profile.layout, theta);
        let zero = |&k: &usize| theta[k] == 0.0 && profile.layout.parameters[k].is_diagonal();
        let left_out = (0..theta.len()).filter(zero).map(|k| labels[k].clone()).collect();
        let source = match (coordinates.active().is_empty(), profile.sigma_known()) {
            (true, false) => Source::Residual,
            (true, true) => Source::Known,
            _ => satterthwaite(profile, criterion, sigma, &coordinates)
                .unwrap_or(Source::Containment((fewest_groups.max(2) - 1) as f64)),
        };
        Self { source, left_out }
    }

    /// Degrees of freedom of the contrast with coordinates `on_q`.
    pub(super) fn df(&self, on_q: &[f64], unscaled: &[f64], residual_df: usize) -> f64 {
        match &self.source {
            Source::Residual => residual_df as f64,
            Source::Known => f64::INFINITY,
            Source::Containment(df) => *df,
            Source::Satterthwaite { covariance, sigma_known, slopes } => {
                // Sigma² cancels: V, its gradient and its variance are all taken without it.
                let variance = quadratic_form(unscaled, on_q);
                let mut gradient = if *sigma_known { Vec::new() } else { vec![2.0 * variance] };
                gradient.extend(slopes.iter().map(|slope| quadratic_form(slope, on_q)));
                2.0 * variance * variance / quadratic_form(covariance, &gradient)
            }
        }
    }

    /// Short name of the method, with the terms left out.
    pub(super) fn method(&self) -> String {
        let name = match self.source {
            Source::Residual => "residual",
            Source::Known => "known variances",
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

fn satterthwaite(profile: &Profile, criterion: Criterion, sigma: f64, coordinates: &Coordinates) -> Option<Source> {
    let mut work = profile.workspace();
    let outputs = |at: &[f64]| {
        if !profile.factor(&coordinates.theta(at), &mut work) {
            return None;
        }
        let rank = profile.rank();
        let mut values = vec![profile.log_determinants(&work, criterion), work.sum_of_squares];
        values.extend(inverse_from_cholesky(profile.information_factor(&work), rank + 1, rank));
        Some(values)
    };
    let local = derivatives(outputs, &coordinates.origin(), STEP)?;
    // -2 log L (log sigma, coordinates) = log determinants + 2 df log sigma + r² / sigma² + constant.
    let active = coordinates.active().len();
    let sigma_known = profile.sigma_known();
    let first = usize::from(!sigma_known);
    let size = active + first;
    let variance = sigma * sigma;
    let mut curvature = vec![0.0; size * size];
    if !sigma_known {
        curvature[0] = 4.0 * profile.sigma_df(criterion);
    }
    for k in 0..active {
        if !sigma_known {
            let cross = -2.0 * local.gradient[k][1] / variance;
            curvature[k + 1] = cross;
            curvature[(k + 1) * size] = cross;
        }
        for l in 0..active {
            let second = &local.hessian[k * active + l];
            curvature[(k + first) * size + l + first] = second[0] + second[1] / variance;
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
    let slopes = local.gradient.iter().map(|g| g[2..].to_vec()).collect();
    Some(Source::Satterthwaite { covariance, sigma_known, slopes })
}
