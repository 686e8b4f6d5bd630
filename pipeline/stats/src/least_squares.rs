//! Ordinary and weighted least squares with exact degrees of freedom.

use crate::checks::{check_finite, check_length};
use crate::combinations::{IndependentCombinations, on_orthonormal, unscaled_covariance};
use crate::dense::dot;
use crate::design::Design;
use crate::error::{Result, StatsError};
use crate::inference::{Contrast, JointTest, LinearFit};
use crate::note::Note;
use ndarray::Array2;

/// Least squares on the fixed columns of a design; its random terms are ignored.
///
/// Solved by Householder QR with refinement. Checked against NIST's certified linear regression and analysis of variance sets.
#[derive(Debug, Clone, Copy, Default)]
pub struct LeastSquares;

/// Result of [`LeastSquares::fit`].
#[derive(Debug, Clone)]
pub struct LeastSquaresFit {
    names: Vec<String>,
    coefficients: Vec<f64>,
    covariance: Array2<f64>,
    upper: Vec<f64>,
    residual_sum_of_squares: f64,
    total_sum_of_squares: f64,
    centred: bool,
    residual_df: usize,
    n_observations: usize,
    sum_log_weights: f64,
    fitted: Vec<f64>,
    residuals: Vec<f64>,
    condition: f64,
    notes: Vec<Note>,
}

impl LeastSquares {
    /// Minimises `Σ weight_i (y_i - x_i'β)²`.
    ///
    /// Columns that reproduce the response give a fit with the note `perfect-fit`: where estimate and standard error are both zero, t and
    /// p are NaN.
    ///
    /// # Errors
    /// None for a checked design, unless the numbers overflow.
    pub fn fit(&self, design: &Design) -> Result<LeastSquaresFit> {
        let weighted_response = design.weighted(design.response());
        let (coefficients, weighted_residuals) = design.qr.solve(&design.weighted_columns(), &weighted_response);
        let residual_sum_of_squares = dot(&weighted_residuals, &weighted_residuals);
        check_finite("the coefficients of least squares", &coefficients)?;
        let rank = design.rank();
        let residual_df = design.n_observations() - rank;
        let (total_sum_of_squares, centred) = total_sum_of_squares(design, &weighted_response);
        let variance = residual_sum_of_squares / residual_df as f64;
        let covariance = unscaled_covariance(&design.qr.r, rank).mapv(|value| value * variance);
        let residuals: Vec<f64> =
            weighted_residuals.iter().enumerate().map(|(i, value)| value / design.root_weight(i)).collect();
        let fitted = design.response().iter().zip(&residuals).map(|(y, e)| y - e).collect();
        let mut notes = design.alias_notes();
        if design.is_reproduced(design.response(), residual_sum_of_squares) {
            notes.push(Note::perfect_fit());
        }
        Ok(LeastSquaresFit {
            names: design.names().to_vec(),
            coefficients,
            covariance,
            upper: design.qr.r.clone(),
            residual_sum_of_squares,
            total_sum_of_squares,
            centred,
            residual_df,
            n_observations: design.n_observations(),
            sum_log_weights: design.sum_log_weights(),
            fitted,
            residuals,
            condition: design.qr.condition(),
            notes,
        })
    }
}

impl LeastSquaresFit {
    /// Residual standard deviation, of a row with weight one.
    pub fn sigma(&self) -> f64 {
        (self.residual_sum_of_squares / self.residual_df as f64).sqrt()
    }

    /// Weighted residual sum of squares.
    pub fn residual_sum_of_squares(&self) -> f64 {
        self.residual_sum_of_squares
    }

    /// Sum of squares explained, around the weighted mean when the columns span a constant and around zero when not.
    pub fn regression_sum_of_squares(&self) -> f64 {
        self.total_sum_of_squares - self.residual_sum_of_squares
    }

    /// Residual degrees of freedom, n - p.
    pub fn residual_df(&self) -> usize {
        self.residual_df
    }

    /// Degrees of freedom of the regression: p, less one for the mean when the columns span a constant.
    pub fn regression_df(&self) -> usize {
        self.coefficients.len() - usize::from(self.centred)
    }

    /// Share of the sum of squares explained; NaN for a constant response.
    pub fn r_squared(&self) -> f64 {
        self.regression_sum_of_squares() / self.total_sum_of_squares
    }

