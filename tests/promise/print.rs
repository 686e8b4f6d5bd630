//! The result as text: a table to read, files with every figure.

use std::fmt::Write;

use crate::judge::Record;
use crate::lines::misses;
use crate::rivals::RIVALS;
use crate::tally::{Estimate, SHAPES, Tally};

/// Cells of one row, as text.
type Cells = Vec<String>;

fn share(estimate: Estimate) -> String {
    estimate.value.map_or_else(|| "-".into(), |value| format!("{value:.3}"))
}

fn points(estimate: Estimate) -> String {
    estimate.value.map_or_else(|| "-".into(), |value| format!("{:.2}", 100.0 * value))
}

/// A figure and its error, in points.
fn points_with_error(estimate: Estimate) -> String {
    format!("{}±{}", points(estimate), points(Estimate { value: estimate.error, ..estimate }))
}

/// The aligned table, one row a scenario and part; losses in points of on-time share.
pub fn table(tallies: &[Tally]) -> String {
    let mut rows: Vec<Cells> = vec![
        [
            "scenario",
            "fs",
            "settled",
            "leaning",
            "open",
            "moved",
            "said",
            "kept",
            "sett.right",
            "±",
            "cover90",
            "±",
            "typical",
            "width",
            "gain90",
            "claimed",
            "loss",
            "95%",
            "default",
            "bestmean",
            "pooled",
            "byfield",
            "-default",
            "-bestmean",
            "-pooled",
            "-byfield",
            "failed",
        ]
        .map(str::to_owned)
        .to_vec(),
    ];
    rows.extend(tallies.iter().map(|tally| {
        let error = |estimate: Estimate| share(Estimate { value: estimate.error, ..estimate });
        let mut cells = vec![
            tally.name(),
            tally.field_seasons.to_string(),
            share(tally.settled),
            share(tally.leaning),
            share(tally.open),
            share(tally.moved),
            share(tally.said),
            share(tally.kept),
            share(tally.settled_right),
            error(tally.settled_right),
            share(tally.covered_spoken),
            error(tally.covered_spoken),
            share(tally.typical_covered),
            share(tally.width),
            share(tally.gain_covered_moved),
            format!("{:.3}", tally.claimed_shape()),
            points_with_error(tally.loss),
            format!("{:.2}", 100.0 * tally.loss_95),
        ];
        cells.extend(tally.rivals.iter().map(|rival| points(rival.loss)));
        cells.extend(tally.rivals.iter().map(|rival| points_with_error(rival.ours_less)));
        cells.push(tally.failures.to_string());
        cells
    }));
    aligned(&rows)
}

/// Columns as wide as their widest cell, the first to the left, the others to the right.
fn aligned(rows: &[Cells]) -> String {
    let columns = rows.iter().map(Vec::len).max().unwrap_or(0);
    let length = |cell: &String| cell.chars().count();
    let widths: Vec<usize> = (0..columns)
        .map(|column| rows.iter().filter_map(|row| row.get(column)).map(length).max().unwrap_or(0))
        .collect();
    let mut text = String::new();
    for row in rows {
        for (column, cell) in row.iter().enumerate() {
            let width = widths[column];
            let _ = if column == 0 { write!(text, "{cell:<width$}") } else { write!(text, "  {cell:>width$}") };
        }
        text.push('\n');
    }
    text
}

/// The last block: every line that is not held.
pub fn lines_not_held(tallies: &[Tally]) -> String {
    let found: Vec<_> = tallies.iter().flat_map(misses).collect();
    if found.is_empty() {
        return "lines not held: none\n".into();
    }
    let rows: Vec<Cells> = found
        .into_iter()
        .map(|miss| {
            let mark = if miss.within_error { " [within error]" } else { "" };
            vec![format!("  {}: {}{mark}", miss.scenario, miss.line)]
        })
        .collect();
    format!("lines not held:\n{}", aligned(&rows))
}

