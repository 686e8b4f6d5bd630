//! The page of the research farm: designs, models, checks and the tables whole.

use evenstand_tables::rows::ModelRow;
use serde::Serialize;

use crate::results::Results;
use crate::words::answer::plain_words;
use crate::words::fields::ordered;
use crate::words::number;
use crate::words::pair_says;
use crate::words::research_factors::factors;
use crate::words::response::Response;
use crate::words::why::{Pool, WordTable, title};

/// The tables of the page, each under its heading.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Research {
    pub designs: Option<WordTable>,
    pub answers: Option<WordTable>,
    pub models: Vec<WordTable>,
    pub checks: Option<WordTable>,
    pub comparisons: Option<WordTable>,
    pub factors: Option<WordTable>,
    pub hangs: Option<WordTable>,
}

/// Rows shown of a long table; the rest is named with its file.
const SHOWN: usize = 400;

/// The page of a review.
pub(crate) fn research(results: &Results) -> Research {
    Research {
        designs: designs(results),
        answers: answers(results),
        models: models(results),
        checks: checks(results),
        comparisons: comparisons(results),
        factors: factors(results),
        hangs: hangs(results),
    }
}

pub(crate) fn table(caption: &str, head: &[&str], mut rows: Vec<Vec<String>>, file: &str) -> Option<WordTable> {
    if rows.is_empty() {
        return None;
    }
    let left = rows.len().saturating_sub(SHOWN);
    rows.truncate(SHOWN);
    let rest = if left > 0 {
        format!("{left} more rows are in results/{file}.csv.")
    } else {
        format!("The same rows, and more columns, are in results/{file}.csv.")
    };
    Some(WordTable {
        caption: caption.to_owned(),
        head: head.iter().map(|word| (*word).to_owned()).collect(),
        rows,
        rest: Some(rest),
    })
}

pub(crate) fn dash(value: Option<String>) -> String {
    value.unwrap_or_else(|| "–".to_owned())
}

fn designs(results: &Results) -> Option<WordTable> {
    let count = |value: Option<i64>| dash(value.map(number::grouped));
    let rows = ordered(results)
        .into_iter()
        .map(|field| {
            vec![
                field.field_id.clone(),
                field.season.to_string(),
                dash(field.kind.clone()),
                count(field.n_blocks),
                count(field.n_levels),
                count(field.n_strips),
                dash(field.conditions.clone()),
                if field.has_course == Some(true) { "yes" } else { "no" }.to_owned(),
            ]
        })
        .collect();
    let head = ["Field", "Season", "Kind", "Blocks", "Settings", "Strips", "Conditions", "Course"];
    table("Designs, field by field", &head, rows, "field_seasons")
}

fn answers(results: &Results) -> Option<WordTable> {
    let rows = results
        .starting_points
        .iter()
        .map(|point| {
            let response = Response::of(&point.response, results);
            let gauge = results.axis_gauge(point.planter_id.as_deref());
            let set =
                |low: Option<f64>, high: Option<f64>| dash(low.zip(high).map(|(low, high)| gauge.range(low, high)));
            let spread = point.gain_low.zip(point.gain_high).map(|(low, high)| (high - low) / 2.0);
            let gain = |value: Option<f64>| dash(value.map(|value| response.bare_difference(value, spread)));
            vec![
                title(results, &Pool::of_start(point)),
                response.label.clone(),
                point.evidence.clone(),
                dash(point.shape.clone()),
                dash(point.start_n.map(|force| gauge.text(force))),
                set(point.window_low_n, point.window_high_n),
                set(point.best_low_n, point.best_high_n),
                dash(point.levels_p_value.map(number::p_value)),
                format!("{} ({} to {})", gain(point.gain_vs_default), gain(point.gain_low), gain(point.gain_high)),
                dash(point.borrowed_share.map(number::percent)),
            ]
        })
        .collect();
    let head = [
        "Condition",
        "Response",
        "How sure",
        "Shape",
        "Start",
        "As good",
        "Can be best",
        "p",
        "Gain over the default, 90 %",
        "Borrowed",
    ];
    table("Every response, answered", &head, rows, "starting_points")
}

