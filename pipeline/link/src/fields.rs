//! Field-seasons and planters of a review.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_agronomy::{Kind, force_levels};
use evenstand_settings::{Knob, Planter, Settings, Weighed};
use evenstand_tables::Finding;
use evenstand_tables::rows::{FieldRow, FieldSeasonRow, PlanterRow, StripRow};

use crate::key::FieldSeason;

/// Fields by name and season; of two rows with one name the first counts.
pub(crate) fn by_name(rows: Vec<FieldRow>, findings: &mut Vec<Finding>) -> BTreeMap<FieldSeason, FieldRow> {
    let mut fields: BTreeMap<FieldSeason, FieldRow> = BTreeMap::new();
    for row in rows {
        let key = FieldSeason::new(&row.field_id, row.season);
        if let Some(first) = fields.get(&key) {
            findings.push(
                Finding::warning(
                    "repeated_field",
                    format!(
                        "this field and season stands in {} row {} already; the first is used",
                        first.source_file, first.source_row
                    ),
                )
                .field(&row.field_id, row.season)
                .source(&row.source_file, Some(row.source_row))
                .remedy("keep one row a field and season"),
            );
        } else {
            fields.insert(key, row);
        }
    }
    fields
}

/// One row a field and season, from its strips.
pub(crate) fn field_seasons(
    fields: &BTreeMap<FieldSeason, FieldRow>,
    strips: &[StripRow],
    telemetry_rows: &BTreeMap<FieldSeason, u64>,
    courses: &BTreeSet<FieldSeason>,
) -> Vec<FieldSeasonRow> {
    let mut by_field: BTreeMap<FieldSeason, Vec<&StripRow>> =
        fields.keys().map(|key| (key.clone(), Vec::new())).collect();
    for strip in strips {
        by_field.entry(FieldSeason::new(&strip.field_id, strip.season)).or_default().push(strip);
    }
    by_field
        .into_iter()
        .map(|(key, strips)| {
            let field = fields.get(&key);
            let forces: Vec<f64> = strips.iter().filter_map(|strip| strip.force_n).collect();
            // Positions without a force are settings too.
            let labels: BTreeSet<&String> = strips
                .iter()
                .filter(|strip| strip.force_n.is_none())
                .filter_map(|strip| strip.closing_position.as_ref())
                .collect();
            let levels = force_levels(&forces).1.len() + labels.len();
            let distinct = |word: fn(&StripRow) -> Option<&String>| {
                strips.iter().filter_map(|strip| word(strip)).collect::<BTreeSet<_>>()
            };
            FieldSeasonRow {
                client: field.and_then(|field| field.client.clone()),
                farm: field.and_then(|field| field.farm.clone()),
                crop: field.and_then(|field| field.crop.clone()),
                hybrid: field.and_then(|field| field.hybrid.clone()),
                planter_id: distinct(|strip| strip.planter_id.as_ref())
                    .into_iter()
                    .next()
                    .cloned()
                    .or_else(|| field?.planter_id.clone()),
                planted_at: field.and_then(|field| field.planted_at),
                tillage: field.and_then(|field| field.tillage.clone()),
                conditions: Some(
                    distinct(|strip| Some(&strip.condition)).into_iter().cloned().collect::<Vec<_>>().join("; "),
                ),
                n_strips: Some(strips.len() as i64),
                n_blocks: Some(distinct(|strip| strip.block.as_ref()).len() as i64),
                n_levels: Some(levels as i64),
                n_telemetry_rows: Some(telemetry_rows.get(&key).copied().unwrap_or(0) as i64),
                has_course: Some(courses.contains(&key)),
                kind: Some(
                    match levels {
                        0 => "none",
                        1 => "log",
                        _ => "trial",
                    }
                    .to_owned(),
                ),
                field_id: key.field_id,
                season: key.season,
            }
        })
        .collect()
}

