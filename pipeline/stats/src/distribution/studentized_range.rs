//! The studentized range: the spread of several independent means over their standard error.

use super::scale::Scale;
use super::{normal_cdf, positive_quantile};
use std::f64::consts::PI;

/// Trapezoid step over the largest value; with 200 means the error is below 1e-14.
const STEP: f64 = 0.125;
/// Normal values beyond this have probability below 1e-17.
const REACH: f64 = 8.5;
/// Slope of the range distribution in log units, for up to 200 means.
const SHARPNESS: f64 = 8.0;
/// Most means accepted.
const MOST: usize = 200;

/// P(Q ≤ q) for the range of `means` independent normal values over an independent estimate of their standard deviation
/// with `df` degrees of freedom. Arguments and accuracy as in [`studentized_range_sf`].
pub fn studentized_range_cdf(q: f64, means: usize, df: f64) -> f64 {
    if q == f64::INFINITY && (2..=MOST).contains(&means) && df > 0.0 {
        return 1.0;
    }
    probability(q, means, df, RangeOfNormals::cdf)
}

/// P(Q > q), integrated over the largest value and over the estimated standard deviation.
///
/// Accurate to about 1e-13, relative to the smaller tail as long as it is above 1e-30. NaN for fewer than 2 or more than 200
/// means, or df not above zero; `df` may be infinite.
pub fn studentized_range_sf(q: f64, means: usize, df: f64) -> f64 {
    probability(q, means, df, RangeOfNormals::sf)
}

/// The q with P(Q ≤ q) = `p`.
pub fn studentized_range_quantile(p: f64, means: usize, df: f64) -> f64 {
    let (Some(range), Some(scale)) = (RangeOfNormals::new(means), Scale::new(df, SHARPNESS)) else {
        return f64::NAN;
    };
    positive_quantile(p, |q| scale.expect(|s| range.cdf(q * s)), |q| scale.expect(|s| range.sf(q * s)))
}

fn probability(q: f64, means: usize, df: f64, of_range: impl Fn(&RangeOfNormals, f64) -> f64) -> f64 {
    let (Some(range), Some(scale)) = (RangeOfNormals::new(means), Scale::new(df, SHARPNESS)) else {
        return f64::NAN;
    };
    if q.is_nan() {
        return f64::NAN;
    }
    scale.expect(|s| of_range(&range, if s == 0.0 { 0.0 } else { q * s })).clamp(0.0, 1.0)
}

/// The range of independent standard normal values, by an integral over the largest of them:
/// `P(range ≤ w) = k ∫ φ(z) (Φ(z) - Φ(z - w))^(k-1) dz`.
struct RangeOfNormals {
    count: f64,
}

impl RangeOfNormals {
    fn new(means: usize) -> Option<Self> {
        (2..=MOST).contains(&means).then_some(Self { count: means as f64 })
    }

    fn cdf(&self, w: f64) -> f64 {
        self.integrate(w, 1.0, |inside, _| (self.count - 1.0) * inside.ln())
    }

    fn sf(&self, w: f64) -> f64 {
        if w <= 0.0 {
            return 1.0;
        }
        // Φ^n - (Φ - tail)^n without cancellation, n = k - 1.
        let n = self.count - 1.0;
        self.integrate(w, 0.0, |inside, tail| {
            let whole = inside + tail;
            let log_share = if tail < 0.5 * whole { (-tail / whole).ln_1p() } else { (inside / whole).ln() };
            n * whole.ln() + (-(n * log_share).exp_m1()).ln()
        })
    }

