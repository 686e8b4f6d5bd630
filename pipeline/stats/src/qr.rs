//! Householder QR without pivoting, with dropping of dependent columns and compensated residuals.

use crate::dense::{add_scaled, dot, solve_upper};
use crate::threads::each_chunk;
use ndarray::Array2;

/// A column whose part outside the span of the earlier ones is smaller than this share of its length counts as dependent.
///
/// Exactly dependent columns leave about 1e-15; the certified degree-10 polynomial of NIST's Filip data leaves about 1e-9
/// in its worst column and must be kept.
const DEPENDENT: f64 = 1e-11;

/// Rows whose residuals are one piece of work.
const ROWS_AT_A_TIME: usize = 1024;

/// Part of a dependent column, in its lengths, that is no more than rounding.
const ROUNDING: f64 = 1e-10;

/// `A = Q R` for the independent columns of an n × p matrix.
#[derive(Debug, Clone)]
pub(crate) struct Qr {
    rows: usize,
    /// Independent columns, in the order given.
    pub(crate) kept: Vec<usize>,
    /// For each dependent column: its index and its coefficients on the kept columns before it.
    pub(crate) dependent: Vec<(usize, Vec<f64>)>,
    /// Orthonormal columns, one after the other (column-major n × r).
    q: Vec<f64>,
    /// Upper triangle, row-major r × r.
    pub(crate) r: Vec<f64>,
}

impl Qr {
    /// Factors `matrix` with row `i` multiplied by `root_weight[i]`.
    pub(crate) fn new(matrix: &Array2<f64>, root_weight: Option<&[f64]>) -> Self {
        let (rows, columns) = matrix.dim();
        let mut a = vec![0.0; rows * columns];
        for (i, row) in matrix.rows().into_iter().enumerate() {
            let factor = root_weight.map_or(1.0, |w| w[i]);
            for (j, value) in row.iter().enumerate() {
                a[j * rows + i] = factor * value;
            }
        }
        let length = |column: &[f64]| dot(column, column).sqrt();
        let lengths: Vec<f64> = (0..columns).map(|j| length(&a[j * rows..(j + 1) * rows])).collect();
        let mut kept = Vec::new();
        let mut reflectors: Vec<Vec<f64>> = Vec::new();
        let mut upper_columns: Vec<Vec<f64>> = Vec::new();
        let mut dropped: Vec<(usize, Vec<f64>)> = Vec::new();
        for j in 0..columns {
            let rank = kept.len();
            let (done, later) = a.split_at_mut((j + 1) * rows);
            let column = &done[j * rows..];
            let rest = if rank < rows { length(&column[rank..]) } else { 0.0 };
            if !(rest > DEPENDENT * lengths[j]) {
                dropped.push((j, column[..rank].to_vec()));
                continue;
            }
            // The reflector maps the rest of the column onto ∓rest · e1; the sign avoids cancellation.
            let target = if column[rank] > 0.0 { -rest } else { rest };
            let mut v = column[rank..].to_vec();
            v[0] -= target;
            let norm = dot(&v, &v).sqrt();
            v.iter_mut().for_each(|value| *value /= norm);
            let mut upper = column[..rank].to_vec();
            upper.push(target);
            upper_columns.push(upper);
            each_chunk(later, rows, rows, |_, column| reflect(&v, &mut column[rank..]));
            reflectors.push(v);
            kept.push(j);
        }
        let rank = kept.len();
        let mut r = vec![0.0; rank * rank];
        for (j, column) in upper_columns.iter().enumerate() {
            for (i, value) in column.iter().enumerate() {
                r[i * rank + j] = *value;
            }
        }
        let mut q = vec![0.0; rows * rank];
        each_chunk(&mut q, rows, rows, |j, column| {
            column[j] = 1.0;
            reflectors.iter().enumerate().rev().for_each(|(k, v)| reflect(v, &mut column[k..]));
        });
        let dependent = dropped
            .into_iter()
            .map(|(j, mut on_q)| {
                // The kept columns before j span it, so only the leading triangle takes part.
                let size = on_q.len();
                let leading: Vec<f64> = (0..size).flat_map(|i| r[i * rank..i * rank + size].to_vec()).collect();
                let length = dot(&on_q, &on_q).sqrt();
                solve_upper(&leading, &mut on_q);
                for (k, share) in on_q.iter_mut().enumerate() {
                    // A share that is rounding would tie columns together that have nothing to do with each other.
                    let column: f64 = (0..=k).map(|i| leading[i * size + k].powi(2)).sum::<f64>().sqrt();
                    if share.abs() * column < ROUNDING * length {
                        *share = 0.0;
                    }
                }
                (j, on_q)
            })
            .collect();
        Self { rows, kept, dependent, q, r }
    }

