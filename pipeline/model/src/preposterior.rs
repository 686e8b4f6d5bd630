//! What a trial would teach before it is laid out: preposterior analysis on draws (Raiffa & Schlaifer 1961).
//!
//! Each of some draws is taken for the truth in turn. The means of the settings that the trial would give are simulated on the
//! model's scale: the truth's typical curve, plus what each new field differs by (of another draw, averaged over the fields), plus
//! error of variance `strip variance / (blocks × fields)`. Levels of fields and blocks cancel, as only contrasts of the
//! means are looked at. Then all other draws are weighed by the normal likelihood of these contrasts, the best start is read again, and
//! its loss is counted under the truth.
//!
//! The covariance of the contrasts is taken as known, `K / fields + strip variance / (blocks × fields)`, K the second
//! moment of the draws' own deviations of a field. What a trial would teach about the size of the spread between fields is left out.

mod weights;

use evenstand_stats::distribution::normal_quantile;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use crate::contrasts::{Root, contrasts};
use crate::decision::LIKELY;
use crate::draws::{Field, GroupDraws};
use crate::summary::{mean, quantile, standard_deviation};
pub(crate) use weights::FEWEST_DRAWS;
use weights::weigh;

/// Draws of a response curve, all with the same weight.
pub(crate) trait Curves {
    /// Number of draws.
    fn number(&self) -> usize;
    /// The curve of a draw at a force, on the model's scale.
    fn modelled(&self, draw: usize, force_n: f64, field: Field) -> f64;
    /// A value on the model's scale as the response in its own unit, turned so that more is better.
    fn worth_of(&self, modelled: f64) -> f64;
}

impl Curves for GroupDraws {
    fn number(&self) -> usize {
        self.len()
    }

    fn modelled(&self, draw: usize, force_n: f64, field: Field) -> f64 {
        self.model_scale(draw, force_n, field)
    }

    fn worth_of(&self, modelled: f64) -> f64 {
        GroupDraws::worth_of(self, modelled)
    }
}

/// What is to be decided.
#[derive(Debug, Clone)]
pub(crate) struct Choice {
    /// Forces that can be chosen, with the trial and without it.
    pub starts_n: Vec<f64>,
    /// How much worse than the best is as good, in the response's own unit.
    pub tolerance: f64,
    /// Variance between strips of one setting in one block, on the model's scale.
    pub strip_variance: f64,
}

/// How much is simulated.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Effort {
    /// Draws taken for the truth.
    pub truths: usize,
    /// Draws that are weighed.
    pub weighed: usize,
    pub seed: u64,
}

/// What is expected of a trial. Losses in the response's own unit, in the typical field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Expected {
    pub loss_now: f64,
    pub loss_after: f64,
    /// Loss now less loss after.
    pub reduction: f64,
    /// Standard error of the reduction from simulating, truth by truth.
    pub monte_carlo_error: f64,
    /// Mean over trials of the probability, as it would be stated then, that the start is within tolerance of the best in a
    /// field not yet seen.
    pub prob_near_best: f64,
    /// Share of trials after which that probability is at least [`LIKELY`].
    pub prob_likely: f64,
    /// Median over trials of the effective number of draws, 1 / Σ w², before weights are flattened.
    pub effective_draws: f64,
}

/// Contrasts of the draws between the settings of a trial.
#[derive(Debug, Clone)]
pub(crate) struct Levels {
    size: usize,
    /// Of the typical field, draw by draw.
    typical: Vec<f64>,
    /// By which a field not yet seen differs from it, draw by draw.
    own: Vec<f64>,
    /// Second moments of the latter.
    own_moments: Vec<f64>,
}

impl Levels {
    /// Variance of a contrast between fields, mean over contrasts, on the model's scale.
    pub fn field_variance(&self) -> f64 {
        (0..self.size).map(|row| self.own_moments[row * self.size + row]).sum::<f64>() / self.size as f64
    }
}

/// Two settings of a trial that are to be told apart.
#[derive(Debug, Clone)]
pub(crate) struct Step {
    pair: Levels,
    /// The typical field near them, mean over the draws, on the model's scale.
    middle: f64,
}

/// Draws made ready for any number of trials.
pub(crate) struct Preposterior<'a, C> {
    curves: &'a C,
    choice: Choice,
    effort: Effort,
    draws: Vec<usize>,
    /// Worth of the typical field, draw by draw, start by start.
    worth: Vec<f64>,
    /// Best worth of each draw.
    top: Vec<f64>,
    /// Per start, 1 for each draw in which it is within tolerance of the best in a field not yet seen.
    near: Vec<Vec<f64>>,
    start_now: usize,
}

