//! Summaries of lists that are known not to be empty; NaN where that fails, which every table turns into missing.

/// Mean.
pub(crate) fn mean(values: &[f64]) -> f64 {
    evenstand_stats::mean(values).unwrap_or(f64::NAN)
}

/// Quantile of share `share` (type 7).
pub(crate) fn quantile(values: &[f64], share: f64) -> f64 {
    evenstand_stats::quantile(values, share).unwrap_or(f64::NAN)
}

/// Limits of the middle 90 %.
pub(crate) fn limits(values: &[f64]) -> (f64, f64) {
    evenstand_stats::limits(values, 0.05, 0.95).unwrap_or((f64::NAN, f64::NAN))
}

/// Standard deviation (n − 1).
pub(crate) fn standard_deviation(values: &[f64]) -> f64 {
    evenstand_stats::standard_deviation(values).unwrap_or(f64::NAN)
}
