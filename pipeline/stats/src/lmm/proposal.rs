//! Proposals of the walk over spreads, adapted during burn-in.

use crate::dense::{cholesky_in_place, dot, solve_lower};
use rand::Rng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{ChiSquared, Distribution, StandardNormal, StudentT};

/// Degrees of freedom of a proposal of one place and of many together, and their widths in standard deviations seen: wide and with heavy tails, so that no
/// position is one that the walk stays at for long. Tried beside them were one place with 3 and 1.4 and with 4 and 1, many with 5 and 0.9 and with 8 and 1:
/// alike in the mean over seven sets of reviews of up to 100 field-seasons, and none better throughout.
const ALONE: (f64, f64) = (3.0, 1.2);
const TOGETHER: (f64, f64) = (5.0, 1.1);
/// Positions seen before they are learned from, and from one lesson to the next.
const LESSON: usize = 50;
const FIRST_LESSON: usize = 100;
/// Least distance of positions from their middle; and what is added to squares of correlated places, so that no direction is given up.
const LEAST: f64 = 1e-3;

/// Where positions of one place lie: a spread that the data hardly tell reaches far down and little up, therefore both sides are measured apart.
#[derive(Debug, Clone, Copy)]
struct Place {
    middle: f64,
    below: f64,
    above: f64,
}

impl Place {
    /// About the median, by the root mean squares of both sides.
    fn of(mut values: Vec<f64>) -> Self {
        values.sort_by(f64::total_cmp);
        let half = values.len() / 2;
        let middle = values[half];
        let side = |values: &[f64]| {
            let squares: f64 = values.iter().map(|value| (value - middle).powi(2)).sum();
            (squares / values.len() as f64).sqrt().max(LEAST)
        };
        Self { middle, below: side(&values[..half]), above: side(&values[half..]) }
    }

    /// Distance that counts as one on the side of `away`.
    fn unit(&self, away: f64) -> f64 {
        if away < 0.0 { self.below } else { self.above }
    }

    fn standardised(&self, value: f64) -> f64 {
        let away = value - self.middle;
        away / self.unit(away)
    }

    fn value(&self, standardised: f64) -> f64 {
        self.middle + standardised * self.unit(standardised)
    }
}

/// New positions whatever the old ones are, from t distributions about the positions seen so far (independence samplers, Tierney 1994), each with two
/// scales, below and above its median: of one place alone, or of those that cost most together.
pub(super) struct Proposal {
    places: Vec<Place>,
    /// Places that are proposed together, and the lower factor of their correlations.
    joined: Vec<usize>,
    factor: Vec<f64>,
    seen: Vec<Vec<f64>>,
}

impl Proposal {
    /// About `position` with these `spreads` until something is learned.
    pub(super) fn new(position: &[f64], spreads: &[f64], joined: Vec<usize>) -> Self {
        let place = |(middle, spread): (&f64, &f64)| Place { middle: *middle, below: *spread, above: *spread };
        let count = joined.len();
        let factor = (0..count * count).map(|at| f64::from(u8::from(at % (count + 1) == 0))).collect();
        Self { places: position.iter().zip(spreads).map(place).collect(), joined, factor, seen: Vec::new() }
    }

    /// A new value in one place of `position`, and the logarithm of the density of proposing the old over that of the new.
    pub(super) fn alone(&self, place: usize, position: &[f64], random: &mut ChaCha8Rng) -> (Vec<f64>, f64) {
        let (freedom, width) = ALONE;
        let at = self.places[place];
        let log_density = |z: f64| -0.5 * (freedom + 1.0) * ((z / width).powi(2) / freedom).ln_1p() - at.unit(z).ln();
        let old = at.standardised(position[place]);
        let new = width * StudentT::new(freedom).map_or(0.0, |t| t.sample(random));
        let mut moved = position.to_vec();
        moved[place] = at.value(new);
        (moved, log_density(old) - log_density(new))
    }

    /// New values in all joined places, and the logarithm of the ratio of densities as in [`Proposal::alone`].
    pub(super) fn together(&self, position: &[f64], random: &mut ChaCha8Rng) -> (Vec<f64>, f64) {
        let (freedom, width) = TOGETHER;
        let count = self.joined.len();
        let log_density = |standardised: &[f64]| {
            let mut white = standardised.to_vec();
            solve_lower(&self.factor, count, &mut white);
            let square = dot(&white, &white) / (width * width);
            let units = self.joined.iter().zip(standardised).map(|(place, z)| self.places[*place].unit(*z).ln());
            -0.5 * (freedom + count as f64) * (square / freedom).ln_1p() - units.sum::<f64>()
        };
        let noise: Vec<f64> = (0..count).map(|_| random.sample(StandardNormal)).collect();
        let chi_squared = ChiSquared::new(freedom).map_or(freedom, |chi_squared| chi_squared.sample(random));
        let stretch = width * (freedom / chi_squared).sqrt();
        let row = |i: usize| stretch * dot(&self.factor[i * count..=i * count + i], &noise[..=i]);
        let new: Vec<f64> = (0..count).map(row).collect();
        let old = self.standardised(position);
        let mut moved = position.to_vec();
        for (place, z) in self.joined.iter().zip(&new) {
            moved[*place] = self.places[*place].value(*z);
        }
        (moved, log_density(&old) - log_density(&new))
    }

    /// Burn-in only: from the later half of the positions so far, since the first ones may still travel.
    pub(super) fn learn(&mut self, position: &[f64]) {
        self.seen.push(position.to_vec());
        if self.seen.len() < FIRST_LESSON || !self.seen.len().is_multiple_of(LESSON) {
            return;
        }
        let late = &self.seen[self.seen.len() / 2..];
        self.places =
            (0..position.len()).map(|place| Place::of(late.iter().map(|seen| seen[place]).collect())).collect();
        let rows: Vec<Vec<f64>> = late.iter().map(|seen| self.standardised(seen)).collect();
        let count = self.joined.len();
        let mean = |of: &dyn Fn(&[f64]) -> f64| rows.iter().map(|row| of(row)).sum::<f64>() / rows.len() as f64;
        let means: Vec<f64> = (0..count).map(|i| mean(&|row| row[i])).collect();
        let mut factor = vec![0.0; count * count];
        for i in 0..count {
            for j in 0..=i {
                factor[i * count + j] = mean(&|row| (row[i] - means[i]) * (row[j] - means[j]));
            }
            factor[i * count + i] += LEAST;
        }
        if cholesky_in_place(&mut factor, count) {
            self.factor = factor;
        }
    }

    fn standardised(&self, position: &[f64]) -> Vec<f64> {
        self.joined.iter().map(|place| self.places[*place].standardised(position[*place])).collect()
    }
}
