//! Strips of the newest season near last season's start against the others. Not a trial: who followed it chose to; strips of trials are left out.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_stats::distribution::t_quantile;
use evenstand_tables::rows::{FollowedRow, StartingPointRow, StripRow};

use crate::response::{Better, Measures, Response};
use crate::summary::mean;

/// A strip followed where it was set this near, in shares of the tested range; but never nearer than [`LEAST_NEAR_N`].
const NEAR: f64 = 0.05;
const LEAST_NEAR_N: f64 = 5.0;
/// Settings side by side in one block from which it is a trial: nobody chose there, and the best of them is held against what was laid out to be worse.
const TRIAL_SETTINGS: usize = 3;
/// Degrees of freedom below which nothing is said.
const ENOUGH_DF: f64 = 3.0;

/// One strip that was counted.
struct Counted {
    followed: bool,
    value: f64,
}

/// How those fared who followed `last_start_n`; `None` where no strip of the newest season can be compared.
///
/// Inside fields that have both kinds: least squares of the response on having followed, fields taken out; else the means of fields of
/// either kind, with Welch's t. 90 % intervals.
pub(crate) fn followed_row(
    point: &StartingPointRow,
    last_start_n: f64,
    strips: &[StripRow],
    measures: &Measures,
) -> Option<FollowedRow> {
    let response = Response::all(measures).into_iter().find(|response| response.name == point.response)?;
    let range = point.tested_high_n.zip(point.tested_low_n).map_or(0.0, |(high, low)| high - low);
    let near_n = (NEAR * range).max(LEAST_NEAR_N);
    let here = |strip: &&StripRow| {
        strip.condition == point.condition
            && strip.closer.as_deref() == Some(point.closer.as_str())
            && (point.planter_id.is_none() || strip.planter_id == point.planter_id)
    };
    // Of an earlier season last year's answer already knew.
    let season = strips.iter().map(|strip| strip.season).max()?;
    let newest: Vec<&StripRow> = strips.iter().filter(here).filter(|strip| strip.season == season).collect();
    let trials = trials(&newest, near_n);
    let mut in_trials = 0;
    let mut fields: BTreeMap<&str, Vec<Counted>> = BTreeMap::new();
    for strip in newest {
        if let (Some(force), Some(value)) = (strip.force_n, response.of(strip, measures)) {
            if trials.contains(strip.field_id.as_str()) {
                in_trials += 1;
                continue;
            }
            let followed = (force - last_start_n).abs() <= near_n + 1e-9;
            fields.entry(&strip.field_id).or_default().push(Counted { followed, value: value.value });
        }
    }
    let all = || fields.values().flatten();
    let of = |followed: bool| -> Vec<f64> {
        all().filter(|strip| strip.followed == followed).map(|strip| strip.value).collect()
    };
    let fields_with =
        |followed: bool| fields.values().filter(|strips| strips.iter().any(|strip| strip.followed == followed)).count();
    let both: Vec<&Vec<Counted>> = fields
        .values()
        .filter(|strips| [true, false].iter().all(|kind| strips.iter().any(|strip| strip.followed == *kind)))
        .collect();
    let (followers, others) = (of(true), of(false));
    if in_trials == 0 {
        all().next()?;
    }
    let compared = if both.is_empty() { between(&fields) } else { within(&both) };
    let mut row = FollowedRow {
        condition: point.condition.clone(),
        closer: point.closer.clone(),
        planter_id: point.planter_id.clone(),
        response: point.response.clone(),
        season,
        last_start_n: Some(last_start_n),
        near_n: Some(near_n),
        n_followed: Some(followers.len() as i64),
        n_other: Some(others.len() as i64),
        n_in_trials: Some(in_trials),
        n_fields_followed: Some(fields_with(true) as i64),
        n_fields_other: Some(fields_with(false) as i64),
        n_fields_both: Some(both.len() as i64),
        compared_within: Some(if both.is_empty() { "none" } else { "field" }.to_owned()),
        mean_followed: (!followers.is_empty()).then(|| mean(&followers)),
        mean_other: (!others.is_empty()).then(|| mean(&others)),
        reading: Some("too_few".to_owned()),
        ..FollowedRow::default()
    };
    if let Some(Difference { difference, std_error, df }) = compared.filter(|compared| compared.df >= ENOUGH_DF) {
        let half = t_quantile(0.95, df) * std_error;
        row.difference = Some(difference);
        row.std_error = Some(std_error);
        row.df = Some(df);
        (row.low, row.high) = (Some(difference - half), Some(difference + half));
        row.reading = Some(reading(response.better, difference - half, difference + half).to_owned());
    }
    Some(row)
}

