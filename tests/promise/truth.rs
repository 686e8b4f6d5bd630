//! What is true in fields that no review has seen, and what an answer costs there.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

use crate::season::normal;
use crate::world::{Condition, FORCES, World};

/// New fields behind every judgement.
const NEW_FIELDS: usize = 400;
/// Forces that differ by less than this in share from a field's best are its best too.
const AS_GOOD: f64 = 1e-4;
/// Seed of the new fields. They come from a stream of their own, so no review's fields are among them.
const SEED: u64 = 20_250_401;
const STREAM: u64 = 1;

/// A field with its own level and place of its curve.
struct Field {
    level: f64,
    own: f64,
    best: f64,
    /// Runs of whole newtons that are its best.
    best_runs: Vec<(f64, f64)>,
}

/// The truth about one condition.
pub struct Truth<'a> {
    world: &'a World,
    condition: &'a Condition,
    typical: Field,
    fields: Vec<Field>,
}

/// Lightest and heaviest force tried, in newtons.
pub fn tested() -> (f64, f64) {
    (FORCES[0], FORCES[FORCES.len() - 1])
}

impl<'a> Truth<'a> {
    /// New fields of one condition of a world: the same ones for every review and every way of choosing a start.
    pub fn new(world: &'a World, condition: &'a Condition) -> Self {
        let mut random = ChaCha8Rng::seed_from_u64(SEED);
        random.set_stream(STREAM);
        let field = |level: f64, own: f64| Field::new(world, condition, level, own);
        let fields = (0..NEW_FIELDS)
            .map(|_| {
                let level = normal(&mut random, condition.noise.field);
                field(level, normal(&mut random, condition.own_best))
            })
            .collect();
        Self { world, condition, typical: field(0.0, 0.0), fields }
    }

    fn losses(&self, force_n: f64) -> impl Iterator<Item = f64> {
        self.fields.iter().map(move |field| field.loss(self.world, self.condition, force_n))
    }

    /// Mean over new fields of the share lost at a force against the best of the tested range.
    pub fn loss(&self, force_n: f64) -> f64 {
        self.losses(force_n).sum::<f64>() / self.fields.len() as f64
    }

    /// Share of new fields in which a force loses no more than the tolerance.
    pub fn near(&self, force_n: f64, tolerance: f64) -> f64 {
        self.losses(force_n).filter(|loss| *loss <= tolerance).count() as f64 / self.fields.len() as f64
    }

    /// Share of new fields one of whose best forces lies in a set from `low_n` to `high_n`.
    pub fn covered(&self, low_n: f64, high_n: f64) -> f64 {
        self.fields.iter().filter(|field| field.meets(low_n, high_n)).count() as f64 / self.fields.len() as f64
    }

    /// Whether one of the best forces of the typical field lies in a set.
    pub fn typical_covered(&self, low_n: f64, high_n: f64) -> bool {
        self.typical.meets(low_n, high_n)
    }

    /// The typical field's lightest and heaviest best force, to one newton.
    pub fn typical_best(&self) -> (f64, f64) {
        let runs = &self.typical.best_runs;
        (runs[0].0, runs[runs.len() - 1].1)
    }

    /// Gain in share of one force over another in the typical field.
    pub fn typical_gain(&self, force_n: f64, over_n: f64) -> f64 {
        let share = |force_n: f64| self.world.share(self.condition, force_n, self.typical.level, self.typical.own);
        share(force_n) - share(over_n)
    }
}

impl Field {
    fn new(world: &World, condition: &Condition, level: f64, own: f64) -> Self {
        let (low, high) = tested();
        let steps = (high - low) as usize;
        let share = |step: usize| world.share(condition, low + step as f64, level, own);
        let shares: Vec<f64> = (0..=steps).map(share).collect();
        let best = shares.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let mut best_runs: Vec<(f64, f64)> = Vec::new();
        for (step, _) in shares.iter().enumerate().filter(|(_, share)| best - **share <= AS_GOOD) {
            let force_n = low + step as f64;
            match best_runs.last_mut() {
                Some(run) if run.1 == force_n - 1.0 => run.1 = force_n,
                _ => best_runs.push((force_n, force_n)),
            }
        }
        Self { level, own, best, best_runs }
    }

    fn loss(&self, world: &World, condition: &Condition, force_n: f64) -> f64 {
        // The best is known to one newton: a force between two of them may be better by a trifle.
        (self.best - world.share(condition, force_n, self.level, self.own)).max(0.0)
    }

    fn meets(&self, low_n: f64, high_n: f64) -> bool {
        self.best_runs.iter().any(|run| low_n <= run.1 + 0.5 && high_n >= run.0 - 0.5)
    }
}
