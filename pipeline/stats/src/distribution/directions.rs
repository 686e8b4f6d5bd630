//! Correlated t values of any correlation, by quasi-random directions.

use super::{f_cdf, f_sf};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use statrs::distribution::{ContinuousCDF, Normal};

/// Cells of the table in which the reach of each direction is recorded.
const CELLS: usize = 2048;
/// Random shifts of the lattice; their spread is the error estimate.
const SHIFTS: usize = 12;
/// Points per shift and the multiplier of their Korobov lattice, `point i = i (1, a, a², …) / n`. Of a few thousand multipliers these have
/// the smallest worst-case error for smooth periodic functions (`P_2` with weights 1/2), over 2 to 20 dimensions together.
const LATTICES: [(u64, u64); 3] = [(4093, 2578), (16381, 4999), (65521, 34533)];
/// A larger lattice is taken until a tail of about 0.05 has an error (three standard errors) below this.
const WANTED: f64 = 5e-5;
/// Products that a lattice may cost, a second or two; only with more than a hundred comparisons does this end the search.
const MOST_WORK: u64 = 1_500_000_000;
/// The shifts are fixed, so that equal questions have equal answers.
const SEED: u64 = 0x6c61_7474_6963_6531;

/// The distribution of `max_i a_i'U` for a direction U that is uniform on the sphere, where the rows `a_i` have length one.
///
/// Correlated t values with correlation `A A'` are `ρ A U` with `ρ² / r ~ F(r, df)` independent of U. Given U, the largest of them
/// follows an F distribution exactly, for every df at once; only the direction is sampled. This is the spherical-radial
/// transformation (Deák 1980; Genz & Bretz 2009) with a Korobov lattice, made periodic by the tent map
/// and shifted at random.
#[derive(Debug, Clone)]
pub(super) struct Directions {
    rank: f64,
    /// For each shift the share of directions per cell of the reach, for directions with positive reach and with negative.
    positive: Vec<Vec<f64>>,
    negative: Vec<Vec<f64>>,
    /// Number of directions used.
    pub(super) evaluations: usize,
}

impl Directions {
    /// `rows` are the `a_i`, all of length r ≥ 1. With `absolute`, the reach is `max |a_i'U|`.
    pub(super) fn new(rows: &[Vec<f64>], absolute: bool) -> Self {
        let rank = rows[0].len();
        let mut directions = Self::sample(rows, rank, absolute, LATTICES[0]);
        for lattice in &LATTICES[1..] {
            let quantile = directions.value_with_tail(0.05);
            let work = (rows.len() * rank * SHIFTS) as u64 * lattice.0;
            if directions.sf(quantile, f64::INFINITY).1 < WANTED || work > MOST_WORK {
                break;
            }
            directions = Self::sample(rows, rank, absolute, *lattice);
        }
        directions
    }

    fn sample(rows: &[Vec<f64>], rank: usize, absolute: bool, (count, multiplier): (u64, u64)) -> Self {
        let generator: Vec<u64> =
            std::iter::successors(Some(1), |last| Some(last * multiplier % count)).take(rank).collect();
        let mut rng = ChaCha8Rng::seed_from_u64(SEED);
        let shifts: Vec<Vec<f64>> = (0..SHIFTS).map(|_| (0..rank).map(|_| rng.random::<f64>()).collect()).collect();
        let tables: Vec<(Vec<f64>, Vec<f64>)> =
            shifts.par_iter().map(|shift| one_shift(rows, absolute, count, &generator, shift)).collect();
        let (positive, negative) = tables.into_iter().unzip();
        Self { rank: rank as f64, positive, negative, evaluations: count as usize * SHIFTS }
    }

    /// `P(max > c)` and its error, three standard errors.
    pub(super) fn sf(&self, c: f64, df: f64) -> (f64, f64) {
        let beyond = |reach: f64| f_sf((c / reach).powi(2) / self.rank, self.rank, df);
        let within = |reach: f64| f_cdf((c / reach).powi(2) / self.rank, self.rank, df);
        if c >= 0.0 {
            // A direction with negative reach never exceeds c.
            self.average(|reach| if c == 0.0 { 1.0 } else { beyond(reach) }, |_| 0.0)
        } else {
            self.average(|_| 1.0, within)
        }
    }

    /// `P(max ≤ c)` and its error, three standard errors.
    pub(super) fn cdf(&self, c: f64, df: f64) -> (f64, f64) {
        let (sf, error) = self.sf(c, df);
        (1.0 - sf, error)
    }

