//! The tables of a condition: its curve in numbers, whether other responses agree, and settings in pairs.

use evenstand_tables::rows::{KnobRow, StartingPointRow};

use crate::charts::condition::ConditionChart;
use crate::results::Results;
use crate::words::answer::Evidence;
use crate::words::gauge::Gauge;
use crate::words::number;
use crate::words::pair_says;
use crate::words::response::Response;
use crate::words::why::{Pool, WordTable, belongs};

/// The curve at a dozen settings: the chart as numbers.
pub(crate) fn curve_table(chart: &ConditionChart) -> Option<WordTable> {
    const SHOWN: usize = 12;
    if chart.curve.is_empty() {
        return None;
    }
    let last = chart.curve.len() - 1;
    let mut picked: Vec<usize> = (0..SHOWN).map(|place| (place * last + (SHOWN - 1) / 2) / (SHOWN - 1)).collect();
    picked.dedup();
    let share = chart.response.scale == crate::words::response::Scale::Share;
    let rows = picked
        .into_iter()
        .map(|index| {
            let point = &chart.curve[index];
            let spread = point.low.zip(point.high).map(|(low, high)| (high - low) / 2.0);
            let shown = |value: Option<f64>| {
                value.map_or_else(
                    || "–".to_owned(),
                    |value| chart.response.value(if share { value / 100.0 } else { value }, spread),
                )
            };
            vec![chart.gauge.axis_number(point.x), shown(Some(point.estimate)), shown(point.low), shown(point.high)]
        })
        .collect();
    Some(WordTable {
        caption: "The curve in numbers".to_owned(),
        head: vec![chart.gauge.axis_title(), chart.response.label.clone(), "from".to_owned(), "to".to_owned()],
        rows,
        rest: Some("Every point is in results/curves.csv, every strip in results/adjusted.csv.".to_owned()),
    })
}

/// The row in the knob of its planter, of an answer that names positions by label.
fn by_label<'a>(results: &'a Results, point: &StartingPointRow) -> Option<&'a KnobRow> {
    let planter_id = point.planter_id.as_ref()?;
    results.settings.iter().find(|row| {
        row.planter_id == *planter_id
            && (&row.condition, &row.closer, &row.response) == (&point.condition, &point.closer, &point.response)
            && row.knob.as_deref() == Some("positions")
    })
}

/// The other responses of a pool, and whether they agree with the one that decides.
pub(crate) fn responses(
    results: &Results,
    pool: &Pool,
    deciding: &StartingPointRow,
    gauge: Gauge,
) -> Option<WordTable> {
    let rows: Vec<Vec<String>> = results
        .starting_points
        .iter()
        .filter(|row| belongs(pool, &row.condition, &row.closer, row.planter_id.as_ref()))
        .filter(|row| row.response != deciding.response)
        .map(|row| {
            let response = Response::of(&row.response, results);
            let window = row.window_low_n.zip(row.window_high_n);
            let label = by_label(results, row).and_then(|knob| knob.start_position.as_ref());
            let deciding_label = by_label(results, deciding).and_then(|knob| knob.start_position.as_ref());
            let agrees = match (deciding.start_n, window) {
                _ if row.shape.as_deref() == Some("flat") => "settings not told apart",
                _ if label.is_some() && label == deciding_label => "yes",
                _ if label.is_some() && deciding_label.is_some() => "no: another start",
                (Some(start), Some((low, high))) if start >= low && start <= high => "yes",
                (Some(_), Some((low, _))) if deciding.start_n < Some(low) => "no: heavier here",
                (Some(_), Some(_)) => "no: lighter here",
                _ => "cannot be told",
            };
            vec![
                response.label,
                Evidence::of(&row.evidence).word().to_owned(),
                row.shape.clone().unwrap_or_else(|| "–".to_owned()),
                window
                    .map(|(low, high)| gauge.range(low, high))
                    .or_else(|| {
                        let knob = by_label(results, row)?;
                        Some(number::range(knob.window_low_position.as_ref()?, knob.window_high_position.as_ref()?))
                    })
                    .unwrap_or_else(|| "–".to_owned()),
                row.levels_p_value.map_or_else(|| "–".to_owned(), number::p_value),
                agrees.to_owned(),
            ]
        })
        .collect();
    if rows.is_empty() {
        return None;
    }
    Some(WordTable {
        caption: "Do other responses agree?".to_owned(),
        head: ["Response", "How sure", "Shape", "As good", "p", "Agrees with the start"].map(str::to_owned).to_vec(),
        rows,
        rest: None,
    })
}

/// Differences between pairs of settings over all field-seasons.
pub(crate) fn comparisons(results: &Results, point: &StartingPointRow, response: &Response) -> Option<WordTable> {
    const SHOWN: usize = 30;
    let of_pool: Vec<_> = results
        .comparisons
        .iter()
        .filter(|row| row.field_id.is_none() && row.condition == point.condition && row.response == point.response)
        .filter(|row| row.closer.as_ref().is_none_or(|closer| *closer == point.closer))
        .filter(|row| row.planter_id == point.planter_id)
        .collect();
    // A difference without a standard error is one of fields as much as of settings: it is left to the table of results.
    let all: Vec<_> = of_pool.iter().filter(|row| row.std_error.is_some()).collect();
    if all.is_empty() {
        return None;
    }
    let untold = of_pool.len() - all.len();
    let word = if by_label(results, point).is_some() { "position " } else { "" };
    let rows = all
        .iter()
        .take(SHOWN)
        .map(|row| {
            let spread = row.low.zip(row.high).map(|(low, high)| (high - low) / 2.0);
            let shown = |value: Option<f64>| {
                value.map_or_else(|| "–".to_owned(), |value| response.bare_difference(value, spread))
            };
            let interval = match (row.low, row.high) {
                (Some(_), Some(_)) => number::range(&shown(row.low), &shown(row.high)),
                _ => "–".to_owned(),
            };
            vec![
                format!("{word}{} − {word}{}", row.treatment_a, row.treatment_b),
                shown(row.difference),
                interval,
                row.p_adjusted.map_or_else(|| "–".to_owned(), number::p_value),
                pair_says::verdict(row, response),
            ]
        })
        .collect();
    let left = all.len().saturating_sub(SHOWN);
    let unit = response.difference_unit();
    let difference = if unit.is_empty() { "Difference".to_owned() } else { format!("Difference ({unit})") };
    Some(WordTable {
        caption: format!("Settings compared in pairs, {}", response.in_text()),
        head: vec![
            "Pair".to_owned(),
            difference,
            "95 % interval".to_owned(),
            "p, adjusted for the number of pairs".to_owned(),
            "What was shown".to_owned(),
        ],
        rows,
        rest: rest_of_pairs(left, untold),
    })
}

/// What the table of pairs leaves out, in words.
fn rest_of_pairs(left: usize, untold: usize) -> Option<String> {
    let more = (left > 0).then(|| format!("{left} more pairs are in results/comparisons.csv."));
    let apart = (untold > 0).then(|| {
        let pairs = number::count(untold, "pair is", "pairs are");
        format!("{pairs} not compared: these settings were never tried side by side in one field, or without repeats.")
    });
    let parts: Vec<String> = more.into_iter().chain(apart).collect();
    (!parts.is_empty()).then(|| parts.join(" "))
}
