//! The condition of each strip, by the scheme of the settings.

use std::collections::BTreeMap;

use evenstand_agronomy::{Moisture, MoistureLimits, Residue, TextureClass};
use evenstand_settings::{ConditionPart, ConditionScheme};
use evenstand_tables::Moment;
use evenstand_tables::rows::SoilRow;

use crate::key::{FieldSeason, StripKey};

/// Label of a strip whose condition is not known.
pub(crate) const UNSTATED: &str = "unstated";
/// Label of a strip that lies in two conditions.
pub(crate) const MIXED: &str = "mixed";

/// Soil notes of a review, to be asked strip by strip.
pub(crate) struct SoilNotes {
    by_field: BTreeMap<FieldSeason, Vec<SoilRow>>,
}

/// One part of a label: known, not known, or two at once.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Part {
    Known(String),
    Unknown,
    Two,
}

/// What a label is made from, apart from soil notes.
pub(crate) struct StripFacts<'a> {
    pub block: Option<&'a str>,
    pub planted_at: Option<Moment>,
    pub tillage: Option<&'a str>,
    pub logged: &'a [String],
}

impl SoilNotes {
    pub fn new(notes: Vec<SoilRow>) -> Self {
        let mut by_field: BTreeMap<FieldSeason, Vec<SoilRow>> = BTreeMap::new();
        for note in notes {
            by_field.entry(FieldSeason::new(&note.field_id, note.season)).or_default().push(note);
        }
        Self { by_field }
    }

    /// The label of a strip.
    pub fn label(
        &self,
        key: &StripKey,
        facts: &StripFacts,
        parts: &[ConditionPart],
        scheme: &ConditionScheme,
    ) -> String {
        let mut words = Vec::new();
        let mut two = false;
        let mut unknown = false;
        for part in parts {
            match self.part(key, facts, *part, scheme) {
                Part::Known(word) => words.push(word),
                Part::Two => two = true,
                Part::Unknown => unknown = true,
            }
        }
        if two {
            MIXED.to_owned()
        } else if unknown {
            UNSTATED.to_owned()
        } else {
            words.join(", ")
        }
    }

    /// One part of a strip's label, whether the scheme uses it or not; `None` where it is not known or two at once.
    pub fn known(
        &self,
        key: &StripKey,
        facts: &StripFacts,
        part: ConditionPart,
        scheme: &ConditionScheme,
    ) -> Option<String> {
        match self.part(key, facts, part, scheme) {
            Part::Known(word) => Some(word),
            Part::Unknown | Part::Two => None,
        }
    }

    fn part(&self, key: &StripKey, facts: &StripFacts, part: ConditionPart, scheme: &ConditionScheme) -> Part {
        match part {
            ConditionPart::Logged => match facts.logged {
                [] => Part::Unknown,
                [one] => Part::Known(one.clone()),
                _ => Part::Two,
            },
            ConditionPart::Tillage => {
                facts.tillage.map_or(Part::Unknown, |tillage| Part::Known(tillage.replace('_', "-")))
            }
            ConditionPart::Moisture => self.nearest(key, facts, scheme, |note| moisture(note, scheme)),
            ConditionPart::Residue => self.nearest(key, facts, scheme, |note| {
                Residue::from_cover(note.residue_cover_frac?, scheme.residue_limit)
                    .map(|residue| residue.name().to_owned())
            }),
            ConditionPart::TextureGroup => self.nearest(key, facts, scheme, texture_group),
        }
    }

    /// The answer of the note nearest to planting: a strip's own notes before its block's before its field's. Notes
    /// equally near that disagree put the strip into two conditions.
    fn nearest(
        &self,
        key: &StripKey,
        facts: &StripFacts,
        scheme: &ConditionScheme,
        answer: impl Fn(&SoilRow) -> Option<String>,
    ) -> Part {
        let Some(notes) = self.by_field.get(&key.field) else { return Part::Unknown };
        let in_seed_zone = |note: &&SoilRow| note.depth_m.is_none_or(|depth| depth <= scheme.seed_zone_m + 1e-9);
        let own = |note: &&SoilRow| note.strip_id.as_deref() == Some(&key.strip_id);
        let of_block =
            |note: &&SoilRow| note.strip_id.is_none() && note.block.is_some() && note.block.as_deref() == facts.block;
        let of_field = |note: &&SoilRow| note.strip_id.is_none() && note.block.is_none();
        let scopes: [&dyn Fn(&&SoilRow) -> bool; 3] = [&own, &of_block, &of_field];
        for scope in scopes {
            let answers: Vec<(f64, String)> = notes
                .iter()
                .filter(|note| scope(note) && in_seed_zone(note))
                .filter_map(|note| Some((distance(note.taken_at, facts.planted_at), answer(note)?)))
                .collect();
            let Some(nearest) = answers.iter().map(|(distance, _)| *distance).min_by(f64::total_cmp) else { continue };
            let mut words: Vec<&String> =
                answers.iter().filter(|(distance, _)| *distance <= nearest).map(|(_, word)| word).collect();
            words.sort();
            words.dedup();
            return match words.as_slice() {
                [word] => Part::Known((*word).clone()),
                _ => Part::Two,
            };
        }
        Part::Unknown
    }
}

