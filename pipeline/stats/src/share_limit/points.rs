//! Weighed lines of a group around its mode: importance sampling from a bivariate t.

use super::data::Group;
use super::likelihood::{Likelihood, Spreads};
use super::line::{Mode, log_density};
use rand::Rng;
use rand_chacha::ChaCha8Rng;

/// Lines of one group at one node.
#[derive(Debug, Clone, Default)]
pub(super) struct Points {
    pub(super) lines: Vec<[f64; 2]>,
    /// Weights; their mean times the exponential of `log_scale` is the evidence.
    pub(super) weights: Vec<f64>,
    pub(super) log_scale: f64,
}

/// Where the t is laid, in coordinates in which the second derivatives at the mode are one: centre and lower triangular factor.
#[derive(Debug, Clone, Copy)]
pub(super) struct Proposal {
    centre: [f64; 2],
    factor: [f64; 3],
}

/// Few degrees of freedom: under Jeffreys' prior separated rows leave tails that fall like an exponential.
const DEGREES_OF_FREEDOM: f64 = 6.0;

const PILOT_POINTS: usize = 128;

impl Points {
    /// `count` lines. They fill the plane evenly (the additive recurrence of Roberts with the plastic number), from a start that is drawn.
    pub(super) fn around(
        mode: &Mode,
        likelihood: &Likelihood,
        proposal: &Proposal,
        count: usize,
        random: &mut ChaCha8Rng,
    ) -> Self {
        const PLASTIC: f64 = 1.324_717_957_244_746;
        let start: [f64; 2] = [random.random(), random.random()];
        let mut lines = Vec::with_capacity(count);
        let mut logs = Vec::with_capacity(count);
        for k in 0..count {
            let place = |dimension: i32| (start[dimension as usize] + k as f64 * PLASTIC.powi(-1 - dimension)).fract();
            // P(r² > q) = (1 + q/df)^(-df/2) for a bivariate t.
            let squared = DEGREES_OF_FREEDOM * ((1.0 - place(0)).powf(-2.0 / DEGREES_OF_FREEDOM) - 1.0);
            let (sine, cosine) = (2.0 * std::f64::consts::PI * place(1)).sin_cos();
            let t = [cosine, sine].map(|direction| squared.sqrt() * direction);
            let step = mode.step(proposal.place(t));
            let line = [mode.line[0] + step[0], mode.line[1] + step[1]];
            // A line so far out that a density has no value has no weight.
            let density = log_density(likelihood, line, &mode.peaks, step).unwrap_or(f64::NEG_INFINITY);
            logs.push(density + (0.5 * DEGREES_OF_FREEDOM + 1.0) * (squared / DEGREES_OF_FREEDOM).ln_1p());
            lines.push(line);
        }
        let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let weights = logs.iter().map(|log| if *log > f64::NEG_INFINITY { (log - top).exp() } else { 0.0 }).collect();
        let log_scale = top + (2.0 * std::f64::consts::PI).ln() - mode.log_factor()
            + (proposal.factor[0] * proposal.factor[2]).ln();
        Self { lines, weights, log_scale }
    }

    pub(super) fn total(&self) -> f64 {
        self.weights.iter().sum()
    }

    pub(super) fn log_evidence(&self) -> f64 {
        (self.total() / self.lines.len() as f64).ln() + self.log_scale
    }
}

impl Proposal {
    /// The t with the centre and the spread that the posterior has, learned in two rounds at one node and used at all: a separated group lies
    /// to one side of its mode.
    pub(super) fn learn(
        mode: &Mode,
        group: &Group,
        spreads: Spreads,
        rule: &[(f64, f64)],
        random: &mut ChaCha8Rng,
    ) -> Self {
        let likelihood = Likelihood { group, spreads, rule };
        let mut proposal = Self { centre: [0.0; 2], factor: [1.2, 0.0, 1.2] };
        for _ in 0..2 {
            let points = Points::around(mode, &likelihood, &proposal, PILOT_POINTS, random);
            proposal = proposal.improved(mode, &points);
        }
        proposal
    }

    fn place(&self, t: [f64; 2]) -> [f64; 2] {
        [self.centre[0] + self.factor[0] * t[0], self.centre[1] + self.factor[1] * t[0] + self.factor[2] * t[1]]
    }

    fn improved(self, mode: &Mode, points: &Points) -> Self {
        let total = points.total();
        let places = points.lines.iter().map(|line| mode.standardised(*line));
        let mut mean = [0.0; 2];
        for (z, weight) in places.clone().zip(&points.weights) {
            (0..2).for_each(|k| mean[k] += weight / total * z[k]);
        }
        let mut covariance = [0.0; 3];
        for (z, weight) in places.zip(&points.weights) {
            let [a, b] = [z[0] - mean[0], z[1] - mean[1]];
            [a * a, a * b, b * b]
                .iter()
                .zip(&mut covariance)
                .for_each(|(product, sum)| *sum += weight / total * product);
        }
        let first = covariance[0].sqrt();
        let below = covariance[1] / first;
        let second = (covariance[2] - below * below).sqrt();
        let factor = [first, below, second];
        // Weights on two or three points tell no spread.
        let sound = factor.iter().chain(&mean).all(|value| value.is_finite()) && first > 0.2 && second > 0.2;
        if sound { Self { centre: mean, factor } } else { self }
    }
}
