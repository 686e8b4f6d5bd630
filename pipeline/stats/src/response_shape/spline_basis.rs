//! Cubic splines with a second-difference penalty, split into a straight line and penalised deviations from it.

use crate::checks::check_finite;
use crate::dense::{cholesky_in_place, solve_lower, solve_lower_transpose};
use crate::error::{Result, StatsError};
use crate::interval::Interval;

/// A P-spline in mixed-model form: `f(x) = a + b x + Σ z_k(x) u_k`.
///
/// Start from cubic B-splines `B` on equal segments with the penalty `λ |D α|²` on second differences of their coefficients
/// (Eilers & Marx 1996). With `α = (a straight line) + D'(DD')⁻¹ u` the penalty is `λ |u|²` (Currie & Durbán 2002), so the columns
/// `z = B D'(DD')⁻¹` with independent effects `u ~ N(0, tau²)` give the same curve, and the likelihood chooses `λ = sigma² / tau²`.
/// Not penalised: a constant and x itself, which the fixed columns must hold.
#[derive(Debug, Clone, PartialEq)]
pub struct SplineBasis {
    range: Interval,
    segments: usize,
    /// `D'(DD')⁻¹`, (segments + 3) rows of segments + 1 values.
    from_effects: Vec<Vec<f64>>,
}

impl SplineBasis {
    /// A basis over `range` with `segments` segments: `segments + 1` penalised columns. Ten segments are plenty for a response curve;
    /// the penalty, not their number, makes the curve smooth.
    ///
    /// # Errors
    /// A range that is empty or not finite, no segment.
    pub fn new(range: Interval, segments: usize) -> Result<Self> {
        super::profile_set::check_range(range)?;
        if segments == 0 {
            return Err(StatsError::OutOfRange { what: "the number of segments", value: 0.0, expected: "at least 1" });
        }
        let size = segments + 1;
        // Rows of D are 1, -2, 1; DD' has 6 on its diagonal, then -4, then 1.
        let mut factor: Vec<f64> = (0..size * size)
            .map(|at| match (at / size).abs_diff(at % size) {
                0 => 6.0,
                1 => -4.0,
                2 => 1.0,
                _ => 0.0,
            })
            .collect();
        if !cholesky_in_place(&mut factor, size) {
            return Err(StatsError::Numerical { step: "the factorisation of the spline penalty" });
        }
        let from_effects = (0..size + 2)
            .map(|i| {
                // Column i of D: 1 in row i, -2 in row i - 1, 1 in row i - 2.
                let mut row = vec![0.0; size];
                for (back, value) in [1.0, -2.0, 1.0].into_iter().enumerate() {
                    if let Some(target) = i.checked_sub(back).and_then(|at| row.get_mut(at)) {
                        *target = value;
                    }
                }
                solve_lower(&factor, size, &mut row);
                solve_lower_transpose(&factor, size, &mut row);
                row
            })
            .collect();
        Ok(Self { range, segments, from_effects })
    }

    /// Number of penalised columns, `segments + 1`.
    pub fn n_columns(&self) -> usize {
        self.segments + 1
    }

    /// The range covered.
    pub fn range(&self) -> Interval {
        self.range
    }

    /// Values of the penalised columns at `x`.
    ///
    /// # Errors
    /// An x outside the range: nothing is known about the curve there.
    pub fn row(&self, x: f64) -> Result<Vec<f64>> {
        let (first, weights) = self.local(x)?;
        let mut row = vec![0.0; self.n_columns()];
        for (from, weight) in self.from_effects[first..].iter().zip(weights) {
            row.iter_mut().zip(from).for_each(|(target, value)| *target += weight * value);
        }
        Ok(row)
    }

    /// The penalised columns over all `x`, one vector of the length of `x` per column.
    ///
    /// # Errors
    /// A value outside the range.
    pub fn columns(&self, x: &[f64]) -> Result<Vec<Vec<f64>>> {
        let rows = x.iter().map(|&x| self.row(x)).collect::<Result<Vec<_>>>()?;
        Ok((0..self.n_columns()).map(|k| rows.iter().map(|row| row[k]).collect()).collect())
    }

