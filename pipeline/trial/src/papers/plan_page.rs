//! The planner's page: what was laid out and why, what it can show, and how the filled sheets come back.

use serde::Serialize;

use super::page::{STYLE, render};
use super::units::{Units, number};
use super::{file_stem, words};
use crate::{Ground, Plan, TrialError};

const FILE: &str = "plan.html";
const TEMPLATE: &str = include_str!("../../templates/plan.html");

#[derive(Serialize)]
struct Page<'a> {
    style: &'a str,
    review: &'a str,
    field_id: &'a str,
    season: i64,
    stem: String,
    condition: Option<&'a str>,
    response: String,
    layout: &'static str,
    planters: Vec<String>,
    levels: Vec<LevelRow>,
    blocks: Vec<BlockRow>,
    size: String,
    headland: String,
    buffer: Option<String>,
    passes: usize,
    strips: usize,
    passes_per_strip: usize,
    maps: &'a [String],
    sentences: &'a [String],
    strip_sd: String,
    strip_sd_from: &'a str,
    alpha: String,
    power: String,
    by_blocks: Vec<(usize, String, bool)>,
    counting: String,
    visits: Vec<(usize, String, &'a str)>,
    basis: &'a str,
    first_tenth: String,
    nine_tenths: String,
    notes: &'a [String],
    seed: u64,
    several_closers: bool,
    command: &'a str,
    on_globe: bool,
}

#[derive(Serialize)]
struct LevelRow {
    number: usize,
    knobs: Vec<String>,
    force: Option<String>,
    is_default: bool,
}

#[derive(Serialize)]
struct BlockRow {
    block: usize,
    strips: Vec<(String, String)>,
}

/// The page.
pub(crate) fn plan_page(
    plan: &Plan,
    ground: &Ground,
    units: &Units,
    maps: &[String],
    command: &str,
) -> Result<String, TrialError> {
    let worth = &plan.worth;
    let counting = &plan.counting;
    let page = Page {
        style: STYLE,
        review: &plan.review,
        field_id: &plan.field_id,
        season: plan.season,
        stem: file_stem(plan),
        condition: plan.condition.as_deref(),
        response: words::response(&plan.response),
        layout: words::layout(plan),
        planters: plan
            .planters
            .iter()
            .map(|planter| format!("{}, {} rows, {}", planter.id, planter.rows, words::closer(&planter.closer)))
            .collect(),
        levels: levels(plan, units),
        blocks: blocks(plan, units),
        size: format!(
            "{} wide, {} long",
            units.along_with_unit(plan.field.width_m),
            units.along_with_unit(plan.field.length_m)
        ),
        headland: units.along_with_unit(plan.field.headland_m),
        buffer: (plan.field.buffer_m > 0.0).then(|| units.along_with_unit(plan.field.buffer_m)),
        passes: plan.passes.len(),
        strips: plan.strips.len(),
        passes_per_strip: plan.field.passes_per_strip,
        maps,
        sentences: &worth.sentences,
        strip_sd: words::difference(&plan.response, worth.strip_sd),
        strip_sd_from: &worth.strip_sd_from,
        alpha: number(worth.alpha, 3),
        power: number(worth.power * 100.0, 0),
        by_blocks: worth
            .by_blocks
            .iter()
            .map(|row| (row.blocks, words::difference(&plan.response, row.difference), row.blocks == plan.blocks))
            .collect(),
        counting: format!(
            "{} {} a strip, {} {} of row each, on row units {}",
            counting.places,
            if counting.places == 1 { "place" } else { "places" },
            units.taped(counting.row_length_m),
            units.length_suffix(),
            words::list(&counting.row_units)
        ),
        visits: plan
            .visits
            .visits
            .iter()
            .enumerate()
            .map(|(position, visit)| {
                let date = visit.date.as_ref().map(|date| format!(" ({date})")).unwrap_or_default();
                (position + 1, format!("day {}{date}", visit.day), visit.reason.as_str())
            })
            .collect(),
        basis: &plan.visits.basis,
        first_tenth: number(plan.visits.first_tenth_day, 1),
        nine_tenths: number(plan.visits.nine_tenths_day, 1),
        notes: &plan.notes,
        seed: plan.seed,
        several_closers: plan.closers.len() > 1,
        command,
        on_globe: ground.is_on_globe(),
    };
    render(FILE, TEMPLATE, &page)
}

fn levels(plan: &Plan, units: &Units) -> Vec<LevelRow> {
    let row = |(position, level): (usize, &crate::Level)| LevelRow {
        number: position + 1,
        knobs: level.knobs.iter().enumerate().map(|(planter, knob)| units.knob_in_words(plan, planter, knob)).collect(),
        force: level.force_n.map(|force| units.force(force)),
        is_default: level.is_default,
    };
    plan.levels.iter().enumerate().map(row).collect()
}

fn blocks(plan: &Plan, units: &Units) -> Vec<BlockRow> {
    let mut blocks: Vec<usize> = plan.strips.iter().map(|strip| strip.block).collect();
    blocks.sort_unstable();
    blocks.dedup();
    let of = |block: usize| BlockRow {
        block,
        strips: plan
            .strips
            .iter()
            .filter(|strip| strip.block == block)
            .map(|strip| (strip.strip_id.clone(), words::treatment(plan, units, strip)))
            .collect(),
    };
    blocks.into_iter().map(of).collect()
}
