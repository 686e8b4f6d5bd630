//! Draws the strips of a review from a world.

use evenstand_tables::rows::StripRow;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Beta, Binomial, Distribution, StandardNormal};

use crate::world::{CENTRE_N, Condition, FORCES, HALF_RANGE_N, Layout, Noise, World};

/// Seeds looked at in a strip, from and to.
const SEEDS: std::ops::RangeInclusive<u64> = 90..=110;
/// Strips of a field-season in logs.
const LOGGED_STRIPS: usize = 4;

/// A normal number with mean zero.
pub fn normal(random: &mut ChaCha8Rng, deviation: f64) -> f64 {
    deviation * random.sample::<f64, _>(StandardNormal)
}

/// Strips as `link` would give them. The same world and seed give the same strips.
pub fn strips(world: &World, seed: u64) -> Vec<StripRow> {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut strips = Vec::new();
    for condition in &world.conditions {
        match world.layout {
            Layout::Trial { blocks, missing } => {
                for field in 0..condition.field_seasons {
                    let place = Place { world, condition, field, season: 2025 };
                    strips.extend(place.trial(blocks, missing, &mut random));
                }
            }
            Layout::Logs { seasons, correlation } => {
                for field in 0..condition.field_seasons / seasons {
                    let place = Place { world, condition, field, season: 2025 };
                    strips.extend(place.logs(seasons, correlation, &mut random));
                }
            }
        }
    }
    strips
}

/// A field-season.
#[derive(Clone, Copy)]
struct Place<'a> {
    world: &'a World,
    condition: &'a Condition,
    field: usize,
    season: i64,
}

impl Place<'_> {
    fn trial(self, blocks: usize, missing: f64, random: &mut ChaCha8Rng) -> Vec<StripRow> {
        let noise = self.condition.noise;
        let (level, own) = (normal(random, noise.field), normal(random, self.condition.own_best));
        let mut strips = Vec::new();
        for block in 0..blocks {
            let level = level + normal(random, noise.block);
            for force_n in FORCES {
                let strip = self.strip(block, force_n, level, own, random);
                if random.random::<f64>() >= missing {
                    strips.push(strip);
                }
            }
        }
        strips
    }

    /// One setting a season, chosen by how hard the ground was: half of that is the field's, half the season's.
    fn logs(self, seasons: usize, correlation: f64, random: &mut ChaCha8Rng) -> Vec<StripRow> {
        let noise = self.condition.noise;
        let own = normal(random, self.condition.own_best);
        let of_field = normal(random, 0.5_f64.sqrt());
        let mut strips = Vec::new();
        for season in 0..seasons {
            let hard = of_field + normal(random, 0.5_f64.sqrt());
            let chosen = correlation * hard + normal(random, (1.0 - correlation * correlation).sqrt());
            let force_n = nearest_setting(CENTRE_N + 0.5 * HALF_RANGE_N * chosen);
            let here = Place { season: 2025 - season as i64, ..self };
            let level = -noise.field * hard;
            strips.extend((0..LOGGED_STRIPS).map(|strip| {
                let level = level + normal(random, noise.block);
                here.strip(strip, force_n, level, own, random)
            }));
        }
        strips
    }

    fn strip(self, block: usize, set_n: f64, level: f64, own: f64, random: &mut ChaCha8Rng) -> StripRow {
        let delivery = self.world.delivery;
        let off_n = normal(random, delivery.strip_sd_n);
        let works_n = delivery.factor * set_n + off_n;
        let level = level + normal(random, self.condition.noise.strip);
        let seeds = random.random_range(SEEDS);
        let plants = count(self.condition.share(works_n, level, own), seeds, self.condition.noise, random);
        StripRow {
            field_id: format!("{} {}", self.condition.name, self.field + 1),
            season: self.season,
            strip_id: format!("{}-{set_n}", block + 1),
            block: Some((block + 1).to_string()),
            condition: self.condition.name.to_owned(),
            closer: Some("discs_and_press_wheel".into()),
            force_n: Some(set_n),
            force_source: Some("set_force".into()),
            set_force_n: Some(set_n),
            // A gauge behind a wrong calibration shows what was set, and a strip's own deviation.
            actual_force_n: (delivery.strip_sd_n > 0.0).then_some(set_n + off_n),
            seeds_sown: Some(seeds as f64),
            emerged: Some(plants as f64),
            on_time_share: Some(plants as f64 / seeds as f64),
            usable: Some(true),
            n_samples: Some(3),
            ..StripRow::default()
        }
    }
}

/// Plants on time of `seeds`: binomial, or beta-binomial with `dispersion` times the binomial variance.
fn count(share: f64, seeds: u64, noise: Noise, random: &mut ChaCha8Rng) -> u64 {
    let share = if noise.dispersion > 1.0 {
        let correlation = (noise.dispersion - 1.0) / (seeds as f64 - 1.0);
        let size = (1.0 - correlation) / correlation;
        Beta::new(share * size, (1.0 - share) * size).map_or(share, |beta| beta.sample(random))
    } else {
        share
    };
    Binomial::new(seeds, share.clamp(0.0, 1.0)).map_or(0, |binomial| binomial.sample(random))
}

fn nearest_setting(force_n: f64) -> f64 {
    let distance = |setting: &f64| (setting - force_n).abs();
    FORCES.into_iter().min_by(|a, b| distance(a).total_cmp(&distance(b))).unwrap_or(CENTRE_N)
}
