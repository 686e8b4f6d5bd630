//! The masthead: what was read, and whether it is invented.

use serde::Serialize;

use crate::results::Results;
use crate::words::number;
use crate::words::response::capitalised;

/// What a reader should know about the run, one line each.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Scope {
    pub review: String,
    pub invented: bool,
    pub lines: Vec<String>,
}

/// The masthead of a review.
pub(crate) fn scope(results: &Results) -> Scope {
    let mut seasons: Vec<i64> = results.field_seasons.iter().map(|field| field.season).collect();
    seasons.sort_unstable();
    seasons.dedup();
    let season_words = match seasons.as_slice() {
        [] => "No season".to_owned(),
        [only] => format!("Season {only}"),
        [first, .., last] if last - first == seasons.len() as i64 - 1 => format!("Seasons {first} to {last}"),
        several => {
            format!("Seasons {}", several.iter().map(ToString::to_string).collect::<Vec<_>>().join(", "))
        }
    };
    let crops: Vec<String> = {
        let mut crops: Vec<String> = results.field_seasons.iter().filter_map(|field| field.crop.clone()).collect();
        crops.sort();
        crops.dedup();
        crops
    };
    let mut lines = vec![format!(
        "{season_words}: {}, {}",
        number::count(results.field_seasons.len(), "field-season", "field-seasons"),
        number::count(results.strips.len(), "strip", "strips")
    )];
    if !crops.is_empty() {
        lines.push(capitalised(&crops.join(", ")));
    }
    let review = results.review().to_owned();
    Scope { invented: review.to_lowercase().contains("invented"), review, lines }
}

/// The level of intervals, "90 %"; nothing where the run does not say.
pub(crate) fn interval(results: &Results) -> String {
    results.fact_number("interval_level").map(number::percent).unwrap_or_default()
}
