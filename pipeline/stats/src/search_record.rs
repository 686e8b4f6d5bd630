//! How an iterative fit ended.

use crate::dense::{cholesky_in_place, dot, solve_lower};
use crate::newton::{Local, Minimum};
use crate::note::Note;

/// How the search for a maximum likelihood ended.
#[derive(Debug, Clone, PartialEq)]
pub struct SearchRecord {
    /// Newton steps taken.
    pub steps: usize,
    /// Evaluations of the criterion.
    pub evaluations: usize,
    /// Why the search stopped, in words.
    pub reason: String,
    /// True when the final point meets the stopping rule: the gain left is below rounding and the curvature is positive.
    pub converged: bool,
    /// Newton decrement at the end: length of the next step in standard errors of the estimates, `√(g'H⁻¹g)`.
    pub distance_left: f64,
}

impl SearchRecord {
    pub(crate) fn of(minimum: &Minimum, evaluations: usize) -> Self {
        Self {
            steps: minimum.steps,
            evaluations,
            reason: minimum.reason.clone(),
            converged: minimum.converged,
            distance_left: newton_decrement(&minimum.local),
        }
    }

    /// A note when the search did not meet its stopping rule.
    pub(crate) fn note(&self) -> Option<Note> {
        (!self.converged).then(|| {
            Note::new(
                "stopped-early",
                format!(
                    "the search for the maximum stopped early: {}; the estimates are about {:.1e} standard errors away from it",
                    self.reason, self.distance_left
                ),
            )
        })
    }
}

/// Length of the next Newton step in standard errors, `√(g'H⁻¹g)`; infinite where the second derivatives are not positive definite.
pub(crate) fn newton_decrement(local: &Local) -> f64 {
    let size = local.gradient.len();
    let mut factor = local.hessian.clone();
    if !cholesky_in_place(&mut factor, size) {
        return f64::INFINITY;
    }
    let mut half = local.gradient.clone();
    solve_lower(&factor, size, &mut half);
    dot(&half, &half).sqrt()
}