    /// Number of independent columns.
    pub(crate) fn rank(&self) -> usize {
        self.kept.len()
    }

    /// Orthonormal column `j`.
    pub(crate) fn q_column(&self, j: usize) -> &[f64] {
        &self.q[j * self.rows..(j + 1) * self.rows]
    }

    /// `Q' v`.
    pub(crate) fn project(&self, v: &[f64]) -> Vec<f64> {
        (0..self.rank()).map(|j| dot(self.q_column(j), v)).collect()
    }

    /// Twice the log of the product of the diagonal of R, the log determinant of `A'A`.
    pub(crate) fn log_determinant(&self) -> f64 {
        let rank = self.rank();
        (0..rank).map(|j| 2.0 * self.r[j * rank + j].abs().ln()).sum()
    }

    /// Condition number of R in the one-norm, after scaling every column to length one.
    ///
    /// Scaling matters: a column in other units changes no answer, so it must not look like ill-conditioning.
    pub(crate) fn condition(&self) -> f64 {
        let rank = self.rank();
        let mut scaled = self.r.clone();
        for j in 0..rank {
            let length = (0..=j).map(|i| self.r[i * rank + j].powi(2)).sum::<f64>().sqrt();
            for i in 0..=j {
                scaled[i * rank + j] /= length;
            }
        }
        let mut forward = 0.0_f64;
        let mut backward = 0.0_f64;
        for j in 0..rank {
            forward = forward.max((0..rank).map(|i| scaled[i * rank + j].abs()).sum());
            let mut unit = vec![0.0; rank];
            unit[j] = 1.0;
            solve_upper(&scaled, &mut unit);
            backward = backward.max(unit.iter().map(|v| v.abs()).sum());
        }
        forward * backward
    }

    /// Least-squares coefficients on the kept columns and the residuals, both in the weighted scale.
    ///
    /// `weighted_columns` are the kept columns and `y` the response, already multiplied by the root weights. The residuals
    /// are computed in twice the working precision and projected once more, so that a large common offset in `y` (NIST's
    /// SmLs series) costs no digits of the residual sum of squares.
    pub(crate) fn solve(&self, weighted_columns: &[Vec<f64>], y: &[f64]) -> (Vec<f64>, Vec<f64>) {
        // Refinement: the second and third pass repair the rounding of the one before.
        let (coefficients, mut residuals) = self.refined(weighted_columns, y, 3);
        for (j, share) in self.project(&residuals).into_iter().enumerate() {
            add_scaled(&mut residuals, -share, self.q_column(j));
        }
        (coefficients, residuals)
    }

    /// As [`Qr::solve`] in a third of the time, for one of many responses: residuals of one pass in twice the working precision, and the
    /// second pass in working precision. Coefficients of nearly dependent columns are not refined.
    pub(crate) fn solve_quickly(&self, weighted_columns: &[Vec<f64>], y: &[f64]) -> (Vec<f64>, Vec<f64>) {
        let (mut coefficients, mut residuals) = self.refined(weighted_columns, y, 1);
        let mut step = self.project(&residuals);
        for (j, &share) in step.iter().enumerate() {
            add_scaled(&mut residuals, -share, self.q_column(j));
        }
        solve_upper(&self.r, &mut step);
        coefficients.iter_mut().zip(&step).for_each(|(c, s)| *c += s);
        (coefficients, residuals)
    }

