//! Grows a strip: what a field, a block and a strip add to what force does, and when every seed of a counted place comes up.

use std::error::Error;

use rand::Rng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Beta, Distribution, Normal, StandardNormal};

use super::condition::{EMERGENCE_LOSS, SPREAD_GROWTH, Truth, weibull_quantile, weibull_width};

/// Seeds in a counted place, on average: 33 200 seeds an acre in a 30-inch row, over 17 feet 5 inches.
pub const SEEDS_A_PLACE: f64 = 33.19;
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

impl FieldEffects {
    /// Draws what a field-season adds to the truth of its condition.
    ///
    /// # Errors
    /// A distribution that cannot be set up.
    pub fn draw(generator: &mut ChaCha8Rng, truth: &Truth) -> Result<Self, Box<dyn Error>> {
        let heat = generator.random_range(12.5..14.5);
        Ok(Self {
            best_force_n: truth.best_force_n + deviate(generator, FIELD_BEST_N)?,
            final_share: deviate(generator, FIELD_FINAL)?.min(HIGHEST_FINAL - truth.final_share),
            log_spread: deviate(generator, FIELD_LOG_SPREAD)?,
            heat,
            start_h: (98.0 + deviate(generator, 4.0)?) / heat * 24.0,
        })
    }
}

/// What was drawn for a block.
pub struct BlockEffects {
    /// Its addition to final emergence, share of the seeds.
    final_share: f64,
    /// Its addition to the logarithm of the spread.
    log_spread: f64,
    /// How much later its first plants come up, hours.
    start_h: f64,
}

impl BlockEffects {
    /// Draws what a block adds to its field.
    ///
    /// # Errors
    /// A distribution that cannot be set up.
    pub fn draw(generator: &mut ChaCha8Rng) -> Result<Self, Box<dyn Error>> {
        Ok(Self {
            final_share: deviate(generator, BLOCK_FINAL)?,
            log_spread: deviate(generator, BLOCK_LOG_SPREAD)?,
            start_h: deviate(generator, BLOCK_START_H)?,
        })
    }
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

impl Place {
    /// Plants up that many hours after planting of the field began.
    pub fn emerged_by(&self, hours: f64) -> usize {
        self.emerged_h.partition_point(|&time| time <= hours)
    }
}

/// A strip that is to be grown.
pub struct Bed<'a> {
    /// What force does there.
    pub truth: &'a Truth,
    /// What its field adds.
    pub field: &'a FieldEffects,
    /// What its block adds.
    pub block: &'a BlockEffects,
    /// Force at its closing wheels, N.
    pub force_n: f64,
    /// How much later than the rest of the field it was planted, hours.
    pub waited_h: f64,
}

/// Draws every seed of the counted places of a strip; `places` has the name of each and its row unit.
///
/// # Errors
/// A distribution that cannot be set up.
pub fn grow_strip(
    generator: &mut ChaCha8Rng,
    bed: &Bed,
    places: &[(&'static str, u32)],
) -> Result<Vec<Place>, Box<dyn Error>> {
    let Bed { truth, field, block, .. } = bed;
    // Intraclass correlation that gives a place of average size the wanted variance.
    let correlation = (OVER_DISPERSION - 1.0) / (SEEDS_A_PLACE - 1.0);
    let squared = truth.squared_distance(bed.force_n, field.best_force_n);
    let share = truth.final_share - EMERGENCE_LOSS * squared
        + field.final_share
        + block.final_share
        + deviate(generator, STRIP_FINAL)?;
    let share = share.clamp(0.3, 0.98);
    let log_spread = field.log_spread + block.log_spread + deviate(generator, STRIP_LOG_SPREAD)?;
    let spread_h = truth.spread_heat / field.heat * 24.0 * (1.0 + SPREAD_GROWTH * squared) * log_spread.exp();
    let scale_h = spread_h / weibull_width();
    let start_h = field.start_h + block.start_h + deviate(generator, STRIP_START_H)? + bed.waited_h;
    let precision = correlation.recip() - 1.0;
    let place_share = Beta::new(share * precision, (1.0 - share) * precision)?;
    let mut grown = Vec::new();
    for &(id, row_unit) in places {
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
        grown.push(Place { id, row_unit, seeds, emerged_h });
    }
    Ok(grown)
}

/// A normal deviate with mean zero.
fn deviate(generator: &mut ChaCha8Rng, deviation: f64) -> Result<f64, Box<dyn Error>> {
    Ok(Normal::new(0.0, deviation)?.sample(generator))
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