impl<'a, C: Curves> Preposterior<'a, C> {
    /// `None` where there are fewer than two draws or starts, or a number is not finite.
    pub fn new(curves: &'a C, choice: Choice, effort: Effort) -> Option<Self> {
        let draws = thinned(curves.number(), effort.weighed);
        let starts = &choice.starts_n;
        let positive = choice.strip_variance > 0.0 && choice.strip_variance.is_finite();
        if draws.len() < 2 || starts.len() < 2 || !positive {
            return None;
        }
        let all = |field: Field| -> Vec<f64> {
            let of =
                |draw: usize| starts.iter().map(move |force| curves.worth_of(curves.modelled(draw, *force, field)));
            draws.iter().flat_map(|draw| of(*draw)).collect()
        };
        let (worth, unseen) = (all(Field::Typical), all(Field::Unseen));
        if !worth.iter().chain(&unseen).all(|value| value.is_finite()) {
            return None;
        }
        let tops = |worth: &[f64]| worth.chunks(starts.len()).map(largest).collect::<Vec<f64>>();
        let (top, top_unseen) = (tops(&worth), tops(&unseen));
        let near = (0..starts.len())
            .map(|start| {
                let loss = |draw: usize| top_unseen[draw] - unseen[draw * starts.len() + start];
                (0..draws.len()).map(|draw| f64::from(u8::from(loss(draw) <= choice.tolerance))).collect()
            })
            .collect();
        let mut sums = vec![0.0; starts.len()];
        worth.chunks(starts.len()).for_each(|row| add(&mut sums, 1.0, row));
        let start_now = argmax(&sums);
        Some(Self { curves, choice, effort, draws, worth, top, near, start_now })
    }

    /// Expected loss without a trial, over the truths that trials are simulated under.
    pub fn loss_now(&self) -> f64 {
        mean(&self.truths().map(|truth| self.loss(truth, self.start_now)).collect::<Vec<_>>())
    }

    /// Probability without a trial that the best start is within tolerance of the best in a field not yet seen.
    pub fn prob_near_best_now(&self) -> f64 {
        mean(&self.near[self.start_now])
    }

    /// The contrasts between the settings of a trial; `None` for fewer than two settings or numbers that are not finite.
    pub fn levels(&self, forces_n: &[f64]) -> Option<Levels> {
        if forces_n.len() < 2 {
            return None;
        }
        let size = forces_n.len() - 1;
        let (mut typical, mut own) = (Vec::new(), Vec::new());
        for draw in &self.draws {
            let curve = |field| {
                let values = forces_n.iter().map(|force| self.curves.modelled(*draw, *force, field));
                contrasts(&values.collect::<Vec<f64>>())
            };
            let expected = curve(Field::Typical);
            own.extend(curve(Field::Unseen).iter().zip(&expected).map(|(unseen, typical)| unseen - typical));
            typical.extend(expected);
        }
        if !typical.iter().chain(&own).all(|value| value.is_finite()) {
            return None;
        }
        let moment = |at: usize| {
            own.chunks(size).map(|own| own[at / size] * own[at % size]).sum::<f64>() / self.draws.len() as f64
        };
        let own_moments = (0..size * size).map(moment).collect();
        Some(Levels { size, typical, own, own_moments })
    }

    /// Two settings that are to be told apart, near a force; `None` where a number is not finite.
    pub fn step(&self, pair: &[f64; 2], near_n: f64) -> Option<Step> {
        let typical = |draw: usize| self.curves.modelled(draw, near_n, Field::Typical);
        let middle = (0..self.curves.number()).map(typical).sum::<f64>() / self.curves.number() as f64;
        Some(Step { pair: self.levels(pair)?, middle })
    }

    /// Half width of the 90 % limits of the difference between two settings, in the response's own unit, as a trial gives it.
    pub fn half_width(&self, step: &Step, blocks: usize, fields: usize) -> f64 {
        let half = normal_quantile(0.95) * self.difference_error(&step.pair, blocks, fields);
        (self.curves.worth_of(step.middle + half) - self.curves.worth_of(step.middle - half)).abs() / 2.0
    }

    /// Standard error of the difference between the two settings of a `pair`, on the model's scale, as a trial with so many blocks in each
    /// field and so many new field-seasons gives it: √(K / fields + 2 strip variance / (blocks × fields)).
    fn difference_error(&self, pair: &Levels, blocks: usize, fields: usize) -> f64 {
        let error_variance = self.choice.strip_variance / (blocks * fields) as f64;
        // The contrast of two values is their difference over √2.
        (2.0 * (pair.field_variance() / fields as f64 + error_variance)).sqrt()
    }

