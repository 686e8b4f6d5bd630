//! The most probable line of a group at given spreads.

use super::data::Group;
use super::likelihood::{Likelihood, Peak, Spreads};
use super::penalty;

/// The mode of (intercept, slope) on the scale of the group.
#[derive(Debug, Clone)]
pub(super) struct Mode {
    pub(super) line: [f64; 2],
    pub(super) peaks: Vec<Peak>,
    /// Log of likelihood and prior at the mode.
    pub(super) log_density: f64,
    /// Lower Cholesky factor of the negative second derivatives: `l11, l21, l22`.
    pub(super) factor: [f64; 3],
    pub(super) converged: bool,
}

const STEP_LIMIT: usize = 100;

/// On the logit, over half the range of x.
const LONGEST_STEP: f64 = 3.0;

const HALVINGS: i32 = 30;

/// The value is a quadrature and the derivatives are those of the integral, so steps near the mode may lower it by the quadrature's error.
const SLACK: f64 = 1e-6;

/// A search ends with the step that was expected to gain less than this. The step after it would be about the square of that: plenty for
/// a place to lay points around.
pub(super) const ROUGH: f64 = 1e-5;

/// The same for a mode that is reported.
pub(super) const FINE: f64 = 1e-12;

/// Log density of a line, up to what no spread and no line changes; `peaks` are those of a line that lies `step` away.
pub(super) fn log_density(likelihood: &Likelihood, line: [f64; 2], peaks: &[Peak], step: [f64; 2]) -> Option<f64> {
    Some(likelihood.value(line, peaks, step)? + penalty::value(&likelihood.group.levels, line)?)
}

impl Mode {
    /// Newton's method from a line that is near. `minimise` of this crate asks for values that are exact to rounding, which these are not.
    pub(super) fn find(
        group: &Group,
        spreads: Spreads,
        rule: &[(f64, f64)],
        start: [f64; 2],
        peaks: &[Peak],
        least_gain: f64,
    ) -> Option<Self> {
        let likelihood = Likelihood { group, spreads, rule };
        let mut peaks = if peaks.is_empty() { vec![Peak::default(); group.clusters.len()] } else { peaks.to_vec() };
        let mut surface = |line: [f64; 2]| {
            let mut surface = likelihood.surface(line, &mut peaks)?;
            surface.add(1.0, &penalty::surface(&group.levels, line)?);
            Some(surface)
        };
        let (mut line, mut at) = (start, surface(start)?);
        let mut factor = factor_of(&at.hessian)?;
        let mut converged = false;
        for _ in 0..STEP_LIMIT {
            let z = forward(factor.lower, at.gradient);
            let mut step = backward(factor.lower, z);
            let longest = step[0].abs().max(step[1].abs());
            if longest > LONGEST_STEP {
                step = step.map(|part| part * LONGEST_STEP / longest);
            }
            let Some((next, there)) = (0..HALVINGS).find_map(|halving| {
                let next = [0, 1].map(|k| line[k] + step[k] * 0.5_f64.powi(halving));
                let there = surface(next).filter(|there| there.value >= at.value - SLACK * (1.0 + at.value.abs()))?;
                Some((next, there))
            }) else {
                break;
            };
            (line, at) = (next, there);
            let before = factor;
            factor = factor_of(&at.hessian)?;
            if before.as_it_is && 0.5 * (z[0] * z[0] + z[1] * z[1]) < least_gain {
                converged = true;
                break;
            }
        }
        Some(Self { line, peaks, log_density: at.value, factor: factor.lower, converged })
    }

    /// Log of the integral over the line by Laplace's approximation.
    pub(super) fn log_evidence(&self) -> f64 {
        self.log_density + (2.0 * std::f64::consts::PI).ln() - self.log_factor()
    }

    /// Half the log of the determinant of the negative second derivatives.
    pub(super) fn log_factor(&self) -> f64 {
        self.factor[0].ln() + self.factor[2].ln()
    }

    /// The step from the mode whose standardised coordinates are `z`: solves `L' step = z`.
    pub(super) fn step(&self, z: [f64; 2]) -> [f64; 2] {
        backward(self.factor, z)
    }

