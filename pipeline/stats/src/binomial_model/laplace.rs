//! Laplace's approximation to the likelihood of a logistic mixed model, with its gradient.
//!
//! Model: logit of row i is `x_i'β + z_i'Λu` with `u ~ N(0, I)` and Λ diagonal, theta_k for every group of term k. With û the minimum of
//! `f(u) = ½ deviance + ½ |u|²` and `H = ΛZ'WZΛ + I` there, `-log L ≈ f(û) + ½ log |H|`: the criterion of lme4's `glmer(nAGQ = 1)`
//! (Bates 2010, lme4: Mixed-effects modeling with R, chapter 6) with all of β and theta in one search.
//!
//! Gradient: û moves with the parameters, `dû = -H⁻¹ ∂f_u`. With `c_i = ½ w_i' z_i'ΛH⁻¹Λz_i` (w' the derivative of a weight by its
//! logit) and one solve `a = H⁻¹ΛZ'c`, every derivative is a sum over rows; no solve per parameter is needed.

use super::design::BinomialDesign;
use super::kernel::{RowPoint, row_point, saturated};
use super::mixed_search::Marginal;
use super::objective::{add_row, mirror};
use crate::dense::dot;
use crate::sparse::ReweightedCholesky;

/// Rows, patterns and the numbers of the last evaluation.
#[derive(Debug, Clone)]
pub(super) struct Laplace<'a> {
    design: &'a BinomialDesign,
    saturated: Vec<f64>,
    terms: usize,
    /// For row i and term k at `i * terms + k`: position of the effect, and its factor `z unit_k`.
    at: Vec<usize>,
    z: Vec<f64>,
    /// For row i, places of the pairs of its terms `(1,0), (2,0), (2,1), …` below the diagonal of H.
    pairs: Vec<usize>,
    /// Positions in order of elimination, and the first effect of each term.
    place: Vec<usize>,
    offset: Vec<usize>,
    unit: Vec<f64>,
    modes: Vec<f64>,
    logits: Vec<f64>,
    rows: Vec<RowPoint>,
    factor: ReweightedCholesky,
    inverse: ReweightedCholesky,
    /// True when `factor` holds a factor.
    factored: bool,
}

/// The search for the modes is Newton's on a convex function; more steps than this happen only when numbers overflow.
const MODE_STEPS: usize = 100;

/// The squared length of a step, in standard deviations of the effects, after which no further one is needed: with the factor of
/// this very point steps square the distance, with an older one they shorten it by [`SHRINK`] or better.
const FRESH_DECREMENT: f64 = 1e-12;
const OLD_DECREMENT: f64 = 1e-18;

/// An old factor is given up when the squared length of its steps shrinks by less than this.
const SHRINK: f64 = 1e-4;

impl<'a> Laplace<'a> {
    pub(super) fn new(design: &'a BinomialDesign) -> Self {
        let random = design.random();
        let terms = random.len();
        let rows = design.n_observations();
        let mut offset = vec![0];
        for term in random {
            offset.push(offset[offset.len() - 1] + term.n_groups);
        }
        // Largest term first leaves nested designs without fill.
        let mut by_size: Vec<usize> = (0..terms).collect();
        by_size.sort_by_key(|&k| std::cmp::Reverse(random[k].n_groups));
        let mut place = vec![0; offset[terms]];
        let mut next = 0;
        for &k in &by_size {
            for group in 0..random[k].n_groups {
                place[offset[k] + group] = next;
                next += 1;
            }
        }
        let unit: Vec<f64> =
            random.iter().map(|term| (rows as f64 / dot(&term.columns[0], &term.columns[0])).sqrt()).collect();
        let mut at = Vec::with_capacity(rows * terms);
        let mut z = Vec::with_capacity(rows * terms);
        for i in 0..rows {
            for (k, term) in random.iter().enumerate() {
                at.push(place[offset[k] + term.groups[i]]);
                z.push(unit[k] * term.columns[0][i]);
            }
        }
        let positions: Vec<(usize, usize)> = (0..rows)
            .flat_map(|i| (0..terms).flat_map(move |k| (0..k).map(move |l| (i * terms + k, i * terms + l))))
            .map(|(a, b)| (at[a].min(at[b]), at[a].max(at[b])))
            .collect();
        let factor = ReweightedCholesky::new(next, positions.iter().copied());
        let pairs = positions.iter().map(|&(smaller, larger)| factor.place(smaller, larger)).collect();
        Self {
            design,
            saturated: design.successes().iter().zip(design.trials()).map(|(&k, &n)| saturated(k, n)).collect(),
            terms,
            at,
            z,
            pairs,
            place,
            offset,
            unit,
            modes: vec![0.0; next],
            logits: vec![0.0; rows],
            rows: vec![RowPoint::default(); rows],
            inverse: factor.clone(),
            factor,
            factored: false,
        }
    }

