//! The condition of each strip, by the scheme of the settings.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_agronomy::{RainAfter, SoilWarmth};
use evenstand_settings::{ConditionPart, ConditionScheme};
use evenstand_tables::Moment;
use evenstand_tables::rows::SoilRow;

use crate::condition_note::{moisture, residue, texture_group};
use crate::key::{FieldSeason, StripKey};

/// Label of a strip whose condition is not known.
pub(crate) const UNSTATED: &str = "unstated";
/// Label of a strip that lies in two conditions.
pub(crate) const MIXED: &str = "mixed";
/// Hours after planting from which a note can tell of a crust: one of the day itself saw the surface before it could form.
const CRUST_FROM_H: f64 = 12.0;
/// Classes of a crust.
pub(crate) const CRUSTED: &str = "crusted";
pub(crate) const NO_CRUST: &str = "no crust";

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

impl Part {
    /// The class; `None` where it is not known or two at once.
    pub fn known(&self) -> Option<&str> {
        match self {
            Part::Known(word) => Some(word),
            Part::Unknown | Part::Two => None,
        }
    }

    fn of(words: BTreeSet<String>) -> Part {
        let mut words = words.into_iter();
        match (words.next(), words.next()) {
            (None, _) => Part::Unknown,
            (Some(only), None) => Part::Known(only),
            (Some(_), Some(_)) => Part::Two,
        }
    }
}

/// What a label is made from, apart from soil notes.
pub(crate) struct StripFacts<'a> {
    pub block: Option<&'a str>,
    pub planted_at: Option<Moment>,
    pub tillage: Option<&'a str>,
    pub logged: &'a [String],
    /// Rain in the days after planting, where it is known.
    pub rain_after_mm: Option<f64>,
}

/// The label that parts make: their classes, or that one of them is two at once or not known.
pub(crate) fn label<'a>(parts: impl Iterator<Item = &'a Part> + Clone) -> String {
    if parts.clone().any(|part| *part == Part::Two) {
        return MIXED.to_owned();
    }
    let words: Option<Vec<&str>> = parts.map(Part::known).collect();
    words.map_or_else(|| UNSTATED.to_owned(), |words| words.join(", "))
}

impl SoilNotes {
    pub fn new(notes: Vec<SoilRow>) -> Self {
        let mut by_field: BTreeMap<FieldSeason, Vec<SoilRow>> = BTreeMap::new();
        for note in notes {
            by_field.entry(FieldSeason::new(&note.field_id, note.season)).or_default().push(note);
        }
        Self { by_field }
    }

    /// One part of a strip's label, whether the scheme uses it or not.
    pub fn part(&self, key: &StripKey, facts: &StripFacts, part: ConditionPart, scheme: &ConditionScheme) -> Part {
        let known = |word: Option<String>| word.map_or(Part::Unknown, Part::Known);
        let nearest = |answer: &dyn Fn(&SoilRow) -> Option<String>| {
            let notes = self.nearest(key, facts, scheme, &|note| answer(note).is_some());
            Part::of(notes.into_iter().filter_map(answer).collect())
        };
        match part {
            ConditionPart::Logged => Part::of(facts.logged.iter().cloned().collect()),
            ConditionPart::Tillage => known(facts.tillage.map(|tillage| tillage.replace('_', "-"))),
            ConditionPart::Moisture => nearest(&|note| moisture(note, scheme)),
            ConditionPart::Residue => nearest(&|note| residue(note, scheme)),
            ConditionPart::TextureGroup => nearest(&texture_group),
            ConditionPart::SoilTemp => nearest(&|note| {
                SoilWarmth::from_temperature(note.soil_temp_c?, scheme.soil_temp_limit_c)
                    .map(|warmth| warmth.name().to_owned())
            }),
            ConditionPart::Crust => self.crust(key, facts, scheme),
            ConditionPart::Rain => known(
                facts
                    .rain_after_mm
                    .and_then(|sum| RainAfter::from_sum(sum, scheme.rain_limit_mm))
                    .map(|rain| rain.name().to_owned()),
            ),
        }
    }

