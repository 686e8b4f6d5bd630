//! Since last season: what changed and why, and how those fared who followed the start.

use evenstand_tables::rows::{FollowedRow, SinceLastRow};
use serde::Serialize;

use crate::results::Results;
use crate::words::number;
use crate::words::response::{Response, capitalised};
use crate::words::why::WordTable;

/// The section.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct SinceLast {
    pub table: WordTable,
    pub followed: Vec<String>,
}

/// What changed; `None` where the review names no last season.
pub(crate) fn since_last(results: &Results) -> Option<SinceLast> {
    if results.since_last.is_empty() {
        return None;
    }
    let rows = results.since_last.iter().map(|row| change_row(results, row)).collect();
    Some(SinceLast {
        table: WordTable {
            caption: "Starting points beside last season’s".to_owned(),
            head: ["Condition", "Last season", "Now", "What changed", "Why"].map(str::to_owned).to_vec(),
            rows,
            rest: Some("Every number is in results/since_last.csv.".to_owned()),
        },
        followed: results.followed.iter().map(|row| followed(results, row)).collect(),
    })
}

fn change_row(results: &Results, row: &SinceLastRow) -> Vec<String> {
    let gauge = results.axis_gauge(row.planter_id.as_deref());
    let answer = |start: Option<f64>, evidence: Option<&str>| match (start, evidence) {
        (Some(start), Some(evidence)) => format!("{}, {evidence}", gauge.text(start)),
        (None, Some(evidence)) => format!("no start, {evidence}"),
        _ => "–".to_owned(),
    };
    let title = match &row.planter_id {
        Some(planter) => format!("{} · planter {planter}", row.condition),
        None => row.condition.clone(),
    };
    let changed = match row.change.as_str() {
        "same" => "the same".to_owned(),
        "heavier" | "lighter" => {
            let by = row.moved_n.map_or_else(String::new, |moved| format!(" by {}", gauge.text(moved.abs())));
            format!("{}{by}", row.change)
        }
        "surer" => "the same start, surer".to_owned(),
        "less_sure" => "the same start, less sure".to_owned(),
        "new" => "new".to_owned(),
        "gone" => "no longer answered".to_owned(),
        "first_start" => "a start for the first time".to_owned(),
        "start_withdrawn" => "start withdrawn".to_owned(),
        other => crate::words::answer::plain_words(other),
    };
    vec![
        title,
        answer(row.last_start_n, row.last_evidence.as_deref()),
        answer(row.start_n, row.evidence.as_deref()),
        changed,
        row.why.clone().unwrap_or_default(),
    ]
}

/// How those fared who followed. Who follows chooses to, so this is never called a finding.
fn followed(results: &Results, row: &FollowedRow) -> String {
    let response = Response::of(&row.response, results);
    let gauge = results.axis_gauge(row.planter_id.as_deref());
    let many = |count: Option<i64>| usize::try_from(count.unwrap_or(0)).unwrap_or(0);
    let near = match (row.last_start_n, row.near_n) {
        (Some(start), Some(near)) => format!("within {} of {}", gauge.text(near), gauge.text(start)),
        _ => "near it".to_owned(),
    };
    let in_trials = number::count(many(row.n_in_trials), "counted strip", "counted strips");
    if many(row.n_followed) + many(row.n_other) == 0 && many(row.n_in_trials) > 0 {
        return format!(
            "{}: in {}, {in_trials} stood in trials, where nobody chose; what they show is part of the answer.",
            capitalised(&row.condition),
            row.season
        );
    }
    let mut says = format!(
        "{}: in {}, {} of {} stood {near}.",
        capitalised(&row.condition),
        row.season,
        many(row.n_followed),
        number::count(many(row.n_followed) + many(row.n_other), "counted strip", "counted strips"),
    );
    if many(row.n_in_trials) > 0 {
        says.push_str(&format!(" Not counted here: {in_trials} in trials, where nobody chose."));
    }
    let spread = row.low.zip(row.high).map(|(low, high)| (high - low) / 2.0);
    let shown = |value: f64| response.bare_difference(value, spread);
    match (row.difference, row.low.zip(row.high)) {
        (Some(difference), Some((low, high))) => {
            let place = match row.compared_within.as_deref() {
                Some("field") => format!("inside {}", number::count(many(row.n_fields_both), "field", "fields")),
                _ => "between fields".to_owned(),
            };
            says.push_str(&format!(
                " Compared {place}, they differ from the others by {} {} in {} (90 % interval: {})",
                shown(difference),
                response.difference_unit(),
                response.in_text(),
                number::range(&shown(low), &shown(high)),
            ));
            says.push_str(match row.reading.as_deref() {
                Some("better") => ": better, as far as those can tell who chose for themselves.",
                Some("worse") => ": worse, as far as those can tell who chose for themselves.",
                _ => ": better or worse cannot be told.",
            });
        }
        _ => says.push_str(" Too few to compare with the others."),
    }
    says
}
