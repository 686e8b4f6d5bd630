//! Combinations of coefficients and covariances, carried over from orthonormal columns.

use crate::checks::{check_finite, check_length};
use crate::dense::{dot, solve_upper_transpose, symmetric_eigen};
use crate::error::{Result, StatsError};
use ndarray::Array2;

/// Independent unit-variance-ready combinations behind a set of hypothesis rows, in eigenvector order.
///
/// For rows L with covariance `L V L' = P D P'`, the rows of `P'L` are uncorrelated with variances D
/// (Fai & Cornelius 1996). Rows that repeat others have D = 0 and are left out.
pub(crate) struct IndependentCombinations {
    /// Each combination on the coefficients.
    pub(crate) rows: Vec<Vec<f64>>,
    /// Each combination on the orthonormal columns, `R'⁻¹ row`.
    pub(crate) on_q: Vec<Vec<f64>>,
    variances: Vec<f64>,
}

impl IndependentCombinations {
    /// `unscaled` is the covariance of the coefficients on the orthonormal columns without sigma²; `None` is the identity.
    pub(crate) fn new(rows: &Array2<f64>, upper: &[f64], unscaled: Option<&[f64]>) -> Result<Self> {
        let (count, width) = rows.dim();
        check_length("each hypothesis row", width, upper.len().isqrt())?;
        let plain: Vec<Vec<f64>> = rows.rows().into_iter().map(|row| row.to_vec()).collect();
        let on_q =
            plain.iter().map(|row| on_orthonormal(row, upper, "a hypothesis row")).collect::<Result<Vec<_>>>()?;
        let mut covariance = vec![0.0; count * count];
        for i in 0..count {
            let image: Vec<f64> = match unscaled {
                None => on_q[i].clone(),
                Some(c) => (0..width).map(|k| dot(&c[k * width..(k + 1) * width], &on_q[i])).collect(),
            };
            for j in 0..count {
                covariance[i * count + j] = dot(&image, &on_q[j]);
            }
        }
        let eigen = symmetric_eigen(&covariance, count);
        let largest = eigen.values.first().copied().unwrap_or(0.0);
        let independent: Vec<usize> = (0..count).filter(|&k| eigen.values[k] > 1e-12 * largest).collect();
        if independent.is_empty() {
            return Err(StatsError::OutOfRange {
                what: "the number of hypothesis rows that are not zero",
                value: 0.0,
                expected: "at least 1",
            });
        }
        let combine = |source: &[Vec<f64>], weights: &[f64]| -> Vec<f64> {
            (0..width).map(|j| (0..count).map(|i| weights[i] * source[i][j]).sum()).collect()
        };
        Ok(Self {
            rows: independent.iter().map(|&k| combine(&plain, &eigen.vectors[k])).collect(),
            on_q: independent.iter().map(|&k| combine(&on_q, &eigen.vectors[k])).collect(),
            variances: independent.iter().map(|&k| eigen.values[k]).collect(),
        })
    }

    /// Squared value of each combination over its variance without sigma².
    pub(crate) fn squared_over_variance(&self, coefficients: &[f64]) -> Vec<f64> {
        self.rows.iter().zip(&self.variances).map(|(row, variance)| dot(row, coefficients).powi(2) / variance).collect()
    }
}

/// `R⁻¹ C R⁻ᵀ` for the upper triangle R and the covariance C of the coefficients on the orthonormal columns.
pub(crate) fn unscaled_covariance_from(upper: &[f64], on_q: &[f64], rank: usize) -> Array2<f64> {
    let rows = unit_contrasts(upper, rank);
    let images: Vec<Vec<f64>> =
        rows.iter().map(|row| (0..rank).map(|k| dot(&on_q[k * rank..(k + 1) * rank], row)).collect()).collect();
    Array2::from_shape_fn((rank, rank), |(i, j)| {
        let (i, j) = (i.max(j), i.min(j));
        dot(&rows[i], &images[j])
    })
}

/// `(R'R)⁻¹` for the upper triangle R.
pub(crate) fn unscaled_covariance(upper: &[f64], rank: usize) -> Array2<f64> {
    let rows = unit_contrasts(upper, rank);
    Array2::from_shape_fn((rank, rank), |(i, j)| dot(&rows[i], &rows[j]))
}

/// A row over the coefficients as one over the orthonormal columns, `R'⁻¹ row`; `what` names it in errors.
///
/// # Errors
/// A row of the wrong length or not finite.
pub(crate) fn on_orthonormal(row: &[f64], upper: &[f64], what: &str) -> Result<Vec<f64>> {
    check_length(what, row.len(), upper.len().isqrt())?;
    check_finite(what, row)?;
    let mut on_q = row.to_vec();
    solve_upper_transpose(upper, &mut on_q);
    Ok(on_q)
}

/// Each coefficient as a contrast on the orthonormal columns: the rows of R⁻¹.
fn unit_contrasts(upper: &[f64], rank: usize) -> Vec<Vec<f64>> {
    (0..rank)
        .map(|j| {
            let mut unit = vec![0.0; rank];
            unit[j] = 1.0;
            solve_upper_transpose(upper, &mut unit);
            unit
        })
        .collect()
}
