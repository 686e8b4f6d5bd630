//! Draws one field-season: its effects, its strips and the emergence of every seed in the counted places.

use std::error::Error;

use rand::Rng;
use rand::seq::SliceRandom;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Beta, Distribution, Normal, StandardNormal};

use super::clock::{DAY, LocalMinute};
use super::condition::{Condition, EMERGENCE_LOSS, SPREAD_GROWTH, weibull_quantile, weibull_width};
use super::random::{Purpose, stream};
use super::scenario::{FieldSeason, Role, Setting};

/// Seeds in a counted place, on average: 33 200 seeds an acre in a 30-inch row, over 17 feet 5 inches.
const SEEDS_A_PLACE: f64 = 33.19;
/// Standard deviations of the field, block and strip effects.
const FIELD_BEST_N: f64 = 12.0;
const FIELD_FINAL: f64 = 0.03;
/// Most that emerges in a field at its best, share of the seeds: the seed lots germinate at 98 %.
const HIGHEST_FINAL: f64 = 0.96;
const FIELD_LOG_SPREAD: f64 = 0.20;
const BLOCK_FINAL: f64 = 0.005;
const BLOCK_LOG_SPREAD: f64 = 0.05;
const BLOCK_START_H: f64 = 4.0;
const STRIP_FINAL: f64 = 0.015;
const STRIP_LOG_SPREAD: f64 = 0.10;
const STRIP_START_H: f64 = 3.0;
/// Variance of a count over that of a binomial one: plants come up, or fail, together.
const OVER_DISPERSION: f64 = 1.3;

/// What was drawn for a field-season as a whole.
pub struct FieldEffects {
    /// The field's own best force, N.
    pub best_force_n: f64,
    /// Its addition to final emergence, share of the seeds.
    pub final_share: f64,
    /// Its addition to the logarithm of the spread.
    pub log_spread: f64,
    /// Degree-days Fahrenheit a day.
    pub heat: f64,
    /// First emergence, hours after planting.
    pub start_h: f64,
}

/// A counted place.
pub struct Place {
    /// Name of the place inside its strip.
    pub id: &'static str,
    /// Row unit whose row was counted.
    pub row_unit: u32,
    /// Seeds sown there.
    pub seeds: usize,
    /// When each emerged plant came up, hours after planting of the field began, in rising order.
    pub emerged_h: Vec<f64>,
}

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

impl Place {
    /// Plants up that many hours after planting of the field began.
    pub fn emerged_by(&self, hours: f64) -> usize {
        self.emerged_h.partition_point(|&time| time <= hours)
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
        let heat = generator.random_range(12.5..14.5);
        let effects = FieldEffects {
            best_force_n: plan.condition.truth().best_force_n + deviate(generator, FIELD_BEST_N)?,
            final_share: deviate(generator, FIELD_FINAL)?.min(HIGHEST_FINAL - plan.condition.truth().final_share),
            log_spread: deviate(generator, FIELD_LOG_SPREAD)?,
            heat,
            start_h: (98.0 + deviate(generator, 4.0)?) / heat * 24.0,
        };
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

/// A normal deviate with mean zero.
fn deviate(generator: &mut ChaCha8Rng, deviation: f64) -> Result<f64, Box<dyn Error>> {
    Ok(Normal::new(0.0, deviation)?.sample(generator))
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
    let row_units: [u32; 3] = if strips[0].setting.planter() == "north-12" { [3, 6, 10] } else { [2, 4, 7] };
    // Intraclass correlation that gives a place of average size the wanted variance.
    let correlation = (OVER_DISPERSION - 1.0) / (SEEDS_A_PLACE - 1.0);
    let mut block_effects = (None, 0.0, 0.0, 0.0);
    for strip in strips {
        if block_effects.0 != Some(strip.block) {
            block_effects = (
                Some(strip.block),
                deviate(generator, BLOCK_FINAL)?,
                deviate(generator, BLOCK_LOG_SPREAD)?,
                deviate(generator, BLOCK_START_H)?,
            );
        }
        let (_, block_final, block_log_spread, block_start_h) = block_effects;
        let squared = truth.squared_distance(strip.force_n, effects.best_force_n);
        let share = truth.final_share - EMERGENCE_LOSS * squared
            + effects.final_share
            + block_final
            + deviate(generator, STRIP_FINAL)?;
        let share = share.clamp(0.3, 0.98);
        let log_spread = effects.log_spread + block_log_spread + deviate(generator, STRIP_LOG_SPREAD)?;
        let spread_h = truth.spread_heat / effects.heat * 24.0 * (1.0 + SPREAD_GROWTH * squared) * log_spread.exp();
        let scale_h = spread_h / weibull_width();
        let waited_h = strip.planted_at.map_or(0.0, |late| (late.0 - plan.planted_at().0) as f64 / 60.0);
        let start_h = effects.start_h + block_start_h + deviate(generator, STRIP_START_H)? + waited_h;
        let precision = correlation.recip() - 1.0;
        let place_share = Beta::new(share * precision, (1.0 - share) * precision)?;
        for (id, row_unit) in ["a", "b", "c"].into_iter().zip(row_units) {
            let seeds = (SEEDS_A_PLACE + generator.random::<f64>()).floor() as usize;
            let chance = place_share.sample(generator);
            let mut emerged_h: Vec<f64> = (0..seeds)
                .filter_map(|_| {
                    let emerges = generator.random::<f64>() < chance;
                    let time_h = start_h + scale_h * weibull_quantile(generator.random::<f64>());
                    emerges.then_some(time_h)
                })
                .collect();
            emerged_h.sort_by(f64::total_cmp);
            strip.places.push(Place { id, row_unit, seeds, emerged_h });
        }
        if plan.uncounted.contains(&strip.id.as_str()) {
            strip.places.clear();
        }
    }
    Ok(())
}

/// A standard normal deviate, for measuring noise.
pub fn noise(generator: &mut ChaCha8Rng) -> f64 {
    StandardNormal.sample(generator)
}

/// How much later than half of its strip a plant comes up, hours, where the strip has that spread T90 − T10: for single plants
/// that were not among the counted ones.
pub fn late_by(generator: &mut ChaCha8Rng, spread_h: f64) -> f64 {
    let median = weibull_quantile(0.5);
    (weibull_quantile(generator.random::<f64>()) - median) * spread_h / weibull_width()
}