    /// The first of the four B-splines that are not zero at `x`, and their values.
    fn local(&self, x: f64) -> Result<(usize, [f64; 4])> {
        check_finite("x", &[x])?;
        if !self.range.contains(x) {
            return Err(StatsError::OutOfRange {
                what: "x",
                value: x,
                expected: "a value inside the range of the spline",
            });
        }
        let position = (x - self.range.low) / self.range.width() * self.segments as f64;
        let first = (position.floor() as usize).min(self.segments - 1);
        let t = position - first as f64;
        let s = 1.0 - t;
        let weights = [
            s.powi(3) / 6.0,
            (4.0 - 6.0 * t * t + 3.0 * t.powi(3)) / 6.0,
            (4.0 - 6.0 * s * s + 3.0 * s.powi(3)) / 6.0,
            t.powi(3) / 6.0,
        ];
        Ok((first, weights))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn basis() -> SplineBasis {
        SplineBasis::new(Interval { low: -1.0, high: 5.0 }, 7).unwrap()
    }

    fn spline(basis: &SplineBasis, coefficients: &[f64], x: f64) -> f64 {
        let (first, weights) = basis.local(x).unwrap();
        coefficients[first..].iter().zip(weights).map(|(a, w)| a * w).sum()
    }

    #[test]
    fn the_b_splines_sum_to_one_and_reproduce_lines() {
        let basis = basis();
        // Greville abscissae of a uniform cubic basis: knots one segment apart, starting one segment before the range.
        let line: Vec<f64> = (0..10).map(|j| -1.0 + 6.0 / 7.0 * (f64::from(j) - 1.0)).collect();
        for k in 0..=60 {
            let x = -1.0 + f64::from(k) / 10.0;
            let (_, weights) = basis.local(x).unwrap();
            assert!((weights.iter().sum::<f64>() - 1.0).abs() < 1e-14);
            assert!((spline(&basis, &line, x) - x).abs() < 1e-13);
        }
    }

    #[test]
    fn the_penalty_on_second_differences_is_the_sum_of_squared_effects() {
        let basis = basis();
        let effects: Vec<f64> = (0..8).map(|k| (1.7 * f64::from(k)).sin()).collect();
        let coefficients: Vec<f64> =
            basis.from_effects.iter().map(|row| row.iter().zip(&effects).map(|(a, u)| a * u).sum::<f64>()).collect();
        for (window, effect) in coefficients.windows(3).zip(&effects) {
            assert!((window[0] - 2.0 * window[1] + window[2] - effect).abs() < 1e-12);
        }
        for x in [-1.0, 0.13, 2.0, 4.99, 5.0] {
            let direct = spline(&basis, &coefficients, x);
            let row = basis.row(x).unwrap();
            let mixed: f64 = row.iter().zip(&effects).map(|(z, u)| z * u).sum();
            assert!((direct - mixed).abs() < 1e-13);
        }
    }

    #[test]
    fn line_and_penalised_columns_together_span_every_spline() {
        // Any coefficients are a line plus D'(DD')⁻¹ times their second differences.
        let basis = basis();
        let coefficients: Vec<f64> = (0..10).map(|j| (0.9 * f64::from(j)).cos()).collect();
        let effects: Vec<f64> = coefficients.windows(3).map(|w| w[0] - 2.0 * w[1] + w[2]).collect();
        let rest = |x: f64| {
            let row = basis.row(x).unwrap();
            spline(&basis, &coefficients, x) - row.iter().zip(&effects).map(|(z, u)| z * u).sum::<f64>()
        };
        let (at_low, at_high) = (rest(-1.0), rest(5.0));
        for x in [-0.5, 0.7, 1.9, 3.3, 4.8] {
            let line = at_low + (at_high - at_low) * (x + 1.0) / 6.0;
            assert!((rest(x) - line).abs() < 1e-12);
        }
    }

    #[test]
    fn values_outside_the_range_are_refused() {
        assert!(basis().row(5.1).is_err() && basis().row(f64::NAN).is_err());
        assert!(SplineBasis::new(Interval { low: 1.0, high: 1.0 }, 4).is_err());
        assert_eq!(basis().columns(&[0.0, 1.0, 2.0]).unwrap().len(), 8);
    }
}
