//! The result as text to read.

use std::fmt::Write;

use crate::calibration::Class;
use crate::lines::{Line, Miss};
use crate::tally::{Estimate, Tally};
use crate::truth::tested;

/// Cells of one row, as text.
pub type Cells = Vec<String>;

/// A share, or a dash where there is none.
pub fn share(estimate: Estimate) -> String {
    estimate.value.map_or_else(|| "-".into(), |value| format!("{value:.3}"))
}

fn error(estimate: Estimate) -> String {
    share(Estimate { value: estimate.error, ..estimate })
}

/// A loss in points.
pub fn points(estimate: Estimate) -> String {
    estimate.value.map_or_else(|| "-".into(), |value| format!("{:.2}", 100.0 * value))
}

/// A loss and its error, in points.
pub fn points_with_error(estimate: Estimate) -> String {
    with_error(estimate, points)
}

/// A share and its error.
pub fn share_with_error(estimate: Estimate) -> String {
    with_error(estimate, share)
}

/// One answer alone has no error.
fn with_error(estimate: Estimate, text: impl Fn(Estimate) -> String) -> String {
    let error = estimate.error.map(|error| text(Estimate { value: Some(error), ..estimate }));
    [text(estimate)].into_iter().chain(error).collect::<Vec<_>>().join("±")
}

/// The typical field's best force, or its range where several do not differ.
pub fn best_force(tally: &Tally) -> String {
    let (lightest, heaviest) = tested();
    match tally.true_best_n {
        None => "-".into(),
        Some((low, high)) if high - low > 20.0 => format!("{low:.0}–{high:.0}"),
        Some((_, high)) if high == heaviest => format!("{high:.0}"),
        Some((low, _)) if low == lightest => format!("{low:.0}"),
        Some((low, high)) => format!("{:.0}", (low + high) / 2.0),
    }
}

/// The aligned table, one row a scenario and part; losses in points of on-time share.
pub fn table(tallies: &[Tally]) -> String {
    let header = "scenario|fs|default N|best N|settled|leaning|open|moved|said|kept|sett.right|±|cover90|±|typical|width|\
                  gain90|claimed|loss|95%|default|bestmean|pooled|byfield|-default|-bestmean|-pooled|-byfield|failed";
    let mut rows: Vec<Cells> = vec![header.split('|').map(str::to_owned).collect()];
    rows.extend(tallies.iter().map(|tally| {
        let mut cells = vec![
            tally.name(),
            tally.field_seasons.to_string(),
            tally.default_n.to_string(),
            best_force(tally),
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
            share(tally.claimed),
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
    let width_of = |column: usize| {
        let cells = rows.iter().filter_map(|row| row.get(column));
        cells.map(|cell| cell.chars().count()).max().unwrap_or(0)
    };
    let widths: Vec<usize> = (0..columns).map(width_of).collect();
    let mut text = String::new();
    for row in rows {
        for (column, (cell, width)) in row.iter().zip(&widths).enumerate() {
            let _ = if column == 0 { write!(text, "{cell:<width$}") } else { write!(text, "  {cell:>width$}") };
        }
        text.push('\n');
    }
    text
}

/// Classes of what was said beside what was kept.
pub fn said_and_kept(classes: &[Class]) -> String {
    let mut rows: Vec<Cells> = vec![["said", "mean", "kept", "±", "answers"].map(str::to_owned).to_vec()];
    rows.extend(classes.iter().map(|class| {
        let between = format!("{:.2} to {:.2}", class.from, class.to);
        vec![between, share(class.said), share(class.kept), error(class.kept), class.kept.count.to_string()]
    }));
    aligned(&rows)
}

/// A miss in one line.
pub fn miss_in_words(miss: &Miss) -> String {
    let mark = if miss.within_error { " (within error)" } else { "" };
    format!("{}: {}{mark}", miss.scenario, miss.what)
}

/// The last block: every line that is not held.
pub fn lines_not_held(tallies: &[Tally]) -> String {
    let found = tallies.iter().flat_map(|tally| Line::ALL.into_iter().flat_map(|line| line.misses(tally)));
    let text: String = found.map(|miss| format!("  {}\n", miss_in_words(&miss))).collect();
    if text.is_empty() { "lines not held: none\n".into() } else { format!("lines not held:\n{text}") }
}
