//! The most probable line of a group at given spreads.

use super::data::Group;
use super::likelihood::{Likelihood, Peak, Spreads, Surface};
use super::penalty;
use crate::dense::cholesky_in_place;
use crate::newton::{Local, minimise};

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

/// Log density of a line, up to what no spread and no line changes; `peaks` are those of a line that lies `step` away.
pub(super) fn log_density(likelihood: &Likelihood, line: [f64; 2], peaks: &[Peak], step: [f64; 2]) -> Option<f64> {
    Some(likelihood.value(line, peaks, step)? + penalty::value(&likelihood.group.levels, line)?)
}

impl Mode {
    /// Newton's method from a line that is near.
    pub(super) fn find(
        group: &Group,
        spreads: Spreads,
        rule: &[(f64, f64)],
        start: [f64; 2],
        peaks: &[Peak],
    ) -> Option<Self> {
        let likelihood = Likelihood { group, spreads, rule };
        let mut peaks = if peaks.is_empty() { vec![Peak::default(); group.clusters.len()] } else { peaks.to_vec() };
        let minimum = minimise(
            |point| {
                let line = [point[0], point[1]];
                let mut surface = likelihood.surface(line, &mut peaks)?;
                surface.add(1.0, &penalty::surface(&group.levels, line)?);
                Some(negative(&surface))
            },
            &start,
            STEP_LIMIT,
            LONGEST_STEP,
        )?;
        let line = [minimum.point[0], minimum.point[1]];
        let factor = factor(&minimum.local.hessian)?;
        Some(Self { line, peaks, log_density: -minimum.local.value, factor, converged: minimum.converged })
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
        let slope = z[1] / self.factor[2];
        [(z[0] - self.factor[1] * slope) / self.factor[0], slope]
    }

    /// The standardised coordinates of a line, the inverse of [`Mode::step`].
    pub(super) fn standardised(&self, line: [f64; 2]) -> [f64; 2] {
        let step = [line[0] - self.line[0], line[1] - self.line[1]];
        [self.factor[0] * step[0] + self.factor[1] * step[1], self.factor[2] * step[1]]
    }
}

fn negative(surface: &Surface) -> Local {
    let [aa, ab, bb] = surface.hessian;
    Local {
        value: -surface.value,
        gradient: surface.gradient.iter().map(|g| -g).collect(),
        hessian: vec![-aa, -ab, -ab, -bb],
    }
}

/// The Cholesky factor, the diagonal raised where the search ended short of a maximum.
fn factor(hessian: &[f64]) -> Option<[f64; 3]> {
    let largest = hessian[0].abs().max(hessian[3].abs()).max(1e-6);
    [0.0, 1e-6, 1e-3, 0.1, 2.0].into_iter().find_map(|raise| {
        let mut factor = hessian.to_vec();
        factor[0] += raise * largest;
        factor[3] += raise * largest;
        cholesky_in_place(&mut factor, 2).then_some([factor[0], factor[2], factor[3]])
    })
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
