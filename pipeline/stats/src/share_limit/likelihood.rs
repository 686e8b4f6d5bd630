//! The likelihood of a group at one line, its clusters integrated out.

use super::data::{Cell, Cluster, Group};
use crate::binomial_model::hermite_nodes;
use std::f64::consts::SQRT_2;

/// The spread between clusters and the a of the beta-binomial.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Spreads {
    pub(super) deviation: f64,
    pub(super) dispersion: f64,
}

impl Spreads {
    pub(super) fn new(deviation: f64, correlation: f64) -> Self {
        Self { deviation, dispersion: correlation / (1.0 - correlation) }
    }
}

/// A function of the line with its derivatives: by intercept, by slope.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Surface {
    pub(super) value: f64,
    pub(super) gradient: [f64; 2],
    /// Intercept twice, intercept and slope, slope twice.
    pub(super) hessian: [f64; 3],
}

impl Surface {
    pub(super) fn add(&mut self, factor: f64, other: &Self) {
        self.value += factor * other.value;
        (0..2).for_each(|k| self.gradient[k] += factor * other.gradient[k]);
        (0..3).for_each(|k| self.hessian[k] += factor * other.hessian[k]);
    }
}

/// Where the integrand of a cluster peaks, in units of the spread between clusters, and how the peak moves with the line.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Peak {
    pub(super) place: f64,
    pub(super) moves: [f64; 2],
}

impl Peak {
    fn moved(&self, step: [f64; 2]) -> f64 {
        self.place + self.moves[0] * step[0] + self.moves[1] * step[1]
    }
}

/// A peak found to this share of the integrand's width: the nodes may stand a little beside it.
const NEAR: f64 = 0.05;

/// And to this one where nodes must stand as everywhere else in the crate.
const EXACT: f64 = 1e-10;

/// Probabilities and their logs at one logit.
struct Shares {
    success: f64,
    failure: f64,
    log_success: f64,
    log_failure: f64,
}

impl Shares {
    #[inline]
    fn at(logit: f64) -> Self {
        let small = (-logit.abs()).exp();
        let whole = 1.0 + small;
        let (minor, major) = (small / whole, 1.0 / whole);
        let (success, failure) = if logit >= 0.0 { (major, minor) } else { (minor, major) };
        // Good to 1e-16 in absolute terms, which is what a sum of logs needs.
        let shared = whole.ln();
        Self { success, failure, log_success: logit.min(0.0) - shared, log_failure: (-logit).min(0.0) - shared }
    }
}

impl Cell {
    /// Log-likelihood at one logit, without the part that is free of it.
    #[inline]
    fn value(&self, at: &Shares, dispersion: f64) -> f64 {
        if dispersion == 0.0 {
            return self.successes * at.log_success + self.failures * at.log_failure;
        }
        self.any_success * at.log_success
            + self.any_failure * at.log_failure
            + log_more(&self.more_successes, at.success, dispersion)
            + log_more(&self.more_failures, at.failure, dispersion)
    }

    /// First and second derivative by the logit.
    #[inline]
    fn derivatives(&self, at: &Shares, dispersion: f64) -> [f64; 2] {
        let (success, failure) = (at.success, at.failure);
        if dispersion == 0.0 {
            let trials = self.successes + self.failures;
            return [self.successes * failure - self.failures * success, -trials * success * failure];
        }
        let (up, up_square) = ratios(self.any_success, &self.more_successes, success, dispersion);
        let (down, down_square) = ratios(self.any_failure, &self.more_failures, failure, dispersion);
        let first = failure * up - success * down;
        let second = (failure - success) * first - failure * failure * up_square - success * success * down_square;
        [first, second]
    }
}

/// `Σ_j rows_j log(share + ja)`, j from 1.
fn log_more(more: &[f64], share: f64, dispersion: f64) -> f64 {
    let mut at = share;
    let mut sum = 0.0;
    for rows in more {
        at += dispersion;
        sum += rows * at.ln();
    }
    sum
}

/// `Σ_j rows_j share/(share + ja)` and the sum with its squares, j from 0.
fn ratios(any: f64, more: &[f64], share: f64, dispersion: f64) -> (f64, f64) {
    let (mut sum, mut squares) = (any, any);
    let mut at = share;
    for rows in more {
        at += dispersion;
        let ratio = share / at;
        sum += rows * ratio;
        squares += rows * ratio * ratio;
    }
    (sum, squares)
}

impl Cluster {
    fn value(&self, line: [f64; 2], effect: f64, dispersion: f64) -> f64 {
        let level = line[0] + effect;
        self.cells.iter().map(|cell| cell.value(&Shares::at(level + line[1] * cell.x), dispersion)).sum()
    }

    fn surface(&self, line: [f64; 2], effect: f64, dispersion: f64) -> Surface {
        let mut sums = Surface::default();
        for cell in &self.cells {
            let at = Shares::at(line[0] + line[1] * cell.x + effect);
            let [first, second] = cell.derivatives(&at, dispersion);
            sums.value += cell.value(&at, dispersion);
            sums.gradient[0] += first;
            sums.gradient[1] += first * cell.x;
            sums.hessian[0] += second;
            sums.hessian[1] += second * cell.x;
            sums.hessian[2] += second * cell.x * cell.x;
        }
        sums
    }

