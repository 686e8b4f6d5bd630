//! Whether a shape leaves something unsaid that the level means say.

use super::frame::ResponseFrame;
use super::shape::ResponseShape;
use crate::error::Result;
use crate::inference::{JointTest, LinearFit};
use crate::least_squares::LeastSquares;
use crate::lmm::Lmm;
use ndarray::Array2;

/// F test of the shape against a mean of its own for every level of x; `None` when no level is left over to test with.
///
/// For least squares: the drop of the residual sum of squares over the residual mean square of the level means, a joint counted as one
/// parameter. With random terms: the F test of what the level indicators add to the shape's columns (and, for a plateau, to the
/// derivative by the joint) in a restricted-likelihood fit.
pub(crate) fn lack_of_fit(
    frame: &ResponseFrame,
    shape: ResponseShape,
    joint: Option<f64>,
) -> Result<Option<JointTest>> {
    if shape == ResponseShape::Spline {
        return Ok(None);
    }
    let columns = shape.columns(frame, joint);
    if frame.has_random_terms() {
        let mut saturated = columns;
        saturated.extend(joint.and_then(|joint| shape.tangent_column(frame, joint)));
        let spoken_for = frame.design(&saturated)?.rank();
        saturated.extend(frame.level_columns());
        let design = frame.design(&saturated)?;
        let left_over = design.rank() - spoken_for;
        if left_over == 0 {
            return Ok(None);
        }
        let rows = Array2::from_shape_fn((left_over, design.rank()), |(i, j)| f64::from(u8::from(j == spoken_for + i)));
        return Lmm::reml().fit(&design)?.joint_test(&rows).map(Some);
    }
    let smaller = frame.design(&columns)?;
    let levels = frame.level_columns();
    let Ok(larger) = frame.design(&levels) else { return Ok(None) };
    let parameters = smaller.rank() + usize::from(joint.is_some());
    if larger.rank() <= parameters {
        return Ok(None);
    }
    let (smaller, larger) = (LeastSquares.fit(&smaller)?, LeastSquares.fit(&larger)?);
    let numerator = (larger.coefficients().len() - parameters) as f64;
    let denominator = larger.residual_df() as f64;
    let pure_error = larger.residual_sum_of_squares() / denominator;
    if !(pure_error > 0.0) {
        return Ok(None);
    }
    let gain = (smaller.residual_sum_of_squares() - larger.residual_sum_of_squares()).max(0.0);
    Ok(Some(JointTest::new(gain / numerator / pure_error, numerator, denominator, "residual".into())))
}
