//! The independent baseline: ordinary least squares by `linfa-linear`.
//!
//! It shares no code with [`crate::LeastSquares`], so agreement of the two is evidence. Only `LinearRegression` is used.

use crate::design::Design;
use crate::error::{Result, StatsError};
use crate::note::Note;
use linfa::Dataset;
use linfa::traits::Fit;
use linfa_linear::LinearRegression;
use ndarray::{Array1, Array2};

/// Coefficients (p) of the kept fixed columns by linfa's least squares; random terms are ignored, weights are respected.
///
/// linfa ignores weights, therefore rows are multiplied by the root weights first.
///
/// # Errors
/// The solver refuses the columns.
pub fn baseline(design: &Design) -> Result<Vec<f64>> {
    let records = Array2::from_shape_fn(design.fixed().dim(), |(i, j)| design.fixed()[[i, j]] * design.root_weight(i));
    let targets = Array1::from_vec(design.weighted(design.response()));
    let fitted = LinearRegression::new()
        .with_intercept(false)
        .fit(&Dataset::new(records, targets))
        .map_err(|_| StatsError::Numerical { step: "the least-squares baseline" })?;
    Ok(fitted.params().to_vec())
}

/// A note when the baseline is further from `coefficients` than the conditioning of the columns explains.
///
/// Distances are measured in residual standard errors and in relative size; either may be small.
pub(crate) fn disagreement(design: &Design, coefficients: &[f64], standard_errors: &[f64]) -> Option<Note> {
    let found = match baseline(design) {
        Ok(found) => found,
        Err(_) => {
            return Some(Note::new(
                "baseline",
                "the independent least-squares solver refused these columns, so its check is missing",
            ));
        }
    };
    let allowed = (1e3 * f64::EPSILON * design.qr.condition()).max(1e-9);
    let largest = coefficients.iter().fold(0.0_f64, |m, c| m.max(c.abs()));
    let first = (0..found.len())
        .map(|j| {
            let difference = (found[j] - coefficients[j]).abs();
            (difference, allowed * coefficients[j].abs().max(standard_errors[j]).max(f64::EPSILON * largest), j)
        })
        .find(|(difference, limit, _)| !(difference <= limit));
    first.map(|(difference, _, j)| {
        Note::new(
            "baseline",
            format!(
                "an independent least-squares solver differs by {difference:.2e} in `{}`, more than rounding explains",
                design.names()[j]
            ),
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::inference::LinearFit;
    use crate::least_squares::LeastSquares;

    fn design() -> Design {
        let x = [0.0, 1.0, 2.0, 4.0, 7.0];
        Design::new(
            vec![1.0, 3.5, 4.0, 8.0, 16.0],
            Array2::from_shape_fn((5, 2), |(i, j)| if j == 0 { 1.0 } else { x[i] }),
            vec!["one".into(), "x".into()],
            vec![],
            Some(vec![1.0, 4.0, 2.0, 1.0, 0.5]),
        )
        .expect("valid design")
    }

    #[test]
    fn the_baseline_respects_weights_and_agrees_with_our_own_solver() {
        let fit = LeastSquares.fit(&design()).expect("fit");
        for (own, other) in fit.coefficients().iter().zip(baseline(&design()).expect("solvable")) {
            assert!((own - other).abs() < 1e-13);
        }
        assert_eq!(disagreement(&design(), fit.coefficients(), &fit.standard_errors()), None);
    }

    #[test]
    fn a_coefficient_that_is_off_is_noticed_and_named() {
        let fit = LeastSquares.fit(&design()).expect("fit");
        let wrong = [fit.coefficients()[0], fit.coefficients()[1] * (1.0 + 1e-6)];
        let note = disagreement(&design(), &wrong, &fit.standard_errors()).expect("a note");
        assert_eq!(note.code, "baseline");
        assert!(note.message.contains("`x`"), "{}", note.message);
        let undefined = disagreement(&design(), &[f64::NAN, 1.0], &fit.standard_errors());
        assert!(undefined.is_some(), "NaN must not pass as agreement");
    }
}
