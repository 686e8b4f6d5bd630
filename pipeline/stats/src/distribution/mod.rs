//! Normal, Student t, Fisher F and chi-squared probabilities and quantiles; degrees of freedom may be fractional.
//!
//! Probabilities come from `statrs`, those of the normal from `libm` (`statrs` rounds a constant of its error function to single
//! precision and is 1e-11 off). Quantiles are solved here from the smaller tail, so that they invert these very
//! probabilities to the last digits. Arguments outside their domain give NaN.
//!
//! For planning and for comparing many means there are also the noncentral t and F distributions, the studentized range, and
//! the largest of several correlated t values ([`MaximumT`]). Those are integrated here; infinite degrees of freedom mean a
//! known standard deviation.

mod directions;
mod maximum_t;
mod noncentral;
pub(crate) mod normal_tail;
mod scale;
mod studentized_range;

pub use maximum_t::{MaximumT, Probability, Sides};
pub use noncentral::{noncentral_f_cdf, noncentral_f_sf, noncentral_t_cdf, noncentral_t_sf};
pub use normal_tail::normal_log_cdf;
pub use studentized_range::{
    StudentizedRange, studentized_range_cdf, studentized_range_quantile, studentized_range_sf,
};

use statrs::distribution::{ChiSquared, ContinuousCDF, FisherSnedecor, StudentsT};

/// Beyond this many degrees of freedom t is taken as normal (and F as chi-squared over its degrees of freedom): the difference
/// is below 1e-12.
const NORMAL_DF: f64 = 1e12;

/// From here on t is integrated over the scale: the gamma functions of the closed form lose digits with every power of ten.
const MANY_DF: f64 = 1e3;

/// Upper tail at an argument that is not finite: 0 at infinity, 1 at its opposite, NaN where there is no argument.
/// `statrs` panics there; a difference of 0 with a standard error of 0 asks for it.
fn beyond(argument: f64) -> f64 {
    match argument {
        f64::INFINITY => 0.0,
        f64::NEG_INFINITY => 1.0,
        _ => f64::NAN,
    }
}

/// P(Z ≤ z) for the standard normal, accurate in both tails.
pub fn normal_cdf(z: f64) -> f64 {
    0.5 * libm::erfc(-z * std::f64::consts::FRAC_1_SQRT_2)
}

/// P(Z > z) for the standard normal, accurate in the upper tail.
pub fn normal_sf(z: f64) -> f64 {
    normal_cdf(-z)
}

/// The z with P(Z ≤ z) = `p`.
pub fn normal_quantile(p: f64) -> f64 {
    symmetric_quantile(p, normal_sf)
}

/// P(T ≤ t) for Student t.
pub fn t_cdf(t: f64, df: f64) -> f64 {
    t_sf(-t, df)
}

/// P(T > t) for Student t, accurate in the upper tail.
pub fn t_sf(t: f64, df: f64) -> f64 {
    if !t.is_finite() {
        return beyond(t);
    }
    if df >= NORMAL_DF {
        return normal_sf(t);
    }
    if df >= MANY_DF {
        return noncentral_t_sf(t, df, 0.0);
    }
    StudentsT::new(0.0, 1.0, df).map_or(f64::NAN, |d| d.sf(t))
}

/// The t with P(T ≤ t) = `p`.
pub fn t_quantile(p: f64, df: f64) -> f64 {
    if !(df > 0.0) {
        return f64::NAN;
    }
    symmetric_quantile(p, |t| t_sf(t, df))
}

/// P(F ≤ f) for Fisher F; infinite `denominator_df` is a mean of squared normals.
pub fn f_cdf(f: f64, numerator_df: f64, denominator_df: f64) -> f64 {
    if !f.is_finite() {
        return 1.0 - beyond(f);
    }
    if denominator_df >= NORMAL_DF {
        return chi_squared_cdf(numerator_df * f, numerator_df);
    }
    FisherSnedecor::new(numerator_df, denominator_df).map_or(f64::NAN, |d| d.cdf(f))
}

/// P(F > f) for Fisher F, accurate in the upper tail; infinite `denominator_df` is a mean of squared normals.
pub fn f_sf(f: f64, numerator_df: f64, denominator_df: f64) -> f64 {
    if !f.is_finite() {
        return beyond(f);
    }
    if denominator_df >= NORMAL_DF {
        return chi_squared_sf(numerator_df * f, numerator_df);
    }
    FisherSnedecor::new(numerator_df, denominator_df).map_or(f64::NAN, |d| d.sf(f).min(1.0))
}

