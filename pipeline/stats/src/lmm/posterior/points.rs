//! Weighted points of the posterior of log sigma and theta: independent proposals near its mode, each with the weight that makes up for
//! where the proposals differ from the posterior (importance sampling).
//!
//! Theta is proposed by a folded t of the curvature at the mode, then, round by round, by one of the moments found so far; all points
//! weigh by the mixture of all rounds (Veach & Guibas 1995; Cornuet, Marin, Mira & Robert 2012). Given theta, sigma² is a sum of squares over
//! a chi-squared but for its priors, which enter the weight. Points do not hang on one another as the steps of a walk do, so a few hundred
//! factorisations say as much as ten thousand steps.

use super::student::FoldedStudent;
use super::target::Target;
use crate::lmm::optimizer::bounded_search;
use crate::lmm::profile::Workspace;
use rand::Rng;
use rand_chacha::ChaCha8Rng;
use rand_distr::ChiSquared;

/// Points of a round per draw wanted, and the fewest.
const ROUND: f64 = 0.1;
const SMALLEST_ROUND: usize = 100;
/// Rounds after which the posterior is left to the random walk.
const MOST_ROUNDS: usize = 10;
/// Effective number per draw wanted at which rounds end, and below which points are not used.
const ENOUGH: f64 = 0.2;
const TOO_FEW: f64 = 0.075;
/// Thetas above which the signs of a point are too many to sum over.
const MOST_THETAS: usize = 10;

/// Points with weights that add up to one.
pub(super) struct WeightedPoints {
    positions: Vec<Vec<f64>>,
    weights: Vec<f64>,
}

impl WeightedPoints {
    /// Points enough for `draws`, the first proposed about the position `start`. `None` where the posterior is not covered within
    /// [`MOST_ROUNDS`] rounds, or there are hardly more rows than coefficients.
    pub(super) fn new(target: Target, start: &[f64], draws: usize, random: &mut ChaCha8Rng) -> Option<Self> {
        let thetas = start.len() - 1;
        // Without thetas every point is an independent draw.
        let round = if thetas == 0 { draws } else { SMALLEST_ROUND.max((ROUND * draws as f64) as usize) };
        if thetas > MOST_THETAS || (target.sigma_df() < 1.0 && !target.profile.sigma_known()) {
            return None;
        }
        let mut explorer = Explorer::new(target)?;
        let mut students = vec![explorer.around_the_mode(&start[1..])?];
        let stretch = FoldedStudent::stretch()?;
        let mut positions: Vec<Vec<f64>> = Vec::new();
        // Log of what the posterior has over the proposal of sigma, and sum over the rounds of the proposal of theta.
        let mut ratios = Vec::new();
        let mut proposed: Vec<f64> = Vec::new();
        for _ in 0..MOST_ROUNDS {
            let student = students.last()?;
            for (position, sum) in positions.iter().zip(&mut proposed) {
                *sum += student.log_density(&position[1..]).exp();
            }
            for _ in 0..round {
                let theta = student.draw(random, &stretch);
                let (position, ratio) = explorer.point(&theta, random)?;
                proposed.push(students.iter().map(|student| student.log_density(&theta).exp()).sum());
                positions.push(position);
                ratios.push(ratio);
            }
            let logs: Vec<f64> = ratios.iter().zip(&proposed).map(|(ratio, sum)| ratio - sum.ln()).collect();
            let points = Self { positions, weights: normalised(&logs)? };
            let smallest = points.effective_sizes().into_iter().fold(points.effective_number(), f64::min);
            let last = students.len() == MOST_ROUNDS;
            let wanted = if last { TOO_FEW } else { ENOUGH };
            if smallest >= wanted * draws as f64 || thetas == 0 {
                return Some(points);
            }
            if last {
                return None;
            }
            students.push(points.student().or_else(|| students.last().cloned())?);
            positions = points.positions;
        }
        None
    }