    /// F test that nothing but the mean is at work; `None` when no column is left to test.
    pub fn overall_test(&self) -> Option<JointTest> {
        let numerator = self.regression_df();
        (numerator > 0).then(|| {
            let mean_square = self.regression_sum_of_squares() / numerator as f64;
            self.f_test(mean_square, numerator)
        })
    }

    /// Fitted values (n).
    pub fn fitted(&self) -> &[f64] {
        &self.fitted
    }

    /// Response minus fitted values (n), not weighted.
    pub fn residuals(&self) -> &[f64] {
        &self.residuals
    }

    /// Condition number of the columns after scaling each to length one. About log10 of it in digits is lost.
    pub fn condition(&self) -> f64 {
        self.condition
    }

    /// F test of this fit against a `smaller` one whose columns it contains, on the same rows and weights.
    ///
    /// # Errors
    /// Row counts that differ, or a `smaller` fit that is not smaller.
    pub fn nested_test(&self, smaller: &Self) -> Result<JointTest> {
        check_length("the smaller fit (rows)", smaller.n_observations, self.n_observations)?;
        if smaller.residual_df <= self.residual_df {
            return Err(StatsError::OutOfRange {
                what: "the number of coefficients of the smaller fit",
                value: smaller.coefficients.len() as f64,
                expected: "fewer than in the larger fit",
            });
        }
        let numerator = smaller.residual_df - self.residual_df;
        let gain = smaller.residual_sum_of_squares - self.residual_sum_of_squares;
        Ok(self.f_test(gain / numerator as f64, numerator))
    }

    fn f_test(&self, mean_square: f64, numerator: usize) -> JointTest {
        let residual = self.residual_sum_of_squares / self.residual_df as f64;
        JointTest::new(mean_square / residual, numerator as f64, self.residual_df as f64, "residual".into())
    }
}

impl LinearFit for LeastSquaresFit {
    /// Names of the coefficients.
    fn names(&self) -> &[String] {
        &self.names
    }

    /// Coefficients (p).
    fn coefficients(&self) -> &[f64] {
        &self.coefficients
    }

    /// Covariance of the coefficients (p × p), `sigma² (X'WX)⁻¹`.
    fn covariance(&self) -> &Array2<f64> {
        &self.covariance
    }

    /// Maximised log-likelihood of the normal model, with all constants.
    fn log_likelihood(&self) -> f64 {
        let n = self.n_observations as f64;
        let variance = self.residual_sum_of_squares / n;
        0.5 * (self.sum_log_weights - n * (1.0 + (2.0 * std::f64::consts::PI * variance).ln()))
    }

    /// Remarks, such as dropped columns.
    fn notes(&self) -> &[Note] {
        &self.notes
    }

    /// Number of rows.
    fn n_observations(&self) -> usize {
        self.n_observations
    }

    /// Value, standard error and exact degrees of freedom of `row · coefficients`.
    ///
    /// # Errors
    /// A row of the wrong length or with values that are not finite.
    fn contrast(&self, row: &[f64]) -> Result<Contrast> {
        let on_q = on_orthonormal(row, &self.upper, "the contrast")?;
        Ok(Contrast {
            estimate: dot(row, &self.coefficients),
            std_error: self.sigma() * dot(&on_q, &on_q).sqrt(),
            df: self.residual_df as f64,
            method: "residual".into(),
        })
    }

    /// F test that all `rows · coefficients` (r × p) are zero.
    ///
    /// # Errors
    /// Rows of the wrong length, not finite, or all zero.
    fn joint_test(&self, rows: &Array2<f64>) -> Result<JointTest> {
        let combinations = IndependentCombinations::new(rows, &self.upper, None)?;
        let statistics = combinations.squared_over_variance(&self.coefficients);
        let rank = statistics.len();
        let sum: f64 = statistics.iter().sum();
        Ok(self.f_test(sum / rank as f64, rank))
    }

    fn n_parameters(&self) -> usize {
        self.coefficients.len() + 1
    }
}

