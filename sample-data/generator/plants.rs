//! What was measured on plants beside the counts: spacing, leaf stage and yield.

use rand::Rng;

use super::condition::{EMERGENCE_LOSS, SPREAD_GROWTH};
use super::emergence::FieldRecord;
use super::growth::{late_by, noise};
use super::random::{Purpose, stream};
use super::tidy::TidyTable;

/// Distance between seeds in centimetres at 33 200 seeds an acre in a 30-inch row.
const SEED_SPACING_CM: f64 = 16.0;
/// Plants measured along the row in a strip.
const SPACED_PLANTS: usize = 40;
/// Plants whose leaves were counted in a strip.
const STAGED_PLANTS: usize = 15;
/// Hours that set a plant back by one leaf.
const HOURS_A_LEAF: f64 = 145.0;

/// Positions of plants along the row in two field-seasons: one in inches, one in centimetres.
pub fn spacings(records: &[FieldRecord]) -> Vec<TidyTable> {
    let mut tables = Vec::new();
    for record in records {
        let (name, position, per_cm) = if record.plan.is("quarry-east", 2022) {
            ("spacing-tamarack.csv", "position_in", 2.54)
        } else if record.plan.is("ridge-top", 2022) {
            ("spacing-hollis.csv", "position_cm", 1.0)
        } else {
            continue;
        };
        let mut generator = stream(Purpose::Plants, record.index);
        let mut table = TidyTable::new(name, &["field_id", "season", "strip_id", "sample_id", "plant", position]);
        let truth = record.plan.condition.truth();
        for strip in &record.strips {
            let squared = truth.squared_distance(strip.force_n, record.effects.best_force_n);
            let share = (truth.final_share + record.effects.final_share - EMERGENCE_LOSS * squared).clamp(0.3, 0.99);
            let mut positions = Vec::new();
            let mut seed_cm = 0.0;
            while positions.len() < SPACED_PLANTS {
                seed_cm += SEED_SPACING_CM;
                let kind: f64 = generator.random();
                // The metering skips a seed now and then and drops two at times; a seed that did not emerge leaves a gap.
                let dropped = match kind {
                    kind if kind < 0.015 => 0,
                    kind if kind < 0.030 => 2,
                    _ => 1,
                };
                for double in 0..dropped {
                    let place = seed_cm + 2.2 * noise(&mut generator) + 3.0 * f64::from(double);
                    if generator.random::<f64>() < share {
                        positions.push(place);
                    }
                }
            }
            positions.truncate(SPACED_PLANTS);
            positions.sort_by(f64::total_cmp);
            for (order, place) in positions.iter().enumerate() {
                table.push([
                    record.plan.field.into(),
                    record.plan.season.to_string(),
                    strip.id.clone(),
                    "tape".into(),
                    (order + 1).to_string(),
                    format!("{:.1}", place / per_cm),
                ]);
            }
        }
        tables.push(table);
    }
    tables
}

/// Leaf stages of single plants about thirty days after planting, in two field-seasons: late plants are a leaf behind.
pub fn leaf_stages(records: &[FieldRecord]) -> Vec<TidyTable> {
    let mut tables = Vec::new();
    for record in records {
        let plan = record.plan;
        if !(plan.is("quarry-east", 2022) || plan.is("home-south", 2023)) {
            continue;
        }
        let mut generator = stream(Purpose::Plants, record.index + 100);
        let mut table = TidyTable::new(
            format!("plant-{}-{}.csv", plan.client.short(), plan.season),
            &["field_id", "season", "strip_id", "sample_id", "plant", "leaf_stage"],
        );
        let truth = plan.condition.truth();
        for strip in &record.strips {
            let squared = truth.squared_distance(strip.force_n, record.effects.best_force_n);
            let spread_h = truth.spread_heat / record.effects.heat
                * 24.0
                * (1.0 + SPREAD_GROWTH * squared)
                * record.effects.log_spread.exp();
            for plant in 1..=STAGED_PLANTS {
                let late_h = late_by(&mut generator, spread_h);
                let stage = 5.3 - late_h / HOURS_A_LEAF + 0.2 * noise(&mut generator);
                table.push([
                    plan.field.into(),
                    plan.season.to_string(),
                    strip.id.clone(),
                    "leaf".into(),
                    plant.to_string(),
                    // Read to half a leaf.
                    format!("{:.1}", (stage.max(0.0) * 2.0).round() / 2.0),
                ]);
            }
        }
        tables.push(table);
    }
    tables
}

/// Yield of the strips that were weighed, in t/ha.
pub fn yields(records: &[FieldRecord]) -> TidyTable {
    let mut table =
        TidyTable::new("measure.csv", &["field_id", "season", "strip_id", "name", "value", "unit", "better"]);
    let weighed = [
        ("quarry-east", 2022),
        ("home-north", 2022),
        ("cold-spring-2", 2023),
        ("quarry-east", 2024),
        ("lindqvist-40", 2024),
        ("home-south", 2025),
    ];
    for record in records {
        let plan = record.plan;
        if !weighed.iter().any(|&(field, season)| plan.is(field, season)) {
            continue;
        }
        let mut generator = stream(Purpose::Plants, record.index + 200);
        let field = 12.4 + 0.8 * noise(&mut generator);
        for strip in &record.strips {
            let squared = plan.condition.truth().squared_distance(strip.force_n, record.effects.best_force_n);
            let value = field - 0.12 * squared + 0.25 * noise(&mut generator);
            table.push([
                plan.field.into(),
                plan.season.to_string(),
                strip.id.clone(),
                "yield".into(),
                format!("{value:.2}"),
                "t/ha".into(),
                "higher".into(),
            ]);
        }
    }
    table
}
