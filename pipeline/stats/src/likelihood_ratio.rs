//! The likelihood-ratio test of two nested models, whatever their likelihood.

use crate::distribution::chi_squared_sf;

/// A likelihood-ratio test: twice the gain in log-likelihood against the distribution it has when the smaller model holds.
#[derive(Debug, Clone, PartialEq)]
pub struct LikelihoodRatio {
    /// Twice the difference of the log-likelihoods; not below zero.
    pub statistic: f64,
    /// Chi-squared distributions that the statistic is compared with: degrees of freedom (0 is a point at zero) and weight.
    pub mixture: Vec<(usize, f64)>,
    /// Upper tail probability.
    pub p_value: f64,
    /// How the reference distribution was chosen, in words.
    pub method: String,
}

impl LikelihoodRatio {
    /// Rounding may leave a difference of equal maxima just below zero; it counts as zero.
    pub(crate) fn new(statistic: f64, mixture: Vec<(usize, f64)>, method: String) -> Self {
        let statistic = statistic.max(0.0);
        let tail = |df: usize| match df {
            0 => f64::from(u8::from(statistic <= 0.0)),
            df => chi_squared_sf(statistic, df as f64),
        };
        let p_value = mixture.iter().map(|&(df, weight)| weight * tail(df)).sum();
        Self { statistic, mixture, p_value, method }
    }

    /// Against chi-squared with `df` degrees of freedom.
    pub(crate) fn chi_squared(statistic: f64, df: usize) -> Self {
        Self::new(statistic, vec![(df, 1.0)], format!("chi-squared with {df} degree(s) of freedom"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_95_percent_point_has_a_tail_of_five_percent_and_rounding_below_zero_is_zero() {
        assert!((LikelihoodRatio::chi_squared(3.841_458_820_694_124, 1).p_value - 0.05).abs() < 1e-12);
        let none = LikelihoodRatio::chi_squared(-1e-14, 2);
        assert_eq!((none.statistic, none.p_value), (0.0, 1.0));
    }
}