/// Total weighted sum of squares, and whether it is taken around the weighted mean.
fn total_sum_of_squares(design: &Design, weighted_response: &[f64]) -> (f64, bool) {
    let constant = design.weighted(&vec![1.0; design.n_observations()]);
    let length = dot(&constant, &constant);
    let shares = design.qr.project(&constant);
    let inside = dot(&shares, &shares);
    // The constant lies in the span of the columns when its projection has its full length.
    let centred = (length - inside).abs() < 1e-10 * length;
    if !centred {
        return (dot(weighted_response, weighted_response), false);
    }
    let mean = dot(weighted_response, &constant) / length;
    let mut rest: Vec<f64> = weighted_response.iter().zip(&constant).map(|(y, c)| y - mean * c).collect();
    // The mean of values with a large common offset is rounded; what is left of it is taken out here.
    let left = dot(&rest, &constant) / length;
    rest.iter_mut().zip(&constant).for_each(|(value, c)| *value -= left * c);
    (dot(&rest, &rest), true)
}

#[cfg(test)]
mod tests {
    use super::*;
    use ndarray::array;

    fn line(weights: Option<Vec<f64>>) -> Design {
        Design::new(
            vec![1.0, 3.0, 2.0, 5.0],
            array![[1.0, 0.0], [1.0, 1.0], [1.0, 2.0], [1.0, 3.0]],
            vec!["one".into(), "x".into()],
            vec![],
            weights,
        )
        .expect("valid design")
    }

    #[test]
    fn a_line_through_four_points_is_the_one_worked_by_hand() {
        // Sxx = 5, Sxy = 5.5, mean y = 2.75: slope 1.1, intercept 1.1, residual SS = 8.75 - 6.05 = 2.7.
        let fit = LeastSquares.fit(&line(None)).expect("fit");
        for value in fit.coefficients() {
            assert!((value - 1.1).abs() < 1e-14);
        }
        assert!((fit.residual_sum_of_squares() - 2.7).abs() < 1e-14);
        assert!((fit.standard_errors()[1] - (1.35_f64 / 5.0).sqrt()).abs() < 1e-14);
        assert!((fit.r_squared() - 6.05 / 8.75).abs() < 1e-14);
        let test = fit.overall_test().expect("one slope");
        assert!((test.f - 6.05 / 1.35).abs() < 1e-13);
        let slope = fit.joint_test(&array![[0.0, 1.0], [0.0, 2.0]]).expect("test");
        assert_eq!(slope.numerator_df, 1.0, "a repeated row counts once");
        assert!((slope.f - test.f).abs() < 1e-13);
    }

    #[test]
    fn an_integer_weight_is_as_good_as_repeating_the_row() {
        let weighted = LeastSquares.fit(&line(Some(vec![1.0, 2.0, 1.0, 3.0]))).expect("fit");
        let repeated = Design::new(
            vec![1.0, 3.0, 3.0, 2.0, 5.0, 5.0, 5.0],
            array![[1.0, 0.0], [1.0, 1.0], [1.0, 1.0], [1.0, 2.0], [1.0, 3.0], [1.0, 3.0], [1.0, 3.0]],
            vec!["one".into(), "x".into()],
            vec![],
            None,
        )
        .expect("valid design");
        let repeated = LeastSquares.fit(&repeated).expect("fit");
        for (a, b) in weighted.coefficients().iter().zip(repeated.coefficients()) {
            assert!((a - b).abs() < 1e-13);
        }
        assert!((weighted.residual_sum_of_squares() - repeated.residual_sum_of_squares()).abs() < 1e-13);
        assert!((weighted.r_squared() - repeated.r_squared()).abs() < 1e-13);
    }

    #[test]
    fn the_nested_test_agrees_with_the_test_of_the_rows_left_out() {
        let larger = LeastSquares.fit(&line(None)).expect("fit");
        let smaller = Design::new(vec![1.0, 3.0, 2.0, 5.0], Array2::ones((4, 1)), vec!["one".into()], vec![], None)
            .expect("valid design");
        let smaller = LeastSquares.fit(&smaller).expect("fit");
        let nested = larger.nested_test(&smaller).expect("nested");
        let rows = larger.joint_test(&array![[0.0, 1.0]]).expect("rows");
        assert!((nested.f / rows.f - 1.0).abs() < 1e-13);
        assert!(smaller.nested_test(&larger).is_err());
    }
}
