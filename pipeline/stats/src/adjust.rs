//! Adjustment of p-values for looking more than once.

/// Holm's step-down adjusted p-values, in the order given (Holm 1979): the k-th smallest of m is multiplied by m - k + 1,
/// made monotone and capped at 1. Holds for any dependence between the tests.
///
/// NaN stays NaN and does not count as a test.
pub fn holm(p_values: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..p_values.len()).filter(|&i| !p_values[i].is_nan()).collect();
    order.sort_by(|&i, &j| p_values[i].total_cmp(&p_values[j]));
    let mut adjusted = vec![f64::NAN; p_values.len()];
    let mut running = 0.0_f64;
    for (rank, &i) in order.iter().enumerate() {
        let factor = (order.len() - rank) as f64;
        running = running.max((factor * p_values[i]).min(1.0));
        adjusted[i] = running;
    }
    adjusted
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn holm_multiplies_by_the_number_of_tests_left_and_stays_monotone() {
        // By hand: sorted .01 .02 .03 .04 -> .04 .06 .06 .06
        let adjusted = holm(&[0.04, 0.01, 0.03, 0.02]);
        for (found, expected) in adjusted.iter().zip([0.06, 0.04, 0.06, 0.06]) {
            assert!((found - expected).abs() < 1e-15);
        }
    }

    #[test]
    fn holm_caps_at_one_and_ignores_missing_values() {
        let adjusted = holm(&[0.7, f64::NAN, 0.6]);
        assert_eq!((adjusted[0], adjusted[2]), (1.0, 1.0));
        assert!(adjusted[1].is_nan());
        assert!(holm(&[]).is_empty());
    }
}