    /// Positions drawn by weight, `count` in all, as the number of each position's point and in random order.
    pub(super) fn resample(&self, count: usize, random: &mut ChaCha8Rng) -> Vec<usize> {
        // One uniform number for all: a point of weight w is taken w × count times, rounded up or down.
        let offset: f64 = random.random();
        let mut taken = Vec::with_capacity(count);
        let (mut point, mut below) = (0, self.weights[0]);
        for number in 0..count {
            let level = (number as f64 + offset) / count as f64;
            while below < level && point + 1 < self.weights.len() {
                point += 1;
                below += self.weights[point];
            }
            taken.push(point);
        }
        for last in (1..count).rev() {
            taken.swap(last, random.random_range(0..=last));
        }
        taken
    }

    pub(super) fn position(&self, point: usize) -> &[f64] {
        &self.positions[point]
    }

    /// `1 / Σ w²` (Kong 1992).
    fn effective_number(&self) -> f64 {
        1.0 / self.weights.iter().map(|weight| weight * weight).sum::<f64>()
    }

    /// Number of independent draws that would give the mean of sigma and of each standard deviation as precisely:
    /// `Σ w d² / Σ w² d²` for the deviations d from the mean.
    pub(super) fn effective_sizes(&self) -> Vec<f64> {
        let size = self.positions.first().map_or(0, Vec::len);
        (0..size)
            .map(|k| {
                let value = |position: &[f64]| position[0].exp() * if k == 0 { 1.0 } else { position[k] };
                let values: Vec<f64> = self.positions.iter().map(|position| value(position)).collect();
                let mean: f64 = values.iter().zip(&self.weights).map(|(value, weight)| value * weight).sum();
                let sum = |power: i32| -> f64 {
                    let terms = values.iter().zip(&self.weights);
                    terms.map(|(value, weight)| weight.powi(power) * (value - mean).powi(2)).sum()
                };
                let (once, twice) = (sum(1), sum(2));
                if twice > 0.0 { once / twice } else { self.positions.len() as f64 }
            })
            .collect()
    }

    /// The folded t of the moments of these points; `None` where too few of them count.
    fn student(&self) -> Option<FoldedStudent> {
        let size = self.positions.first()?.len() - 1;
        if self.effective_number() < 4.0 * size as f64 {
            return None;
        }
        let mut mean = vec![0.0; size];
        for (position, weight) in self.positions.iter().zip(&self.weights) {
            mean.iter_mut().zip(&position[1..]).for_each(|(sum, theta)| *sum += weight * theta);
        }
        let mut covariance = vec![0.0; size * size];
        for (position, weight) in self.positions.iter().zip(&self.weights) {
            for i in 0..size {
                for j in 0..size {
                    covariance[i * size + j] += weight * (position[1 + i] - mean[i]) * (position[1 + j] - mean[j]);
                }
            }
        }
        FoldedStudent::from_moments(mean, covariance)
    }
}

/// Weights from their logs; `None` where none is finite.
fn normalised(logs: &[f64]) -> Option<Vec<f64>> {
    let largest = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if !largest.is_finite() {
        return None;
    }
    let weights: Vec<f64> = logs.iter().map(|log| (log - largest).exp()).collect();
    let total: f64 = weights.iter().sum();
    Some(weights.into_iter().map(|weight| weight / total).collect())
}

/// Asks the density at one theta after another.
struct Explorer<'a> {
    target: Target<'a>,
    work: Workspace,
    sigma: Option<ChiSquared<f64>>,
}

impl<'a> Explorer<'a> {
    fn new(target: Target<'a>) -> Option<Self> {
        let known = target.profile.sigma_known();
        let sigma = if known { None } else { Some(ChiSquared::new(target.sigma_df()).ok()?) };
        Some(Self { target, work: target.profile.workspace(), sigma })
    }

    /// Log density with sigma at its best but for the priors, which enter with it.
    fn height(&mut self, theta: &[f64]) -> f64 {
        let mut position = vec![0.0];
        position.extend(theta.iter().map(|theta| theta.abs()));
        if !self.target.factor(&position, &mut self.work) {
            return f64::NEG_INFINITY;
        }
        if self.sigma.is_some() {
            position[0] = 0.5 * (self.work.sum_of_squares / self.target.sigma_df()).ln();
        }
        self.target.log_density(&position, &self.work)
    }