    fn basis_row(&self, i: usize) -> &[f64] {
        let rank = self.design.rank();
        &self.design.columns.basis[i * rank..(i + 1) * rank]
    }

    /// `z_i'Λ v` for effects v.
    #[inline]
    fn along(&self, i: usize, theta: &[f64], v: &[f64]) -> f64 {
        let first = i * self.terms;
        let mut sum = 0.0;
        for k in 0..self.terms {
            sum += theta[k] * self.z[first + k] * v[self.at[first + k]];
        }
        sum
    }

    /// `target += amount Λz_i`.
    #[inline]
    fn spread(&self, i: usize, theta: &[f64], amount: f64, target: &mut [f64]) {
        let first = i * self.terms;
        for k in 0..self.terms {
            target[self.at[first + k]] += theta[k] * self.z[first + k] * amount;
        }
    }

    /// Rows at the fixed logits plus `ZΛu`; gives f(u).
    fn set_rows(&mut self, fixed: &[f64], theta: &[f64], u: &[f64]) -> f64 {
        let (k, n) = (self.design.successes(), self.design.trials());
        let mut value = 0.5 * dot(u, u);
        for i in 0..k.len() {
            self.logits[i] = fixed[i] + self.along(i, theta, u);
            self.rows[i] = row_point(k[i], n[i], self.saturated[i], self.logits[i]);
            value += self.rows[i].half_deviance;
        }
        value
    }

    /// Factors H at the rows as they stand.
    fn set_factor(&mut self, theta: &[f64]) -> bool {
        self.factor.reset();
        let per_row = self.terms * (self.terms - 1) / 2;
        for i in 0..self.rows.len() {
            let weight = self.rows[i].weight;
            let mut pair = i * per_row;
            for k in 0..self.terms {
                let e = i * self.terms + k;
                let part = weight * theta[k] * self.z[e];
                self.factor.diagonal[self.at[e]] += part * theta[k] * self.z[e];
                for l in 0..k {
                    self.factor.value[self.pairs[pair]] += part * theta[l] * self.z[i * self.terms + l];
                    pair += 1;
                }
            }
        }
        self.factor.factor()
    }

    /// Moves the modes to the minimum of f, with rows and factor there; gives f(û).
    ///
    /// The factor of the evaluation before serves as long as its steps shrink fast: most evaluations are a small step from the last.
    fn find_modes(&mut self, fixed: &[f64], theta: &[f64]) -> Option<f64> {
        let mut modes = std::mem::take(&mut self.modes);
        let mut value = self.set_rows(fixed, theta, &modes);
        let mut fresh = false;
        let mut last = f64::INFINITY;
        if !self.factored {
            fresh = self.set_factor(theta);
            self.factored = fresh;
        }
        for _ in 0..MODE_STEPS {
            if !(value.is_finite() && self.factored) {
                break;
            }
            let mut downhill: Vec<f64> = modes.iter().map(|u| -u).collect();
            for i in 0..self.rows.len() {
                self.spread(i, theta, self.rows[i].residual, &mut downhill);
            }
            let mut step = downhill.clone();
            self.factor.solve(&mut step);
            let decrement = dot(&step, &downhill);
            if !fresh && decrement > SHRINK * last {
                fresh = self.set_factor(theta);
                self.factored = fresh;
                last = f64::INFINITY;
                continue;
            }
            let finished = decrement < if fresh { FRESH_DECREMENT } else { OLD_DECREMENT };
            let mut share = 1.0;
            loop {
                let trial: Vec<f64> = modes.iter().zip(&step).map(|(u, s)| u + share * s).collect();
                let next = self.set_rows(fixed, theta, &trial);
                // A last step moves by less than the value can show.
                if finished || next <= value + 1e-13 * (1.0 + value) || share < 1e-6 {
                    (modes, value) = (trial, next);
                    break;
                }
                share *= 0.5;
            }
            if finished {
                self.factored = self.set_factor(theta);
                self.modes = modes;
                return self.factored.then_some(value);
            }
            last = decrement;
            if fresh {
                fresh = self.set_factor(theta);
                self.factored = fresh;
            }
        }
        self.modes = vec![0.0; modes.len()];
        self.factored = false;
        None
    }

