//! Noncentral t and noncentral F: what a test statistic does when the hypothesis is false.

use super::scale::Scale;
use super::{chi_squared_cdf, chi_squared_sf, f_cdf, f_sf, normal_cdf};

/// Largest noncentrality of F accepted; sums grow with its square root.
const LARGEST_NONCENTRALITY: f64 = 1e9;

/// Beyond this noncentrality of t the sign of the numerator is certain.
const FAR: f64 = 40.0;

/// P(T ≤ t) for noncentral t, `T = (Z + noncentrality) / S`.
pub fn noncentral_t_cdf(t: f64, df: f64, noncentrality: f64) -> f64 {
    noncentral_t_sf(-t, df, -noncentrality)
}

/// P(T > t) for noncentral t: the mean of `Φ(noncentrality - t S)` over `S = sqrt(chi²_df / df)`.
///
/// Accurate to about 1e-13, relative to the smaller tail down to 1e-30; to about 1e-11 for a noncentrality beyond 40 that is also
/// beyond 20 sqrt(df). NaN for df not above zero or a noncentrality that is not finite.
pub fn noncentral_t_sf(t: f64, df: f64, noncentrality: f64) -> f64 {
    if !(df > 0.0 && noncentrality.is_finite()) {
        return f64::NAN;
    }
    if !t.is_finite() {
        return super::beyond(t);
    }
    if noncentrality.abs() > FAR && noncentrality * noncentrality > 400.0 * df {
        return far_t_sf(t, df, noncentrality);
    }
    let Some(scale) = Scale::new(df, noncentrality.abs() + 3.0) else { return f64::NAN };
    scale.expect(|s| normal_cdf(noncentrality - t * s)).clamp(0.0, 1.0)
}

/// The same by an integral over Z, which is easy where that over S is not: Z + noncentrality never changes its sign, and S
/// has to pass `(Z + noncentrality) / t`, which hardly moves.
fn far_t_sf(t: f64, df: f64, noncentrality: f64) -> f64 {
    if t == 0.0 || (t > 0.0) != (noncentrality > 0.0) {
        return if noncentrality > 0.0 { 1.0 } else { 0.0 };
    }
    let (step, reach) = (0.25, 36);
    let mut sum = 0.0;
    let mut weights = 0.0;
    for i in -reach..=reach {
        let z = f64::from(i) * step;
        let weight = (-0.5 * z * z).exp();
        let square = df * ((noncentrality + z) / t).powi(2);
        sum += weight * if t > 0.0 { chi_squared_cdf(square, df) } else { chi_squared_sf(square, df) };
        weights += weight;
    }
    sum / weights
}

/// P(F ≤ f) for noncentral F with noncentrality `λ = Σ (mean / sd)²`; arguments and accuracy as in [`noncentral_f_sf`].
pub fn noncentral_f_cdf(f: f64, numerator_df: f64, denominator_df: f64, noncentrality: f64) -> f64 {
    if denominator_df >= super::NORMAL_DF {
        return poisson_mean(noncentrality, |j| chi_squared_cdf(numerator_df * f, numerator_df + 2.0 * j));
    }
    poisson_mean(noncentrality, |j| {
        let df = numerator_df + 2.0 * j;
        f_cdf(f * numerator_df / df, df, denominator_df)
    })
}

/// P(F > f) for noncentral F: central tails averaged over a Poisson number with mean λ/2.
///
/// Accurate to about 1e-12. NaN for degrees of freedom not above zero, or a noncentrality outside \[0, 1e9\].
pub fn noncentral_f_sf(f: f64, numerator_df: f64, denominator_df: f64, noncentrality: f64) -> f64 {
    if denominator_df >= super::NORMAL_DF {
        return poisson_mean(noncentrality, |j| chi_squared_sf(numerator_df * f, numerator_df + 2.0 * j));
    }
    poisson_mean(noncentrality, |j| {
        let df = numerator_df + 2.0 * j;
        f_sf(f * numerator_df / df, df, denominator_df)
    })
}

