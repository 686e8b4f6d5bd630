//! Half deviance of logistic regression and Firth's penalty, with their derivatives.

use super::columns::Columns;
use super::kernel::{RowPoint, row_point, saturated};
use crate::dense::{cholesky_in_place, dot, solve_lower};
use crate::newton::Local;

/// Logistic regression on the basis of some columns.
#[derive(Debug, Clone)]
pub(super) struct Objective<'a> {
    basis: &'a [f64],
    rank: usize,
    successes: &'a [f64],
    trials: &'a [f64],
    saturated: Vec<f64>,
    penalised: bool,
}

impl<'a> Objective<'a> {
    pub(super) fn new(columns: &'a Columns, successes: &'a [f64], trials: &'a [f64], penalised: bool) -> Self {
        let saturated = successes.iter().zip(trials).map(|(&k, &n)| saturated(k, n)).collect();
        Self { basis: &columns.basis, rank: columns.rank(), successes, trials, saturated, penalised }
    }

    fn row(&self, i: usize) -> &'a [f64] {
        &self.basis[i * self.rank..(i + 1) * self.rank]
    }

    pub(super) fn row_point(&self, i: usize, point: &[f64]) -> RowPoint {
        row_point(self.successes[i], self.trials[i], self.saturated[i], dot(self.row(i), point))
    }

    pub(super) fn row_points(&self, point: &[f64]) -> Vec<RowPoint> {
        (0..self.successes.len()).map(|i| self.row_point(i, point)).collect()
    }

    /// Coefficients near the smoothed empirical logits `log (k + 1/2) / (n - k + 1/2)`, by least squares.
    pub(super) fn start(&self) -> Vec<f64> {
        let mut start = vec![0.0; self.rank];
        for (i, (k, n)) in self.successes.iter().zip(self.trials).enumerate() {
            let logit = ((k + 0.5) / (n - k + 0.5)).ln();
            start.iter_mut().zip(self.row(i)).for_each(|(s, q)| *s += q * logit);
        }
        start.iter().map(|value| value / self.successes.len() as f64).collect()
    }

    /// Half deviance, less `½ log |Q'WQ|` when penalised, with exact first and second derivatives.
    ///
    /// `None` where the penalty is not defined because all weights underflow.
    pub(super) fn local(&self, point: &[f64]) -> Option<Local> {
        let rows = self.row_points(point);
        let rank = self.rank;
        let mut gradient = vec![0.0; rank];
        let mut information = vec![0.0; rank * rank];
        for (i, at) in rows.iter().enumerate() {
            add_row(&mut gradient, &mut information, self.row(i), -at.residual, at.weight);
        }
        mirror(&mut information, rank);
        let mut local = Local { value: rows.iter().map(|at| at.half_deviance).sum(), gradient, hessian: information };
        if self.penalised { self.add_penalty(&rows, &mut local).then_some(local) } else { Some(local) }
    }

    /// With I = Q'WQ and w', w'' the derivatives of a weight by its logit:
    /// `∂_a log|I| = Σ w' q_a v`, `∂_ab log|I| = Σ w'' q_a q_b v - tr(I⁻¹ I_a I⁻¹ I_b)`, where `v = q'I⁻¹q`.
    fn add_penalty(&self, rows: &[RowPoint], local: &mut Local) -> bool {
        let rank = self.rank;
        let mut factor = local.hessian.clone();
        if !cholesky_in_place(&mut factor, rank) {
            return false;
        }
        let mut gradient = vec![0.0; rank];
        let mut hessian = vec![0.0; rank * rank];
        // slopes[a] = L⁻¹ I_a L⁻ᵀ, so that the trace is an inner product.
        let mut slopes = vec![0.0; rank * rank * rank];
        let mut standardised = vec![0.0; rank];
        for (i, at) in rows.iter().enumerate() {
            let row = self.row(i);
            standardised.copy_from_slice(row);
            solve_lower(&factor, rank, &mut standardised);
            let variance = dot(&standardised, &standardised);
            let first = at.weight * at.skew;
            let second = at.weight * (1.5 * at.skew * at.skew - 0.5);
            add_row(&mut gradient, &mut hessian, row, first * variance, second * variance);
            for a in 0..rank {
                let scale = first * row[a];
                let slope = &mut slopes[a * rank * rank..(a + 1) * rank * rank];
                for j in 0..rank {
                    let factor = scale * standardised[j];
                    for k in 0..rank {
                        slope[j * rank + k] += factor * standardised[k];
                    }
                }
            }
        }
        for a in 0..rank {
            for b in 0..=a {
                let block = |c: usize| &slopes[c * rank * rank..(c + 1) * rank * rank];
                hessian[a * rank + b] -= dot(block(a), block(b));
            }
        }
        mirror(&mut hessian, rank);
        local.value -= (0..rank).map(|j| factor[j * rank + j].ln()).sum::<f64>();
        local.gradient.iter_mut().zip(&gradient).for_each(|(g, p)| *g -= 0.5 * p);
        local.hessian.iter_mut().zip(&hessian).for_each(|(h, p)| *h -= 0.5 * p);
        true
    }

    /// `Q'WQ` at `point`.
    pub(super) fn information(&self, point: &[f64]) -> Vec<f64> {
        let mut information = vec![0.0; self.rank * self.rank];
        let mut unused = vec![0.0; self.rank];
        for i in 0..self.successes.len() {
            let at = self.row_point(i, point);
            add_row(&mut unused, &mut information, self.row(i), 0.0, at.weight);
        }
        mirror(&mut information, self.rank);
        information
    }
}

/// `vector += a row`, lower triangle of `matrix += b row row'`.
pub(super) fn add_row(vector: &mut [f64], matrix: &mut [f64], row: &[f64], a: f64, b: f64) {
    let rank = row.len();
    for j in 0..rank {
        vector[j] += a * row[j];
        let scaled = b * row[j];
        let target = &mut matrix[j * rank..=j * rank + j];
        for k in 0..=j {
            target[k] += scaled * row[k];
        }
    }
}

/// Copies the lower triangle to the upper one.
pub(super) fn mirror(matrix: &mut [f64], size: usize) {
    for i in 0..size {
        for j in 0..i {
            matrix[j * size + i] = matrix[i * size + j];
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::derivatives::{STEP, derivatives};
    use ndarray::Array2;

    #[test]
    fn both_criteria_have_the_derivatives_they_claim() {
        let fixed = Array2::from_shape_fn((9, 3), |(i, j)| [1.0, (i as f64 * 1.3).sin(), (i % 3) as f64][j]);
        let columns = Columns::new(&fixed, ["a", "b", "c"].map(String::from).to_vec()).expect("columns");
        let (k, n) = ([0.0, 2.0, 3.0, 1.0, 5.0, 4.0, 2.0, 0.0, 6.0], [4.0, 2.0, 7.0, 5.0, 9.0, 4.0, 3.0, 1.0, 8.0]);
        for penalised in [false, true] {
            let objective = Objective::new(&columns, &k, &n, penalised);
            let point = [0.3, -0.6, 0.9];
            let local = objective.local(&point).expect("a value");
            let value = |p: &[f64]| objective.local(p).map(|local| vec![local.value]);
            let numeric = derivatives(value, &point, STEP).expect("values");
            for j in 0..3 {
                assert!((local.gradient[j] - numeric.gradient[j][0]).abs() < 1e-8);
                for l in 0..3 {
                    assert!((local.hessian[j * 3 + l] - numeric.hessian[j * 3 + l][0]).abs() < 1e-7);
                }
            }
        }
    }
}