    fn average(&self, on_positive: impl Fn(f64) -> f64, on_negative: impl Fn(f64) -> f64) -> (f64, f64) {
        let mut each = [0.0; SHIFTS];
        for cell in 0..=CELLS {
            let reach = cell as f64 / CELLS as f64;
            for (tables, function) in
                [(&self.positive, &on_positive as &dyn Fn(f64) -> f64), (&self.negative, &on_negative)]
            {
                if tables.iter().any(|table| table[cell] != 0.0) {
                    let value = function(reach);
                    each.iter_mut().zip(tables).for_each(|(sum, table)| *sum += table[cell] * value);
                }
            }
        }
        let mean = each.iter().sum::<f64>() / SHIFTS as f64;
        let variance = each.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / (SHIFTS - 1) as f64;
        (mean.clamp(0.0, 1.0), 3.0 * (variance / SHIFTS as f64).sqrt())
    }

    /// A rough value with the given upper tail for known standard deviation.
    fn value_with_tail(&self, tail: f64) -> f64 {
        let (mut low, mut high) = (0.0, 10.0);
        for _ in 0..20 {
            let middle = 0.5 * (low + high);
            if self.sf(middle, f64::INFINITY).0 > tail { low = middle } else { high = middle }
        }
        high
    }
}

/// Directions of one shifted lattice, tabulated by their reach.
fn one_shift(rows: &[Vec<f64>], absolute: bool, count: u64, generator: &[u64], shift: &[f64]) -> (Vec<f64>, Vec<f64>) {
    let normal = Normal::standard();
    let mut positive = vec![0.0; CELLS + 1];
    let mut negative = vec![0.0; CELLS + 1];
    let mut z = vec![0.0; generator.len()];
    let share = 1.0 / count as f64;
    for i in 0..count {
        let mut length = 0.0;
        for ((value, step), start) in z.iter_mut().zip(generator).zip(shift) {
            let point = ((i * step % count) as f64 * share + start).fract();
            let tent = (2.0 * point - 1.0).abs().clamp(1e-16, 1.0 - 1e-16);
            *value = normal.inverse_cdf(tent);
            length += *value * *value;
        }
        let length = length.sqrt();
        let reach = rows.iter().fold(f64::NEG_INFINITY, |largest, row| {
            let value: f64 = row.iter().zip(&z).map(|(a, b)| a * b).sum();
            largest.max(if absolute { value.abs() } else { value })
        });
        let reach = if length > 0.0 { (reach / length).clamp(-1.0, 1.0) } else { 0.0 };
        record(if reach >= 0.0 { &mut positive } else { &mut negative }, reach.abs(), share);
    }
    (positive, negative)
}

/// Shares `weight` among the three cells around `reach` so that quadratic functions of the reach keep their mean exactly.
fn record(table: &mut [f64], reach: f64, weight: f64) {
    let position = reach * CELLS as f64;
    let centre = (position.round() as usize).clamp(1, CELLS - 1);
    let d = position - centre as f64;
    table[centre - 1] += weight * 0.5 * d * (d - 1.0);
    table[centre] += weight * (1.0 - d * d);
    table[centre + 1] += weight * 0.5 * d * (d + 1.0);
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::PI;

    /// Squared worst-case error in the Korobov space of smoothness 2 with weights 1/2.
    fn worst_case(count: u64, multiplier: u64, dimensions: usize) -> f64 {
        let mut sum = 0.0;
        for i in 0..count {
            let mut step = i;
            let mut product = 1.0;
            for _ in 0..dimensions {
                let x = step as f64 / count as f64;
                product *= 1.0 + PI * PI * (x * x - x + 1.0 / 6.0);
                step = step * multiplier % count;
            }
            sum += product;
        }
        sum / count as f64 - 1.0
    }

    #[test]
    fn the_lattice_multiplier_is_better_than_the_median_of_others() {
        let (count, multiplier) = LATTICES[0];
        for dimensions in [3, 5, 10, 20] {
            let chosen = worst_case(count, multiplier, dimensions);
            let better = (0..60).filter(|k| worst_case(count, 2 + k * 67, dimensions) < chosen).count();
            assert!(better < 30, "{dimensions} dimensions: {better} of 60 are better");
        }
    }

    #[test]
    fn in_two_dimensions_the_directions_agree_with_the_integral_over_the_angle() {
        // Three pairwise differences of three equal means: normals 60 degrees apart.
        let rows: Vec<Vec<f64>> = (0..3).map(|k| f64::from(k) * PI / 3.0).map(|a| vec![a.cos(), a.sin()]).collect();
        let directions = Directions::new(&rows, true);
        for (c, df) in [(1.0_f64, 4.0), (2.3, 9.0), (3.5, 20.0)] {
            // By symmetry over 30 degrees: the reach is the cosine of the angle to the nearest normal.
            let steps = 2000;
            let integral: f64 = (0..steps)
                .map(|i| (f64::from(i) + 0.5) / f64::from(steps) * PI / 6.0)
                .map(|angle| (1.0 + (c / angle.cos()).powi(2) / df).powf(-0.5 * df))
                .sum::<f64>()
                / f64::from(steps);
            let (found, error) = directions.sf(c, df);
            assert!((found - integral).abs() < 1.5 * error + 1e-9, "{c} {df}: {found} {integral} {error:e}");
            assert!(error < 5e-5);
        }
    }
}
