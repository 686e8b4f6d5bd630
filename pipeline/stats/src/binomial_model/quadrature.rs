//! The likelihood of a logistic model with one random intercept, by adaptive Gauss-Hermite quadrature.
//!
//! Groups are independent, so the likelihood is a product of one-dimensional integrals
//! `∫ (2π)^-½ exp(-f(u)) du`, `f(u) = ½ deviance at x'β + θu, + ½ u²`. With the mode û and `s = f''(û)^-½` the nodes x_j with weights w_j give
//! `s Σ_j (w_j/√π) exp(x_j² - f(û + √2 s x_j))` (Pinheiro & Bates 1995, J. Comput. Graph. Stat. 4:12-35). One node is Laplace's method.
//! The gradient is that of this sum, the move of the nodes with the parameters included.

use super::design::BinomialDesign;
use super::kernel::{RowPoint, row_point, saturated};
use super::mixed_search::Marginal;
use super::objective::{add_row, mirror};
use crate::dense::{dot, symmetric_eigen};
use std::f64::consts::SQRT_2;

/// Nodes `x` and `w exp(x²) / √π` of Gauss-Hermite quadrature.
///
/// Nodes are eigenvalues of the tridiagonal recurrence (Golub & Welsch 1969) and then improved by Newton; weights come from Hermite
/// functions, because the far ones underflow long before their product with `exp(x²)` does.
pub(crate) fn hermite_nodes(count: usize) -> Vec<(f64, f64)> {
    let mut tridiagonal = vec![0.0; count * count];
    for k in 1..count {
        let value = (k as f64 / 2.0).sqrt();
        tridiagonal[k * count + k - 1] = value;
        tridiagonal[(k - 1) * count + k] = value;
    }
    let order = count as f64;
    let mut nodes: Vec<(f64, f64)> = symmetric_eigen(&tridiagonal, count)
        .values
        .iter()
        .map(|&start| {
            let mut x = start;
            for _ in 0..3 {
                let (last, before) = hermite_functions(count, x);
                x -= last / ((2.0 * order).sqrt() * before);
            }
            let (_, before) = hermite_functions(count, x);
            (x, 1.0 / (order * before * before * std::f64::consts::PI.sqrt()))
        })
        .collect();
    nodes.sort_by(|a, b| a.0.total_cmp(&b.0));
    nodes
}

/// Hermite functions of degree `count` and `count - 1` at `x`.
fn hermite_functions(count: usize, x: f64) -> (f64, f64) {
    let (mut before, mut last) = (0.0, std::f64::consts::PI.powf(-0.25) * (-0.5 * x * x).exp());
    for n in 0..count {
        let n = n as f64;
        let next = (2.0 / (n + 1.0)).sqrt() * x * last - (n / (n + 1.0)).sqrt() * before;
        (before, last) = (last, next);
    }
    (last, before)
}

/// Rows by group, nodes, and the modes of the last evaluation.
#[derive(Debug, Clone)]
pub(super) struct Quadrature<'a> {
    design: &'a BinomialDesign,
    saturated: Vec<f64>,
    members: Vec<Vec<usize>>,
    nodes: Vec<(f64, f64)>,
    unit: [f64; 1],
    modes: Vec<f64>,
    curvatures: Vec<f64>,
    logits: Vec<f64>,
}

/// Sums over the rows of one group at one u.
#[derive(Debug, Clone, Copy, Default)]
struct Group {
    value: f64,
    residual: f64,
    weight: f64,
    weight_slope: f64,
}

impl<'a> Quadrature<'a> {
    /// The design must hold exactly one random intercept.
    pub(super) fn new(design: &'a BinomialDesign, nodes: usize) -> Self {
        let term = &design.random()[0];
        let mut members = vec![Vec::new(); term.n_groups];
        for (i, &group) in term.groups.iter().enumerate() {
            members[group].push(i);
        }
        Self {
            design,
            saturated: design.successes().iter().zip(design.trials()).map(|(&k, &n)| saturated(k, n)).collect(),
            nodes: hermite_nodes(nodes),
            unit: [1.0],
            modes: vec![0.0; members.len()],
            curvatures: vec![1.0; members.len()],
            members,
            logits: vec![0.0; design.n_observations()],
        }
    }

    fn basis_row(&self, i: usize) -> &[f64] {
        let rank = self.design.rank();
        &self.design.columns.basis[i * rank..(i + 1) * rank]
    }

    fn row(&self, i: usize, logit: f64) -> RowPoint {
        row_point(self.design.successes()[i], self.design.trials()[i], self.saturated[i], logit)
    }

    /// f and its sums at `u`, with the prior's part.
    fn group(&self, group: usize, fixed: &[f64], theta: f64, u: f64) -> Group {
        let mut sums = Group { value: 0.5 * u * u, ..Group::default() };
        for &i in &self.members[group] {
            let at = self.row(i, fixed[i] + theta * u);
            sums.value += at.half_deviance;
            sums.residual += at.residual;
            sums.weight += at.weight;
            sums.weight_slope += at.weight * at.skew;
        }
        sums
    }

    /// The minimum of f by Newton's method with halving; f is convex with curvature at least one.
    fn mode(&self, group: usize, fixed: &[f64], theta: f64, start: f64) -> Option<(f64, Group)> {
        let mut u = start;
        let mut sums = self.group(group, fixed, theta, u);
        for _ in 0..100 {
            let step = (theta * sums.residual - u) / (1.0 + theta * theta * sums.weight);
            if !step.is_finite() {
                return None;
            }
            let mut share = 1.0;
            let mut next = self.group(group, fixed, theta, u + step);
            while next.value > sums.value + 1e-13 * (1.0 + sums.value) && share > 1e-6 {
                share *= 0.5;
                next = self.group(group, fixed, theta, u + share * step);
            }
            u += share * step;
            sums = next;
            if step.abs() < 1e-9 {
                return Some((u, sums));
            }
        }
        None
    }
}

