//! A field of a small review: how it was planted, what came up there, and what a person wrote down.

use std::error::Error;

use rand::seq::SliceRandom;

use super::super::clock::{DAY, LocalMinute};
use super::super::condition::Truth;
use super::super::digging::dig;
use super::super::growth::{Bed, BlockEffects, FieldEffects, Place, grow_strip};
use super::super::random::{Purpose, stream};

/// Ground of one kind, and what closing force does there.
pub struct Ground {
    /// The label, as moisture and residue give it.
    pub label: &'static str,
    /// Moisture by feel.
    pub moisture: &'static str,
    /// Ground covered by residue, percent.
    pub cover_pct: u32,
    /// What closing force does there.
    pub truth: Truth,
}

/// A strip as it was planted.
pub struct Strip {
    /// Its name.
    pub id: String,
    /// Its block, counted from one; none where nothing was laid out.
    pub block: Option<usize>,
    /// The number on the knob.
    pub knob: f64,
    /// The force at that number, N.
    pub force_n: f64,
}

/// A field in one season as it was planted.
pub struct Plan {
    /// Position among all field-seasons of the small reviews, which names its random streams.
    pub index: usize,
    /// Its name.
    pub field: &'static str,
    /// Year of planting.
    pub season: i32,
    /// Month, day and hour of planting.
    pub planted: (u32, u32, i64),
    /// What ground it was.
    pub ground: &'static Ground,
    /// What this field had beside the truth of its ground and the draws of chance: addition to final emergence, share of the seeds.
    pub level: f64,
    /// Its strips in the order they were planted.
    pub strips: Vec<Strip>,
    /// Counted places of a strip, and the row unit of each.
    pub places: &'static [(&'static str, u32)],
    /// Days after planting on which the counts were made, at six in the evening.
    pub visit_days: &'static [i64],
}

/// A field in one season as it came up.
pub struct Field {
    /// How it was planted.
    pub plan: Plan,
    /// What was drawn for it as a whole.
    pub effects: FieldEffects,
    /// Counted places, strip by strip.
    pub places: Vec<Vec<Place>>,
}

impl Plan {
    /// When planting began.
    pub fn planted_at(&self) -> LocalMinute {
        let (month, day, hour) = self.planted;
        LocalMinute::new(self.season, month, day, hour, 0)
    }

    /// Lets it come up.
    ///
    /// # Errors
    /// A distribution that cannot be set up.
    pub fn grow(self) -> Result<Field, Box<dyn Error>> {
        let generator = &mut stream(Purpose::Emergence, self.index);
        let truth = &self.ground.truth;
        let mut effects = FieldEffects::draw(generator, truth)?;
        effects.final_share += self.level;
        let mut places = Vec::new();
        for strips in self.strips.chunk_by(|one, next| one.block == next.block) {
            let block = BlockEffects::draw(generator)?;
            for strip in strips {
                let bed = Bed { truth, field: &effects, block: &block, force_n: strip.force_n, waited_h: 0.0 };
                places.push(grow_strip(generator, &bed, self.places)?);
            }
        }
        Ok(Field { plan: self, effects, places })
    }
}

impl Field {
    /// When the counts were made.
    pub fn visits(&self) -> Vec<LocalMinute> {
        let midnight = LocalMinute(self.plan.planted_at().0.div_euclid(DAY) * DAY);
        self.plan.visit_days.iter().map(|days| midnight.plus(days * DAY + 18 * 60)).collect()
    }

    /// Plants up in a place at that time.
    pub fn emerged(&self, place: &Place, visit: LocalMinute) -> usize {
        place.emerged_by((visit.0 - self.plan.planted_at().0) as f64 / 60.0)
    }

    /// What a person found who dug once in each strip, strip by strip; `round` tells rounds of digging apart.
    pub fn digs(&self, round: usize) -> Vec<[&'static str; 7]> {
        let mut generator = stream(Purpose::Digs, self.plan.index * 8 + round);
        let truth = &self.plan.ground.truth;
        let shift_n = self.effects.best_force_n - truth.best_force_n;
        self.plan.strips.iter().map(|strip| dig(&mut generator, truth, shift_n, strip.force_n)).collect()
    }
}

/// Strips of a trial in blocks: the settings in an order of their own in every block, drawn.
pub fn in_drawn_order(index: usize, knobs: &[f64], blocks: usize, force_n: impl Fn(f64) -> f64) -> Vec<Strip> {
    let mut generator = stream(Purpose::Layout, index);
    let orders = (0..blocks).map(|_| {
        let mut order = knobs.to_vec();
        order.shuffle(&mut generator);
        order
    });
    in_order(&orders.collect::<Vec<_>>(), force_n)
}

/// Strips of a trial in blocks, the settings in the order that is given for every block; strips are numbered through.
pub fn in_order(orders: &[Vec<f64>], force_n: impl Fn(f64) -> f64) -> Vec<Strip> {
    let with_block =
        orders.iter().enumerate().flat_map(|(block, order)| order.iter().map(move |knob| (block + 1, *knob)));
    with_block
        .enumerate()
        .map(|(position, (block, knob))| Strip {
            id: format!("{}", position + 1),
            block: Some(block),
            knob,
            force_n: force_n(knob),
        })
        .collect()
}
