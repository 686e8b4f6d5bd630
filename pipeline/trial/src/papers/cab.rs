//! The card for the cab: passes in the order in which they are driven, and what to set on each.

use serde::Serialize;

use super::page::{STYLE, render};
use super::units::Units;
use super::words;
use crate::{Pass, Plan, Strip, TrialError};

const FILE: &str = "cab-card.html";
const TEMPLATE: &str = include_str!("../../templates/cab-card.html");

#[derive(Serialize)]
struct Page<'a> {
    style: &'a str,
    field_id: &'a str,
    season: i64,
    blocks: usize,
    strips: usize,
    cards: Vec<Card<'a>>,
    several: bool,
    headland: String,
    buffer: Option<String>,
}

/// What one driver needs.
#[derive(Serialize)]
struct Card<'a> {
    planter: &'a str,
    rows: u32,
    /// What the knob reads in: a unit, or `None` for positions.
    unit: Option<&'static str>,
    default: Option<String>,
    steps: Vec<Step>,
}

#[derive(Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
enum Step {
    Closer { closer: String, first: bool },
    Border { number: usize, arrow: &'static str, direction: &'static str, set: Option<String> },
    Pass { number: usize, arrow: &'static str, direction: &'static str, stops: Vec<Stop> },
}

/// A strip on a pass, in the direction of travel.
#[derive(Serialize)]
struct Stop {
    strip_id: String,
    block: usize,
    set: String,
    /// Distance from the start line at which to change, where a pass has several strips and this is not the first.
    change_at: Option<String>,
}

/// The card, a section a planter.
pub(crate) fn cab_card(plan: &Plan, units: &Units) -> Result<String, TrialError> {
    let cards: Vec<Card> = (0..plan.planters.len()).map(|planter| card(plan, units, planter)).collect();
    let page = Page {
        style: STYLE,
        field_id: &plan.field_id,
        season: plan.season,
        blocks: plan.blocks,
        strips: plan.strips.len(),
        several: cards.len() > 1,
        cards,
        headland: units.along_with_unit(plan.field.headland_m),
        buffer: (plan.field.buffer_m > 0.0).then(|| units.along_with_unit(plan.field.buffer_m)),
    };
    render(FILE, TEMPLATE, &page)
}

fn card<'a>(plan: &'a Plan, units: &Units, position: usize) -> Card<'a> {
    let planter = &plan.planters[position];
    let mut steps = Vec::new();
    let mut closer = None;
    for pass in plan.passes.iter().filter(|pass| pass.planter == position) {
        let stops = words::as_driven(plan, pass);
        if let Some(strip) = stops.first().filter(|_| plan.closers.len() > 1)
            && closer != Some(strip.closer)
        {
            let name = plan.closers.get(strip.closer).map_or("", String::as_str);
            steps.push(Step::Closer { closer: words::closer(name), first: closer.is_none() });
            closer = Some(strip.closer);
        }
        steps.push(step(plan, units, pass, &stops));
    }
    let has_positions = plan
        .levels
        .first()
        .and_then(|level| level.knobs.get(position))
        .is_some_and(|knob| matches!(knob, crate::Setting::Position(_)));
    Card {
        planter: &planter.id,
        rows: planter.rows,
        unit: (!has_positions).then(|| units.gauge_label(plan, position)),
        default: planter.default.as_ref().map(|setting| units.knob_in_words(plan, position, setting)),
        steps,
    }
}

fn step(plan: &Plan, units: &Units, pass: &Pass, strips: &[&Strip]) -> Step {
    let (number, arrow, direction) = (pass.number, words::arrow(pass), words::direction(pass));
    if strips.is_empty() {
        let default = plan.planters.get(pass.planter).and_then(|planter| planter.default.as_ref());
        let set = default.map(|setting| units.knob(plan, pass.planter, setting));
        return Step::Border { number, arrow, direction, set };
    }
    let stops = strips.iter().enumerate().map(|(order, strip)| Stop {
        strip_id: strip.strip_id.clone(),
        block: strip.block,
        // The knob is that of the planter which drives the pass.
        set: units.knob(plan, pass.planter, &plan.levels[strip.level].knobs[pass.planter]),
        change_at: (order > 0)
            .then(|| units.along_with_unit(if pass.outward { strip.span_m.0 } else { strip.span_m.1 })),
    });
    Step::Pass { number, arrow, direction, stops: stops.collect() }
}
