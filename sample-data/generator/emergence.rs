//! Draws one field-season: its effects, its strips and the emergence of every seed in the counted places.

use std::error::Error;

use rand::seq::SliceRandom;
use rand_chacha::ChaCha8Rng;

use super::clock::{DAY, LocalMinute};
use super::condition::Condition;
use super::growth::{Bed, BlockEffects, FieldEffects, Place, grow_strip};
use super::random::{Purpose, stream};
use super::scenario::{FieldSeason, Role, Setting};

/// A strip.
pub struct Strip {
    /// Name of the strip inside its field and season.
    pub id: String,
    /// Block, counted from one; none in an ordinary field.
    pub block: Option<usize>,
    /// What the closing system was set to.
    pub setting: Setting,
    /// Force at the closing wheels, N: that of the setting, but where the air line leaked.
    pub force_n: f64,
    /// Pressure lost to a leak, psi.
    pub leak_psi: f64,
    /// When the strip was planted, where that was not with the rest of the field.
    pub planted_at: Option<LocalMinute>,
    /// Counted places; none where the strip was never counted.
    pub places: Vec<Place>,
    /// Times of the inspections, in rising order.
    pub visits: Vec<LocalMinute>,
}

impl Strip {
    /// Plants up in all counted places at a visit, counted from nought; none beyond the last visit.
    pub fn emerged_at(&self, visit: usize, planted: LocalMinute) -> Option<usize> {
        let time = self.visits.get(visit)?;
        let hours = (time.0 - planted.0) as f64 / 60.0;
        Some(self.places.iter().map(|place| place.emerged_by(hours)).sum())
    }
}

/// A field-season as drawn.
pub struct FieldRecord {
    /// Position in the scenario, which names its random streams.
    pub index: usize,
    /// How it was planned.
    pub plan: &'static FieldSeason,
    /// What was drawn for it as a whole.
    pub effects: FieldEffects,
    /// Strips in the order they were planted.
    pub strips: Vec<Strip>,
}

impl FieldRecord {
    /// Draws a field-season.
    ///
    /// # Errors
    /// A distribution that cannot be set up.
    pub fn draw(index: usize, plan: &'static FieldSeason) -> Result<Self, Box<dyn Error>> {
        let mut generator = stream(Purpose::Emergence, index);
        let generator = &mut generator;
        let effects = FieldEffects::draw(generator, &plan.condition.truth())?;
        let base_visits = visits(plan, effects.start_h);
        let mut strips = Vec::new();
        for (order, (block, setting)) in layout(index, plan).into_iter().enumerate() {
            let id = format!("S{:02}", order + 1);
            let leak_psi = leak(plan, &id);
            strips.push(Strip {
                planted_at: late_planting(plan, block),
                force_n: match setting {
                    Setting::Psi(psi) => Setting::Psi(psi - leak_psi).force_n(),
                    other => other.force_n(),
                },
                id,
                block,
                setting,
                leak_psi,
                places: Vec::new(),
                // Three places take some five minutes, and the round goes from strip to strip.
                visits: base_visits.iter().map(|visit| visit.plus(order as i64 * 5)).collect(),
            });
        }
        grow(generator, plan, &effects, &mut strips)?;
        Ok(Self { index, plan, effects, strips })
    }
}

/// Block and setting of each strip, in the order they were planted: settings in random order within every block.
fn layout(index: usize, plan: &FieldSeason) -> Vec<(Option<usize>, Setting)> {
    if plan.role == Role::Log {
        return vec![(None, plan.settings[0]); plan.repeats];
    }
    let mut generator = stream(Purpose::Layout, index);
    let mut strips = Vec::new();
    for block in 1..=plan.repeats {
        let mut order = plan.settings.to_vec();
        order.shuffle(&mut generator);
        strips.extend(order.into_iter().map(|setting| (Some(block), setting)));
    }
    strips
}

/// Pressure lost in one strip whose air line leaked, psi.
fn leak(plan: &FieldSeason, strip: &str) -> f64 {
    if plan.is("lindqvist-40", 2024) && strip == "S08" { 7.0 } else { 0.0 }
}

/// In one field, rain stopped the planter and the last block was planted the next morning.
fn late_planting(plan: &FieldSeason, block: Option<usize>) -> Option<LocalMinute> {
    (plan.is("home-south", 2023) && block == Some(4)).then(|| plan.planted_at().plus(22 * 60))
}

/// Times at which the round of inspections began: from before the first emergence, at half past six and at five, twice a
/// day at first, then less often, and once more when nothing new is expected.
fn visits(plan: &FieldSeason, start_h: f64) -> Vec<LocalMinute> {
    let planted = plan.planted_at();
    let first_emergence = planted.plus((start_h * 60.0) as i64);
    let midnight = first_emergence.0.div_euclid(DAY) * DAY;
    let half_day = |slot: i64| {
        let clock = if slot.rem_euclid(2) == 0 { 6 * 60 + 30 } else { 17 * 60 };
        LocalMinute(midnight + slot.div_euclid(2) * DAY + clock)
    };
    // A round takes less than two hours: the first must be over before the first plant is up.
    let mut first = 1;
    while half_day(first).plus(180) > first_emergence {
        first -= 1;
    }
    let last = match plan.condition {
        Condition::MoistCovered | Condition::MoistBare => 18,
        Condition::DryBare => 21,
        Condition::WetCovered => 27,
    };
    [0, 1, 2, 3, 5, 7, 9, 12, last].iter().map(|step| half_day(first + step)).collect()
}

/// Draws every seed of every counted place.
fn grow(
    generator: &mut ChaCha8Rng,
    plan: &FieldSeason,
    effects: &FieldEffects,
    strips: &mut [Strip],
) -> Result<(), Box<dyn Error>> {
    let truth = plan.condition.truth();
    let places = if strips[0].setting.planter() == "north-12" {
        [("a", 3), ("b", 6), ("c", 10)]
    } else {
        [("a", 2), ("b", 4), ("c", 7)]
    };
    for strips in strips.chunk_by_mut(|one, next| one.block == next.block) {
        let block = BlockEffects::draw(generator)?;
        for strip in strips {
            let waited_h = strip.planted_at.map_or(0.0, |late| (late.0 - plan.planted_at().0) as f64 / 60.0);
            let bed = Bed { truth: &truth, field: effects, block: &block, force_n: strip.force_n, waited_h };
            strip.places = grow_strip(generator, &bed, &places)?;
            if plan.uncounted.contains(&strip.id.as_str()) {
                strip.places.clear();
            }
        }
    }
    Ok(())
}