/// The f with P(F ≤ f) = `p`.
pub fn f_quantile(p: f64, numerator_df: f64, denominator_df: f64) -> f64 {
    if denominator_df >= NORMAL_DF {
        return chi_squared_quantile(p, numerator_df) / numerator_df;
    }
    match FisherSnedecor::new(numerator_df, denominator_df) {
        Ok(d) => positive_quantile(p, |x| d.cdf(x), |x| d.sf(x)),
        Err(_) => f64::NAN,
    }
}

/// P(X ≤ x) for chi-squared.
pub fn chi_squared_cdf(x: f64, df: f64) -> f64 {
    if !x.is_finite() {
        return 1.0 - beyond(x);
    }
    ChiSquared::new(df).map_or(f64::NAN, |d| d.cdf(x))
}

/// P(X > x) for chi-squared, accurate in the upper tail.
pub fn chi_squared_sf(x: f64, df: f64) -> f64 {
    if !x.is_finite() {
        return beyond(x);
    }
    ChiSquared::new(df).map_or(f64::NAN, |d| d.sf(x))
}

/// The x with P(X ≤ x) = `p`.
pub fn chi_squared_quantile(p: f64, df: f64) -> f64 {
    match ChiSquared::new(df) {
        Ok(d) => positive_quantile(p, |x| d.cdf(x), |x| d.sf(x)),
        Err(_) => f64::NAN,
    }
}

/// Quantile of a distribution that is symmetric about zero, from its survival function.
fn symmetric_quantile(p: f64, sf: impl Fn(f64) -> f64) -> f64 {
    if !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    // 1 - p is exact for p in [1/2, 1] (Sterbenz), so no digits are lost here.
    let (tail, sign) = if p < 0.5 { (p, -1.0) } else { (1.0 - p, 1.0) };
    if tail == 0.5 {
        return 0.0;
    }
    if tail == 0.0 {
        return sign * f64::INFINITY;
    }
    sign * solve_positive(|x| tail - sf(x))
}

/// Quantile of a distribution on the positive half line.
fn positive_quantile(p: f64, cdf: impl Fn(f64) -> f64, sf: impl Fn(f64) -> f64) -> f64 {
    if !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    if p == 0.0 {
        return 0.0;
    }
    if p == 1.0 {
        return f64::INFINITY;
    }
    if p <= 0.5 { solve_positive(|x| cdf(x) - p) } else { solve_positive(|x| (1.0 - p) - sf(x)) }
}

/// Positive root of an increasing function, bracketed by doubling and halving.
fn solve_positive(excess: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = (0.5, 1.0);
    while excess(high) < 0.0 && high < f64::MAX / 4.0 {
        low = high;
        high *= 2.0;
    }
    while excess(low) > 0.0 && low > f64::MIN_POSITIVE {
        high = low;
        low *= 0.5;
    }
    solve_bracketed(excess, low, high)
}

