//! Rows of `starting_points`, `settings` and `model` for positions: labels in their columns, columns of forces empty.

use evenstand_settings::Planter;
use evenstand_tables::rows::{KnobRow, ModelRow, StartingPointRow};

use crate::decision::{Evidence, Shape};
use crate::groups::Coverage;
use crate::response::Response;
use crate::words;

use super::Labelled;
use super::draws::LabelDraws;
use super::test::LabelTest;
use super::trial::Compared;

/// Said of every answer by label.
const WEIGH: &str = " Weigh the force of each position to compare it with other planters.";

/// Fills what positions tell into a row of starting points.
pub(crate) fn fill_starting_point(row: &mut StartingPointRow, told: &Labelled, coverage: &Coverage) {
    let decision = &told.decision;
    row.levels_p_value = Some(told.test.p_value);
    row.largest_difference = Some(told.test.largest_difference);
    row.evidence = decision.evidence.name().to_owned();
    row.reason = reason(told, coverage);
    row.shape = Some(decision.shape.name().to_owned());
    row.borrowed_share = Some(0.0);
    row.prob_near_best = Some(decision.near.probability);
    row.near_best_share = Some(decision.near.confident);
    if let Some(gain) = decision.gain.filter(|_| decision.evidence != Evidence::Open) {
        row.gain_vs_default = Some(gain.expected);
        (row.gain_low, row.gain_high) = (Some(gain.low), Some(gain.high));
        row.prob_gain = gain.probability;
    }
}

/// Fills what positions tell into the row of their planter's knob.
pub(crate) fn fill_knob(row: &mut KnobRow, planter: &Planter, told: &Labelled, coverage: &Coverage) {
    let decision = &told.decision;
    let label = |number: usize| told.labels[number].clone();
    row.evidence = decision.evidence.name().to_owned();
    row.reason = Some(reason(told, coverage));
    row.shape = Some(decision.shape.name().to_owned());
    row.default_position = told.reference.label.clone();
    if let Some((low, high)) = decision.window {
        (row.window_low_position, row.window_high_position) = (Some(label(low)), Some(label(high)));
    }
    if decision.evidence == Evidence::Open {
        return;
    }
    let start = label(decision.start);
    let positions = planter.unweighed_positions().unwrap_or_default();
    let place = |label: &str| positions.iter().position(|position| position.label == label);
    let moved = place(&start).zip(told.reference.label.as_deref().and_then(place));
    let advice = match moved {
        Some((start, default)) if start < default => "lighter",
        Some((start, default)) if start > default => "heavier",
        _ => "stay",
    };
    row.advice = Some(advice.to_owned());
    row.at_limit = Some([positions.first(), positions.last()].iter().flatten().any(|end| end.label == start));
    row.start_position = Some(start);
    row.rounding_loss = Some(0.0);
    row.prob_near_best = Some(decision.near.probability);
    if let Some(gain) = decision.gain {
        row.gain_vs_default = Some(gain.expected);
        (row.gain_low, row.gain_high) = (Some(gain.low), Some(gain.high));
        row.prob_gain = gain.probability;
    }
}

/// Why the start is what it is, with the labels that the columns of forces cannot hold.
fn reason(told: &Labelled, coverage: &Coverage) -> String {
    let decision = &told.decision;
    let label = |number: &usize| format!("\u{201c}{}\u{201d}", told.labels[*number]);
    let in_window = |(low, high): (usize, usize)| (low..=high).contains(&decision.start);
    let verdict = if decision.stay {
        words::Verdict::Stay { as_good: decision.window.is_some_and(in_window) }
    } else {
        let unseen = matches!(decision.shape, Shape::Flat | Shape::Untold);
        words::Verdict::Move { seen: !unseen }
    };
    let text = words::reason_of(coverage, decision.shape, decision.evidence, verdict, decision.gain.is_some());
    let mut text = words::with_held_back(text, decision.held_back, decision.evidence, "positions");
    let named: Vec<String> = told.test.can_be_best.iter().map(label).collect();
    if matches!(decision.shape, Shape::Flat | Shape::Untold) {
        text.push_str(&format!(
            " Compared: positions {}.",
            listed(&(0..told.labels.len()).map(|number| label(&number)).collect::<Vec<_>>())
        ));
    } else if named.len() == 1 {
        text.push_str(&format!(" Only position {} can be the best.", label(&decision.best)));
    } else {
        text.push_str(&format!(
            " The best so far is position {}; {} can still be the best.",
            label(&decision.best),
            listed(&named)
        ));
    }
    if decision.evidence != Evidence::Open {
        text.push_str(&format!(" Start: position {}.", label(&decision.start)));
    }
    if !told.reference.given {
        text.push_str(words::NO_DEFAULT_GIVEN);
    }
    text + WEIGH
}

/// "1, 2 and 3".
fn listed(words: &[String]) -> String {
    match words.split_last() {
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} and {last}", rest.join(", ")),
        None => String::new(),
    }
}

/// What was fitted, for the model table.
pub(super) fn facts(
    place: &str,
    response: &Response,
    compared: &Compared,
    test: &LabelTest,
    draws: &LabelDraws,
) -> Vec<ModelRow> {
    let fact = |item: &str, name: &str, value: Option<f64>, text: String| ModelRow {
        model: format!("positions: {place}"),
        response: Some(response.name.clone()),
        item: item.to_owned(),
        name: name.to_owned(),
        value: value.filter(|value| value.is_finite()),
        std_error: None,
        text: Some(text),
    };
    let formula = format!(
        "{} scale: (position) + field-season + (block in field-season) + (field-season × position); positions {}",
        response.scale.name(),
        compared.labels.join(", ")
    );
    let smallest = draws.effective_sample_size;
    let enough = if smallest >= 100.0 { "passed".to_owned() } else { format!("failed: {smallest:.0}") };
    vec![
        fact("formula", "formula", None, formula),
        fact("fit", "observations", Some(compared.modelled.len() as f64), "strips".to_owned()),
        fact(
            "levels",
            "positions",
            Some(test.p_value),
            format!("p value that all positions are alike; {}", test.method),
        ),
        fact(
            "prior",
            "field-season × position",
            Some(draws.prior),
            "half-normal scale of the standard deviation".to_owned(),
        ),
        fact(
            "variance",
            "field-season × position",
            Some(draws.mean_spread),
            format!("standard deviation, mean of the draws; {}", draws.own_spread.name()),
        ),
        fact("draws", "draws", Some(draws.typical.len() as f64), "stored draws of the posterior".to_owned()),
        fact("check", "effective sample size at least 100", Some(smallest), enough),
    ]
}