impl Marginal for Quadrature<'_> {
    fn units(&self) -> &[f64] {
        &self.unit
    }

    fn evaluate(&mut self, point: &[f64]) -> Option<(f64, Vec<f64>)> {
        let rank = self.design.rank();
        let theta = point[rank];
        let fixed: Vec<f64> = (0..self.logits.len()).map(|i| dot(self.basis_row(i), &point[..rank])).collect();
        let mut value = 0.0;
        let mut gradient = vec![0.0; rank + 1];
        for group in 0..self.members.len() {
            let (mode, at_mode) = self.mode(group, &fixed, theta, self.modes[group])?;
            let curvature = 1.0 + theta * theta * at_mode.weight;
            let scale = curvature.powf(-0.5);
            self.modes[group] = mode;
            self.curvatures[group] = curvature;
            let places: Vec<f64> = self.nodes.iter().map(|(x, _)| mode + SQRT_2 * scale * x).collect();
            let sums: Vec<Group> = places.iter().map(|&u| self.group(group, &fixed, theta, u)).collect();
            let share: Vec<f64> = self
                .nodes
                .iter()
                .zip(&sums)
                .map(|((_, weight), at)| weight * (at_mode.value - at.value).exp())
                .collect();
            let total: f64 = share.iter().sum();
            value += at_mode.value - scale.ln() - total.ln();
            // The integrand's slope at the nodes: alone, and times the nodes' distance from the mode.
            let (mut by_mode, mut by_scale, mut by_theta) = (0.0, -1.0, 0.0);
            for (((x, _), at), (share, &u)) in self.nodes.iter().zip(&sums).zip(share.iter().zip(&places)) {
                let slope = u - theta * at.residual;
                by_mode += share / total * slope;
                by_scale += share / total * slope * SQRT_2 * x * scale;
                by_theta -= share / total * at.residual * u;
            }
            // How the mode and the log of the scale move: `mode_by_logit w_i` and so on for a row's logit.
            let mode_by_logit = -theta / curvature;
            let mode_by_theta = (at_mode.residual - theta * mode * at_mode.weight) / curvature;
            let scale_factor = -0.5 * theta * theta / curvature;
            let on_mode = by_mode + by_scale * scale_factor * at_mode.weight_slope * theta;
            for &i in &self.members[group] {
                let at = self.row(i, fixed[i] + theta * mode);
                let mut by_logit = on_mode * mode_by_logit * at.weight + by_scale * scale_factor * at.weight * at.skew;
                for (share, &u) in share.iter().zip(&places) {
                    by_logit -= share / total * self.row(i, fixed[i] + theta * u).residual;
                }
                self.logits[i] = fixed[i] + theta * mode;
                let row = &self.design.columns.basis[i * rank..(i + 1) * rank];
                gradient[..rank].iter_mut().zip(row).for_each(|(g, q)| *g += by_logit * q);
            }
            gradient[rank] += by_theta
                + on_mode * mode_by_theta
                + by_scale * (scale_factor * at_mode.weight_slope * mode - theta * at_mode.weight / curvature);
        }
        Some((value, gradient))
    }

    fn coefficient_information(&self, point: &[f64]) -> Vec<f64> {
        let rank = self.design.rank();
        let theta = point[rank];
        let mut information = vec![0.0; rank * rank];
        let mut unused = vec![0.0; rank];
        for (group, members) in self.members.iter().enumerate() {
            let mut image = vec![0.0; rank];
            for &i in members {
                let weight = self.row(i, self.logits[i]).weight;
                add_row(&mut unused, &mut information, self.basis_row(i), 0.0, weight);
                image.iter_mut().zip(self.basis_row(i)).for_each(|(sum, q)| *sum += theta * weight * q);
            }
            let factor = -1.0 / self.curvatures[group];
            add_row(&mut unused, &mut information, &image, 0.0, factor);
        }
        mirror(&mut information, rank);
        information
    }

    fn effects(&mut self, point: &[f64]) -> Vec<(Vec<f64>, Vec<f64>)> {
        let theta = point[self.design.rank()];
        let modes = self.modes.iter().map(|u| theta * u).collect();
        vec![(modes, self.curvatures.iter().map(|c| theta.abs() / c.sqrt()).collect())]
    }

    fn logits(&self) -> &[f64] {
        &self.logits
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nodes_integrate_polynomials_of_their_degree_exactly() {
        for count in [1, 2, 5, 9, 25, 60] {
            let nodes = hermite_nodes(count);
            // ∫ x^m exp(-x²) dx / √π = (m - 1)!! / 2^(m/2) for even m.
            let moment = |m: i32| -> f64 { nodes.iter().map(|(x, w)| w * (-x * x).exp() * x.powi(m)).sum() };
            let mut expected = 1.0;
            for m in (0..(2 * count as i32).min(20)).step_by(2) {
                assert!((moment(m) / expected - 1.0).abs() < 1e-12, "{count} nodes, moment {m}");
                assert!(moment(m + 1).abs() < 1e-9 * expected * f64::from(m + 1));
                expected *= f64::from(m + 1) / 2.0;
            }
        }
    }
}
