//! Record sheets with everything in them that the plan knows. Filled in and put into `raw/` they are read as they are: the name of a file
//! says its table, the name of a column its unit.

use super::delimited::table;
use super::units::{Units, number};
use super::{file_stem, words};
use crate::{Pass, Place, Plan, Setting, Strip};

/// A place to count on its pass.
pub(crate) struct Stop<'a> {
    pub strip: &'a Strip,
    pub pass: &'a Pass,
    pub place: &'a Place,
}

/// Places in walking order: up the first strip, down the next, whatever way the planter drove.
pub(crate) fn walk(plan: &Plan) -> Vec<Stop<'_>> {
    let mut stops = Vec::new();
    let mut up = true;
    let mut walked = vec![false; plan.strips.len()];
    for pass in &plan.passes {
        let mut strips: Vec<usize> = pass.strips.iter().copied().filter(|strip| !walked[*strip]).collect();
        if strips.is_empty() {
            continue;
        }
        strips.sort_by(|a, b| plan.strips[*a].span_m.0.total_cmp(&plan.strips[*b].span_m.0));
        let mut along: Vec<Stop> = Vec::new();
        for position in strips {
            walked[position] = true;
            let strip = &plan.strips[position];
            let pass = plan.passes.get(strip.pass).unwrap_or(pass);
            along.extend(strip.places.iter().map(|place| Stop { strip, pass, place }));
        }
        along.sort_by(|a, b| a.place.at_m.total_cmp(&b.place.at_m));
        if !up {
            along.reverse();
        }
        up = !up;
        stops.extend(along);
    }
    stops
}

/// Name and text of every record sheet.
pub(crate) fn records(plan: &Plan, units: &Units) -> Vec<(String, String)> {
    let stem = file_stem(plan);
    let mut files = vec![(format!("strip-{stem}.csv"), strips(plan, units))];
    let gauges = gauges(plan, units);
    for gauge in &gauges {
        // Gauges that read in different units need a sheet each: a column has one unit.
        let unit = if gauges.len() > 1 { format!("-{}", gauge.unwrap_or("positions")) } else { String::new() };
        files.push((format!("setting_log-{stem}{unit}.csv"), setting_log(plan, units, *gauge)));
    }
    files.push((format!("stand_count-{stem}.csv"), stand_count(plan, units)));
    files.push((format!("field-{stem}.csv"), field(plan, units)));
    files
}

fn names(names: &[&str]) -> Vec<String> {
    names.iter().map(|name| (*name).to_owned()).collect()
}

/// Units of the gauges, one after the other; `None` for knobs with positions.
fn gauges<'a>(plan: &'a Plan, units: &Units) -> Vec<Option<&'a str>> {
    let mut gauges = Vec::new();
    for planter in 0..plan.planters.len() {
        let gauge = gauge_of(plan, units, planter);
        if !gauges.contains(&gauge) {
            gauges.push(gauge);
        }
    }
    gauges
}

fn gauge_of<'a>(plan: &'a Plan, units: &Units, planter: usize) -> Option<&'a str> {
    let knob = plan.levels.first().and_then(|level| level.knobs.get(planter));
    matches!(knob, Some(Setting::PressureKpa(_))).then(|| units.gauge(plan, planter))
}

fn strips(plan: &Plan, units: &Units) -> String {
    let length = format!("length_{}", units.length_suffix());
    let header = names(&[
        "field_id",
        "season",
        "strip_id",
        "block",
        "treatment",
        "condition",
        &length,
        "rows",
        "passes",
        "closer",
        "started_at",
        "ended_at",
    ]);
    let rows: Vec<Vec<String>> = plan
        .strips
        .iter()
        .enumerate()
        .map(|(position, strip)| {
            let passes: Vec<&Pass> = plan.passes.iter().filter(|pass| pass.strips.contains(&position)).collect();
            let rows: u32 =
                passes.iter().filter_map(|pass| plan.planters.get(pass.planter)).map(|planter| planter.rows).sum();
            vec![
                plan.field_id.clone(),
                plan.season.to_string(),
                strip.strip_id.clone(),
                strip.block.to_string(),
                words::treatment(plan, units, strip),
                plan.condition.clone().unwrap_or_default(),
                units.taped(strip.span_m.1 - strip.span_m.0),
                if rows > 0 { rows.to_string() } else { String::new() },
                if passes.is_empty() { String::new() } else { passes.len().to_string() },
                if plan.closers.len() > 1 { plan.closers[strip.closer].clone() } else { String::new() },
                String::new(),
                String::new(),
            ]
        })
        .collect();
    table(&header, &rows)
}