    /// What is expected of a trial with these settings, so many blocks in each field, and so many new field-seasons.
    ///
    /// The same seed gives every trial the same truths, fields and errors, so that trials can be compared. `None` for a
    /// trial without blocks or fields.
    pub fn expected(&self, levels: &Levels, blocks: usize, fields: usize) -> Option<Expected> {
        if blocks == 0 || fields == 0 {
            return None;
        }
        let size = levels.size;
        let error_variance = self.choice.strip_variance / (blocks * fields) as f64;
        let covariance: Vec<f64> = (0..size * size)
            .map(|at| {
                let error = if at / size == at % size { error_variance } else { 0.0 };
                levels.own_moments[at] / fields as f64 + error
            })
            .collect();
        let root = Root::of(&covariance, size)?;
        let whitened = self.whitened(levels, &root);
        let mut weights = vec![0.0; self.draws.len()];
        let (mut losses, mut reductions) = (Vec::new(), Vec::new());
        let (mut stated, mut effective) = (Vec::new(), Vec::new());
        for truth in self.truths() {
            let mut seen = self.simulated(levels, truth, error_variance.sqrt(), fields);
            root.whiten(&mut seen);
            effective.push(weigh(&mut weights, &whitened, &seen, truth));
            let start = self.best_start(&weights);
            let loss = self.loss(truth, start);
            losses.push(loss);
            reductions.push(self.loss(truth, self.start_now) - loss);
            let near: f64 = weights.iter().zip(&self.near[start]).map(|(weight, near)| weight * near).sum();
            stated.push(near / weights.iter().sum::<f64>());
        }
        let error = standard_deviation(&reductions) / (reductions.len() as f64).sqrt();
        Some(Expected {
            loss_now: self.loss_now(),
            loss_after: mean(&losses),
            reduction: mean(&reductions),
            monte_carlo_error: if error.is_finite() { error } else { 0.0 },
            prob_near_best: mean(&stated),
            prob_likely: stated.iter().filter(|stated| **stated >= LIKELY).count() as f64 / stated.len() as f64,
            effective_draws: quantile(&effective, 0.5),
        })
    }

    /// Positions of the draws that are taken for the truth.
    fn truths(&self) -> impl Iterator<Item = usize> {
        thinned(self.draws.len(), self.effort.truths).into_iter()
    }

    fn loss(&self, draw: usize, start: usize) -> f64 {
        self.top[draw] - self.worth[draw * self.choice.starts_n.len() + start]
    }

    /// Contrasts of the means that a trial gives under a truth.
    fn simulated(&self, levels: &Levels, truth: usize, error: f64, fields: usize) -> Vec<f64> {
        let size = levels.size;
        let mut noise = ChaCha8Rng::seed_from_u64(self.effort.seed ^ truth as u64);
        // A stream of its own keeps the errors the same for any number of fields.
        let mut others = noise.clone();
        others.set_stream(1);
        let mut seen: Vec<f64> = levels.typical[truth * size..(truth + 1) * size].to_vec();
        seen.iter_mut().for_each(|seen| *seen += error * noise.sample::<f64, _>(StandardNormal));
        for _ in 0..fields {
            let other = (truth + others.random_range(1..self.draws.len())) % self.draws.len();
            add(&mut seen, 1.0 / fields as f64, &levels.own[other * size..(other + 1) * size]);
        }
        seen
    }

    /// Contrasts of the typical field in units of their errors, contrast by contrast.
    fn whitened(&self, levels: &Levels, root: &Root) -> Vec<f64> {
        let number = self.draws.len();
        let mut whitened = vec![0.0; levels.typical.len()];
        for (draw, typical) in levels.typical.chunks(levels.size).enumerate() {
            let mut values = typical.to_vec();
            root.whiten(&mut values);
            values.iter().enumerate().for_each(|(contrast, value)| whitened[contrast * number + draw] = *value);
        }
        whitened
    }

    fn best_start(&self, weights: &[f64]) -> usize {
        let mut sums = vec![0.0; self.choice.starts_n.len()];
        for (weight, worth) in weights.iter().zip(self.worth.chunks(sums.len())) {
            if *weight > 0.0 {
                add(&mut sums, *weight, worth);
            }
        }
        argmax(&sums)
    }
}

/// At most `most` of `count` positions, evenly spread.
fn thinned(count: usize, most: usize) -> Vec<usize> {
    let kept = count.min(most);
    (0..kept).map(|number| number * count / kept).collect()
}

fn add(sums: &mut [f64], weight: f64, values: &[f64]) {
    sums.iter_mut().zip(values).for_each(|(sum, value)| *sum += weight * value);
}

fn largest(values: &[f64]) -> f64 {
    values.iter().copied().fold(f64::NEG_INFINITY, f64::max)
}

fn argmax(values: &[f64]) -> usize {
    values.iter().enumerate().fold(0, |best, (index, value)| if *value > values[best] { index } else { best })
}

#[cfg(test)]
mod tests;
