//! The search for the best theta: a derivative-free search in a box, then Newton steps.
//!
//! The bounded search is the `bobyqa` crate (Powell 2009); nothing outside this file knows it.

use crate::dense::{cholesky_in_place, solve_lower, solve_lower_transpose};
use bobyqa::{Bobyqa, Config, Status};

/// How the search for theta went.
#[derive(Debug, Clone, PartialEq)]
pub struct OptimumRecord {
    /// Theta at the start of the search that won.
    pub start: Vec<f64>,
    /// Theta at the end.
    pub end: Vec<f64>,
    /// Number of evaluations of the criterion, over all starts and steps.
    pub evaluations: usize,
    /// Why the search stopped, in words.
    pub reason: String,
    /// True when the final point meets the stopping rule.
    pub converged: bool,
    /// Largest derivative of the criterion by the log of a theta that is not zero (off the diagonal of a covariance factor: by theta in
    /// units of its row); 0 when there is none.
    pub largest_gradient: f64,
}

/// Result of one bounded search.
pub(super) struct Search {
    pub(super) point: Vec<f64>,
    pub(super) value: f64,
    pub(super) reason: String,
    pub(super) finished: bool,
}

/// Minimises `function` over arguments of order one, each not below its `lower` limit.
pub(super) fn bounded_search(
    mut function: impl FnMut(&[f64]) -> f64,
    start: &[f64],
    lower: &[f64],
    radius: f64,
    accuracy: f64,
) -> Search {
    let size = start.len();
    let mut config = Config::new(size);
    config.rho_begin = radius;
    config.rho_end = accuracy;
    config.max_fun = 400 * (size + 1);
    // With one argument the parity mode wastes evaluations, see the crate's documentation.
    config.prima_parity = size > 1;
    let mut point = start.to_vec();
    let failed = |reason: String| Search { point: start.to_vec(), value: f64::NAN, reason, finished: false };
    let mut solver = match Bobyqa::new(size, config) {
        Ok(solver) => solver,
        Err(status) => return failed(status.to_string()),
    };
    let outcome = solver.minimize(&mut function, &mut point, lower, &vec![UPPER_LIMIT; size]);
    if !outcome.found_finite() {
        return failed("no finite value of the criterion was found".into());
    }
    Search {
        point,
        value: outcome.f,
        reason: outcome.status.to_string(),
        finished: matches!(outcome.status, Status::Converged | Status::FtolReached),
    }
}

/// A term ten thousand times the residual is a perfect fit in all but name.
pub(super) const UPPER_LIMIT: f64 = 1e4;

/// Result of [`newton`].
pub(super) struct Polished {
    pub(super) point: Vec<f64>,
    pub(super) largest_gradient: f64,
    /// True when the last step was below 1e-8.
    pub(super) settled: bool,
}

/// Distance of the gradients whose difference is a second derivative; on a log scale one distance fits all. Second derivatives need
/// not be good: only the last steps see them, and a gradient decides where these end.
const DIFFERENCE: f64 = 1e-3;

/// Most steps; three to six are usual.
const STEP_LIMIT: usize = 40;

/// Newton steps from a point near the minimum, with gradients given and second derivatives by their differences.
///
/// A bounded search by values alone finds theta to about the root of the rounding error; these steps find it to nearly all digits.
/// Second derivatives serve for further steps as long as every step is much shorter than the one before. A step that does not lower the
/// criterion beyond rounding is halved; a curvature that is not positive stops the polish.
///
/// `curvature` is the factor of second derivatives to begin with, from [`curvature_factor`] at a point not far away.
pub(super) fn newton(
    mut function: impl FnMut(&[f64]) -> Option<(f64, Vec<f64>)>,
    start: &[f64],
    mut curvature: Option<Vec<f64>>,
) -> Polished {
    let mut point = start.to_vec();
    let mut largest_gradient = f64::INFINITY;
    let mut settled = false;
    let Some((mut value, mut gradient)) = function(&point) else {
        return Polished { point, largest_gradient, settled };
    };
    let mut last_length = f64::INFINITY;
    for _ in 0..STEP_LIMIT {
        largest_gradient = gradient.iter().fold(0.0_f64, |m, g| m.max(g.abs()));
        let fresh = curvature.is_none();
        let Some(factor) = curvature.take().or_else(|| curvature_factor(&mut function, &point)) else { break };
        let mut step: Vec<f64> = gradient.iter().map(|g| -g).collect();
        solve_lower(&factor, step.len(), &mut step);
        solve_lower_transpose(&factor, step.len(), &mut step);
        let length = step.iter().fold(0.0_f64, |m, s| m.max(s.abs()));
        if length < 1e-8 {
            point.iter_mut().zip(&step).for_each(|(p, s)| *p += s);
            settled = true;
            break;
        }
        if !fresh && length > 0.1 * last_length {
            continue;
        }
        // A long step leaves the region where the quadratic model holds.
        let mut share = (0.5 / length).min(1.0);
        let mut moved = false;
        for _ in 0..20 {
            let trial: Vec<f64> = point.iter().zip(&step).map(|(p, s)| p + share * s).collect();
            if let Some((next, slopes)) = function(&trial)
                && next <= value + 1e-11 * (1.0 + value.abs())
            {
                (point, value, gradient) = (trial, next, slopes);
                moved = true;
                break;
            }
            share *= 0.5;
        }
        match (moved, fresh) {
            (true, _) if share == 1.0 => curvature = Some(factor),
            (false, true) => break,
            _ => {}
        }
        last_length = length;
    }
    Polished { point, largest_gradient, settled }
}

/// Cholesky factor of the second derivatives, by central differences of gradients; `None` where they are not positive definite.
pub(super) fn curvature_factor(
    function: &mut impl FnMut(&[f64]) -> Option<(f64, Vec<f64>)>,
    point: &[f64],
) -> Option<Vec<f64>> {
    let size = point.len();
    let mut shifted = point.to_vec();
    let mut curvature = vec![0.0; size * size];
    for k in 0..size {
        shifted[k] = point[k] + DIFFERENCE;
        let (_, above) = function(&shifted)?;
        shifted[k] = point[k] - DIFFERENCE;
        let (_, below) = function(&shifted)?;
        shifted[k] = point[k];
        for l in 0..size {
            let value = 0.25 * (above[l] - below[l]) / DIFFERENCE;
            curvature[k * size + l] += value;
            curvature[l * size + k] += value;
        }
    }
    cholesky_in_place(&mut curvature, size).then_some(curvature)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_bounded_search_stops_at_an_edge_when_the_minimum_lies_beyond() {
        let search =
            bounded_search(|p| (p[0] + 1.0).powi(2) + (p[1] - 2.0).powi(2), &[1.0, 1.0], &[0.0, 0.0], 0.5, 1e-6);
        assert!(search.finished);
        assert_eq!(search.point[0], 0.0);
        assert!((search.point[1] - 2.0).abs() < 1e-5);
    }

    #[test]
    fn newton_settles_on_the_minimum_to_nearly_all_digits() {
        let function = |p: &[f64]| {
            let (a, b) = (p[0] - 0.3, p[1] + 0.2 - p[0]);
            Some((a.cosh() + b * b, vec![a.sinh() - 2.0 * b, 2.0 * b]))
        };
        let polished = newton(function, &[0.5, 0.1], None);
        assert!(polished.settled);
        assert!((polished.point[0] - 0.3).abs() < 1e-8 && (polished.point[1] - 0.1).abs() < 1e-8);
    }
}