/// Fields where a block has [`TRIAL_SETTINGS`] or more, further apart than `near_n`.
fn trials<'a>(strips: &[&'a StripRow], near_n: f64) -> BTreeSet<&'a str> {
    let mut blocks: BTreeMap<(&str, &str), Vec<f64>> = BTreeMap::new();
    for strip in strips {
        if let (Some(block), Some(force)) = (strip.block.as_deref(), strip.force_n) {
            blocks.entry((&strip.field_id, block)).or_default().push(force);
        }
    }
    let settings = |forces: &mut Vec<f64>| {
        forces.sort_by(f64::total_cmp);
        1 + forces.windows(2).filter(|pair| pair[1] - pair[0] > near_n).count()
    };
    let several =
        blocks.iter_mut().filter_map(|((field, _), forces)| (settings(forces) >= TRIAL_SETTINGS).then_some(*field));
    several.collect()
}

fn reading(better: Better, low: f64, high: f64) -> &'static str {
    let sign = better.sign();
    match better {
        Better::Neither => "not_told",
        _ if sign * low > 0.0 && sign * high > 0.0 => "better",
        _ if sign * low < 0.0 && sign * high < 0.0 => "worse",
        _ => "not_told",
    }
}

struct Difference {
    difference: f64,
    std_error: f64,
    df: f64,
}

/// Followed less other inside fields, fields taken out.
fn within(fields: &[&Vec<Counted>]) -> Option<Difference> {
    let (mut squares, mut products, mut rows) = (0.0, 0.0, Vec::new());
    for strips in fields {
        let share = mean(&strips.iter().map(|strip| f64::from(u8::from(strip.followed))).collect::<Vec<_>>());
        let level = mean(&strips.iter().map(|strip| strip.value).collect::<Vec<_>>());
        for strip in *strips {
            let (x, y) = (f64::from(u8::from(strip.followed)) - share, strip.value - level);
            squares += x * x;
            products += x * y;
            rows.push((x, y));
        }
    }
    let df = rows.len() as f64 - fields.len() as f64 - 1.0;
    if squares <= 0.0 || df <= 0.0 {
        return None;
    }
    let difference = products / squares;
    let left: f64 = rows.iter().map(|(x, y)| (y - difference * x).powi(2)).sum();
    Some(Difference { difference, std_error: (left / df / squares).sqrt(), df })
}

/// Means of fields that followed less means of fields that did not; Welch's t.
fn between(fields: &BTreeMap<&str, Vec<Counted>>) -> Option<Difference> {
    let means = |followed: bool| -> Vec<f64> {
        let kind = fields.values().filter(|strips| strips[0].followed == followed);
        kind.map(|strips| mean(&strips.iter().map(|strip| strip.value).collect::<Vec<_>>())).collect()
    };
    let (followed, other) = (means(true), means(false));
    if followed.len() < 2 || other.len() < 2 {
        return None;
    }
    let error = |values: &[f64]| crate::summary::standard_deviation(values).powi(2) / values.len() as f64;
    let (a, b) = (error(&followed), error(&other));
    let df = (a + b).powi(2) / (a * a / (followed.len() as f64 - 1.0) + b * b / (other.len() as f64 - 1.0));
    df.is_finite().then(|| Difference { difference: mean(&followed) - mean(&other), std_error: (a + b).sqrt(), df })
}
