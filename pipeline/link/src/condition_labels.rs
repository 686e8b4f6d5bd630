//! Sorts strips into conditions, and counts which class each of them fell into.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_settings::{ConditionPart, Settings};
use evenstand_tables::Finding;
use evenstand_tables::rows::{FieldRow, StripSheetRow};

use crate::condition::{MIXED, Part, SoilNotes, StripFacts, UNSTATED, label};
use crate::key::{FieldSeason, StripKey};
use crate::rain_after::Rain;
use crate::strips::{LinkedStrip, in_season, zone_of};

/// The scheme in use, and how many strips fell into each class of every part, used or not.
pub(crate) struct Labelled {
    /// Parts that make the label.
    pub parts: Vec<ConditionPart>,
    /// Strips and field-seasons by part and answer.
    pub counts: BTreeMap<(&'static str, Answer), Count>,
}

/// What a part came to in a strip.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Answer {
    Class(String),
    Two,
    Unknown,
}

/// Strips, and the field-seasons they lie in.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Count {
    pub strips: usize,
    pub field_seasons: BTreeSet<FieldSeason>,
}

impl Count {
    pub fn add(&mut self, field: &FieldSeason) {
        self.strips += 1;
        self.field_seasons.insert(field.clone());
    }
}

/// What labels are made from.
pub(crate) struct Sources<'a> {
    pub notes: &'a SoilNotes,
    pub rain: &'a Rain,
    pub fields: &'a BTreeMap<FieldSeason, FieldRow>,
    pub sheet: &'a BTreeMap<StripKey, StripSheetRow>,
}

/// Fills in the label and every part of each strip. Strips in two conditions or in none that is known are findings.
pub(crate) fn label_conditions(
    strips: &mut [LinkedStrip],
    from: &Sources,
    settings: &Settings,
    findings: &mut Vec<Finding>,
) -> Labelled {
    let scheme = &settings.condition;
    let logged = logged(strips, from);
    let every_strip_logged = !logged.is_empty() && logged.iter().all(|words| !words.is_empty());
    let parts = scheme.by.clone().unwrap_or_else(|| {
        if every_strip_logged {
            vec![ConditionPart::Logged]
        } else {
            vec![ConditionPart::Moisture, ConditionPart::Residue]
        }
    });
    let mut labelled = Labelled { parts, counts: BTreeMap::new() };
    let mut unclear: BTreeMap<(FieldSeason, &'static str), usize> = BTreeMap::new();
    for ((row, _, _), logged) in strips.iter_mut().zip(&logged) {
        let key = StripKey::new(&row.field_id, row.season, &row.strip_id);
        let field = from.fields.get(&key.field);
        let planted_at = from.sheet.get(&key).and_then(|row| row.planted_at).or_else(|| field?.planted_at);
        let planted_at = planted_at.filter(|time| in_season(*time, key.field.season));
        row.rain_after_mm = planted_at.and_then(|planted| {
            from.rain.after(&key.field.field_id, planted, &zone_of(field, settings), scheme.rain_days)
        });
        let facts = StripFacts {
            block: row.block.as_deref(),
            planted_at,
            tillage: field.and_then(|field| field.tillage.as_deref()),
            logged,
            rain_after_mm: row.rain_after_mm,
        };
        row.soil_temp_c = from.notes.soil_temperature(&key, &facts, scheme);
        let answers = ConditionPart::ALL.map(|part| (part, from.notes.part(&key, &facts, part, scheme)));
        let of = |part: ConditionPart| answers.iter().find(|(other, _)| *other == part).map(|(_, answer)| answer);
        row.condition = label(labelled.parts.iter().filter_map(|part| of(*part)));
        let word = |part| of(part).and_then(Part::known).map(str::to_owned);
        row.moisture = word(ConditionPart::Moisture);
        row.residue = word(ConditionPart::Residue);
        row.texture_group = word(ConditionPart::TextureGroup);
        row.tillage = word(ConditionPart::Tillage);
        row.logged = word(ConditionPart::Logged);
        row.soil_temp = word(ConditionPart::SoilTemp);
        row.crust = word(ConditionPart::Crust);
        row.rain = word(ConditionPart::Rain);
        for (part, answer) in answers {
            let answer = match answer {
                Part::Known(word) => Answer::Class(word),
                Part::Two => Answer::Two,
                Part::Unknown => Answer::Unknown,
            };
            labelled.counts.entry((part.name(), answer)).or_default().add(&key.field);
        }
        for label in [UNSTATED, MIXED] {
            if row.condition == label {
                *unclear.entry((key.field.clone(), label)).or_default() += 1;
            }
        }
    }
    let to_add = what_to_add(&labelled.parts);
    for ((field, label), count) in unclear {
        let (what, remedy) = if label == MIXED {
            ("in two conditions", "give soil notes by strip or block, so that each strip has one condition")
        } else {
            ("of no known condition", to_add.as_str())
        };
        findings.push(
            Finding::warning(&format!("condition_{label}"), format!("strips {what}, modelled as \"{label}\": {count}"))
                .field(&field.field_id, field.season)
                .remedy(remedy),
        );
    }
    labelled
}

/// What each strip was called, in the order of `strips`: in the setting log, and in its own row of the strip sheet.
fn logged(strips: &[LinkedStrip], from: &Sources) -> Vec<Vec<String>> {
    let words = |(row, setting, _): &LinkedStrip| {
        let mut words = setting.conditions.clone();
        let own = from.sheet.get(&StripKey::new(&row.field_id, row.season, &row.strip_id));
        words.extend(own.and_then(|row| row.condition.clone()));
        words.sort();
        words.dedup();
        words
    };
    strips.iter().map(words).collect()
}

/// What to record so that these parts are known, in the imperative.
pub(crate) fn what_to_add(parts: &[ConditionPart]) -> String {
    let noted: Vec<&str> = parts
        .iter()
        .filter_map(|part| match part {
            ConditionPart::Moisture => Some("moisture"),
            ConditionPart::Residue => Some("residue cover"),
            ConditionPart::TextureGroup => Some("texture"),
            ConditionPart::SoilTemp => Some("soil temperature"),
            ConditionPart::Tillage | ConditionPart::Logged | ConditionPart::Crust | ConditionPart::Rain => None,
        })
        .collect();
    let mut things: Vec<String> = Vec::new();
    if !noted.is_empty() {
        things.push(format!("soil notes with {} near planting", listed(&noted)));
    }
    for part in parts {
        match part {
            ConditionPart::Crust => {
                things.push("soil notes in the days after planting that say crust yes or no".into())
            }
            ConditionPart::Rain => things.push("daily rain of the days after planting, and the planting time".into()),
            ConditionPart::Tillage => things.push("tillage to the field table".into()),
            ConditionPart::Logged => things.push("the condition to the setting log or the strip sheet".into()),
            _ => {}
        }
    }
    format!("add {}", things.join("; "))
}

/// "moisture, residue cover and texture".
fn listed(words: &[&str]) -> String {
    match words.split_last() {
        Some((last, [])) => (*last).to_owned(),
        Some((last, rest)) => format!("{} and {last}", rest.join(", ")),
        None => String::new(),
    }
}
