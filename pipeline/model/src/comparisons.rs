//! Differences between settings, by field-season and over all, on the response's own scale.

use std::collections::BTreeMap;

use evenstand_agronomy::force_levels;
use evenstand_stats::{Contrast, Design, holm};
use evenstand_tables::rows::ComparisonRow;
use ndarray::Array2;

use crate::groups::Axis;
use crate::observations::{Observation, Observations};
use crate::response::{Response, Scale};
use crate::setting_terms::{count, renumber, setting_terms};
use crate::working_fit::{self, with_remarks};

/// All comparisons of one response on one axis.
pub(crate) fn comparisons(observations: &Observations, response: &Response, axis: &Axis) -> Vec<ComparisonRow> {
    let mut by_condition: BTreeMap<&str, Vec<&Observation>> = BTreeMap::new();
    for row in &observations.rows {
        by_condition.entry(&row.strip.condition).or_default().push(row);
    }
    let mut rows = Vec::new();
    for (condition, members) in by_condition {
        let mut by_field: BTreeMap<usize, Vec<&Observation>> = BTreeMap::new();
        for member in &members {
            by_field.entry(member.field_season).or_default().push(member);
        }
        by_field.retain(|_, members| labels(members, axis).1.len() > 1);
        for (field_season, members) in &by_field {
            let place = observations.field_seasons[*field_season];
            rows.extend(family(members, response, axis, condition, Some(place)));
        }
        let all: Vec<&Observation> = by_field.into_values().flatten().collect();
        if !all.is_empty() {
            rows.extend(family(&all, response, axis, condition, None));
        }
    }
    rows
}

/// Setting of each strip, numbered, and the names of the settings: treatments where all have one, else force levels.
fn labels(members: &[&Observation], axis: &Axis) -> (Vec<usize>, Vec<String>) {
    let treatments: Option<Vec<&str>> = members.iter().map(|member| member.strip.treatment.as_deref()).collect();
    if let Some(treatments) = treatments {
        let mut names: Vec<&str> = treatments.clone();
        names.sort_unstable();
        names.dedup();
        let codes = treatments.iter().map(|name| names.partition_point(|other| other < name)).collect();
        return (codes, names.into_iter().map(str::to_owned).collect());
    }
    let (codes, forces) = force_levels(&members.iter().map(|member| member.force_n).collect::<Vec<_>>());
    let unit = if *axis == Axis::Force { "N" } else { "kPa" };
    (codes, forces.iter().map(|force| format!("{force:.0} {unit}")).collect())
}

/// All pairs of one family, with p values adjusted together.
fn family(
    members: &[&Observation],
    response: &Response,
    axis: &Axis,
    condition: &str,
    place: Option<(&str, i64)>,
) -> Vec<ComparisonRow> {
    let (codes, names) = labels(members, axis);
    let fitted = fit(members, &codes, names.len(), place.is_some());
    let scale = match response.scale {
        Scale::Logit => "share",
        Scale::Log => "hours",
        Scale::Identity => "own unit",
    };
    let mut rows = Vec::new();
    for a in 0..names.len() {
        for b in 0..a {
            let (difference, contrast, method) = match &fitted {
                Ok((contrasts, method)) => (contrasts[&(a, b)].estimate, Some(&contrasts[&(a, b)]), method.clone()),
                Err(method) => {
                    let mean = |code: usize| {
                        let values: Vec<f64> = members
                            .iter()
                            .zip(&codes)
                            .filter(|(_, own)| **own == code)
                            .map(|(member, _)| member.value.value)
                            .collect();
                        crate::summary::mean(&values)
                    };
                    (mean(a) - mean(b), None, method.clone())
                }
            };
            let limits = contrast.map(|contrast| contrast.interval(0.95));
            rows.push(ComparisonRow {
                response: response.name.clone(),
                condition: condition.to_owned(),
                field_id: place.map(|(field_id, _)| field_id.to_owned()),
                season: place.map(|(_, season)| season),
                treatment_a: names[a].clone(),
                treatment_b: names[b].clone(),
                difference: Some(difference),
                std_error: contrast.map(|contrast| contrast.std_error),
                df: contrast.map(|contrast| contrast.df),
                low: limits.as_ref().map(|limits| limits.low),
                high: limits.as_ref().map(|limits| limits.high),
                p_value: contrast.map(Contrast::p_value).filter(|p| p.is_finite()),
                p_adjusted: None,
                method: Some(method),
                scale: Some(scale.to_owned()),
            });
        }
    }
    let p_values: Option<Vec<f64>> = rows.iter().map(|row| row.p_value).collect();
    if let Some(p_values) = p_values {
        rows.iter_mut().zip(holm(&p_values)).for_each(|(row, adjusted)| row.p_adjusted = Some(adjusted));
    }
    rows
}

type Contrasts = BTreeMap<(usize, usize), Contrast>;

/// Differences of all pairs; the error says in words why there are no standard errors.
fn fit(
    members: &[&Observation],
    codes: &[usize],
    n_settings: usize,
    one_field: bool,
) -> Result<(Contrasts, String), String> {
    let no_replication = "means only: no replication, so no test".to_owned();
    let response: Vec<f64> = members.iter().map(|member| member.value.value).collect();
    let blocks = renumber(members.iter().map(|member| member.block));
    let fields = renumber(members.iter().map(|member| member.field_season));
    let fixed_blocks = if one_field { count(&blocks) - 1 } else { 0 };
    let mut names: Vec<String> = (0..n_settings).map(|setting| format!("setting {setting}")).collect();
    names.extend((0..fixed_blocks).map(|block| format!("block {block}")));
    let matrix = Array2::from_shape_fn((members.len(), names.len()), |(row, column)| {
        let hit = if column < n_settings { codes[row] == column } else { blocks[row] == column - n_settings };
        f64::from(u8::from(hit))
    });
    let terms = setting_terms(&fields, &blocks, codes);
    let design = Design::new(response, matrix, names, terms.random, None).map_err(|_| no_replication.clone())?;
    let row = |a: usize, b: usize| -> Option<Vec<f64>> {
        let mut row = vec![0.0; n_settings + fixed_blocks];
        row[a] = 1.0;
        row[b] = -1.0;
        design.estimable_row(&row).ok()
    };
    let pairs = (0..n_settings).flat_map(|a| (0..a).map(move |b| (a, b)));
    let confounded = || "means only: settings and blocks cannot be told apart".to_owned();
    let (fitted, remark) = working_fit::fit(&design).map_err(|error| match error {
        _ if design.random().is_empty() => no_replication,
        error => format!("means only: {error}"),
    })?;
    let contrasts: Contrasts = pairs
        .map(|pair| Some((pair, fitted.contrast(&row(pair.0, pair.1)?).ok()?)))
        .collect::<Option<_>>()
        .ok_or_else(confounded)?;
    if design.random().is_empty() {
        return Ok((contrasts, "least squares: setting + block".to_owned()));
    }
    let named: Vec<&str> = design.random().iter().map(|term| term.name.as_str()).collect();
    let df = contrasts.values().next().map_or(String::new(), |contrast| contrast.method.clone());
    let model = format!("mixed model: setting, random {}; df {df}", named.join(", "));
    Ok((contrasts, with_remarks(&model, [remark.as_deref(), terms.left_out])))
}
