//! A multivariate t folded at zero: the distribution of |x| for x from a t. Proposals for spreads, which have no sign.

use crate::dense::{cholesky_in_place, solve_lower};
use rand::Rng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{ChiSquared, StandardNormal};

/// Degrees of freedom: tails heavier than those of a posterior, so that no weight is large, yet a variance exists.
const DEGREES_OF_FREEDOM: f64 = 5.0;

/// A folded t of a few coordinates.
#[derive(Debug, Clone)]
pub(super) struct FoldedStudent {
    centre: Vec<f64>,
    /// Lower factor L of the scale matrix, row-major.
    factor: Vec<f64>,
    /// Columns of `L⁻¹`.
    inverse_columns: Vec<Vec<f64>>,
    /// `-log |L|`; what every folded t of one size has in common is left out.
    log_scale: f64,
}

impl FoldedStudent {
    /// `None` where the scale matrix (row-major) is not positive definite.
    pub(super) fn new(centre: Vec<f64>, scale: Vec<f64>) -> Option<Self> {
        let size = centre.len();
        let mut factor = scale;
        if !cholesky_in_place(&mut factor, size) {
            return None;
        }
        let column = |at: usize| {
            let mut column: Vec<f64> = (0..size).map(|row| f64::from(u8::from(row == at))).collect();
            solve_lower(&factor, size, &mut column);
            column
        };
        let inverse_columns = (0..size).map(column).collect();
        let log_scale = -(0..size).map(|k| factor[k * size + k].ln()).sum::<f64>();
        Some(Self { centre, factor, inverse_columns, log_scale })
    }

    /// The folded t with these first two moments before folding, a little wider.
    pub(super) fn from_moments(mean: Vec<f64>, mut covariance: Vec<f64>) -> Option<Self> {
        // The covariance of a t is its scale matrix times df / (df - 2).
        let narrow = 1.3 * (DEGREES_OF_FREEDOM - 2.0) / DEGREES_OF_FREEDOM;
        covariance.iter_mut().for_each(|entry| *entry *= narrow);
        Self::new(mean, covariance)
    }

    pub(super) fn draw(&self, random: &mut ChaCha8Rng, chi_squared: &ChiSquared<f64>) -> Vec<f64> {
        let size = self.centre.len();
        let noise: Vec<f64> = (0..size).map(|_| random.sample(StandardNormal)).collect();
        let stretch = (DEGREES_OF_FREEDOM / random.sample(chi_squared)).sqrt();
        (0..size)
            .map(|i| {
                let increment: f64 = (0..=i).map(|j| self.factor[i * size + j] * noise[j]).sum();
                (self.centre[i] + stretch * increment).abs()
            })
            .collect()
    }

    /// Distribution of the stretch of [`FoldedStudent::draw`].
    pub(super) fn stretch() -> Option<ChiSquared<f64>> {
        ChiSquared::new(DEGREES_OF_FREEDOM).ok()
    }

    /// Log density at a point without signs, up to a constant of the number of coordinates: the sum over all its signs, each of which differs
    /// from the one before in one coordinate (a Gray code).
    pub(super) fn log_density(&self, point: &[f64]) -> f64 {
        let size = point.len();
        let power = -0.5 * (DEGREES_OF_FREEDOM + size as f64);
        let mut image = vec![0.0; size];
        for ((value, centre), column) in point.iter().zip(&self.centre).zip(&self.inverse_columns) {
            image.iter_mut().zip(column).for_each(|(sum, entry)| *sum += (value - centre) * entry);
        }
        let density = |image: &[f64]| {
            let distance: f64 = image.iter().map(|value| value * value).sum();
            (1.0 + distance / DEGREES_OF_FREEDOM).powf(power)
        };
        let mut sum = density(&image);
        let mut sign = vec![1.0; size];
        for code in 1_usize..1 << size {
            let at = code.trailing_zeros() as usize;
            sign[at] = -sign[at];
            let step = 2.0 * sign[at] * point[at];
            image.iter_mut().zip(&self.inverse_columns[at]).for_each(|(sum, entry)| *sum += step * entry);
            sum += density(&image);
        }
        sum.ln() + self.log_scale
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;

    #[test]
    fn the_folded_density_adds_up_to_the_same_for_every_centre_and_is_that_of_the_draws() {
        // The density of |x| integrates to the constant left out; means by the density and by draws agree.
        let chi_squared = FoldedStudent::stretch().unwrap();
        let mut totals = Vec::new();
        for centre in [0.1, 1.0] {
            let student = FoldedStudent::new(vec![centre, 0.5], vec![0.25, 0.1, 0.1, 0.16]).unwrap();
            let step = 0.02;
            let (mut total, mut first) = (0.0, 0.0);
            for i in 0..1000 {
                for j in 0..1000 {
                    let point = [(f64::from(i) + 0.5) * step, (f64::from(j) + 0.5) * step];
                    let mass = student.log_density(&point).exp() * step * step;
                    total += mass;
                    first += mass * point[0];
                }
            }
            let mut random = ChaCha8Rng::seed_from_u64(1);
            let count = 40_000;
            let mean = (0..count).map(|_| student.draw(&mut random, &chi_squared)[0]).sum::<f64>() / f64::from(count);
            // The standard error of the mean is below 0.004; beyond 20 lie less than 1e-5 of the mass.
            assert!((mean - first / total).abs() < 0.012, "{mean} {}", first / total);
            totals.push(total);
        }
        // 2π: the constant of a t of two coordinates, 1 / (2π), is left out.
        for total in totals {
            assert!((total / (2.0 * std::f64::consts::PI) - 1.0).abs() < 1e-4, "{total}");
        }
    }
}
