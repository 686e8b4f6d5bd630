//! The binomial likelihood of one row as a function of its logit, safe at any size of the logit.

use statrs::function::factorial::ln_binomial;

/// A row of `k` of `n` at one logit.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct RowPoint {
    /// Half the deviance: saturated less actual log-likelihood, never below zero.
    pub(crate) half_deviance: f64,
    /// `n p`, the expected count.
    pub(crate) expected: f64,
    /// `k - n p`, without cancellation when p is near 0 or 1.
    pub(crate) residual: f64,
    /// `n p (1 - p)`, the information on the logit.
    pub(crate) weight: f64,
    /// `1 - 2 p`; the derivative of the weight by the logit is `weight * skew`.
    pub(crate) skew: f64,
}

/// Probability of success and of failure.
pub(crate) fn probabilities(logit: f64) -> (f64, f64) {
    let small = (-logit.abs()).exp();
    let (minor, major) = (small / (1.0 + small), 1.0 / (1.0 + small));
    if logit >= 0.0 { (major, minor) } else { (minor, major) }
}

/// `saturated` is that of the row, [`saturated`].
#[inline]
pub(crate) fn row_point(k: f64, n: f64, saturated: f64, logit: f64) -> RowPoint {
    let small = (-logit.abs()).exp();
    let major = 1.0 / (1.0 + small);
    let minor = small * major;
    let (success, failure) = if logit >= 0.0 { (major, minor) } else { (minor, major) };
    // log(1 + e^x) = max(x, 0) + log(1 + e^-|x|), for x = -logit with the successes and x = logit with the failures.
    let against = if logit >= 0.0 { n - k } else { k };
    // A count of zero adds nothing, and must not turn an infinite logit into NaN.
    let far = if against > 0.0 { against * logit.abs() } else { 0.0 };
    RowPoint {
        half_deviance: (far + n * small.ln_1p() + saturated).max(0.0),
        expected: n * success,
        residual: k * failure - (n - k) * success,
        weight: n * success * failure,
        skew: failure - success,
    }
}

/// `k log(k/n) + (n - k) log((n - k)/n)`: the log-likelihood of a row at its own share, without the binomial coefficient.
pub(crate) fn saturated(k: f64, n: f64) -> f64 {
    let part = |count: f64| if count > 0.0 { count * (count / n).ln() } else { 0.0 };
    part(k) + part(n - k)
}

/// What half a deviance leaves out of a log-likelihood: the binomial coefficients and the saturated part of every row.
pub(crate) fn criterion_constants(successes: &[f64], trials: &[f64]) -> f64 {
    successes.iter().zip(trials).map(|(&k, &n)| ln_binomial(n as u64, k as u64) + saturated(k, n)).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_row_has_the_likelihood_written_by_hand() {
        // 3 of 10 at p = 1/4 (logit -log 3).
        let point = row_point(3.0, 10.0, saturated(3.0, 10.0), -(3.0_f64.ln()));
        let expected = 3.0 * 1.2_f64.ln() + 7.0 * (0.7_f64 / 0.75).ln();
        assert!((point.half_deviance - expected).abs() < 1e-14);
        assert!((point.residual - 0.5).abs() < 1e-14 && (point.weight - 1.875).abs() < 1e-14);
        assert!((point.expected - 2.5).abs() < 1e-14 && (point.skew - 0.5).abs() < 1e-15);
    }

    #[test]
    fn a_far_logit_keeps_its_small_probabilities() {
        let point = row_point(5.0, 5.0, 0.0, 50.0);
        assert!((point.half_deviance / (5.0 * (-50.0_f64).exp()) - 1.0).abs() < 1e-12);
        assert!((point.residual / (5.0 * (-50.0_f64).exp()) - 1.0).abs() < 1e-12);
        assert!(row_point(0.0, 5.0, 0.0, 800.0).half_deviance > 3999.0);
        assert!(!row_point(0.0, 5.0, 0.0, -800.0).half_deviance.is_nan());
    }

    #[test]
    fn the_share_itself_has_no_deviance() {
        for (k, n) in [(1.0_f64, 7.0), (31.0, 40.0)] {
            let point = row_point(k, n, saturated(k, n), (k / (n - k)).ln());
            assert!(point.half_deviance < 1e-13 && point.residual.abs() < 1e-13);
        }
    }
}
