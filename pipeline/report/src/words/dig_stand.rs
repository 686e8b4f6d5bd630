//! Digs against the stand, in sentences that are never surer than the table.

use evenstand_tables::rows::DigStandRow;

use crate::results::Results;
use crate::words::number::{self, NO_BREAK_SPACE};
use crate::words::response::Response;

/// What one row says, with its numbers where it has them.
pub(crate) fn sentence(row: &DigStandRow, results: &Results) -> Option<String> {
    let reading = row.reading.clone().filter(|reading| !reading.trim().is_empty())?;
    let response = Response::of(&row.response, results);
    let about = format!("{}: ", response.label);
    let Some(((difference, low), high)) = row.difference.zip(row.low).zip(row.high) else {
        return Some(about + &reading);
    };
    let spread = Some((high - low) / 2.0);
    let [low, high] = [low, high].map(|end| response.fine_number(end, spread));
    let strips = number::count(usize::try_from(row.n_strips.unwrap_or(0)).unwrap_or(0), "strip", "strips");
    Some(format!(
        "{about}{reading} All places open against all shut: {} (95{NO_BREAK_SPACE}% interval: {}), {strips}, {} of them with an open trench.",
        response.fine_difference(difference, spread),
        number::range(&low, &high),
        row.n_open_strips.unwrap_or(0)
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_difference_is_told_with_its_interval_and_a_missing_one_without_numbers() {
        let mut row = DigStandRow {
            response: "emerged_share".into(),
            difference: Some(-0.0271),
            low: Some(-0.0585),
            high: Some(0.0044),
            n_strips: Some(161),
            n_open_strips: Some(29),
            reading: Some("No difference is shown.".into()),
            ..DigStandRow::default()
        };
        let words = sentence(&row, &Results::default()).unwrap().replace(NO_BREAK_SPACE, " ");
        for part in ["No difference is shown.", "−2.7 points", "−5.9 to 0.4", "161 strips, 29 of them"] {
            assert!(words.contains(part), "{part}: {words}");
        }
        row.difference = None;
        assert!(!sentence(&row, &Results::default()).unwrap().contains("interval"));
        row.reading = None;
        assert_eq!(sentence(&row, &Results::default()), None);
    }
}