/// Every figure of a row with its name; shares and losses as fractions.
fn figures(tally: &Tally) -> Vec<(String, Estimate)> {
    let plain = |value: f64| Estimate { value: Some(value), error: None, count: tally.reviews };
    let mut all: Vec<(String, Estimate)> = [
        ("settled", tally.settled),
        ("leaning", tally.leaning),
        ("open", tally.open),
        ("moved", tally.moved),
        ("near", tally.near),
        ("said", tally.said),
        ("kept", tally.kept),
        ("settled_right", tally.settled_right),
        ("leaning_right", tally.leaning_right),
        ("covered", tally.covered),
        ("covered_spoken", tally.covered_spoken),
        ("typical_covered", tally.typical_covered),
        ("width", tally.width),
        ("gain_covered", tally.gain_covered),
        ("gain_covered_moved", tally.gain_covered_moved),
        ("loss", tally.loss),
        ("loss_95", plain(tally.loss_95)),
    ]
    .into_iter()
    .map(|(name, estimate)| (name.to_owned(), estimate))
    .collect();
    all.extend(SHAPES.iter().zip(&tally.shapes).map(|(shape, share)| (format!("shape_{shape}"), *share)));
    for rival in &tally.rivals {
        let name = rival.name.replace(' ', "_");
        all.push((format!("loss_{name}"), rival.loss));
        all.push((format!("loss_95_{name}"), plain(rival.loss_95)));
        all.push((format!("ours_less_{name}"), rival.ours_less));
    }
    all
}

fn number(value: Option<f64>) -> String {
    value.map_or_else(String::new, |value| format!("{value}"))
}

/// Text in quotes where it needs them (RFC 4180).
fn quoted(text: &str) -> String {
    if text.contains([',', '"', '\n']) { format!("\"{}\"", text.replace('"', "\"\"")) } else { text.to_owned() }
}

fn csv(rows: &[Cells]) -> String {
    rows.iter().map(|row| row.iter().map(|cell| quoted(cell)).collect::<Vec<_>>().join(",") + "\n").collect()
}

/// Every figure of every row as CSV: one line a scenario, part and figure.
pub fn figures_csv(tallies: &[Tally]) -> String {
    let header = ["scenario", "part", "field_seasons", "reviews", "failures", "figure", "value", "error", "answers"];
    let mut rows: Vec<Cells> = vec![header.map(str::to_owned).to_vec()];
    for tally in tallies {
        for (name, estimate) in figures(tally) {
            rows.push(vec![
                tally.scenario.clone(),
                tally.part.to_owned(),
                tally.field_seasons.to_string(),
                tally.reviews.to_string(),
                tally.failures.to_string(),
                name,
                number(estimate.value),
                number(estimate.error),
                estimate.count.to_string(),
            ]);
        }
    }
    csv(&rows)
}

/// Header of the records' file.
pub fn records_header() -> String {
    let fixed = [
        "scenario",
        "part",
        "condition",
        "seed",
        "failure",
        "evidence",
        "shape",
        "default_n",
        "start_n",
        "best_n",
        "best_low_n",
        "best_high_n",
        "true_best_low_n",
        "true_best_high_n",
        "acted_n",
        "loss",
        "near",
        "said",
        "covered",
        "typical_covered",
        "width",
        "gain_covered",
    ];
    let rivals = RIVALS.iter().map(|name| format!("loss_{}", name.replace(' ', "_")));
    csv(&[fixed.iter().map(|name| (*name).to_owned()).chain(rivals).collect()])
}

/// One line a record.
pub fn records_csv(scenario: &str, records: &[Record]) -> String {
    let rows: Vec<Cells> = records
        .iter()
        .map(|record| {
            let mut row = vec![
                scenario.to_owned(),
                record.part.to_owned(),
                record.condition.to_owned(),
                record.seed.to_string(),
                record.failure.clone().unwrap_or_default(),
                record.evidence.clone(),
                record.shape.clone(),
                number(Some(record.default_n)),
            ];
            row.extend([record.start_n, record.best_n, record.best_low_n, record.best_high_n].map(number));
            let (low_n, high_n) = record.true_best_n;
            row.extend([low_n, high_n, record.acted_n, record.loss, record.near].map(|value| number(Some(value))));
            row.extend(
                [record.said, record.covered, record.typical_covered, record.width, record.gain_covered].map(number),
            );
            row.extend(record.rivals.map(|loss| number(Some(loss))));
            row
        })
        .collect();
    csv(&rows)
}