    /// A position with this theta and a sigma drawn for it, and the log of the posterior over the density of that draw.
    fn point(&mut self, theta: &[f64], random: &mut ChaCha8Rng) -> Option<(Vec<f64>, f64)> {
        let mut position = vec![0.0];
        position.extend_from_slice(theta);
        if !self.target.factor(&position, &mut self.work) {
            return Some((position, f64::NEG_INFINITY));
        }
        let Some(chi_squared) = self.sigma else {
            let density = self.target.log_density(&position, &self.work);
            return Some((position, density));
        };
        let sum_of_squares = self.work.sum_of_squares;
        let drawn: f64 = random.sample(chi_squared);
        position[0] = 0.5 * (sum_of_squares / drawn).ln();
        let density = self.target.log_density(&position, &self.work);
        Some((position, density - (0.5 * self.target.sigma_df() * drawn.ln() - 0.5 * drawn)))
    }

    /// A folded t about the mode, as wide as the density falls from there.
    fn around_the_mode(&mut self, start: &[f64]) -> Option<FoldedStudent> {
        let size = start.len();
        if size == 0 {
            return FoldedStudent::new(Vec::new(), Vec::new());
        }
        let inside: Vec<f64> = start.iter().map(|theta| theta.max(0.05)).collect();
        let search = bounded_search(|theta| -self.height(theta), &inside, &vec![0.0; size], 0.3, 0.01);
        if !search.value.is_finite() {
            return None;
        }
        let mode = search.point;
        let top = self.height(&mode);
        let steps: Vec<Step> = (0..size).map(|k| self.step(&mode, top, k)).collect();
        let mut precision = vec![0.0; size * size];
        for (k, step) in steps.iter().enumerate() {
            precision[k * size + k] = step.curvature;
        }
        let diagonal = precision.clone();
        for i in 0..size {
            for j in 0..i {
                let mut theta = mode.clone();
                theta[i] += steps[i].length;
                theta[j] += steps[j].length;
                let both = self.height(&theta) - top;
                let mixed = -(both - steps[i].rise - steps[j].rise) / (steps[i].length * steps[j].length);
                precision[i * size + j] = mixed;
                precision[j * size + i] = mixed;
            }
        }
        let scale = |precision: Vec<f64>| crate::dense::equilibrated_inverse(precision, size);
        scale(precision)
            .and_then(|scale| FoldedStudent::new(mode.clone(), scale))
            .or_else(|| FoldedStudent::new(mode.clone(), scale(diagonal)?))
    }

    /// The step of one theta over which the density falls by about a half on the log scale, as over a standard deviation of a normal.
    fn step(&mut self, mode: &[f64], top: f64, k: usize) -> Step {
        let mut rise_at = |length: f64| {
            let mut theta = mode.to_vec();
            theta[k] += length;
            self.height(&theta) - top
        };
        let mut length = 0.1 * mode[k].max(0.3);
        let mut rise = rise_at(length);
        for _ in 0..12 {
            if rise < -1.5 {
                length *= (0.5 / -rise).sqrt().max(0.1);
            } else if rise > -0.2 {
                length *= (0.5 / (-rise).max(0.005)).sqrt().min(4.0);
            } else {
                break;
            }
            rise = rise_at(length);
        }
        let fall_below = rise_at(-length);
        let curvature = -(rise + fall_below) / (length * length);
        // A density that does not fall on one side is as wide as its fall on the other says, or as the step.
        let curvature = if curvature > 0.0 { curvature } else { (-2.0 * rise).max(0.1) / (length * length) };
        Step { length, rise, curvature }
    }
}

/// What [`Explorer::step`] found.
struct Step {
    length: f64,
    /// Log density there over that of the mode, below zero.
    rise: f64,
    curvature: f64,
}