/// What was fitted, a table a response: formula, standard deviations, coefficients.
fn models(results: &Results) -> Vec<WordTable> {
    const ITEMS: [&str; 8] = ["formula", "fit", "variance", "coefficient", "levels", "own_best", "binomial", "scaling"];
    let mut names: Vec<(&str, Option<&str>)> = Vec::new();
    for row in results.model.iter().filter(|row| ITEMS.contains(&row.item.as_str())) {
        let name = (row.model.as_str(), row.response.as_deref());
        if !names.contains(&name) {
            names.push(name);
        }
    }
    names
        .into_iter()
        .filter_map(|(model, name)| {
            let rows = results
                .model
                .iter()
                .filter(|row| row.model == model && row.response.as_deref() == name)
                .filter(|row| ITEMS.contains(&row.item.as_str()))
                .map(|row| {
                    vec![
                        row.item.clone(),
                        row.name.clone(),
                        model_value(row),
                        dash(row.std_error.map(number::four_digits)),
                    ]
                })
                .collect();
            let label = name.map_or_else(String::new, |name| format!("{}: ", Response::of(name, results).label));
            let caption = format!("{label}model of {}", plain_words(model));
            table(&caption, &["Item", "Name", "Value", "Standard error"], rows, "model")
        })
        .collect()
}

fn model_value(row: &ModelRow) -> String {
    match (&row.text, row.value) {
        (Some(text), Some(value)) if !text.is_empty() => format!("{}; {text}", number::four_digits(value)),
        (_, Some(value)) => number::four_digits(value),
        (Some(text), None) => text.clone(),
        (None, None) => "–".to_owned(),
    }
}

fn checks(results: &Results) -> Option<WordTable> {
    let rows = results
        .model
        .iter()
        .filter(|row| row.item == "check")
        .map(|row| {
            vec![
                row.response.as_deref().map_or_else(String::new, |name| Response::of(name, results).label),
                row.name.clone(),
                row.text.clone().unwrap_or_default(),
            ]
        })
        .collect();
    table("Checks of the fits", &["Response", "Check", "Outcome"], rows, "model")
}

fn comparisons(results: &Results) -> Option<WordTable> {
    let rows = results
        .comparisons
        .iter()
        .filter(|row| row.field_id.is_none() && row.std_error.is_some())
        .map(|row| {
            let response = Response::of(&row.response, results);
            let shown = |value: Option<f64>| dash(value.map(|value| response.fine_number(value, row.std_error)));
            vec![
                row.condition.clone(),
                response.label.clone(),
                format!("{} − {}", row.treatment_a, row.treatment_b),
                shown(row.difference),
                shown(row.std_error),
                dash(row.df.map(|df| number::fixed(df, 1))),
                format!("{} to {}", shown(row.low), shown(row.high)),
                dash(row.p_value.map(number::p_value)),
                dash(row.p_adjusted.map(number::p_value)),
                pair_says::verdict(row, &response),
                dash(row.with_default.map(|with| if with { "yes" } else { "no" }.to_owned())),
                dash(pair_says::between_fields(row, &response)),
                dash(row.method.clone()),
            ]
        })
        .collect();
    let head = [
        "Condition",
        "Response",
        "Pair",
        "Difference",
        "Std. error",
        "df",
        "95 % interval",
        "p",
        "p adjusted",
        "What was shown",
        "With the default",
        "From field to field",
        "Method",
    ];
    table("Settings in pairs, over all field-seasons", &head, rows, "comparisons")
}

fn hangs(results: &Results) -> Option<WordTable> {
    let rows = results
        .sensitivity
        .iter()
        .filter(|row| row.agrees == Some(false))
        .map(|row| {
            let gauge = results.axis_gauge(row.planter_id.as_deref());
            vec![
                row.condition.clone(),
                Response::of(&row.response, results).label,
                plain_words(&row.kind),
                row.detail.clone(),
                dash(row.start_n.map(|force| gauge.text(force))),
                dash(row.advice.clone()),
            ]
        })
        .collect();
    let head = ["Condition", "Response", "What was changed", "Which", "Start then", "Advice then"];
    table("What the answers hang on: changes that give another answer", &head, rows, "sensitivity")
}
