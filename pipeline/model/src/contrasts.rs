//! Contrasts of a few means, and deviations put on the scale of their own covariance.

/// Helmert's orthonormal contrasts: `values.len() − 1` numbers that know everything of the values but their mean.
///
/// Independent errors of one variance give independent contrasts of the same variance.
pub(crate) fn contrasts(values: &[f64]) -> Vec<f64> {
    let mut sum = 0.0;
    let mut made = Vec::with_capacity(values.len().saturating_sub(1));
    for (number, value) in values.iter().enumerate() {
        let before = number as f64;
        if number > 0 {
            made.push((sum - before * value) / (before * (before + 1.0)).sqrt());
        }
        sum += value;
    }
    made
}

/// The lower triangular root of a covariance (Cholesky).
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Root {
    lower: Vec<f64>,
    size: usize,
}

impl Root {
    /// Takes a covariance, row by row; `None` where it is not positive definite.
    pub fn of(covariance: &[f64], size: usize) -> Option<Self> {
        let mut lower = covariance.to_vec();
        for row in 0..size {
            for column in 0..=row {
                let known: f64 = (0..column).map(|k| lower[row * size + k] * lower[column * size + k]).sum();
                let rest = lower[row * size + column] - known;
                lower[row * size + column] = if row > column {
                    rest / lower[column * size + column]
                } else if rest > 0.0 && rest.is_finite() {
                    rest.sqrt()
                } else {
                    return None;
                };
            }
        }
        Some(Self { lower, size })
    }

    /// Turns deviations with this covariance into independent ones of variance 1, in place.
    pub fn whiten(&self, values: &mut [f64]) {
        for row in 0..self.size {
            let known: f64 = (0..row).map(|column| self.lower[row * self.size + column] * values[column]).sum();
            values[row] = (values[row] - known) / self.lower[row * self.size + row];
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn contrasts_forget_the_mean_and_keep_the_sum_of_squares_around_it() {
        let values = [3.0, 1.0, 4.0, 1.0];
        let mean = values.iter().sum::<f64>() / 4.0;
        let around: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
        let made = contrasts(&values);
        assert_eq!(made.len(), 3);
        assert!((made.iter().map(|value| value * value).sum::<f64>() - around).abs() < 1e-12);
        let shifted = contrasts(&values.map(|value| value + 10.0));
        assert!(made.iter().zip(shifted).all(|(a, b)| (a - b).abs() < 1e-12));
    }

    #[test]
    fn whitened_deviations_have_the_squared_length_of_the_inverse_covariance() {
        // The inverse of [[4, 2], [2, 3]] is [[3, −2], [−2, 4]] / 8.
        let root = Root::of(&[4.0, 2.0, 2.0, 3.0], 2).unwrap();
        let mut values = [1.0, 2.0];
        root.whiten(&mut values);
        let length = values[0] * values[0] + values[1] * values[1];
        assert!((length - (3.0 - 8.0 + 16.0) / 8.0).abs() < 1e-12);
    }

    #[test]
    fn a_covariance_without_a_root_gives_none() {
        assert_eq!(Root::of(&[1.0, 2.0, 2.0, 1.0], 2), None);
        assert_eq!(Root::of(&[f64::NAN], 1), None);
        assert_eq!(Root::of(&[0.0], 1), None);
    }
}
