//! First and second derivatives by central differences of fourth order.

/// Derivatives of a vector-valued function at a point.
#[derive(Debug, Clone)]
pub(crate) struct Derivatives {
    /// `gradient[k][output]`.
    pub(crate) gradient: Vec<Vec<f64>>,
    /// `hessian[k * size + l][output]`, symmetric in k and l.
    pub(crate) hessian: Vec<Vec<f64>>,
}

/// Step for logs of thetas. On a log scale every derivative has the size of the function's own change, so one step fits all:
/// this one leaves truncation near 1e-9 of the gradient and rounding near 1e-7 of the curvature of a criterion of about 1000.
pub(crate) const STEP: f64 = 0.004;

/// Derivatives with one `step` for all arguments; `None` as soon as the function has no value.
pub(crate) fn derivatives(
    mut function: impl FnMut(&[f64]) -> Option<Vec<f64>>,
    point: &[f64],
    step: f64,
) -> Option<Derivatives> {
    let size = point.len();
    let centre = function(point)?;
    let outputs = centre.len();
    let mut shifted = point.to_vec();
    let mut at = |moves: &[(usize, f64)]| {
        for &(k, distance) in moves {
            shifted[k] = point[k] + distance;
        }
        let value = function(&shifted);
        shifted.copy_from_slice(point);
        value
    };
    let mut gradient = Vec::with_capacity(size);
    let mut hessian = vec![Vec::new(); size * size];
    for k in 0..size {
        let [p1, m1] = [at(&[(k, step)])?, at(&[(k, -step)])?];
        let [p2, m2] = [at(&[(k, 2.0 * step)])?, at(&[(k, -2.0 * step)])?];
        gradient.push((0..outputs).map(|o| (8.0 * (p1[o] - m1[o]) - (p2[o] - m2[o])) / (12.0 * step)).collect());
        hessian[k * size + k] = (0..outputs)
            .map(|o| {
                let near = (p1[o] - centre[o]) + (m1[o] - centre[o]);
                let far = (p2[o] - centre[o]) + (m2[o] - centre[o]);
                (16.0 * near - far) / (12.0 * step * step)
            })
            .collect();
        for l in 0..k {
            // The cross difference at one and at two steps, combined so that the error of second order cancels.
            let mut cross = vec![0.0; outputs];
            for (distance, weight) in [(step, 4.0 / 3.0), (2.0 * step, -1.0 / 3.0)] {
                for (sign_k, sign_l) in [(1.0, 1.0), (1.0, -1.0), (-1.0, 1.0), (-1.0, -1.0)] {
                    let value = at(&[(k, sign_k * distance), (l, sign_l * distance)])?;
                    for o in 0..outputs {
                        cross[o] += weight * sign_k * sign_l * value[o] / (4.0 * distance * distance);
                    }
                }
            }
            hessian[k * size + l] = cross.clone();
            hessian[l * size + k] = cross;
        }
    }
    Some(Derivatives { gradient, hessian })
}

/// First derivatives alone, of a single value.
pub(crate) fn slopes(mut function: impl FnMut(&[f64]) -> Option<f64>, point: &[f64], step: f64) -> Option<Vec<f64>> {
    let mut shifted = point.to_vec();
    (0..point.len())
        .map(|k| {
            let mut at = |distance: f64| {
                shifted[k] = point[k] + distance;
                let value = function(&shifted);
                shifted[k] = point[k];
                value
            };
            let (p1, m1, p2, m2) = (at(step)?, at(-step)?, at(2.0 * step)?, at(-2.0 * step)?);
            Some((8.0 * (p1 - m1) - (p2 - m2)) / (12.0 * step))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn derivatives_of_a_smooth_function_are_right_to_nine_digits() {
        // f = exp(x) sin(y) + x y²
        let (x, y) = (0.3_f64, 0.7_f64);
        let function = |p: &[f64]| Some(vec![p[0].exp() * p[1].sin() + p[0] * p[1] * p[1]]);
        let found = derivatives(function, &[x, y], STEP).expect("has values");
        let near = |a: f64, b: f64| (a - b).abs() < 2e-9;
        assert!(near(found.gradient[0][0], x.exp() * y.sin() + y * y));
        assert!(near(found.gradient[1][0], x.exp() * y.cos() + 2.0 * x * y));
        assert!(near(found.hessian[0][0], x.exp() * y.sin()));
        assert!(near(found.hessian[1][0], x.exp() * y.cos() + 2.0 * y));
        assert!(near(found.hessian[3][0], -x.exp() * y.sin() + 2.0 * x));
    }

    #[test]
    fn a_function_without_a_value_has_no_derivatives() {
        assert!(derivatives(|p| (p[0] > 0.0).then(|| vec![p[0]]), &[0.001], STEP).is_none());
    }
}
