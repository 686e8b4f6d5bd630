//! Every figure, and every record, as CSV.

use crate::judge::Record;
use crate::rivals::RIVALS;
use crate::tally::{Estimate, SHAPES, Tally};

/// Every figure of a row with its name; shares and losses as fractions.
fn figures(tally: &Tally) -> Vec<(String, Estimate)> {
    let plain = |value: f64| Estimate { value: Some(value), error: None, count: tally.loss.count };
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
        ("claimed", tally.claimed),
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
    value.map_or_else(String::new, |value| value.to_string())
}

/// Lines of CSV; text in quotes where it needs them (RFC 4180).
fn csv(rows: Vec<Vec<String>>) -> String {
    let quoted = |text: &String| {
        if text.contains([',', '"', '\n']) { format!("\"{}\"", text.replace('"', "\"\"")) } else { text.clone() }
    };
    rows.iter().map(|row| row.iter().map(quoted).collect::<Vec<_>>().join(",") + "\n").collect()
}

/// Every figure of every row: one line a scenario, part and figure.
pub fn figures_csv(tallies: &[Tally]) -> String {
    let header = "scenario part field_seasons default_n reviews failures figure value error answers";
    let mut rows: Vec<Vec<String>> = vec![header.split(' ').map(str::to_owned).collect()];
    for tally in tallies {
        for (name, estimate) in figures(tally) {
            rows.push(vec![
                tally.scenario.clone(),
                tally.part.to_owned(),
                tally.field_seasons.to_string(),
                tally.default_n.to_string(),
                tally.reviews.to_string(),
                tally.failures.to_string(),
                name,
                number(estimate.value),
                number(estimate.error),
                estimate.count.to_string(),
            ]);
        }
    }
    csv(rows)
}

/// Header of the records' file.
pub fn records_header() -> String {
    let fixed = "scenario part condition seed failure evidence shape default_n start_n best_n best_low_n best_high_n \
                 true_best_low_n true_best_high_n acted_n loss near said covered typical_covered width gain_covered";
    let rivals = RIVALS.iter().map(|name| format!("loss_{}", name.replace(' ', "_")));
    csv(vec![fixed.split(' ').map(str::to_owned).chain(rivals).collect()])
}

/// One line a record.
pub fn records_csv(scenario: &str, records: &[Record]) -> String {
    let row = |record: &Record| {
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
        let (low_n, high_n) = record.true_best_n;
        let known = [low_n, high_n, record.acted_n, record.loss, record.near].map(Some);
        let set = [record.start_n, record.best_n, record.best_low_n, record.best_high_n];
        let judged = [record.said, record.covered, record.typical_covered, record.width, record.gain_covered];
        let numbers = set.into_iter().chain(known).chain(judged).chain(record.rivals.map(Some));
        row.extend(numbers.map(number));
        row
    };
    csv(records.iter().map(row).collect())
}
