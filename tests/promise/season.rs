//! A simulated review with a known truth: strip trials in several field-seasons of one condition.

use evenstand_tables::rows::StripRow;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Binomial, Distribution, StandardNormal};

/// Settings tried, in newtons; scaled force s runs from −1 to 1 over them.
pub const FORCES: [f64; 5] = [80.0, 135.0, 190.0, 245.0, 300.0];
const BLOCKS: usize = 4;
const SEEDS: u64 = 100;
/// Standard deviations on the logit scale: between field-seasons, blocks and strips.
const FIELD: f64 = 0.35;
const BLOCK: f64 = 0.15;
const STRIP: f64 = 0.25;

/// What force truly does, on the logit scale.
#[derive(Debug, Clone, Copy)]
pub enum Shape {
    /// An optimum at `best`; a field's own lies around it with standard deviation `own`.
    Inside {
        best: f64,
        own: f64,
        curvature: f64,
    },
    Rising {
        slope: f64,
    },
    Flat,
}

pub struct Season {
    pub seed: u64,
    pub fields: usize,
    pub shape: Shape,
    pub default_n: f64,
}

impl Season {
    /// Logit of the emerged share at a scaled force, in a field with its own best.
    fn logit(&self, s: f64, own: f64) -> f64 {
        1.6 + match self.shape {
            Shape::Inside { best, curvature, .. } => -curvature * (s - best - own).powi(2),
            Shape::Rising { slope } => slope * s,
            Shape::Flat => 0.0,
        }
    }

    /// Standard deviation of a field's own best, on the s scale.
    fn own(&self) -> f64 {
        if let Shape::Inside { own, .. } = self.shape { own } else { 0.0 }
    }

    /// Strips as `link` would give them.
    pub fn strips(&self) -> Vec<StripRow> {
        let mut random = ChaCha8Rng::seed_from_u64(self.seed);
        let normal = |random: &mut ChaCha8Rng, deviation: f64| deviation * random.sample::<f64, _>(StandardNormal);
        let mut strips = Vec::new();
        for field in 0..self.fields {
            let (level, own) = (normal(&mut random, FIELD), normal(&mut random, self.own()));
            for block in 0..BLOCKS {
                let of_block = normal(&mut random, BLOCK);
                for force in FORCES {
                    let logit =
                        self.logit((force - 190.0) / 110.0, own) + level + of_block + normal(&mut random, STRIP);
                    let plants = Binomial::new(SEEDS, 1.0 / (1.0 + (-logit).exp())).unwrap().sample(&mut random);
                    strips.push(strip(field, block, force, plants as f64));
                }
            }
        }
        strips
    }

    /// Share lost by a start against the best of the tested range, in a field that no review has seen.
    pub fn loss_in_new_field(&self, field: u32, start_n: f64) -> f64 {
        let mut random = ChaCha8Rng::seed_from_u64(1_000_000 + u64::from(field));
        let (level, own) =
            (FIELD * random.sample::<f64, _>(StandardNormal), self.own() * random.sample::<f64, _>(StandardNormal));
        let share = |force: f64| 1.0 / (1.0 + (-(self.logit((force - 190.0) / 110.0, own) + level)).exp());
        let best = (0..=220).map(|step| share(80.0 + f64::from(step))).fold(0.0, f64::max);
        best - share(start_n)
    }
}

/// A strip with everything missing but its setting and its count.
fn strip(field: usize, block: usize, force: f64, plants: f64) -> StripRow {
    StripRow {
        field_id: format!("field {field}"),
        season: 2025,
        strip_id: format!("{block}-{force}"),
        block: Some(block.to_string()),
        condition: "moist, covered".into(),
        closer: Some("discs_and_press_wheel".into()),
        force_n: Some(force),
        force_source: Some("set_force".into()),
        set_force_n: Some(force),
        seeds_sown: Some(SEEDS as f64),
        emerged: Some(plants),
        emerged_share: Some(plants / SEEDS as f64),
        usable: Some(true),
        n_samples: Some(3),
        ..StripRow::default()
    }
}