    /// Soil temperature in degrees Celsius of the note nearest to planting; the mean of several equally near.
    pub fn soil_temperature(&self, key: &StripKey, facts: &StripFacts, scheme: &ConditionScheme) -> Option<f64> {
        let notes = self.nearest(key, facts, scheme, &|note| note.soil_temp_c.is_some());
        let temperatures: Vec<f64> = notes.into_iter().filter_map(|note| note.soil_temp_c).collect();
        (!temperatures.is_empty()).then(|| temperatures.iter().sum::<f64>() / temperatures.len() as f64)
    }

    /// Whether a crust was noted while the plants came up.
    ///
    /// A crust forms after planting and may break again, and people look now and then. The worst note counts: a field that was free of a crust on day
    /// 3 and had one on day 9 held its plants back all the same. Notes from before planting tell of another surface; one without a time
    /// counts, because nobody looks for a crust before there is a seed under it.
    fn crust(&self, key: &StripKey, facts: &StripFacts, scheme: &ConditionScheme) -> Part {
        let in_time = |note: &SoilRow| match (note.taken_at, facts.planted_at) {
            (Some(taken), Some(planted)) => {
                (CRUST_FROM_H..=24.0 * f64::from(scheme.crust_days)).contains(&taken.hours_since(planted))
            }
            _ => true,
        };
        let notes = self.in_scope(key, facts, &|note| note.crust.is_some() && in_time(note));
        if notes.is_empty() {
            return Part::Unknown;
        }
        let crusted = notes.iter().any(|note| note.crust == Some(true));
        Part::Known(if crusted { CRUSTED } else { NO_CRUST }.to_owned())
    }

    /// The notes nearest to planting, of the seed zone, among those that tell something; see [`SoilNotes::in_scope`].
    fn nearest(
        &self,
        key: &StripKey,
        facts: &StripFacts,
        scheme: &ConditionScheme,
        tells: &dyn Fn(&SoilRow) -> bool,
    ) -> Vec<&SoilRow> {
        let in_seed_zone = |note: &SoilRow| note.depth_m.is_none_or(|depth| depth <= scheme.seed_zone_m + 1e-9);
        let mut notes = self.in_scope(key, facts, &|note| in_seed_zone(note) && tells(note));
        let away = |note: &SoilRow| distance(note.taken_at, facts.planted_at);
        let nearest = notes.iter().map(|note| away(note)).min_by(f64::total_cmp).unwrap_or_default();
        notes.retain(|note| away(note) <= nearest);
        notes
    }

