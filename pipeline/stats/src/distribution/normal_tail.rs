//! The standard normal on the log scale, where probabilities themselves run out of numbers.

use std::f64::consts::PI;

/// Below minus this the tail comes from Mills' ratio, which does not run out of numbers; nearer the centre from a series.
pub(crate) const FAR: f64 = 2.5;

/// Log density.
pub(crate) fn log_density(z: f64) -> f64 {
    -0.5 * (z * z + (2.0 * PI).ln())
}

/// `φ(x) / (1 - Φ(x)) - x` for x ≥ 2.5: all but the head of Laplace's continued fraction `x + 1/(x + 2/(x + 3/(x + …)))`.
pub(crate) fn hazard_less_argument(x: f64) -> f64 {
    // As many terms as leave less than 3e-16 of the hazard.
    let terms = (10.0 + 400.0 / (x * x)) as u32;
    (2..=terms).rev().fold(x, |tail, k| x + f64::from(k) / tail).recip()
}

/// Mills' ratio `(1 - Φ(x)) / φ(x)` for x ≥ 2.5.
pub(crate) fn mills(x: f64) -> f64 {
    1.0 / (x + hazard_less_argument(x))
}

/// `Φ(x) - 1/2` for x ≥ 0.
pub(crate) fn above_half(x: f64) -> f64 {
    let density = log_density(x).exp();
    if x >= FAR {
        return 0.5 - density * mills(x);
    }
    // φ(x) (x + x³/3 + x⁵/(3·5) + …), all terms of one sign.
    let (mut term, mut sum, mut odd) = (x, x, 1.0);
    while term > 1e-17 * sum {
        odd += 2.0;
        term *= x * x / odd;
        sum += term;
    }
    density * sum
}

/// `log P(Z ≤ z)` for the standard normal, accurate to the last digits from the far lower tail to the far upper one.
pub fn normal_log_cdf(z: f64) -> f64 {
    if z <= -FAR {
        log_density(z) + mills(-z).ln()
    } else if z < 0.0 {
        (0.5 - above_half(-z)).ln()
    } else if z < FAR {
        (0.5 + above_half(z)).ln()
    } else {
        (-log_density(z).exp() * mills(z)).ln_1p()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tail_probabilities_agree_with_multiple_precision_values() {
        // mpmath 1.3.0, 40 digits: log(erfc(-z / sqrt(2)) / 2).
        for (z, expected) in [
            (-40.0, -804.6084420137538),
            (-8.0, -35.01343715991455),
            (-2.6, -5.3684849226242655),
            (-2.4, -4.803921666870672),
            (-0.5, -1.1759117615936185),
            (0.0, -std::f64::consts::LN_2),
            (0.5, -0.3689464152886564),
            (2.4, -0.008231320482313335),
            (2.6, -0.004672085236439405),
            (6.0, -9.865876455243758e-10),
        ] {
            let found = normal_log_cdf(z);
            assert!(
                (found - expected).abs() < 3e-15 * f64::max(1.0, f64::abs(expected)) + 1e-15 * f64::abs(expected),
                "{z}: {found}"
            );
        }
        assert!(normal_log_cdf(-1e6).is_finite());
    }
}
