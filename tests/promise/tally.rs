//! Records of many reviews become one row a scenario, every figure with its Monte Carlo error.

use crate::judge::Record;
use crate::rivals::RIVALS;
use crate::world::World;

/// A mean with its Monte Carlo standard error and the number of answers behind it. `None` where nothing was to be averaged.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Estimate {
    pub value: Option<f64>,
    pub error: Option<f64>,
    pub count: usize,
}

impl Estimate {
    /// Mean of a figure over the records that have it. Conditions of one review are not independent: the error is that of a ratio
    /// of sums over reviews (Cochran 1977, section 2.11), and records must be in order of their seeds.
    pub fn mean(records: &[Record], figure: impl Fn(&Record) -> Option<f64>) -> Self {
        let reviews: Vec<(f64, usize)> = records
            .chunk_by(|a, b| a.seed == b.seed)
            .map(|review| {
                let values: Vec<f64> = review.iter().filter_map(&figure).collect();
                (values.iter().sum(), values.len())
            })
            .filter(|(_, count)| *count > 0)
            .collect();
        let count: usize = reviews.iter().map(|review| review.1).sum();
        if count == 0 {
            return Self::default();
        }
        let mean = reviews.iter().map(|review| review.0).sum::<f64>() / count as f64;
        let squares: f64 = reviews.iter().map(|(sum, own)| (sum - mean * *own as f64).powi(2)).sum();
        let n = reviews.len() as f64;
        let error = (n > 1.0).then(|| (n / (n - 1.0) * squares).sqrt() / count as f64);
        Self { value: Some(mean), error, count }
    }

    /// Share of records for which something holds.
    fn share(records: &[Record], holds: impl Fn(&Record) -> bool) -> Self {
        Self::mean(records, |record| Some(f64::from(u8::from(holds(record)))))
    }
}

/// Losses of one way to choose a start: mean, 95th percentile, and our mean loss less this one, review by review.
#[derive(Debug, Clone, PartialEq)]
pub struct Rival {
    pub name: &'static str,
    pub loss: Estimate,
    pub loss_95: f64,
    pub ours_less: Estimate,
}

/// One row of the result.
#[derive(Debug, Clone, PartialEq)]
pub struct Tally {
    pub scenario: String,
    /// Which conditions of the scenario; empty for all.
    pub part: &'static str,
    pub field_seasons: usize,
    pub default_n: f64,
    /// Lightest and heaviest best force of the typical field, where the row is about one condition.
    pub true_best_n: Option<(f64, f64)>,
    pub has_effect: bool,
    pub is_logs: bool,
    pub reviews: usize,
    pub failures: usize,
    pub first_failure: Option<String>,
    pub settled: Estimate,
    pub leaning: Estimate,
    pub open: Estimate,
    pub moved: Estimate,
    pub loss: Estimate,
    pub loss_95: f64,
    pub near: Estimate,
    /// Probability said, and share kept, over answers that gave a start.
    pub said: Estimate,
    pub kept: Estimate,
    /// Share of new fields within tolerance, over settled answers and over leaning ones.
    pub settled_right: Estimate,
    pub leaning_right: Estimate,
    /// Coverage of the 90 % set over all answers that give one, and over those that claim any evidence.
    pub covered: Estimate,
    pub covered_spoken: Estimate,
    pub typical_covered: Estimate,
    pub width: Estimate,
    /// Coverage of the 90 % interval of the gain, over all answers that give one and over those that moved.
    pub gain_covered: Estimate,
    pub gain_covered_moved: Estimate,
    /// Share of answers that claim a shape other than flat or untold.
    pub claimed: Estimate,
    /// Shares of the shapes, in the order of [`SHAPES`].
    pub shapes: Vec<Estimate>,
    pub rivals: Vec<Rival>,
}

/// Shapes an answer can name.
pub const SHAPES: [&str; 6] = ["inside", "lighter", "heavier", "plateau", "flat", "untold"];

