//! Differences between settings, by field-season and over all, on the response's own scale.

use std::collections::BTreeMap;

use evenstand_agronomy::force_levels;
use evenstand_stats::{Adjustment, ComparisonFamily, Comparisons, Contrast, StatsError};
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

/// All pairs of one family, judged together.
fn family(
    members: &[&Observation],
    response: &Response,
    axis: &Axis,
    condition: &str,
    place: Option<(&str, i64)>,
) -> Vec<ComparisonRow> {
    let (codes, names) = labels(members, axis);
    let pairs: Vec<(usize, usize)> = (0..names.len()).flat_map(|a| (0..a).map(move |b| (a, b))).collect();
    let judged = judge(members, &codes, &names, &pairs, place.is_some());
    let mean = |code: usize| {
        let own = members.iter().zip(&codes).filter(|(_, own)| **own == code);
        crate::summary::mean(&own.map(|(member, _)| member.value.value).collect::<Vec<_>>())
    };
    let scale = match response.scale {
        Scale::Logit => "share",
        Scale::Log => "hours",
        Scale::Identity => "own unit",
    };
    pairs
        .iter()
        .enumerate()
        .map(|(number, &(a, b))| {
            let own = judged.as_ref().ok().map(|judged| (&judged.contrasts[number], &judged.together.rows[number]));
            let limits = own.map(|(contrast, _)| contrast.interval(0.95));
            let finite = |value: f64| Some(value).filter(|value| value.is_finite());
            ComparisonRow {
                response: response.name.clone(),
                condition: condition.to_owned(),
                field_id: place.map(|(field_id, _)| field_id.to_owned()),
                season: place.map(|(_, season)| season),
                treatment_a: names[a].clone(),
                treatment_b: names[b].clone(),
                difference: Some(own.map_or_else(|| mean(a) - mean(b), |(contrast, _)| contrast.estimate)),
                std_error: own.map(|(contrast, _)| contrast.std_error),
                df: own.map(|(contrast, _)| contrast.df),
                low: limits.as_ref().map(|limits| limits.low),
                high: limits.as_ref().map(|limits| limits.high),
                p_value: own.and_then(|(contrast, _)| finite(contrast.p_value())),
                p_adjusted: own.and_then(|(_, together)| finite(together.adjusted_p)),
                low_together: own.and_then(|(_, together)| finite(together.interval.low)),
                high_together: own.and_then(|(_, together)| finite(together.interval.high)),
                adjustment: judged.as_ref().ok().map(|judged| judged.adjustment.to_owned()),
                method: Some(judged.as_ref().map_or_else(Clone::clone, |judged| judged.method.clone())),
                scale: Some(scale.to_owned()),
            }
        })
        .collect()
}

/// Differences of all pairs, each for itself and as one family.
struct Judged {
    contrasts: Vec<Contrast>,
    together: Comparisons,
    adjustment: &'static str,
    method: String,
}

/// Works out the differences; the error says in words why there are no standard errors.
fn judge(
    members: &[&Observation],
    codes: &[usize],
    names: &[String],
    pairs: &[(usize, usize)],
    one_field: bool,
) -> Result<Judged, String> {
    let no_replication = "means only: no replication, so no test".to_owned();
    let n_settings = names.len();
    let response: Vec<f64> = members.iter().map(|member| member.value.value).collect();
    let blocks = renumber(members.iter().map(|member| member.block));
    let fields = renumber(members.iter().map(|member| member.field_season));
    let fixed_blocks = if one_field { count(&blocks) - 1 } else { 0 };
    let mut columns: Vec<String> = (0..n_settings).map(|setting| format!("setting {setting}")).collect();
    columns.extend((0..fixed_blocks).map(|block| format!("block {block}")));
    let matrix = Array2::from_shape_fn((members.len(), columns.len()), |(row, column)| {
        let hit = if column < n_settings { codes[row] == column } else { blocks[row] == column - n_settings };
        f64::from(u8::from(hit))
    });
    let terms = setting_terms(&fields, &blocks, codes);
    let std_errors = members.iter().map(|member| member.value.std_error).collect();
    let design = working_fit::design(response, matrix, columns, terms.random, None, std_errors)
        .map_err(|_| no_replication.clone())?;
    let row = |&(a, b): &(usize, usize)| -> Option<Vec<f64>> {
        let mut row = vec![0.0; n_settings + fixed_blocks];
        row[a] = 1.0;
        row[b] = -1.0;
        design.estimable_row(&row).ok()
    };
    let confounded = || "means only: settings and blocks cannot be told apart".to_owned();
    let rows: Vec<Vec<f64>> = pairs.iter().map(row).collect::<Option<_>>().ok_or_else(confounded)?;
    let (fitted, remark) = working_fit::fit(&design).map_err(|error| match error {
        _ if design.random().is_empty() => no_replication,
        error => format!("means only: {error}"),
    })?;
    let failed = |error: StatsError| format!("means only: {error}");
    let contrasts: Vec<Contrast> =
        rows.iter().map(|row| fitted.contrast(row)).collect::<Result<_, _>>().map_err(failed)?;
    let pair_names = pairs.iter().map(|(a, b)| format!("{} - {}", names[*a], names[*b])).collect();
    let covariance = covariance_of(&rows, fitted.covariance());
    let family = ComparisonFamily::all_pairs(pair_names, contrasts.clone(), &covariance, n_settings).map_err(failed)?;
    // The studentized range costs milliseconds a pair, so it serves the few families over all field-seasons.
    let range = if one_field { None } else { family.adjust(Adjustment::Tukey, 0.95).ok() };
    let (together, adjustment) = match range {
        Some(together) => (together, "tukey-kramer"),
        None => (family.adjust(Adjustment::Holm, 0.95).map_err(failed)?, "holm"),
    };
    let method = if design.random().is_empty() {
        "least squares: setting + block".to_owned()
    } else {
        let named: Vec<&str> = design.random().iter().map(|term| term.name.as_str()).collect();
        let df = contrasts.first().map_or("", |contrast| contrast.method.as_str());
        let fixed = if fixed_blocks > 0 { "setting + block" } else { "setting" };
        let model = format!("mixed model: {fixed}, random {}; df {df}", named.join(", "));
        with_remarks(&model, [remark.as_deref(), terms.left_out])
    };
    Ok(Judged { contrasts, together, adjustment, method })
}

/// Covariance of the combinations `rows` of coefficients with the given covariance.
fn covariance_of(rows: &[Vec<f64>], covariance: &Array2<f64>) -> Array2<f64> {
    let width = covariance.nrows();
    let rows = Array2::from_shape_fn((rows.len(), width), |(row, column)| rows[row][column]);
    rows.dot(covariance).dot(&rows.t())
}
