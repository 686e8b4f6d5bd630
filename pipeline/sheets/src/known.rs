//! Names that a review knows already, for drop-downs and cards.

use std::collections::HashSet;

use evenstand_settings::{Knob, Settings};

/// A strip that is laid out or was recorded.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct KnownStrip {
    /// Field.
    pub field_id: String,
    /// Year of planting.
    pub season: i64,
    /// Strip.
    pub strip_id: String,
    /// Block it lies in.
    pub block: Option<String>,
    /// Name of its treatment, printed on the card for the cab.
    pub treatment: Option<String>,
}

/// A field in one season.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct KnownField {
    /// Field.
    pub field_id: String,
    /// Year of planting.
    pub season: i64,
    /// Planter that planted it, or is to.
    pub planter_id: Option<String>,
}

/// Most names in a drop-down, and most strips in a list. A spreadsheet's drop-down ends at 32 767 (from memory).
const LONGEST_LIST: usize = 10_000;
/// Longest name that is offered, in letters; a cell would take more, a drop-down could not show it.
const LONGEST_NAME: usize = 200;

/// Everything that is known, in the order in which it was met, each name once.
pub(crate) struct Known {
    pub fields: Vec<String>,
    pub seasons: Vec<i64>,
    pub strip_ids: Vec<String>,
    pub planters: Vec<String>,
    pub positions: Vec<String>,
    pub strips: Vec<KnownStrip>,
    pub field_seasons: Vec<KnownField>,
    /// Season of the cards and the example.
    pub season: Option<i64>,
    /// Strips and fields that are not listed, because of their names or because there are too many.
    pub left_out: usize,
}

impl Known {
    pub fn new(settings: &Settings, strips: &[KnownStrip], fields: &[KnownField], season: Option<i64>) -> Self {
        let usable: Vec<KnownStrip> = strips.iter().filter_map(clean_strip).take(LONGEST_LIST).collect();
        let usable_fields: Vec<KnownField> = fields.iter().filter_map(clean_field).take(LONGEST_LIST).collect();
        let names_of_fields = usable_fields.iter().map(|field| &field.field_id);
        let seasons = usable_fields.iter().map(|field| field.season).chain(usable.iter().map(|strip| strip.season));
        let seasons: Vec<i64> = once_each(seasons).into_iter().take(LONGEST_LIST).collect();
        let planters = settings.planters.iter().filter_map(|planter| clean(&planter.id));
        let labels = settings.planters.iter().flat_map(|planter| match &planter.knob {
            Some(Knob::Positions { positions, .. }) => positions.as_slice(),
            _ => &[],
        });
        Self {
            fields: once_each(names_of_fields.chain(usable.iter().map(|strip| &strip.field_id)).cloned()),
            season: season.or_else(|| seasons.iter().copied().max()),
            seasons,
            strip_ids: once_each(usable.iter().map(|strip| strip.strip_id.clone())),
            planters: once_each(planters.chain(usable_fields.iter().filter_map(|field| field.planter_id.clone()))),
            positions: once_each(labels.filter_map(|position| clean(&position.label))),
            left_out: strips.len() - usable.len() + fields.len() - usable_fields.len(),
            strips: usable,
            field_seasons: usable_fields,
        }
    }
}

fn clean_strip(strip: &KnownStrip) -> Option<KnownStrip> {
    Some(KnownStrip {
        field_id: clean(&strip.field_id)?,
        season: strip.season,
        strip_id: clean(&strip.strip_id)?,
        block: strip.block.as_deref().and_then(clean),
        treatment: strip.treatment.as_deref().and_then(clean),
    })
}

fn clean_field(field: &KnownField) -> Option<KnownField> {
    Some(KnownField {
        field_id: clean(&field.field_id)?,
        season: field.season,
        planter_id: field.planter_id.as_deref().and_then(clean),
    })
}

/// The name without blanks around it; nothing where it is empty, too long, or holds control characters.
pub(crate) fn clean(name: &str) -> Option<String> {
    let name = name.trim();
    let usable = !name.is_empty() && name.chars().count() <= LONGEST_NAME && !name.chars().any(char::is_control);
    usable.then(|| name.to_owned())
}

fn once_each<T: Clone + Eq + std::hash::Hash>(items: impl Iterator<Item = T>) -> Vec<T> {
    let mut seen = HashSet::new();
    items.filter(|item| seen.insert(item.clone())).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn strip(field_id: &str, season: i64, strip_id: &str) -> KnownStrip {
        KnownStrip { field_id: field_id.into(), season, strip_id: strip_id.into(), ..KnownStrip::default() }
    }

    #[test]
    fn each_name_is_listed_once_in_the_order_it_was_met() {
        let strips = [strip("west", 2025, "10"), strip("west", 2025, "2"), strip("east", 2024, "10")];
        let fields = [KnownField { field_id: "east".into(), season: 2024, planter_id: Some("p".into()) }];
        let known = Known::new(&Settings::default(), &strips, &fields, None);
        assert_eq!(known.fields, ["east", "west"]);
        assert_eq!(known.strip_ids, ["10", "2"]);
        assert_eq!(known.seasons, [2024, 2025]);
        assert_eq!(known.planters, ["p"]);
        assert_eq!((known.season, known.left_out), (Some(2025), 0));
    }

    #[test]
    fn a_name_that_no_drop_down_can_show_is_left_out_and_counted() {
        let strips = [
            strip("a", 2025, ""),
            strip(&"x".repeat(300), 2025, "1"),
            strip("a\u{7}", 2025, "2"),
            strip("b", 2025, "3"),
        ];
        let known = Known::new(&Settings::default(), &strips, &[], None);
        assert_eq!((known.fields.as_slice(), known.left_out), (["b".to_owned()].as_slice(), 3));
    }
}
