//! Orthonormal polynomial columns, for curves whose raw powers would be nearly collinear.

use crate::checks::check_finite;
use crate::error::{Result, StatsError};
use ndarray::Array2;

/// Polynomials of degree 0 to d that are orthonormal on given points (Forsythe 1957): `Σ_i P_a(x_i) P_b(x_i)` is 1 for a = b, else 0.
///
/// The recurrence is `norm_k P_k(x) = (x - shift_k) P_(k-1)(x) - norm_(k-1) P_(k-2)(x)`.
#[derive(Debug, Clone, PartialEq)]
pub struct OrthogonalPolynomial {
    shift: Vec<f64>,
    /// `norm[0]` is the length of the constant, `norm[k]` of the unscaled polynomial of degree k.
    norm: Vec<f64>,
}

impl OrthogonalPolynomial {
    /// Builds the polynomials up to `degree` on the points `x`.
    ///
    /// # Errors
    /// A value that is not finite, or too few different points for the degree.
    pub fn new(x: &[f64], degree: usize) -> Result<Self> {
        check_finite("the points of the polynomial", x)?;
        let mut distinct = x.to_vec();
        distinct.sort_by(f64::total_cmp);
        distinct.dedup();
        if distinct.len() <= degree {
            return Err(StatsError::TooFewValues {
                what: "a polynomial of this degree (different points)",
                needed: degree + 1,
                found: distinct.len(),
            });
        }
        let first = (x.len() as f64).sqrt();
        let mut polynomial = Self { shift: Vec::new(), norm: vec![first] };
        let mut before = vec![0.0; x.len()];
        let mut last = vec![1.0 / first; x.len()];
        for k in 1..=degree {
            let shift: f64 = x.iter().zip(&last).map(|(x, p)| x * p * p).sum();
            let coupling = if k == 1 { 0.0 } else { polynomial.norm[k - 1] };
            let mut next: Vec<f64> = (0..x.len()).map(|i| (x[i] - shift) * last[i] - coupling * before[i]).collect();
            let norm = next.iter().map(|p| p * p).sum::<f64>().sqrt();
            next.iter_mut().for_each(|p| *p /= norm);
            polynomial.shift.push(shift);
            polynomial.norm.push(norm);
            before = std::mem::replace(&mut last, next);
        }
        Ok(polynomial)
    }

    /// Highest degree.
    pub fn degree(&self) -> usize {
        self.shift.len()
    }

    /// Values of the polynomials of degree 0 to d at one point (d + 1).
    pub fn row(&self, x: f64) -> Vec<f64> {
        let mut row = vec![1.0 / self.norm[0]];
        for k in 1..self.norm.len() {
            let coupling = if k == 1 { 0.0 } else { self.norm[k - 1] * row[k - 2] };
            row.push(((x - self.shift[k - 1]) * row[k - 1] - coupling) / self.norm[k]);
        }
        row
    }

    /// Values at several points (points × (d + 1)); the first column is constant and serves as the intercept.
    pub fn columns(&self, x: &[f64]) -> Array2<f64> {
        let mut columns = Array2::zeros((x.len(), self.norm.len()));
        for (i, &point) in x.iter().enumerate() {
            for (j, value) in self.row(point).into_iter().enumerate() {
                columns[[i, j]] = value;
            }
        }
        columns
    }

    /// Coefficients on 1, x, x², … of the combination with the given `coefficients` on the orthonormal polynomials.
    ///
    /// # Errors
    /// Not one coefficient per polynomial.
    pub fn raw_coefficients(&self, coefficients: &[f64]) -> Result<Vec<f64>> {
        let size = self.norm.len();
        crate::checks::check_length("the coefficients", coefficients.len(), size)?;
        let mut raw = vec![0.0; size];
        let mut before = vec![0.0; size];
        let mut last = vec![0.0; size];
        last[0] = 1.0 / self.norm[0];
        raw[0] = coefficients[0] * last[0];
        for k in 1..size {
            let coupling = if k == 1 { 0.0 } else { self.norm[k - 1] };
            let next: Vec<f64> = (0..size)
                .map(|j| {
                    let raised = if j == 0 { 0.0 } else { last[j - 1] };
                    (raised - self.shift[k - 1] * last[j] - coupling * before[j]) / self.norm[k]
                })
                .collect();
            for (target, value) in raw.iter_mut().zip(&next) {
                *target += coefficients[k] * value;
            }
            before = std::mem::replace(&mut last, next);
        }
        Ok(raw)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn five_equally_spaced_points_give_the_tabled_polynomials() {
        // Tables of orthogonal polynomials for five levels: linear -2..2, quadratic 2 -1 -2 -1 2.
        let polynomial = OrthogonalPolynomial::new(&[1.0, 2.0, 3.0, 4.0, 5.0], 2).expect("five points");
        let columns = polynomial.columns(&[1.0, 2.0, 3.0, 4.0, 5.0]);
        let linear = [-2.0, -1.0, 0.0, 1.0, 2.0];
        let quadratic = [2.0, -1.0, -2.0, -1.0, 2.0];
        for i in 0..5 {
            assert!((columns[[i, 1]] - linear[i] / 10.0_f64.sqrt()).abs() < 1e-15);
            assert!((columns[[i, 2]] - quadratic[i] / 14.0_f64.sqrt()).abs() < 1e-15);
        }
    }

    #[test]
    fn raw_coefficients_describe_the_same_curve() {
        let polynomial = OrthogonalPolynomial::new(&[0.0, 1.0, 2.5, 4.0, 7.0], 3).expect("five points");
        let coefficients = [1.0, -2.0, 0.5, 3.0];
        let raw = polynomial.raw_coefficients(&coefficients).expect("one each");
        for x in [-1.0_f64, 0.3, 5.0] {
            let direct: f64 = polynomial.row(x).iter().zip(coefficients).map(|(p, c)| p * c).sum();
            let powers: f64 = (0..4).map(|k| raw[k] * x.powi(k as i32)).sum();
            assert!((direct - powers).abs() < 1e-13);
        }
    }

    #[test]
    fn repeated_points_do_not_count_as_more_points() {
        assert!(OrthogonalPolynomial::new(&[1.0, 1.0, 2.0, 2.0], 2).is_err());
    }
}
