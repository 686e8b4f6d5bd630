//! One page a planter and farm: where to start, and what stands behind it on that farm.

use std::collections::BTreeSet;

use evenstand_tables::rows::FieldSeasonRow;
use serde::Serialize;

use crate::results::{Results, of_field_season};
use crate::slug::{Names, slug};
use crate::words::answer::{Card, cards};
use crate::words::fields::ordered;
use crate::words::number;
use crate::words::why::WordTable;

/// A page for one grower.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Grower {
    /// Name of its file below `growers/`, without its ending.
    pub file: String,
    pub planter: String,
    /// Client and farm, where they are known.
    pub farm: Option<String>,
    pub card: Card,
    /// The farm's own field-seasons with this planter.
    pub fields: Option<WordTable>,
    /// What the farm's own records add to the answer.
    pub says: Vec<String>,
}

/// Client and farm of a field-season.
pub(crate) fn owner(field: &FieldSeasonRow) -> Option<String> {
    match (&field.client, &field.farm) {
        (Some(client), Some(farm)) => Some(format!("{client} · {farm}")),
        (Some(owner), None) | (None, Some(owner)) => Some(owner.clone()),
        (None, None) => None,
    }
}

/// The pages: every planter with every farm it worked on; a planter without fields has a page of its own.
pub(crate) fn growers(results: &Results) -> Vec<Grower> {
    let mut names = Names::default();
    let mut pages = Vec::new();
    for mut card in cards(results) {
        // Nobody plants by a condition that was not noted.
        if card.answers.iter().any(|answer| plantable(&answer.condition)) {
            card.answers.retain(|answer| plantable(&answer.condition));
        }
        let fields: Vec<&FieldSeasonRow> =
            ordered(results).into_iter().filter(|field| field.planter_id.as_ref() == Some(&card.planter)).collect();
        let mut farms: Vec<Option<String>> = Vec::new();
        for field in &fields {
            let farm = owner(field);
            if !farms.contains(&farm) {
                farms.push(farm);
            }
        }
        if farms.is_empty() {
            farms.push(None);
        }
        for farm in farms {
            let own: Vec<&FieldSeasonRow> = fields.iter().copied().filter(|field| owner(field) == farm).collect();
            let stem = match &farm {
                Some(farm) => format!("{}-{}", slug(&card.planter), slug(farm)),
                None => slug(&card.planter),
            };
            pages.push(Grower {
                file: names.unique(&stem),
                planter: card.planter.clone(),
                card: card.clone(),
                fields: field_table(&own),
                says: says(results, &own),
                farm,
            });
        }
    }
    pages
}

/// Whether a condition can be told before planting.
fn plantable(condition: &str) -> bool {
    !matches!(condition, "unstated" | "mixed")
}

fn field_table(fields: &[&FieldSeasonRow]) -> Option<WordTable> {
    const SHOWN: usize = 6;
    let count = |value: Option<i64>| value.map_or_else(|| "–".to_owned(), number::grouped);
    let newest = {
        let mut fields = fields.to_vec();
        fields.sort_by(|a, b| b.season.cmp(&a.season).then_with(|| a.field_id.cmp(&b.field_id)));
        fields
    };
    let rows: Vec<Vec<String>> = newest
        .iter()
        .take(SHOWN)
        .map(|field| {
            vec![
                field.field_id.clone(),
                field.season.to_string(),
                field.conditions.clone().unwrap_or_else(|| "–".to_owned()),
                count(field.n_strips),
                count(field.n_levels),
            ]
        })
        .collect();
    let left = fields.len().saturating_sub(SHOWN);
    (!rows.is_empty()).then(|| WordTable {
        caption: "Fields of this farm that were read, newest first".to_owned(),
        head: ["Field", "Season", "Conditions", "Strips", "Settings"].map(str::to_owned).to_vec(),
        rows,
        rest: (left > 0).then(|| format!("{left} more stand in the winter review.")),
    })
}

fn says(results: &Results, fields: &[&FieldSeasonRow]) -> Vec<String> {
    let here: BTreeSet<&str> = fields
        .iter()
        .flat_map(|field| of_field_season(&results.strips, &field.field_id, field.season))
        .map(|strip| strip.condition.as_str())
        .filter(|condition| plantable(condition))
        .collect();
    let trials = fields.iter().filter(|field| field.kind.as_deref() == Some("trial")).count();
    if fields.is_empty() {
        return Vec::new();
    }
    let mut says = vec![format!(
        "{} of this farm were read, {trials} of them with settings side by side.",
        number::count(fields.len(), "field-season", "field-seasons"),
    )];
    if !here.is_empty() {
        let named: Vec<&str> = here.into_iter().collect();
        says.push(format!(
            "Conditions seen on this farm: {}. Answers for others come from other farms alone.",
            named.join("; ")
        ));
    }
    says
}