    /// `k ∫ φ(z) exp(f(Φ(z) - Φ(z - w), Φ(z - w))) dz`; `at_infinity` is the value for an infinite width.
    fn integrate(&self, w: f64, at_infinity: f64, log_power: impl Fn(f64, f64) -> f64) -> f64 {
        if w <= 0.0 {
            return 0.0;
        }
        // A wider range than this has a probability below 1e-87.
        if w > 40.0 {
            return at_infinity;
        }
        let steps = ((2.0 * REACH + 0.5 * w) / STEP).ceil() as usize;
        let sum: f64 = (0..=steps)
            .map(|i| {
                let z = -REACH + i as f64 * STEP;
                let tail = normal_cdf(z - w);
                let whole = normal_cdf(z);
                // For z > 0 the difference of the upper tails keeps the digits.
                let inside = if z > w { normal_cdf(w - z) - normal_cdf(-z) } else { whole - tail };
                (log_power(inside.max(0.0), tail) - 0.5 * z * z).exp()
            })
            .sum();
        (self.count * STEP * sum / (2.0 * PI).sqrt()).min(1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::super::{normal_sf, t_quantile, t_sf};
    use super::*;

    #[test]
    fn the_range_of_two_means_is_a_t_test() {
        for df in [0.8, 1.0, 2.0, 7.3, 60.0, 1e5, f64::INFINITY] {
            for q in [0.1, 1.0, 3.5, 8.0, 25.0] {
                let t = q / 2.0_f64.sqrt();
                let expected = 2.0 * t_sf(t, df);
                if expected > 1e-30 {
                    let found = studentized_range_sf(q, 2, df);
                    assert!((found / expected - 1.0).abs() < 1e-10, "q {q}, df {df}: {found:e} {expected:e}");
                }
                let error = studentized_range_cdf(q, 2, df) - (1.0 - expected);
                assert!(error.abs() < 1e-13, "q {q}, df {df}: {error:e}");
            }
            let quantile = studentized_range_quantile(0.95, 2, df);
            assert!((quantile / (2.0_f64.sqrt() * t_quantile(0.975, df)) - 1.0).abs() < 1e-11, "df {df}");
        }
    }

    #[test]
    fn the_range_of_three_normal_values_has_its_known_mean() {
        // E range = 3 / sqrt(pi) for three values, and E range = integral of P(range > w).
        let range = RangeOfNormals::new(3).expect("valid");
        let mean: f64 = (0..400).map(|i| 0.03 * range.sf(0.03 * (f64::from(i) + 0.5))).sum();
        assert!((mean - 3.0 / PI.sqrt()).abs() < 1e-6, "{mean}");
    }

    #[test]
    fn both_tails_add_to_one_and_a_finer_step_changes_nothing_for_many_means() {
        for means in [3, 10, 50, 200] {
            for q in [0.5, 3.0, 5.5, 9.0] {
                for df in [1.5, 12.0, f64::INFINITY] {
                    let sum = studentized_range_cdf(q, means, df) + studentized_range_sf(q, means, df);
                    assert!((sum - 1.0).abs() < 1e-12, "k {means}, q {q}, df {df}: {sum}");
                }
            }
        }
        // An independent look: 50 normal values lie within w of their smallest, counted from below with a step of our own.
        let (w, k) = (5.0, 50);
        let by_smallest: f64 = (0..40_000)
            .map(|i| {
                let z = -10.0 + 5e-4 * f64::from(i);
                k as f64 * 5e-4 * (-0.5 * z * z).exp() / (2.0 * PI).sqrt()
                    * (normal_sf(z) - normal_sf(z + w)).powi(k - 1)
            })
            .sum();
        assert!((studentized_range_cdf(w, 50, f64::INFINITY) - by_smallest).abs() < 1e-12);
    }

    #[test]
    fn arguments_outside_the_domain_give_nan() {
        assert!(studentized_range_cdf(1.0, 1, 5.0).is_nan());
        assert!(studentized_range_cdf(1.0, 3, 0.0).is_nan());
        assert!(studentized_range_quantile(1.5, 3, 5.0).is_nan());
        assert!(studentized_range_sf(f64::NAN, 3, 5.0).is_nan());
        for tiny in [-1.0, 0.0, 1e-300, 1e-16, 1e-9] {
            assert!((studentized_range_sf(tiny, 3, 5.0) - 1.0).abs() < 1e-13, "{tiny}");
        }
        assert_eq!(studentized_range_cdf(f64::INFINITY, 3, 5.0), 1.0);
    }
}