/// One row for each part of a scenario, in the order in which its conditions name them.
pub fn tally(world: &World, records: &[Record]) -> Vec<Tally> {
    let mut parts: Vec<&'static str> = Vec::new();
    for condition in &world.conditions {
        if !parts.contains(&condition.part) {
            parts.push(condition.part);
        }
    }
    parts.into_iter().map(|part| row(world, part, records)).collect()
}

fn row(world: &World, part: &'static str, records: &[Record]) -> Tally {
    let records: Vec<Record> = records.iter().filter(|record| record.part == part).cloned().collect();
    let conditions: Vec<_> = world.conditions.iter().filter(|condition| condition.part == part).collect();
    let only = |holds: bool, value: f64| holds.then_some(value);
    let evidence = |name: &'static str| Estimate::share(&records, move |record| record.evidence == name);
    let near_where =
        |name: &'static str| Estimate::mean(&records, move |record| only(record.evidence == name, record.near));
    let losses = |loss: &dyn Fn(&Record) -> f64| percentile_95(records.iter().map(loss).collect());
    Tally {
        scenario: world.name.clone(),
        part,
        field_seasons: conditions.iter().map(|condition| condition.field_seasons).max().unwrap_or(0),
        default_n: world.default_n,
        true_best_n: records.first().filter(|_| conditions.len() == 1).map(|record| record.true_best_n),
        has_effect: conditions.iter().any(|condition| condition.has_effect()),
        is_logs: world.is_logs(),
        reviews: records.chunk_by(|a, b| a.seed == b.seed).count(),
        failures: records.iter().filter(|record| record.failure.is_some()).count(),
        first_failure: records.iter().find_map(|record| record.failure.clone()),
        settled: evidence("settled"),
        leaning: evidence("leaning"),
        open: evidence("open"),
        moved: Estimate::share(&records, Record::moved),
        loss: Estimate::mean(&records, |record| Some(record.loss)),
        loss_95: losses(&|record| record.loss),
        near: Estimate::mean(&records, |record| Some(record.near)),
        said: Estimate::mean(&records, |record| record.said),
        kept: Estimate::mean(&records, |record| record.said.map(|_| record.near)),
        settled_right: near_where("settled"),
        leaning_right: near_where("leaning"),
        covered: Estimate::mean(&records, |record| record.covered),
        covered_spoken: Estimate::mean(&records, |record| record.covered.filter(|_| record.spoke())),
        typical_covered: Estimate::mean(&records, |record| record.typical_covered),
        width: Estimate::mean(&records, |record| record.width),
        gain_covered: Estimate::mean(&records, |record| record.gain_covered),
        gain_covered_moved: Estimate::mean(&records, |record| record.gain_covered.filter(|_| record.moved())),
        claimed: Estimate::share(&records, |record| SHAPES[..4].contains(&record.shape.as_str())),
        shapes: SHAPES
            .iter()
            .map(|shape| Estimate::share(&records, |record| record.failure.is_none() && record.shape == *shape))
            .collect(),
        rivals: RIVALS
            .iter()
            .enumerate()
            .map(|(number, name)| Rival {
                name,
                loss: Estimate::mean(&records, |record| Some(record.rivals[number])),
                loss_95: losses(&|record| record.rivals[number]),
                ours_less: Estimate::mean(&records, |record| Some(record.loss - record.rivals[number])),
            })
            .collect(),
    }
}

/// 95th percentile, the smallest value that at least 95 in 100 do not exceed; 0 of none.
fn percentile_95(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    let rank = (0.95 * values.len() as f64).ceil() as usize;
    values.get(rank.saturating_sub(1)).copied().unwrap_or(0.0)
}

impl Tally {
    /// Scenario and part in one name.
    pub fn name(&self) -> String {
        if self.part.is_empty() { self.scenario.clone() } else { format!("{} ({})", self.scenario, self.part) }
    }
}