    /// Notes that tell something: a strip's own, where it has none its block's, else its field's.
    fn in_scope(&self, key: &StripKey, facts: &StripFacts, tells: &dyn Fn(&SoilRow) -> bool) -> Vec<&SoilRow> {
        let own = |note: &SoilRow| note.strip_id.as_deref() == Some(&key.strip_id);
        let of_block =
            |note: &SoilRow| note.strip_id.is_none() && note.block.is_some() && note.block.as_deref() == facts.block;
        let of_field = |note: &SoilRow| note.strip_id.is_none() && note.block.is_none();
        let scopes: [&dyn Fn(&SoilRow) -> bool; 3] = [&own, &of_block, &of_field];
        let notes = self.by_field.get(&key.field).map_or(&[][..], Vec::as_slice);
        scopes
            .into_iter()
            .map(|scope| notes.iter().filter(|note| scope(note) && tells(note)).collect::<Vec<_>>())
            .find(|notes| !notes.is_empty())
            .unwrap_or_default()
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

#[cfg(test)]
mod tests {
    use super::*;

    fn note(strip: Option<&str>, block: Option<&str>, hours: i64, feel: &str) -> SoilRow {
        SoilRow {
            field_id: "A".into(),
            season: 2025,
            strip_id: strip.map(Into::into),
            block: block.map(Into::into),
            taken_at: Some(Moment(hours * 3_600_000_000)),
            depth_m: Some(0.05),
            moisture_feel: (!feel.is_empty()).then(|| feel.into()),
            residue_cover_frac: Some(0.3),
            ..SoilRow::default()
        }
    }

    const FACTS: StripFacts<'static> =
        StripFacts { block: Some("I"), planted_at: Some(Moment(0)), tillage: None, logged: &[], rain_after_mm: None };

    fn part(notes: Vec<SoilRow>, facts: &StripFacts, part: ConditionPart) -> Part {
        SoilNotes::new(notes).part(&StripKey::new("A", 2025, "1"), facts, part, &ConditionScheme::default())
    }

    fn label(notes: Vec<SoilRow>) -> String {
        let parts = [ConditionPart::Moisture, ConditionPart::Residue].map(|of| part(notes.clone(), &FACTS, of));
        super::label(parts.iter())
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
    fn a_deep_note_does_not_tell_of_the_seed_zone() {
        let mut deep = note(None, None, 0, "wet");
        deep.depth_m = Some(0.3);
        assert_eq!(label(vec![deep, note(None, None, 60, "moist")]), "moist, covered");
    }

    #[test]
    fn soil_temperature_is_that_of_the_note_nearest_to_planting() {
        let at = |hours, temperature, depth| SoilRow {
            soil_temp_c: Some(temperature),
            depth_m: Some(depth),
            ..note(None, None, hours, "")
        };
        let class = |notes| part(notes, &FACTS, ConditionPart::SoilTemp);
        let cool_then_warm = vec![at(-30, 8.0, 0.05), at(2, 12.0, 0.05), at(1, 6.0, 0.3)];
        assert_eq!(class(cool_then_warm.clone()), Part::Known("warm".into()));
        let value = |notes| {
            SoilNotes::new(notes).soil_temperature(&StripKey::new("A", 2025, "1"), &FACTS, &ConditionScheme::default())
        };
        assert_eq!(value(cool_then_warm), Some(12.0));
        assert_eq!(class(vec![at(-30, 8.0, 0.05)]), Part::Known("cool".into()));
        assert_eq!(class(vec![at(5, 8.0, 0.05), at(-5, 11.0, 0.05)]), Part::Two);
        assert_eq!(value(vec![at(5, 8.0, 0.05), at(-5, 11.0, 0.05)]), Some(9.5));
        assert_eq!((class(vec![note(None, None, 0, "wet")]), value(vec![])), (Part::Unknown, None));
    }

    #[test]
    fn the_worst_note_after_planting_tells_of_a_crust() {
        let days = |day: i64, crust| SoilRow { crust: Some(crust), ..note(None, None, 24 * day, "") };
        let class = |notes| part(notes, &FACTS, ConditionPart::Crust);
        assert_eq!(class(vec![days(3, false), days(9, true), days(15, false)]), Part::Known("crusted".into()));
        assert_eq!(class(vec![days(3, false), days(9, false)]), Part::Known("no crust".into()));
        // Before planting, and when the plants are up.
        assert_eq!(class(vec![days(-2, true), days(22, true)]), Part::Unknown);
        assert_eq!(class(vec![days(21, true)]), Part::Known("crusted".into()));
        let undated = SoilRow { taken_at: None, ..days(0, true) };
        assert_eq!(class(vec![undated]), Part::Known("crusted".into()));
        let own = SoilRow { strip_id: Some("1".into()), ..days(9, false) };
        assert_eq!(class(vec![own, days(9, true)]), Part::Known("no crust".into()));
        assert_eq!(class(vec![note(None, None, 24, "wet")]), Part::Unknown);
    }

    #[test]
    fn rain_tillage_and_what_the_operator_called_it_need_no_note() {
        let rain = |rain_after_mm| part(vec![], &StripFacts { rain_after_mm, ..FACTS }, ConditionPart::Rain);
        assert_eq!(rain(Some(10.0)), Part::Known("rain after".into()));
        assert_eq!(rain(Some(9.0)), Part::Known("dry after".into()));
        assert_eq!(rain(None), Part::Unknown);
        let no_till = StripFacts { tillage: Some("no_till"), ..FACTS };
        assert_eq!(part(vec![], &no_till, ConditionPart::Tillage), Part::Known("no-till".into()));
        let words = ["sticky".to_owned(), "wet".to_owned()];
        let logged = |logged| part(vec![], &StripFacts { logged, ..FACTS }, ConditionPart::Logged);
        assert_eq!((logged(&words[..1]), logged(&words)), (Part::Known("sticky".into()), Part::Two));
    }
}
