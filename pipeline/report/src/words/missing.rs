//! What data was missing, and what it would tell.

use std::collections::BTreeSet;

use evenstand_tables::rows::StripRow;

use crate::results::Results;
use crate::words::number;
use crate::words::why::WordTable;

/// Records that are not there, a row each: what, where, and what it would tell; `None` where nothing is missing.
pub(crate) fn missing(results: &Results) -> Option<WordTable> {
    let dug: BTreeSet<Strip> = results
        .sources
        .iter()
        .filter(|row| row.what == "dig_check")
        .map(|row| (row.field_id.as_str(), row.season, row.strip_id.as_str()))
        .collect();
    let rows: Vec<Vec<String>> = [
        strips_without(results, "a setting", "Without it a strip tells nothing of force.", |strip| {
            strip.force_n.is_none() && strip.closing_position.is_none() && strip.treatment.is_none()
        }),
        strips_without(results, "a stand count", "Without it nothing says how even the strip came up.", |strip| {
            strip.emerged.is_none() && strip.seeds_sown.is_none() && strip.spacing_cv.is_none()
        }),
        strips_without(
            results,
            "an emergence course",
            "Counts on several days tell who was on time; a final stand tells only who came up.",
            |strip| strip.emerged.is_some() && strip.t50_h.is_none(),
        ),
        strips_without(results, "a condition", "Soil notes by strip or block say which answer holds where.", |strip| {
            matches!(strip.condition.as_str(), "unstated" | "mixed")
        }),
        strips_without(results, "a dig check", "Digging says why a force is too light or too heavy.", |strip| {
            !dug.contains(&(strip.field_id.as_str(), strip.season, strip.strip_id.as_str()))
        }),
        fields_without(results, "blocks", "Repeats in blocks tell a setting from the ground it lay on.", |field| {
            field.n_blocks.unwrap_or(0) == 0 && field.kind.as_deref() == Some("trial")
        }),
        fields_without(
            results,
            "settings side by side",
            "One setting a field tells a field, not a setting.",
            |field| field.kind.as_deref() == Some("log"),
        ),
        planters(results),
    ]
    .into_iter()
    .flatten()
    .collect();
    (!rows.is_empty()).then(|| WordTable {
        caption: "Records that were missing".to_owned(),
        head: ["What", "Where", "What it would tell"].map(str::to_owned).to_vec(),
        rows,
        rest: None,
    })
}

type Strip<'a> = (&'a str, i64, &'a str);

fn strips_without(
    results: &Results,
    what: &str,
    tells: &str,
    lacks: impl Fn(&StripRow) -> bool,
) -> Option<Vec<String>> {
    let without: Vec<&StripRow> = results.strips.iter().filter(|strip| lacks(strip)).collect();
    let fields: BTreeSet<(&str, i64)> = without.iter().map(|strip| (strip.field_id.as_str(), strip.season)).collect();
    (!without.is_empty()).then(|| {
        vec![
            format!("{} without {what}", number::count(without.len(), "strip", "strips")),
            list(&fields.into_iter().collect::<Vec<_>>()),
            tells.to_owned(),
        ]
    })
}

fn fields_without(
    results: &Results,
    what: &str,
    tells: &str,
    lacks: impl Fn(&evenstand_tables::rows::FieldSeasonRow) -> bool,
) -> Option<Vec<String>> {
    let fields: Vec<(&str, i64)> = results
        .field_seasons
        .iter()
        .filter(|field| lacks(field))
        .map(|field| (field.field_id.as_str(), field.season))
        .collect();
    (!fields.is_empty()).then(|| {
        vec![
            format!("{} without {what}", number::count(fields.len(), "field-season", "field-seasons")),
            list(&fields),
            tells.to_owned(),
        ]
    })
}

fn planters(results: &Results) -> Option<Vec<String>> {
    let unweighed: Vec<&str> = results
        .planters
        .iter()
        .filter(|planter| planter.calibrated == Some(false))
        .map(|planter| planter.planter_id.as_str())
        .collect();
    (!unweighed.is_empty()).then(|| {
        vec![
            format!("{} without a calibration", number::count(unweighed.len(), "planter", "planters")),
            unweighed.join(", "),
            "Weighed forces let planters learn from each other.".to_owned(),
        ]
    })
}

/// Names of a few fields, and how many more.
fn list(fields: &[(&str, i64)]) -> String {
    const NAMED: usize = 4;
    let mut named: Vec<String> = fields.iter().take(NAMED).map(|(field, season)| format!("{field} {season}")).collect();
    if fields.len() > NAMED {
        named.push(format!("{} more", fields.len() - NAMED));
    }
    named.join(", ")
}
