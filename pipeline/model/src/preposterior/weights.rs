//! Draws weighed by the likelihood of what a trial gave.

/// Weights that leave fewer draws than this in effect are flattened until they leave as many.
pub(crate) const FEWEST_DRAWS: f64 = 30.0;
/// Steps in the search for the power that flattens weights.
const STEPS: usize = 8;
/// Draws with a weight below this share of the largest are left out.
const NEGLIGIBLE: f64 = 1e-4;

/// Weighs all draws but the truth by the likelihood of what was seen, the largest weight 1. Gives the effective number of
/// draws; where it is below [`FEWEST_DRAWS`], the weights are flattened by a power of the likelihood until it is not, or as far as there are draws.
///
/// `whitened` has the mean of each draw by contrast: all draws of the first one first.
pub(super) fn weigh(weights: &mut [f64], whitened: &[f64], seen: &[f64], truth: usize) -> f64 {
    let mut distances = vec![0.0; weights.len()];
    for (means, seen) in whitened.chunks(weights.len()).zip(seen) {
        distances.iter_mut().zip(means).for_each(|(distance, mean)| *distance += (mean - seen) * (mean - seen));
    }
    distances[truth] = f64::INFINITY;
    let nearest = distances.iter().copied().fold(f64::INFINITY, f64::min);
    let mut fill = |power: f64| {
        let furthest = nearest - 2.0 * NEGLIGIBLE.ln() / power;
        let (mut sum, mut squares) = (0.0, 0.0);
        for (weight, distance) in weights.iter_mut().zip(&distances) {
            *weight = if *distance < furthest { (-0.5 * power * (distance - nearest)).exp() } else { 0.0 };
            sum += *weight;
            squares += *weight * *weight;
        }
        sum * sum / squares
    };
    let effective = fill(1.0);
    let (mut left, mut power) = (effective, 1.0);
    for _ in 0..STEPS {
        if left >= FEWEST_DRAWS {
            break;
        }
        // Two contrasts matter most, and there the number left goes as the inverse of the power.
        power *= 0.98 * left / FEWEST_DRAWS;
        left = fill(power);
    }
    effective
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Draws at 0, 1, …, 99 with an error of 1.
    fn means() -> Vec<f64> {
        (0..100).map(f64::from).collect()
    }

    fn effective(weights: &[f64]) -> f64 {
        weights.iter().sum::<f64>().powi(2) / weights.iter().map(|weight| weight * weight).sum::<f64>()
    }

    #[test]
    fn weights_are_normal_likelihoods_and_the_truth_has_none() {
        let means: Vec<f64> = means().iter().map(|mean| mean / 100.0).collect();
        let mut weights = vec![0.0; 100];
        let effective_draws = weigh(&mut weights, &means, &[0.5], 50);
        assert_eq!(weights[50], 0.0);
        let ratio = (-0.5 * 0.2_f64.powi(2)).exp() / (-0.5 * 0.01_f64.powi(2)).exp();
        assert!((weights[70] / weights[49] - ratio).abs() < 1e-12);
        assert!((effective_draws - effective(&weights)).abs() < 1e-9 && effective_draws > FEWEST_DRAWS);
    }

    #[test]
    fn weights_that_leave_few_draws_are_flattened_to_the_fewest_allowed_and_the_count_before_is_told() {
        let mut weights = vec![0.0; 100];
        let before = weigh(&mut weights, &means(), &[50.2], 3);
        assert!(before > 3.0 && before < 4.0, "two roots of pi draws are near, not {before}");
        let after = effective(&weights);
        assert!((FEWEST_DRAWS..FEWEST_DRAWS + 15.0).contains(&after), "{after}");
    }
}