    /// The peak of the integrand by Newton's method, and the curvature of its log there, at least one.
    ///
    /// With correlation the log-likelihood need not be concave far from the data; its own curvature then counts as none.
    fn peak(&self, line: [f64; 2], spreads: Spreads, start: f64, tolerance: f64) -> Option<(Peak, f64)> {
        let deviation = spreads.deviation;
        let at = |place: f64| {
            let sums = self.surface(line, deviation * place, spreads.dispersion);
            (0.5 * place * place - sums.value, sums)
        };
        let mut place = start;
        let (mut value, mut sums) = at(place);
        let mut curvature = 1.0;
        for _ in 0..100 {
            curvature = 1.0 + deviation * deviation * (-sums.hessian[0]).max(0.0);
            let step = (deviation * sums.gradient[0] - place) / curvature;
            if !step.is_finite() {
                return None;
            }
            if step.abs() * curvature.sqrt() < tolerance {
                place += step;
                break;
            }
            let mut share = 1.0;
            let mut next = at(place + step);
            while next.0 > value + 1e-13 * (1.0 + value.abs()) && share > 1e-6 {
                share *= 0.5;
                next = at(place + share * step);
            }
            place += share * step;
            (value, sums) = next;
        }
        let moves = [0, 1].map(|k| deviation * sums.hessian[k] / curvature);
        Some((Peak { place, moves }, curvature))
    }
}

/// A group at one pair of spreads.
#[derive(Debug, Clone, Copy)]
pub(super) struct Likelihood<'a> {
    pub(super) group: &'a Group,
    pub(super) spreads: Spreads,
    pub(super) rule: &'a [(f64, f64)],
}

/// Nodes `x` and `w exp(x²) / √π` of the quadrature.
pub(super) fn rule(nodes: usize) -> Vec<(f64, f64)> {
    hermite_nodes(nodes)
}

impl Likelihood<'_> {
    /// `-Σ_rows Σ_{j<n} log(1 + ja)`.
    fn free_part(&self) -> f64 {
        if self.spreads.dispersion == 0.0 {
            0.0
        } else {
            -log_more(&self.group.more_trials, 1.0, self.spreads.dispersion)
        }
    }

    /// Log-likelihood without binomial coefficients; `peaks` are those of a line that lies `step` away.
    pub(super) fn value(&self, line: [f64; 2], peaks: &[Peak], step: [f64; 2]) -> Option<f64> {
        self.value_within(line, peaks, step, NEAR)
    }

    /// The same with nodes exactly around the peaks, which are looked for from zero.
    pub(super) fn exact_value(&self, line: [f64; 2]) -> Option<f64> {
        self.value_within(line, &vec![Peak::default(); self.group.clusters.len()], [0.0; 2], EXACT)
    }

    fn value_within(&self, line: [f64; 2], peaks: &[Peak], step: [f64; 2], tolerance: f64) -> Option<f64> {
        let Spreads { deviation, dispersion } = self.spreads;
        let mut total = self.free_part();
        for (cluster, peak) in self.group.clusters.iter().zip(peaks) {
            if deviation == 0.0 {
                total += cluster.alike * cluster.value(line, 0.0, dispersion);
                continue;
            }
            let (peak, curvature) = cluster.peak(line, self.spreads, peak.moved(step), tolerance)?;
            let scale = curvature.sqrt().recip();
            let height = |place: f64| cluster.value(line, deviation * place, dispersion) - 0.5 * place * place;
            let top = height(peak.place);
            let sum: f64 = self
                .rule
                .iter()
                .map(|(x, weight)| weight * (height(peak.place + SQRT_2 * scale * x) - top).exp())
                .sum();
            total += cluster.alike * (top + (scale * sum).ln());
        }
        total.is_finite().then_some(total)
    }

    /// Log-likelihood and its derivatives by the line; `peaks` are read as starts and filled.
    ///
    /// With E over the cluster's effect given its rows, the gradient is `E s` and the second derivatives `E h + Cov s` (s, h those of the
    /// rows): the derivatives of the integral itself, by the same quadrature.
    pub(super) fn surface(&self, line: [f64; 2], peaks: &mut [Peak]) -> Option<Surface> {
        let Spreads { deviation, dispersion } = self.spreads;
        let mut total = Surface { value: self.free_part(), ..Surface::default() };
        for (cluster, known) in self.group.clusters.iter().zip(peaks) {
            if deviation == 0.0 {
                total.add(cluster.alike, &cluster.surface(line, 0.0, dispersion));
                continue;
            }
            let (peak, curvature) = cluster.peak(line, self.spreads, known.place, EXACT)?;
            *known = peak;
            let scale = curvature.sqrt().recip();
            let top = cluster.value(line, deviation * peak.place, dispersion) - 0.5 * peak.place * peak.place;
            let mut sums = Surface::default();
            let mut squares = [0.0; 3];
            for (x, weight) in self.rule {
                let place = peak.place + SQRT_2 * scale * x;
                let at = cluster.surface(line, deviation * place, dispersion);
                let share = weight * (at.value - 0.5 * place * place - top).exp();
                let [a, b] = at.gradient;
                sums.add(share, &Surface { value: 1.0, ..at });
                [a * a, a * b, b * b].iter().zip(&mut squares).for_each(|(product, sum)| *sum += share * product);
            }
            let mean = sums.gradient.map(|sum| sum / sums.value);
            let [a, b] = mean;
            let outer = [a * a, a * b, b * b];
            let hessian = [0, 1, 2].map(|k| (sums.hessian[k] + squares[k]) / sums.value - outer[k]);
            let value = top + (scale * sums.value).ln();
            total.add(cluster.alike, &Surface { value, gradient: mean, hessian });
        }
        total.value.is_finite().then_some(total)
    }
}