/// Planned settings of the planters whose knob is of this kind, in driving order.
fn setting_log(plan: &Plan, units: &Units, gauge: Option<&str>) -> String {
    let mut header = names(&["field_id", "season", "strip_id", "block", "planter_id"]);
    match gauge {
        Some(unit) => header.extend([format!("set_pressure_{unit}"), format!("actual_pressure_{unit}")]),
        None => header.push("closing_position".into()),
    }
    header.push("condition".into());
    let mut written = vec![false; plan.strips.len()];
    let mut rows = Vec::new();
    for pass in plan.passes.iter().filter(|pass| gauge_of(plan, units, pass.planter) == gauge) {
        let mut positions = pass.strips.clone();
        positions.sort_by(|a, b| plan.strips[*a].span_m.0.total_cmp(&plan.strips[*b].span_m.0));
        if !pass.outward {
            positions.reverse();
        }
        for position in positions {
            if std::mem::replace(&mut written[position], true) {
                continue;
            }
            let strip = &plan.strips[position];
            let knob = &plan.levels[strip.level].knobs[strip.planter];
            let mut row = vec![
                plan.field_id.clone(),
                plan.season.to_string(),
                strip.strip_id.clone(),
                strip.block.to_string(),
                plan.planters[strip.planter].id.clone(),
                units.knob(plan, strip.planter, knob),
            ];
            row.extend(gauge.map(|_| String::new()));
            // What the ground was like is for the driver to say.
            row.push(String::new());
            rows.push(row);
        }
    }
    table(&header, &rows)
}

fn stand_count(plan: &Plan, units: &Units) -> String {
    let suffix = units.length_suffix();
    let (distance, length) = (format!("distance_{suffix}"), format!("row_length_{suffix}"));
    let header = names(&[
        "field_id",
        "season",
        "visit_number",
        "strip_id",
        "sample_id",
        "row_unit",
        &distance,
        &length,
        "seeds_sown",
        "counted_at",
        "emerged",
    ]);
    let walk = walk(plan);
    let visits = 1..=plan.visits.visits.len();
    let rows: Vec<Vec<String>> = visits
        .flat_map(|visit| {
            walk.iter().map(move |stop| {
                vec![
                    plan.field_id.clone(),
                    plan.season.to_string(),
                    visit.to_string(),
                    stop.strip.strip_id.clone(),
                    stop.place.sample_id.clone(),
                    stop.place.row_unit.to_string(),
                    units.along(stop.place.at_m),
                    units.taped(plan.counting.row_length_m),
                    plan.counting.seeds.map(|seeds| number(seeds, 2)).unwrap_or_default(),
                    String::new(),
                    String::new(),
                ]
            })
        })
        .collect();
    table(&header, &rows)
}

fn field(plan: &Plan, units: &Units) -> String {
    let spacing = format!("row_spacing_{}", units.small_suffix());
    let rate = format!("seed_rate_{}", units.area_suffix());
    let header = names(&["field_id", "season", "planted_at", "planter_id", &spacing, &rate]);
    let planter = match plan.planters.as_slice() {
        [only] => only.id.clone(),
        _ => String::new(),
    };
    let row = vec![
        plan.field_id.clone(),
        plan.season.to_string(),
        String::new(),
        planter,
        units.spacing(plan.field.row_spacing_m),
        plan.field.seed_rate_per_m2.map(|rate| units.by_area(rate)).unwrap_or_default(),
    ];
    table(&header, &[row])
}
