//! How it was worked out: the words of the method that depend on the run, what was fitted, and checks that failed.

use evenstand_tables::rows::ModelRow;
use serde::Serialize;

use crate::results::Results;
use crate::words::answer::plain_words;
use crate::words::number;
use crate::words::response::{Response, capitalised};

/// The words of the method that depend on the run.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Method {
    pub primary: String,
    pub on_time_window: String,
    pub axis: String,
    pub formulas: Vec<String>,
    pub failed_checks: Vec<String>,
    pub passed_checks: usize,
    pub notes: Vec<String>,
    pub run_facts: Vec<(String, String)>,
}

/// The method of a review.
pub(crate) fn method(results: &Results) -> Method {
    let items = |item: &'static str| results.model.iter().filter(move |row| row.item == item);
    let about = |row: &ModelRow| {
        let response = row.response.as_deref().map(|name| Response::of(name, results).label);
        response.map_or_else(String::new, |label| format!("{label}: "))
    };
    let mut formulas: Vec<String> = Vec::new();
    for row in items("formula") {
        let formula = format!("{}{}", about(row), row.text.as_deref().unwrap_or(&row.name));
        if !formulas.contains(&formula) {
            formulas.push(formula);
        }
    }
    let passed = |row: &ModelRow| row.text.as_deref().is_none_or(|text| text.starts_with("passed"));
    let failed_checks = items("check")
        .filter(|row| !passed(row))
        .map(|row| {
            let text = row.text.as_deref().unwrap_or_default();
            let text = text.strip_prefix("failed:").unwrap_or(text).trim();
            let text = if text.is_empty() { "failed" } else { text };
            format!("{}{}: {text}", about(row), row.name)
        })
        .collect();
    let window = results.fact_number("on_time_window_h").unwrap_or(48.0);
    let mut run_facts: Vec<(String, String)> = Vec::new();
    for row in items("run").filter(|row| row.name != "review") {
        let value = match (&row.text, row.value) {
            (Some(text), _) if !text.is_empty() => text.clone(),
            (_, Some(value)) if value.fract() == 0.0 => number::whole(value),
            (_, Some(value)) => number::fixed(value, 2),
            _ => continue,
        };
        run_facts.push(match row.name.as_str() {
            "primary" => ("What decides".to_owned(), Response::of(&value, results).label),
            "on_time_window_h" => ("On-time window".to_owned(), number::with_unit(&value, "h")),
            name => (capitalised(&plain_words(name)), value),
        });
    }
    let mut notes: Vec<String> = Vec::new();
    for row in items("note") {
        let note = format!("{}{}", about(row), row.text.as_deref().unwrap_or(&row.name));
        if !notes.contains(&note) {
            notes.push(note);
        }
    }
    Method {
        primary: Response::of(results.primary(), results).in_text().to_owned(),
        on_time_window: number::whole(window),
        axis: match results.fact("axis") {
            Some("actual") => "that was measured",
            _ => "that was set",
        }
        .to_owned(),
        formulas,
        failed_checks,
        passed_checks: items("check").filter(|row| passed(row)).count(),
        notes,
        run_facts,
    }
}