/// Hours between a note and planting; a note without a time comes after all that have one.
fn distance(taken_at: Option<Moment>, planted_at: Option<Moment>) -> f64 {
    match (taken_at, planted_at) {
        (Some(taken), Some(planted)) => taken.hours_since(planted).abs(),
        (Some(_), None) => 0.0,
        (None, _) => f64::MAX,
    }
}

fn moisture(note: &SoilRow, scheme: &ConditionScheme) -> Option<String> {
    let class = |water: f64, limits: [f64; 2]| {
        Moisture::from_water(water, MoistureLimits { dry_below: limits[0], wet_from: limits[1] })
    };
    let group = texture_group(note).and_then(|group| scheme.texture.get(&group)).copied().unwrap_or_default();
    let gravimetric = group.moisture_gravimetric.unwrap_or(scheme.moisture_gravimetric);
    let volumetric = group.moisture_volumetric.unwrap_or(scheme.moisture_volumetric);
    let moisture = note
        .moisture_feel
        .as_deref()
        .and_then(Moisture::parse)
        .or_else(|| class(note.water_gravimetric_frac?, gravimetric))
        .or_else(|| class(note.water_volumetric_frac?, volumetric))?;
    Some(moisture.name().to_owned())
}

fn texture_group(note: &SoilRow) -> Option<String> {
    let class = note.texture.as_deref().and_then(TextureClass::parse).or_else(|| {
        TextureClass::from_percent(note.sand_frac? * 100.0, note.silt_frac? * 100.0, note.clay_frac? * 100.0).ok()
    })?;
    Some(class.group().name().to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstand_settings::TextureLimits;

    fn note(strip: Option<&str>, block: Option<&str>, hours: i64, feel: &str) -> SoilRow {
        SoilRow {
            field_id: "A".into(),
            season: 2025,
            strip_id: strip.map(Into::into),
            block: block.map(Into::into),
            taken_at: Some(Moment(hours * 3_600_000_000)),
            depth_m: Some(0.05),
            texture: None,
            sand_frac: None,
            silt_frac: None,
            clay_frac: None,
            water_gravimetric_frac: None,
            water_volumetric_frac: None,
            plastic_limit_frac: None,
            available_water_frac: None,
            moisture_feel: (!feel.is_empty()).then(|| feel.into()),
            soil_temp_c: None,
            residue_cover_frac: Some(0.3),
            penetration_kpa: None,
            crust: None,
            note: None,
            lat: None,
            lon: None,
            source_file: String::new(),
            source_row: 0,
            source_sha256: String::new(),
        }
    }

    fn label(notes: Vec<SoilRow>) -> String {
        let facts = StripFacts { block: Some("I"), planted_at: Some(Moment(0)), tillage: None, logged: &[] };
        SoilNotes::new(notes).label(
            &StripKey::new("A", 2025, "1"),
            &facts,
            &[ConditionPart::Moisture, ConditionPart::Residue],
            &ConditionScheme::default(),
        )
    }

    #[test]
    fn the_note_nearest_to_planting_counts_and_a_strip_goes_before_its_block_and_field() {
        assert_eq!(label(vec![note(None, None, -40, "wet"), note(None, None, 10, "dry")]), "dry, covered");
        assert_eq!(label(vec![note(None, None, 1, "wet"), note(None, Some("I"), 50, "moist")]), "moist, covered");
        assert_eq!(label(vec![note(Some("1"), None, 90, "dry"), note(None, Some("I"), 1, "moist")]), "dry, covered");
        assert_eq!(label(vec![note(Some("2"), None, 1, "dry"), note(None, Some("II"), 1, "dry")]), UNSTATED);
    }

    #[test]
    fn notes_equally_near_that_disagree_are_mixed_and_none_is_unstated() {
        assert_eq!(label(vec![note(None, None, 5, "wet"), note(None, None, -5, "dry")]), MIXED);
        assert_eq!(label(vec![]), UNSTATED);
    }

    #[test]
    fn water_is_judged_by_the_limits_of_its_texture_group_where_these_are_set() {
        let scheme = ConditionScheme {
            texture: [(
                "coarse".to_owned(),
                TextureLimits { moisture_gravimetric: Some([0.05, 0.10]), moisture_volumetric: None },
            )]
            .into(),
            ..ConditionScheme::default()
        };
        let class = |texture: Option<&str>, water: f64| {
            let note = SoilRow {
                texture: texture.map(Into::into),
                water_gravimetric_frac: Some(water),
                ..note(None, None, 0, "")
            };
            moisture(&note, &scheme).unwrap()
        };
        assert_eq!(class(Some("loamy sand"), 0.11), "wet");
        assert_eq!(class(Some("silt loam"), 0.11), "dry");
        assert_eq!(class(None, 0.11), "dry");
    }

    #[test]
    fn a_deep_note_does_not_tell_of_the_seed_zone() {
        let mut deep = note(None, None, 0, "wet");
        deep.depth_m = Some(0.3);
        assert_eq!(label(vec![deep, note(None, None, 60, "moist")]), "moist, covered");
    }
}