    /// Splits a point into coefficients on the basis and thetas in units of their terms.
    fn split<'p>(&self, point: &'p [f64]) -> (&'p [f64], &'p [f64]) {
        point.split_at(self.design.rank())
    }

    fn fixed_logits(&self, coefficients: &[f64]) -> Vec<f64> {
        (0..self.rows.len()).map(|i| dot(self.basis_row(i), coefficients)).collect()
    }
}

impl Marginal for Laplace<'_> {
    fn units(&self) -> &[f64] {
        &self.unit
    }

    fn evaluate(&mut self, point: &[f64]) -> Option<(f64, Vec<f64>)> {
        let (coefficients, theta) = self.split(point);
        let fixed = self.fixed_logits(coefficients);
        let value = self.find_modes(&fixed, theta)? + 0.5 * self.factor.log_determinant();
        self.factor.selected_inverse(&mut self.inverse);
        let terms = self.terms;
        let per_row = terms * (terms - 1) / 2;
        let mut theta_gradient = vec![0.0; terms];
        let mut curvature = vec![0.0; self.rows.len()];
        let mut moved = vec![0.0; self.modes.len()];
        let mut on_row = vec![0.0; terms];
        for i in 0..self.rows.len() {
            // on_row[k] = Σ_l S_kl θ_l z_l, with S the inverse of H at this row's effects.
            let mut pair = i * per_row;
            on_row.fill(0.0);
            for k in 0..terms {
                let e = i * terms + k;
                on_row[k] += self.inverse.diagonal[self.at[e]] * theta[k] * self.z[e];
                for l in 0..k {
                    let s = self.inverse.value[self.pairs[pair]];
                    let f = i * terms + l;
                    on_row[k] += s * theta[l] * self.z[f];
                    on_row[l] += s * theta[k] * self.z[e];
                    pair += 1;
                }
            }
            let at = self.rows[i];
            let variance: f64 = (0..terms).map(|k| theta[k] * self.z[i * terms + k] * on_row[k]).sum();
            curvature[i] = 0.5 * at.weight * at.skew * variance;
            for k in 0..terms {
                theta_gradient[k] += at.weight * self.z[i * terms + k] * on_row[k];
            }
            self.spread(i, theta, curvature[i], &mut moved);
        }
        self.factor.solve(&mut moved);
        let mut gradient = vec![0.0; point.len()];
        let rank = coefficients.len();
        for i in 0..self.rows.len() {
            let at = self.rows[i];
            // What a change of this row's logit at fixed u does, the move of û included.
            let by_logit = curvature[i] - at.residual - at.weight * self.along(i, theta, &moved);
            let row = self.basis_row(i);
            for j in 0..rank {
                gradient[j] += by_logit * row[j];
            }
            for k in 0..terms {
                let e = i * terms + k;
                theta_gradient[k] += self.z[e] * (by_logit * self.modes[self.at[e]] + at.residual * moved[self.at[e]]);
            }
        }
        gradient[rank..].copy_from_slice(&theta_gradient);
        Some((value, gradient))
    }

    /// `Q'(W - WZΛH⁻¹ΛZ'W)Q` at the last evaluation: the curvature without the small change of `log |H|`.
    fn coefficient_information(&self, point: &[f64]) -> Vec<f64> {
        let (coefficients, theta) = self.split(point);
        let rank = coefficients.len();
        let mut information = vec![0.0; rank * rank];
        let mut unused = vec![0.0; rank];
        let mut images = vec![vec![0.0; self.modes.len()]; rank];
        for i in 0..self.rows.len() {
            let row = self.basis_row(i);
            add_row(&mut unused, &mut information, row, 0.0, self.rows[i].weight);
            for j in 0..rank {
                self.spread(i, theta, self.rows[i].weight * row[j], &mut images[j]);
            }
        }
        images.iter_mut().for_each(|image| self.factor.solve_lower(image));
        for a in 0..rank {
            for b in 0..=a {
                information[a * rank + b] -= dot(&images[a], &images[b]);
            }
        }
        mirror(&mut information, rank);
        information
    }

    fn effects(&mut self, point: &[f64]) -> Vec<(Vec<f64>, Vec<f64>)> {
        self.factor.selected_inverse(&mut self.inverse);
        let (_, theta) = self.split(point);
        (0..self.terms)
            .map(|k| {
                let scale = theta[k].abs() * self.unit[k];
                let sign = theta[k].signum();
                let places = &self.place[self.offset[k]..self.offset[k + 1]];
                let modes = places.iter().map(|&at| scale * sign * self.modes[at]).collect();
                (modes, places.iter().map(|&at| scale * self.inverse.diagonal[at].sqrt()).collect())
            })
            .collect()
    }

    fn logits(&self) -> &[f64] {
        &self.logits
    }
}
