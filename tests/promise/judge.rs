//! One simulated review: drawn, answered by the model, judged by the truth.

use std::panic::{AssertUnwindSafe, catch_unwind};

use evenstand_model::{Questions, suggest};
use evenstand_settings::Settings;
use evenstand_tables::rows::{StartingPointRow, StripRow};

use crate::rivals::starts;
use crate::season::strips;
use crate::truth::{Truth, tested};
use crate::world::{TOLERANCE, World};

/// What came of one condition of one review.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Record {
    pub seed: u64,
    pub condition: &'static str,
    pub part: &'static str,
    /// Why there is no answer that can be judged; the review then stays at its default.
    pub failure: Option<String>,
    pub evidence: String,
    pub shape: String,
    pub default_n: f64,
    pub start_n: Option<f64>,
    pub best_n: Option<f64>,
    pub best_low_n: Option<f64>,
    pub best_high_n: Option<f64>,
    /// Best forces of the typical field, lightest and heaviest.
    pub true_best_n: (f64, f64),
    /// The start, else the default.
    pub acted_n: f64,
    /// Mean share lost over new fields.
    pub loss: f64,
    /// Share of new fields in which the loss is within tolerance.
    pub near: f64,
    /// What the answer said of that, where it gave a start.
    pub said: Option<f64>,
    /// Share of new fields whose best meets the set of forces that can be the best.
    pub covered: Option<f64>,
    /// The same of the typical field, 0 or 1.
    pub typical_covered: Option<f64>,
    /// Width of the set as a share of the tested range.
    pub width: Option<f64>,
    /// Whether the gain's interval holds the true gain, 0 or 1.
    pub gain_covered: Option<f64>,
    /// Loss of each rival.
    pub rivals: [f64; 4],
}

impl Record {
    /// Whether the start differs from the default.
    pub fn moved(&self) -> bool {
        (self.acted_n - self.default_n).abs() > 1e-6
    }

    /// Whether any evidence was claimed.
    pub fn spoke(&self) -> bool {
        self.evidence == "settled" || self.evidence == "leaning"
    }
}

/// Draws a review, answers it and judges each condition. `truths` are those of the world's conditions, in order.
pub fn judge(world: &World, truths: &[Truth], seed: u64, draws: usize) -> Vec<Record> {
    let strips = strips(world, seed);
    let answered = answer(world, &strips, draws);
    let of_condition = world.conditions.iter().zip(truths);
    of_condition
        .map(|(condition, truth)| {
            let own: Vec<&StripRow> = strips.iter().filter(|strip| strip.condition == condition.name).collect();
            let row = answered.as_ref().map_err(Clone::clone).and_then(|rows| usable_row(rows, condition.name));
            let mut record = match row {
                Ok(row) => judged(row, truth, world.default_n),
                Err(failure) => Record {
                    failure: Some(failure),
                    evidence: "failed".into(),
                    loss: truth.loss(world.default_n),
                    near: truth.near(world.default_n, TOLERANCE),
                    acted_n: world.default_n,
                    default_n: world.default_n,
                    ..Record::default()
                },
            };
            record.rivals = starts(&own, world.default_n).map(|force_n| truth.loss(force_n));
            let true_best_n = truth.typical_best();
            Record { seed, condition: condition.name, part: condition.part, true_best_n, ..record }
        })
        .collect()
}

/// The deciding answers to a review; the error says what went wrong.
pub fn answer(world: &World, strips: &[StripRow], draws: usize) -> Result<Vec<StartingPointRow>, String> {
    let settings = Settings::parse(&format!("default_force_n = {:?}\ndraws = {draws}\n", world.default_n))
        .map_err(|error| error.to_string())?;
    let questions = Questions { strips, measures: &[], digs: &[], settings: &settings };
    let answers = catch_unwind(AssertUnwindSafe(|| suggest(&questions))).map_err(|_| "panicked".to_owned())?;
    Ok(answers.starting_points.into_iter().filter(|row| row.primary == Some(true)).collect())
}

fn usable_row<'a>(rows: &'a [StartingPointRow], condition: &str) -> Result<&'a StartingPointRow, String> {
    let row = rows.iter().find(|row| row.condition == condition).ok_or("no row that decides")?;
    let numbers = [
        ("start_n", row.start_n),
        ("best_n", row.best_n),
        ("best_low_n", row.best_low_n),
        ("best_high_n", row.best_high_n),
        ("prob_near_best", row.prob_near_best),
        ("gain_vs_default", row.gain_vs_default),
        ("gain_low", row.gain_low),
        ("gain_high", row.gain_high),
    ];
    match numbers.iter().find(|(_, value)| value.is_some_and(|value| !value.is_finite())) {
        Some((name, _)) => Err(format!("{name} is not a number")),
        None => Ok(row),
    }
}

fn judged(row: &StartingPointRow, truth: &Truth, default_n: f64) -> Record {
    let acted_n = row.start_n.unwrap_or(default_n);
    let set = row.best_low_n.zip(row.best_high_n);
    let flag = |holds: bool| f64::from(u8::from(holds));
    let (low_n, high_n) = tested();
    Record {
        evidence: row.evidence.clone(),
        shape: row.shape.clone().unwrap_or_else(|| "untold".into()),
        default_n,
        start_n: row.start_n,
        best_n: row.best_n,
        best_low_n: row.best_low_n,
        best_high_n: row.best_high_n,
        acted_n,
        loss: truth.loss(acted_n),
        near: truth.near(acted_n, TOLERANCE),
        said: row.start_n.and(row.prob_near_best),
        covered: set.map(|(low, high)| truth.covered(low, high)),
        typical_covered: set.map(|(low, high)| flag(truth.typical_covered(low, high))),
        width: set.map(|(low, high)| (high - low) / (high_n - low_n)),
        gain_covered: row.gain_low.zip(row.gain_high).map(|(low, high)| {
            let gain = truth.typical_gain(acted_n, default_n);
            // A start that is the default gains exactly nothing, and says so up to rounding.
            flag(low - 1e-9 <= gain && gain <= high + 1e-9)
        }),
        ..Record::default()
    }
}