    /// The standardised coordinates of a line, the inverse of [`Mode::step`].
    pub(super) fn standardised(&self, line: [f64; 2]) -> [f64; 2] {
        let step = [line[0] - self.line[0], line[1] - self.line[1]];
        [self.factor[0] * step[0] + self.factor[1] * step[1], self.factor[2] * step[1]]
    }
}

/// A lower Cholesky factor, `l11, l21, l22`.
#[derive(Debug, Clone, Copy)]
struct Factor {
    lower: [f64; 3],
    /// False where the diagonal had to be raised.
    as_it_is: bool,
}

/// The factor of the negative second derivatives, the diagonal raised where the surface is not bent like a hill.
fn factor_of(hessian: &[f64; 3]) -> Option<Factor> {
    let [aa, ab, bb] = hessian.map(|value| -value);
    let largest = aa.abs().max(bb.abs()).max(1e-6);
    [0.0, 1e-3, 0.03, 0.3, 2.0, 4.0].into_iter().find_map(|raise| {
        let (first, last) = (aa + raise * largest, bb + raise * largest);
        let l11 = first.sqrt();
        let l21 = ab / l11;
        let rest = last - l21 * l21;
        // Rounding alone must not pass for curvature.
        let sound = first > 0.0 && rest > 1e-12 * last && rest.is_finite();
        sound.then(|| Factor { lower: [l11, l21, rest.sqrt()], as_it_is: raise == 0.0 })
    })
}

/// Solves `L z = b`.
fn forward([l11, l21, l22]: [f64; 3], b: [f64; 2]) -> [f64; 2] {
    let first = b[0] / l11;
    [first, (b[1] - l21 * first) / l22]
}

/// Solves `L' x = z`.
fn backward([l11, l21, l22]: [f64; 3], z: [f64; 2]) -> [f64; 2] {
    let last = z[1] / l22;
    [(z[0] - l21 * last) / l11, last]
}

#[cfg(test)]
mod tests {
    use super::super::data::{ShareRow, groups};
    use super::super::likelihood;
    use super::*;
    use crate::derivatives::{STEP, derivatives};

    #[test]
    fn the_likelihood_has_the_derivatives_it_claims() {
        let rows: Vec<ShareRow> =
            [(0, 1.0, 2, 2), (0, 2.0, 1, 3), (0, 4.0, 0, 2), (1, 1.0, 3, 4), (1, 4.0, 1, 1), (2, 3.0, 0, 5)]
                .into_iter()
                .map(|(cluster, x, successes, trials)| ShareRow { group: 0, cluster, x, successes, trials })
                .collect();
        let group = groups(&rows, 1, true).expect("rows").remove(0).expect("a slope");
        // Many nodes, so that the sum and the integral are one.
        let rule = likelihood::rule(40);
        for (deviation, correlation) in [(0.0, 0.0), (0.0, 0.3), (0.8, 0.0), (1.2, 0.2)] {
            let likelihood = Likelihood { group: &group, spreads: Spreads::new(deviation, correlation), rule: &rule };
            let line = [-0.4, -1.7];
            let mut peaks = vec![Peak::default(); group.clusters.len()];
            let found = likelihood.surface(line, &mut peaks).expect("a value");
            let value = |p: &[f64]| likelihood.exact_value([p[0], p[1]]).map(|value| vec![value]);
            assert!((found.value - likelihood.exact_value(line).expect("a value")).abs() < 1e-12);
            let near = [line[0] + 0.1, line[1] - 0.2];
            let quick = likelihood.value(near, &peaks, [0.1, -0.2]).expect("a value");
            assert!((quick - likelihood.exact_value(near).expect("a value")).abs() < 1e-9);
            let numeric = derivatives(value, &line, 2.0 * STEP).expect("values");
            for k in 0..2 {
                assert!((found.gradient[k] - numeric.gradient[k][0]).abs() < 1e-7, "{deviation} {correlation} {k}");
            }
            for (k, at) in [(0, 0), (1, 1), (2, 3)] {
                assert!((found.hessian[k] - numeric.hessian[at][0]).abs() < 1e-6, "{deviation} {correlation} {k}");
            }
        }
    }
}