    fn refined(&self, weighted_columns: &[Vec<f64>], y: &[f64], passes: usize) -> (Vec<f64>, Vec<f64>) {
        let mut coefficients = vec![0.0; self.rank()];
        let mut residuals = y.to_vec();
        for _ in 0..passes {
            let mut step = self.project(&residuals);
            solve_upper(&self.r, &mut step);
            let before = coefficients.clone();
            coefficients.iter_mut().zip(&step).for_each(|(c, s)| *c += s);
            // Nothing left to repair. From zero the first pass moves nothing where all coefficients are zero, and the residuals are `y`.
            if coefficients == before {
                break;
            }
            residuals = compensated_residuals(weighted_columns, &coefficients, y);
        }
        (coefficients, residuals)
    }
}

/// `y - Σ coefficient_j column_j`, accumulated with error terms (Ogita, Rump & Oishi 2005, algorithm Dot2).
fn compensated_residuals(columns: &[Vec<f64>], coefficients: &[f64], y: &[f64]) -> Vec<f64> {
    let mut residuals = y.to_vec();
    each_chunk(&mut residuals, ROWS_AT_A_TIME, y.len(), |number, part| {
        for (i, value) in (number * ROWS_AT_A_TIME..).zip(part) {
            let mut sum = *value;
            let mut error = 0.0;
            for (column, &coefficient) in columns.iter().zip(coefficients) {
                let product = -coefficient * column[i];
                let product_error = (-coefficient).mul_add(column[i], -product);
                let total = sum + product;
                let shift = total - sum;
                error += (sum - (total - shift)) + (product - shift) + product_error;
                sum = total;
            }
            *value = sum + error;
        }
    });
    residuals
}

/// Reflects `x` at the plane across the unit vector `v`.
fn reflect(v: &[f64], x: &mut [f64]) {
    let factor = -2.0 * dot(v, x);
    add_scaled(x, factor, v);
}

#[cfg(test)]
mod tests {
    use super::*;
    use ndarray::{Array2, array};

    #[test]
    fn a_later_column_loses_to_the_earlier_ones_and_is_described_by_them() {
        // third = 2 first + 3 second
        let matrix = array![[1.0, 0.0, 2.0, 1.0], [1.0, 1.0, 5.0, 4.0], [1.0, 2.0, 8.0, 9.0], [1.0, 5.0, 17.0, 3.0]];
        let qr = Qr::new(&matrix, None);
        assert_eq!(qr.kept, [0, 1, 3]);
        let (index, on_kept) = &qr.dependent[0];
        assert_eq!(*index, 2);
        assert!((on_kept[0] - 2.0).abs() < 1e-13 && (on_kept[1] - 3.0).abs() < 1e-13);
    }

    #[test]
    fn the_quick_solution_is_the_refined_one_under_a_large_offset() {
        let matrix = Array2::from_shape_fn((40, 3), |(i, j)| (i as f64 / 20.0 - 1.0).powi(j as i32));
        let qr = Qr::new(&matrix, None);
        let columns: Vec<Vec<f64>> = matrix.columns().into_iter().map(|column| column.to_vec()).collect();
        let y: Vec<f64> = (0..40).map(|i| 1e8 + (i as f64 * 1.7).sin()).collect();
        let (coefficients, residuals) = qr.solve(&columns, &y);
        let (quick, rest) = qr.solve_quickly(&columns, &y);
        assert!(quick.iter().zip(&coefficients).all(|(a, b)| (a - b).abs() < 1e-15 * 1e8));
        assert!(rest.iter().zip(&residuals).all(|(a, b)| (a - b).abs() < 1e-13));
    }

    #[test]
    fn columns_of_q_are_orthonormal_and_give_the_matrix_back() {
        let matrix = array![[1.0, 2.0], [1.0, -1.0], [1.0, 7.0]];
        let qr = Qr::new(&matrix, Some(&[1.0, 2.0, 0.5]));
        for i in 0..2 {
            for j in 0..2 {
                let expected = f64::from(u8::from(i == j));
                assert!((dot(qr.q_column(i), qr.q_column(j)) - expected).abs() < 1e-15);
            }
        }
        let entry = qr.q_column(0)[1] * qr.r[1] + qr.q_column(1)[1] * qr.r[3];
        assert!((entry + 2.0).abs() < 1e-14);
    }

    #[test]
    fn a_zero_column_is_dropped() {
        let qr = Qr::new(&array![[0.0, 1.0], [0.0, 1.0]], None);
        assert_eq!(qr.kept, [1]);
        assert_eq!(qr.dependent.len(), 1);
    }
}
