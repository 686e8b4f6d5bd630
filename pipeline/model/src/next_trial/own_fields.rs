//! Draws of a typical curve that was seen in a few fields only, where the model could not let fields differ.
//!
//! With fewer than three trial field-seasons the model has no term for it, and its curve is that of the fields that were seen: the
//! typical curve plus the mean of what these fields differ by. Taken for the typical one it would look far better known than it is, and a trial in
//! further fields worth nothing. So that mean is taken off again, drawn from what a field not yet seen differs by (the stated prior).

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::draws::{Field, GroupDraws};
use crate::preposterior::Curves;

pub(super) struct OwnFields<'a> {
    draws: &'a GroupDraws,
    /// For each draw, the draws whose fields stand for those that were seen.
    seen: Vec<Vec<usize>>,
    /// What the field of each draw differs by in the middle between the ends of the tested range.
    middle: Vec<f64>,
}

impl<'a> OwnFields<'a> {
    pub fn new(draws: &'a GroupDraws, fields: usize, tested: (f64, f64), seed: u64) -> Self {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let number = draws.len();
        let seen = (0..number).map(|_| (0..fields).map(|_| random.random_range(0..number)).collect()).collect();
        let middle = (0..number).map(|draw| (own(draws, draw, tested.0) + own(draws, draw, tested.1)) / 2.0).collect();
        Self { draws, seen, middle }
    }

    /// By how much the curve of a draw's field differs from the typical one. The level is left out: the model knows that it differs.
    fn own(&self, draw: usize, force_n: f64) -> f64 {
        own(self.draws, draw, force_n) - self.middle[draw]
    }
}

fn own(draws: &GroupDraws, draw: usize, force_n: f64) -> f64 {
    draws.model_scale(draw, force_n, Field::Unseen) - draws.model_scale(draw, force_n, Field::Typical)
}

impl Curves for OwnFields<'_> {
    fn number(&self) -> usize {
        self.draws.len()
    }

    fn modelled(&self, draw: usize, force_n: f64, field: Field) -> f64 {
        let seen = &self.seen[draw];
        let mean = seen.iter().map(|other| self.own(*other, force_n)).sum::<f64>() / seen.len().max(1) as f64;
        self.draws.model_scale(draw, force_n, field) - mean
    }

    fn worth_of(&self, modelled: f64) -> f64 {
        self.draws.worth_of(modelled)
    }
}
