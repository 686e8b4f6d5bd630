//! Jeffreys' prior of a plain logistic regression with one x, which is Firth's penalty.

use super::likelihood::Surface;
use crate::binomial_model::probabilities;

/// `½ log |X'WX|` at the line, `W = n m (1 - m)`; `levels` are x and trials. `None` where all weights vanish.
pub(super) fn value(levels: &[(f64, f64)], line: [f64; 2]) -> Option<f64> {
    let sums = Sums::at(levels, line);
    let value = 0.5 * (sums.weight[0].ln() + sums.weight[2].ln());
    value.is_finite().then_some(value)
}

/// The same with its derivatives.
pub(super) fn surface(levels: &[(f64, f64)], line: [f64; 2]) -> Option<Surface> {
    let sums = Sums::at(levels, line);
    let (s, t, r) = (sums.weight, sums.slope, sums.bend);
    let determinant = s[0] * s[2];
    // Relative derivatives of s0 s2 - s1², where s1 = 0 but its derivatives are not.
    let first = [(t[0] * s[2] + s[0] * t[2]) / determinant, (t[1] * s[2] + s[0] * t[3]) / determinant];
    let second = [
        (r[0] * s[2] + 2.0 * t[0] * t[2] + s[0] * r[2] - 2.0 * t[1] * t[1]) / determinant,
        (r[1] * s[2] + t[0] * t[3] - t[1] * t[2] + s[0] * r[3]) / determinant,
        (r[2] * s[2] + 2.0 * t[1] * t[3] + s[0] * r[4] - 2.0 * t[2] * t[2]) / determinant,
    ];
    let centred = [
        0.5 * (second[0] - first[0] * first[0]),
        0.5 * (second[1] - first[0] * first[1]),
        0.5 * (second[2] - first[1] * first[1]),
    ];
    // From slopes around the weighted mean back to slopes around zero.
    let c = sums.centre;
    let surface = Surface {
        value: 0.5 * (s[0].ln() + s[2].ln()),
        gradient: [0.5 * first[0], 0.5 * (first[1] + c * first[0])],
        hessian: [centred[0], centred[1] + c * centred[0], centred[2] + 2.0 * c * centred[1] + c * c * centred[0]],
    };
    let finite = surface.value.is_finite() && surface.hessian.iter().all(|value| value.is_finite());
    finite.then_some(surface)
}

/// Moments of x around its weighted mean: of the weights and of their derivatives by the logit. The determinant is then a product, not a
/// difference of large numbers.
struct Sums {
    centre: f64,
    weight: [f64; 5],
    slope: [f64; 5],
    bend: [f64; 5],
}

impl Sums {
    fn at(levels: &[(f64, f64)], line: [f64; 2]) -> Self {
        let weights = || {
            levels.iter().map(move |&(x, trials)| {
                let (success, failure) = probabilities(line[0] + line[1] * x);
                (x, trials * success * failure, failure - success, success * failure)
            })
        };
        let (mut total, mut first) = (0.0, 0.0);
        for (x, weight, ..) in weights() {
            total += weight;
            first += weight * x;
        }
        let centre = first / total;
        let mut sums = Self { centre, weight: [0.0; 5], slope: [0.0; 5], bend: [0.0; 5] };
        for (x, weight, skew, variance) in weights() {
            let mut power = 1.0;
            for k in 0..5 {
                sums.weight[k] += weight * power;
                sums.slope[k] += weight * skew * power;
                sums.bend[k] += weight * (skew * skew - 2.0 * variance) * power;
                power *= x - centre;
            }
        }
        sums
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::derivatives::{STEP, derivatives};

    #[test]
    fn the_penalty_has_the_value_and_the_derivatives_it_claims() {
        let levels = [(-0.5, 4.0), (-0.1, 6.0), (0.2, 2.0), (0.5, 5.0)];
        for line in [[0.3_f64, -2.0], [-4.0, 3.0], [9.0, 20.0]] {
            let found = surface(&levels, line).expect("a value");
            let (mut s0, mut s1, mut s2) = (0.0, 0.0, 0.0);
            for (x, n) in levels {
                let m = 1.0 / (1.0 + (-(line[0] + line[1] * x)).exp());
                let w = n * m * (1.0 - m);
                (s0, s1, s2) = (s0 + w, s1 + w * x, s2 + w * x * x);
            }
            let plain: f64 = 0.5 * (s0 * s2 - s1 * s1).ln();
            assert!((found.value - plain).abs() < 1e-9 && value(&levels, line) == Some(found.value));
            let numeric =
                derivatives(|p| value(&levels, [p[0], p[1]]).map(|v| vec![v]), &line, 4.0 * STEP).expect("values");
            for k in 0..2 {
                assert!((found.gradient[k] - numeric.gradient[k][0]).abs() < 1e-7, "{line:?} {k}");
            }
            for (k, at) in [(0, 0), (1, 1), (2, 3)] {
                assert!((found.hessian[k] - numeric.hessian[at][0]).abs() < 1e-5, "{line:?} {k}");
            }
        }
        assert!(surface(&levels, [-2000.0, 0.0]).is_none());
    }
}