/// The settings, with a pressure knob for every planter whose pressures are logged but whose knob nobody described: its
/// limits are the pressures that were used.
pub(crate) fn with_found_knobs(strips: &[StripRow], settings: &Settings) -> Settings {
    let mut used: BTreeMap<&str, (f64, f64)> = BTreeMap::new();
    for strip in strips.iter().filter(|strip| strip.force_source.as_deref() == Some("nominal")) {
        if let (Some(planter), Some(pressure)) = (&strip.planter_id, strip.force_n) {
            let limits = used.entry(planter).or_insert((pressure, pressure));
            *limits = (limits.0.min(pressure), limits.1.max(pressure));
        }
    }
    let mut settings = settings.clone();
    for (id, (low, high)) in used {
        let mut planter = settings.planter(id);
        if planter.knob.is_none() {
            planter.knob = Some(Knob::Pressure {
                min_kpa: low,
                max_kpa: high,
                step_kpa: 1.0,
                default_kpa: None,
                unit: settings.display.pressure().unwrap_or("kpa").to_owned(),
                calibration: None,
                weighed: None,
            });
            settings.planters.retain(|other| other.id != id);
            settings.planters.push(planter);
        }
    }
    settings
}

/// Planters that the settings or the strips name.
pub(crate) fn planters(strips: &[StripRow], settings: &Settings) -> Vec<PlanterRow> {
    let mut all: Vec<Planter> = settings.planters.clone();
    let named: BTreeSet<&str> = strips.iter().filter_map(|strip| strip.planter_id.as_deref()).collect();
    all.extend(
        named.into_iter().filter(|id| !settings.planters.iter().any(|planter| planter.id == *id)).map(Planter::unknown),
    );
    all.iter().map(|planter| planter_row(planter, settings)).collect()
}

/// Where the forces of a planter come from.
fn force_from(planter: &Planter) -> &'static str {
    match &planter.knob {
        Some(Knob::Pressure { weighed: Some(_), .. }) => "weighed",
        Some(Knob::Pressure { calibration: Some(_), .. }) => "given",
        Some(Knob::Positions { positions, .. }) if positions.iter().any(|position| !position.readings_n.is_empty()) => {
            "weighed"
        }
        Some(Knob::Positions { positions, .. }) if positions.iter().any(|position| position.force_n.is_some()) => {
            "given"
        }
        _ => "none",
    }
}

fn planter_row(planter: &Planter, settings: &Settings) -> PlanterRow {
    let weighed = match &planter.knob {
        Some(Knob::Pressure { weighed, .. }) => weighed.as_ref(),
        _ => None,
    };
    let mut row = PlanterRow {
        planter_id: planter.id.clone(),
        closer: Some(planter.closer.clone()),
        gauge_wheel: planter.gauge_wheel.clone(),
        knob: Some("none".into()),
        pressure_unit: None,
        calibrated: Some(planter.calibrated()),
        min_pressure_kpa: None,
        max_pressure_kpa: None,
        step_pressure_kpa: None,
        default_pressure_kpa: None,
        default_position: None,
        default_force_n: planter.calibrated().then(|| planter.default_force_n()).flatten(),
        actuator: planter.actuator.map(|actuator| actuator.name().to_owned()),
        force_from: Some(force_from(planter).to_owned()),
        calibration_shape: weighed.map(|weighed| weighed.shape().name().to_owned()),
        calibration_sd_n: weighed.and_then(Weighed::deviation_n),
        calibration_p_value: weighed.and_then(Weighed::line_p_value),
    };
    match &planter.knob {
        Some(Knob::Pressure { min_kpa, max_kpa, step_kpa, default_kpa, unit, .. }) => {
            row.knob = Some("pressure".into());
            row.pressure_unit = Kind::Pressure.label(settings.display.pressure().unwrap_or(unit)).map(str::to_owned);
            row.min_pressure_kpa = Some(*min_kpa);
            row.max_pressure_kpa = Some(*max_kpa);
            row.step_pressure_kpa = Some(*step_kpa);
            row.default_pressure_kpa = *default_kpa;
        }
        Some(Knob::Positions { default, .. }) => {
            row.knob = Some("positions".into());
            row.default_position = default.clone();
        }
        None => {}
    }
    row
}