/// Root of an increasing function inside a bracket: Illinois false position with a bisection whenever it is slow.
pub(crate) fn solve_bracketed(function: impl Fn(f64) -> f64, mut low: f64, mut high: f64) -> f64 {
    let (mut at_low, mut at_high) = (function(low), function(high));
    let mut side = 0_i8;
    for iteration in 0..200 {
        if high - low <= f64::EPSILON * high.abs().max(low.abs()) {
            break;
        }
        let middle =
            if iteration % 4 == 3 { 0.5 * (low + high) } else { (low * at_high - high * at_low) / (at_high - at_low) };
        let middle = if middle > low && middle < high { middle } else { 0.5 * (low + high) };
        if middle <= low || middle >= high {
            break;
        }
        let value = function(middle);
        if value == 0.0 {
            return middle;
        }
        if value < 0.0 {
            (low, at_low) = (middle, value);
            if side == -1 {
                at_high *= 0.5;
            }
            side = -1;
        } else {
            (high, at_high) = (middle, value);
            if side == 1 {
                at_low *= 0.5;
            }
            side = 1;
        }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn arguments_that_are_not_finite_give_limits_or_nan_and_never_panic() {
        assert_eq!((t_sf(f64::INFINITY, 3.0), t_sf(f64::NEG_INFINITY, 3.0)), (0.0, 1.0));
        assert_eq!((f_sf(f64::INFINITY, 2.0, 3.0), chi_squared_cdf(f64::INFINITY, 2.0)), (0.0, 1.0));
        assert!(
            t_sf(f64::NAN, 3.0).is_nan()
                && f_cdf(f64::NAN, 2.0, 3.0).is_nan()
                && chi_squared_sf(f64::NAN, 1.0).is_nan()
        );
    }

    #[test]
    fn a_root_takes_far_fewer_values_than_halving_would() {
        for (function, root) in [
            (&(|x: f64| x.powi(3) - 2.0) as &dyn Fn(f64) -> f64, 2.0_f64.cbrt()),
            (&(|x: f64| x.exp() - 3.0), 3.0_f64.ln()),
        ] {
            let values = std::cell::Cell::new(0);
            let counted = |x: f64| {
                values.set(values.get() + 1);
                function(x)
            };
            assert!((solve_bracketed(counted, 0.0, 2.0) / root - 1.0).abs() < 1e-15);
            // Halving takes 53.
            assert!(values.get() < 25, "{}", values.get());
        }
    }

    #[test]
    fn quantiles_invert_the_probabilities() {
        for p in [1e-9, 0.001, 0.2, 0.5, 0.9, 0.999] {
            assert!((normal_cdf(normal_quantile(p)) / p - 1.0).abs() < 1e-11);
            assert!((t_cdf(t_quantile(p, 3.7), 3.7) / p - 1.0).abs() < 1e-11);
            assert!((f_cdf(f_quantile(p, 2.5, 8.2), 2.5, 8.2) / p - 1.0).abs() < 1e-11);
            assert!((chi_squared_cdf(chi_squared_quantile(p, 4.5), 4.5) / p - 1.0).abs() < 1e-11);
        }
    }

    #[test]
    fn student_t_with_one_degree_of_freedom_is_cauchy() {
        // Cauchy: quantile(p) = tan(pi (p - 1/2)).
        for p in [0.01, 0.3, 0.75, 0.99] {
            let expected = (std::f64::consts::PI * (p - 0.5)).tan();
            assert!((t_quantile(p, 1.0) / expected - 1.0).abs() < 1e-12);
        }
    }

    #[test]
    fn chi_squared_with_two_degrees_of_freedom_is_exponential() {
        assert!((chi_squared_sf(30.0, 2.0) / (-15.0_f64).exp() - 1.0).abs() < 1e-12);
        assert!((chi_squared_quantile(0.25, 2.0) + 2.0 * 0.75_f64.ln()).abs() < 1e-14);
    }

    #[test]
    fn arguments_outside_the_domain_give_nan() {
        assert!(t_quantile(1.2, 4.0).is_nan());
        assert!(t_quantile(0.9, -1.0).is_nan());
        assert!(f_sf(1.0, 0.0, 3.0).is_nan());
        assert!(normal_quantile(f64::NAN).is_nan());
        assert_eq!(normal_quantile(1.0), f64::INFINITY);
    }

    #[test]
    fn very_many_degrees_of_freedom_are_normal() {
        assert_eq!(t_quantile(0.975, f64::INFINITY), normal_quantile(0.975));
        let square = f_quantile(0.95, 1.0, f64::INFINITY);
        let error = square - normal_quantile(0.975).powi(2);
        assert!(error.abs() < 1e-12, "{error:e}");
        assert!((f_sf(square, 1.0, f64::INFINITY) + f_cdf(square, 1.0, f64::INFINITY) - 1.0).abs() < 1e-14);
    }

    #[test]
    fn fisher_f_with_endless_denominator_degrees_of_freedom_is_chi_squared_over_its_own() {
        let z = normal_quantile(0.975);
        // The normal and the chi-squared tail of statrs agree to about ten digits.
        assert!((f_sf(z * z, 1.0, f64::INFINITY) - 0.05).abs() < 1e-10);
        assert!((f_cdf(1.7, 3.0, 1e6) - f_cdf(1.7, 3.0, f64::INFINITY)).abs() < 1e-6);
        assert!((f_quantile(0.95, 1.0, f64::INFINITY) / (z * z) - 1.0).abs() < 1e-9);
    }
}