/// Mean of a bounded function of a Poisson number with mean `noncentrality / 2`, summed outwards from the mode.
fn poisson_mean(noncentrality: f64, function: impl Fn(f64) -> f64) -> f64 {
    if !(0.0..=LARGEST_NONCENTRALITY).contains(&noncentrality) {
        return f64::NAN;
    }
    let mean = 0.5 * noncentrality;
    let mode = mean.floor();
    // Weights relative to the mode; dividing by their sum spares a factorial.
    let (mut weights, mut sum) = (1.0, function(mode));
    let mut weight = 1.0;
    let mut j = mode;
    while weight > 1e-18 {
        j += 1.0;
        weight *= mean / j;
        weights += weight;
        sum += weight * function(j);
    }
    weight = 1.0;
    j = mode;
    while weight > 1e-18 && j > 0.0 {
        weight *= j / mean;
        j -= 1.0;
        weights += weight;
        sum += weight * function(j);
    }
    (sum / weights).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::super::{normal_sf, t_sf};
    use super::*;

    #[test]
    fn without_noncentrality_they_are_the_central_distributions() {
        for df in [0.6, 1.0, 4.0, 31.7, 900.0] {
            for t in [-3.0, 0.0, 0.4, 2.5, 9.0] {
                let error = noncentral_t_sf(t, df, 0.0) / t_sf(t, df) - 1.0;
                assert!(error.abs() < 1e-11, "t {t}, df {df}: {error:e}");
            }
            assert_eq!(noncentral_f_sf(2.5, 3.0, df, 0.0), f_sf(2.5, 3.0, df));
        }
    }

    #[test]
    fn a_squared_noncentral_t_is_a_noncentral_f() {
        for (t, df, shift) in
            [(2.1_f64, 7.0, 1.3), (3.0, 2.0, 4.0), (6.0, 40.0, 5.0), (50.0, 12.0, 45.0), (2.0, f64::INFINITY, 1.0)]
        {
            let both = noncentral_t_sf(t, df, shift) + noncentral_t_cdf(-t, df, shift);
            assert!((noncentral_f_sf(t * t, 1.0, df, shift * shift) - both).abs() < 1e-12, "t {t}, df {df}");
            let inside = noncentral_f_cdf(t * t, 1.0, df, shift * shift);
            assert!((inside + both - 1.0).abs() < 1e-12, "t {t}, df {df}");
        }
    }

    #[test]
    fn with_a_known_standard_deviation_noncentral_t_is_a_shifted_normal() {
        assert_eq!(noncentral_t_sf(1.0, f64::INFINITY, 3.0), normal_sf(-2.0));
    }

    #[test]
    fn a_far_noncentrality_joins_smoothly_and_leads_to_the_reciprocal_of_the_scale() {
        for (t, df) in [(30.0, 1.5), (45.0, 3.0), (90.0, 0.8)] {
            for sign in [1.0, -1.0] {
                let near = Scale::new(df, 50.0).expect("valid").expect(|s| normal_cdf(sign * (41.0 - t * s)));
                let found = noncentral_t_sf(sign * t, df, sign * 41.0);
                assert!((found - near).abs() < 1e-11, "{t} {df} {sign}: {found} {near}");
            }
        }
        let found = noncentral_t_sf(2e7, 3.0, 1e7);
        assert!((found - chi_squared_cdf(0.75, 3.0)).abs() < 1e-7, "{found}");
        assert_eq!((noncentral_t_sf(-1.0, 3.0, 1e7), noncentral_t_sf(1.0, 3.0, -1e7)), (1.0, 0.0));
    }

    #[test]
    fn arguments_outside_the_domain_give_nan() {
        assert!(noncentral_t_sf(1.0, 0.0, 1.0).is_nan());
        assert!(noncentral_t_sf(f64::NAN, 3.0, 1.0).is_nan());
        assert!(noncentral_t_sf(1.0, 3.0, f64::INFINITY).is_nan());
        assert!(noncentral_f_sf(1.0, 2.0, 3.0, -1.0).is_nan());
        assert!(noncentral_f_sf(1.0, 2.0, 0.0, 1.0).is_nan());
        assert_eq!(noncentral_t_cdf(f64::INFINITY, 3.0, 1.0), 1.0);
    }
}
