//! Parametric bootstrap of the optimum of a quadratic response.

use super::parametric::parametric_bootstrap;
use super::summary::Bootstrap;
use crate::checks::check_length;
use crate::dense::dot;
use crate::design::Design;
use crate::error::Result;
use crate::interval::Interval;
use crate::lmm::LmmFit;
use crate::response_shape::{QuadraticRows, check_range};

/// How the best x inside a range varies when the trial is repeated.
#[derive(Debug, Clone, PartialEq)]
pub struct OptimumBootstrap {
    /// Statistics: 0 the best x inside the range, 1 the x with the asked slope on the whole line (it has no mean; its percentiles are
    /// shown for comparison only), 2 the curvature b2.
    pub bootstrap: Bootstrap,
    /// Share of replicates whose curve bends downwards.
    pub share_concave: f64,
    /// Share of replicates with a best x strictly inside the range.
    pub share_inside: f64,
}

/// Parametric bootstrap of the x in `range` where the response less `gradient` per unit of x is highest.
///
/// # Errors
/// As [`parametric_bootstrap`]; rows of the wrong length, a range that is empty or not finite.
pub fn optimum_bootstrap(
    design: &Design,
    fit: &LmmFit,
    rows: &QuadraticRows,
    gradient: f64,
    range: Interval,
    replicates: usize,
    seed: u64,
) -> Result<OptimumBootstrap> {
    check_range(range)?;
    check_length("the row of the slope", rows.slope.len(), design.rank())?;
    check_length("the row of the curvature", rows.curvature.len(), design.rank())?;
    crate::checks::check_finite("the gradient and the centre", &[gradient, rows.centre])?;
    let bootstrap = parametric_bootstrap(design, fit, replicates, seed, |fit| {
        let coefficients = crate::inference::LinearFit::coefficients(fit);
        let curvature = dot(&rows.curvature, coefficients);
        let free = rows.centre + (gradient - dot(&rows.slope, coefficients)) / (2.0 * curvature);
        vec![rows.constrained_argmax(coefficients, gradient, range), free, curvature]
    })?;
    let share_concave = bootstrap.share(2, |curvature| curvature < 0.0)?;
    let share_inside = bootstrap.share(0, |x| range.low < x && x < range.high)?;
    Ok(OptimumBootstrap { bootstrap, share_concave, share_inside })
}
