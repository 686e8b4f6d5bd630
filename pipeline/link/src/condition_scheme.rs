//! The condition scheme as a table: every class with its rule, the rule's source, and how many strips fell where.

use std::collections::BTreeMap;

use evenstand_settings::{ConditionPart, ConditionScheme};
use evenstand_tables::Finding;
use evenstand_tables::rows::{ConditionRow, StripRow};

use crate::condition::{CRUSTED, MIXED, NO_CRUST, UNSTATED};
use crate::condition_labels::{Answer, Count, Labelled, what_to_add};
use crate::key::FieldSeason;

/// Class of strips of which a part is not known.
const NOT_KNOWN: &str = "not known";
/// Where a rule comes from that a person changed.
const SET_HERE: &str = "set in evenstand.toml";
const NO_SOURCE: &str = "common practice, no source";

/// Every part with its classes, then the labels. Classes that a scheme defines stand there without strips too; `mixed` and `not known` only where
/// there are any. The strips of a part add up to all strips, and so do those of the labels.
pub(crate) fn condition_rows(labelled: &Labelled, strips: &[StripRow], scheme: &ConditionScheme) -> Vec<ConditionRow> {
    let none = Count::default();
    let mut rows = Vec::new();
    for part in ConditionPart::ALL {
        let count = |answer: Answer| labelled.counts.get(&(part.name(), answer)).unwrap_or(&none);
        let mut add = |class: &str, rule: String, source: Option<String>, count: &Count| {
            rows.push(row(part.name(), class, rule, source, labelled.parts.contains(&part), count));
        };
        for class in classes(part, labelled) {
            add(&class, rule(part, &class, scheme), source(part, scheme), count(Answer::Class(class.clone())));
        }
        for (answer, class) in [(Answer::Two, MIXED), (Answer::Unknown, NOT_KNOWN)] {
            let count = count(answer);
            if count.strips > 0 {
                add(class, unclear_rule(part, class).to_owned(), None, count);
            }
        }
    }
    let mut labels: BTreeMap<&str, Count> = BTreeMap::new();
    for strip in strips {
        labels.entry(&strip.condition).or_default().add(&FieldSeason::new(&strip.field_id, strip.season));
    }
    let parts = labelled.parts.iter().map(|part| part.name()).collect::<Vec<_>>().join(", ");
    for (label, count) in labels {
        let rule = match label {
            UNSTATED => format!("one of {parts} is not known"),
            MIXED => format!("one of {parts} is two at once"),
            _ => format!("the classes of {parts}"),
        };
        rows.push(row("condition", label, rule, None, true, &count));
    }
    rows
}

fn row(part: &str, class: &str, rule: String, source: Option<String>, in_label: bool, count: &Count) -> ConditionRow {
    ConditionRow {
        part: part.to_owned(),
        class: class.to_owned(),
        rule: Some(rule),
        source,
        in_label: Some(in_label),
        n_strips: Some(count.strips as i64),
        n_field_seasons: Some(count.field_seasons.len() as i64),
    }
}

/// Classes of a part in their own order; of tillage and of what operators say, those that were found.
fn classes(part: ConditionPart, labelled: &Labelled) -> Vec<String> {
    let fixed: &[&str] = match part {
        ConditionPart::Moisture => &["dry", "moist", "wet"],
        ConditionPart::Residue => &["bare", "covered"],
        ConditionPart::TextureGroup => &["coarse", "medium", "fine"],
        ConditionPart::SoilTemp => &["cool", "warm"],
        ConditionPart::Crust => &[NO_CRUST, CRUSTED],
        ConditionPart::Rain => &["dry after", "rain after"],
        ConditionPart::Tillage | ConditionPart::Logged => {
            let found = labelled.counts.keys().filter(|(name, _)| *name == part.name());
            return found
                .filter_map(|(_, answer)| match answer {
                    Answer::Class(word) => Some(word.clone()),
                    Answer::Two | Answer::Unknown => None,
                })
                .collect();
        }
    };
    fixed.iter().map(|word| (*word).to_owned()).collect()
}

/// When a strip belongs to a class, with the numbers in use.
fn rule(part: ConditionPart, class: &str, scheme: &ConditionScheme) -> String {
    match (part, class) {
        (ConditionPart::Moisture, _) => moisture_rule(class, scheme),
        (ConditionPart::Residue, "bare") => {
            format!("less than {} of the ground covered", percent(scheme.residue_limit))
        }
        (ConditionPart::Residue, _) => format!("{} or more of the ground covered", percent(scheme.residue_limit)),
        (ConditionPart::TextureGroup, "coarse") => "sand, loamy sand or sandy loam".into(),
        (ConditionPart::TextureGroup, "medium") => "loam, silt loam, silt or sandy clay loam".into(),
        (ConditionPart::TextureGroup, _) => "clay loam, silty clay loam, sandy clay, silty clay or clay".into(),
        (ConditionPart::Tillage, _) => format!("the field table says {class}"),
        (ConditionPart::Logged, _) => format!("called \"{class}\" in the setting log or the strip sheet"),
        (ConditionPart::SoilTemp, "cool") => {
            format!("seed zone colder than {} °C in the note nearest to planting", scheme.soil_temp_limit_c)
        }
        (ConditionPart::SoilTemp, _) => {
            format!("seed zone at {} °C or warmer in the note nearest to planting", scheme.soil_temp_limit_c)
        }
        (ConditionPart::Crust, NO_CRUST) => {
            format!("notes up to {} days after planting, and none of them found a crust", scheme.crust_days)
        }
        (ConditionPart::Crust, _) => {
            format!("a note up to {} days after planting found a crust", scheme.crust_days)
        }
        (ConditionPart::Rain, "dry after") => {
            format!("less than {} mm of rain in the {}", scheme.rain_limit_mm, days_after(scheme))
        }
        (ConditionPart::Rain, _) => {
            format!("{} mm of rain or more in the {}", scheme.rain_limit_mm, days_after(scheme))
        }
    }
}

fn days_after(scheme: &ConditionScheme) -> String {
    match scheme.rain_days {
        1 => "day after planting".to_owned(),
        days => format!("{days} days after the day of planting"),
    }
}

/// "called wet by feel; else …": the ways of telling moisture in the order in which they count.
fn moisture_rule(class: &str, scheme: &ConditionScheme) -> String {
    let range = |[dry, wet]: [f64; 2]| match class {
        "dry" => format!("less than {}", percent(dry)),
        "wet" => format!("{} or more", percent(wet)),
        _ => format!("{} to less than {}", percent(dry), percent(wet)),
    };
    let by_texture = |limits: &dyn Fn(&evenstand_settings::TextureLimits) -> Option<[f64; 2]>| {
        let own: Vec<String> = scheme
            .texture
            .iter()
            .filter_map(|(group, own)| Some(format!("{group} soil: {}", range(limits(own)?))))
            .collect();
        if own.is_empty() { String::new() } else { format!(" ({})", own.join("; ")) }
    };
    format!(
        "called {class} by feel; else {} of the available water by feel; else {} of the plastic limit; else water {} of the dry mass{}; else {} of the volume{}",
        range(scheme.available_water),
        range(scheme.moisture_plastic),
        range(scheme.moisture_gravimetric),
        by_texture(&|own| own.moisture_gravimetric),
        range(scheme.moisture_volumetric),
        by_texture(&|own| own.moisture_volumetric),
    )
}

/// Where the limits of a part come from, changed ones from the settings.
fn source(part: ConditionPart, scheme: &ConditionScheme) -> Option<String> {
    let default = ConditionScheme::default();
    let unless = |changed: bool, source: &str| if changed { SET_HERE.to_owned() } else { source.to_owned() };
    Some(match part {
        ConditionPart::Moisture => [
            (
                "available water: ",
                scheme.available_water != default.available_water,
                "NRCS guide to estimating soil moisture by feel and appearance",
            ),
            (
                "plastic limit: ",
                scheme.moisture_plastic != default.moisture_plastic,
                "Dexter & Bird 2001, its lower end common practice",
            ),
            (
                "water by mass and volume: ",
                scheme.moisture_gravimetric != default.moisture_gravimetric
                    || scheme.moisture_volumetric != default.moisture_volumetric
                    || !scheme.texture.is_empty(),
                NO_SOURCE,
            ),
        ]
        .map(|(what, changed, source)| format!("{what}{}", unless(changed, source)))
        .join("; "),
        ConditionPart::Residue => unless(
            scheme.residue_limit != default.residue_limit,
            "line of conservation tillage, University of Missouri G1570; one estimate is good to 5 to 10 points, Rickman et al. 1996",
        ),
        ConditionPart::TextureGroup => {
            "classes of the USDA, Benham et al. 2009; groups of the NRCS feel guide, its two coarse ones as one".into()
        }
        ConditionPart::Tillage | ConditionPart::Logged => "as recorded".into(),
        ConditionPart::SoilTemp => unless(
            scheme.soil_temp_limit_c != default.soil_temp_limit_c,
            "50 °F, below which maize takes about three weeks to come up: Iowa State University 2021",
        ),
        ConditionPart::Crust => unless(
            scheme.crust_days != default.crust_days,
            "three weeks, as maize takes in cold soil: Iowa State University 2021",
        ),
        ConditionPart::Rain => {
            unless(scheme.rain_days != default.rain_days || scheme.rain_limit_mm != default.rain_limit_mm, NO_SOURCE)
        }
    })
}

/// Why a part is two at once, or not known.
fn unclear_rule(part: ConditionPart, class: &str) -> &'static str {
    match (part, class) {
        (ConditionPart::Logged, MIXED) => "called by two names",
        (_, MIXED) => "notes equally near to planting disagree",
        (ConditionPart::Logged, _) => "neither the setting log nor the strip sheet names a condition",
        (ConditionPart::Tillage, _) => "the field table does not say",
        (ConditionPart::Rain, _) => "no planting time, or no rain recorded for one of the days",
        (ConditionPart::Crust, _) => "no note in the days after planting says yes or no",
        (
            ConditionPart::Moisture | ConditionPart::Residue | ConditionPart::TextureGroup | ConditionPart::SoilTemp,
            _,
        ) => "no note of the seed zone tells it",
    }
}

/// Parts of the label that were recorded nowhere: every strip would be unstated.
pub(crate) fn check_unrecorded(labelled: &Labelled, findings: &mut Vec<Finding>) {
    for part in &labelled.parts {
        let of_part = || labelled.counts.iter().filter(|((name, _), _)| *name == part.name());
        let strips: usize = of_part().map(|(_, count)| count.strips).sum();
        if strips == 0 || of_part().any(|((_, answer), _)| *answer != Answer::Unknown) {
            continue;
        }
        findings.push(
            Finding::note(
                "condition_part_unrecorded",
                format!("conditions are made from {}, which is not recorded for any strip", part.name()),
            )
            .remedy(format!("{}; or leave {} out of [condition] by", what_to_add(&[*part]), part.name())),
        );
    }
}

/// A share as "30 %" or "12.5 %".
fn percent(share: f64) -> String {
    format!("{} %", (share * 1000.0).round() / 10.0)
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    fn labelled(parts: &[ConditionPart], counts: &[(ConditionPart, Answer, &[&str])]) -> Labelled {
        let count = |fields: &[&str]| Count {
            strips: fields.len(),
            field_seasons: fields.iter().map(|field| FieldSeason::new(field, 2025)).collect::<BTreeSet<_>>(),
        };
        Labelled {
            parts: parts.to_vec(),
            counts: counts
                .iter()
                .map(|(part, answer, fields)| ((part.name(), answer.clone()), count(fields)))
                .collect(),
        }
    }

    fn class(word: &str) -> Answer {
        Answer::Class(word.to_owned())
    }

    fn strip(field: &str, condition: &str) -> StripRow {
        StripRow { field_id: field.into(), season: 2025, condition: condition.into(), ..StripRow::default() }
    }

    fn find<'a>(rows: &'a [ConditionRow], part: &str, class: &str) -> &'a ConditionRow {
        rows.iter().find(|row| row.part == part && row.class == class).unwrap()
    }

    #[test]
    fn every_class_has_its_rule_and_the_strips_of_a_part_add_up() {
        let scheme = ConditionScheme::default();
        let labelled = labelled(
            &[ConditionPart::Residue],
            &[
                (ConditionPart::Residue, class("bare"), &["A", "A", "B"]),
                (ConditionPart::Residue, Answer::Two, &["C"]),
                (ConditionPart::Residue, Answer::Unknown, &["D"]),
                (ConditionPart::Tillage, class("no-till"), &["A", "A", "B", "C", "D"]),
            ],
        );
        let strips =
            [strip("A", "bare"), strip("A", "bare"), strip("B", "bare"), strip("C", MIXED), strip("D", UNSTATED)];
        let rows = condition_rows(&labelled, &strips, &scheme);
        let bare = find(&rows, "residue", "bare");
        assert_eq!((bare.n_strips, bare.n_field_seasons, bare.in_label), (Some(3), Some(2), Some(true)));
        assert_eq!(bare.rule.as_deref(), Some("less than 30 % of the ground covered"));
        assert!(bare.source.as_deref().unwrap().contains("Rickman"));
        assert_eq!(find(&rows, "residue", "covered").n_strips, Some(0));
        assert_eq!(find(&rows, "residue", MIXED).rule.as_deref(), Some("notes equally near to planting disagree"));
        assert_eq!(find(&rows, "tillage", "no-till").rule.as_deref(), Some("the field table says no-till"));
        assert_eq!(find(&rows, "tillage", "no-till").in_label, Some(false));
        for part in ["residue", "tillage", "condition"] {
            let strips: i64 = rows.iter().filter(|row| row.part == part).filter_map(|row| row.n_strips).sum();
            assert_eq!(strips, 5, "{part}");
        }
        assert_eq!(find(&rows, "condition", UNSTATED).rule.as_deref(), Some("one of residue is not known"));
        assert!(!rows.iter().any(|row| row.part == "moisture" && row.class == NOT_KNOWN), "nothing was asked");
    }

    #[test]
    fn rules_carry_the_numbers_in_use_and_say_which_a_person_set() {
        let scheme = ConditionScheme {
            residue_limit: 0.125,
            rain_limit_mm: 12.5,
            rain_days: 1,
            moisture_plastic: [0.6, 1.05],
            ..ConditionScheme::default()
        };
        let rows = condition_rows(&labelled(&[ConditionPart::Rain], &[]), &[], &scheme);
        let rule = |part, class| find(&rows, part, class).rule.clone().unwrap();
        let source = |part, class| find(&rows, part, class).source.clone().unwrap();
        assert_eq!(rule("residue", "covered"), "12.5 % or more of the ground covered");
        assert_eq!(source("residue", "covered"), SET_HERE);
        assert_eq!(rule("rain", "dry after"), "less than 12.5 mm of rain in the day after planting");
        assert_eq!(rule("soil_temp", "warm"), "seed zone at 10 °C or warmer in the note nearest to planting");
        assert_eq!(
            rule("moisture", "moist"),
            "called moist by feel; else 25 % to less than 75 % of the available water by feel; else 60 % to less than 105 % of the plastic limit; else water 12 % to less than 24 % of the dry mass; else 15 % to less than 32 % of the volume"
        );
        assert_eq!(
            source("moisture", "moist"),
            "available water: NRCS guide to estimating soil moisture by feel and appearance; plastic limit: set in evenstand.toml; water by mass and volume: common practice, no source"
        );
    }

    #[test]
    fn limits_of_a_texture_group_stand_in_the_rule() {
        let mut scheme = ConditionScheme::default();
        let own = evenstand_settings::TextureLimits { moisture_gravimetric: Some([0.05, 0.1]), ..Default::default() };
        scheme.texture.insert("coarse".into(), own);
        let rule = rule(ConditionPart::Moisture, "wet", &scheme);
        assert!(
            rule.contains("else water 24 % or more of the dry mass (coarse soil: 10 % or more); else 32 %"),
            "{rule}"
        );
        assert!(source(ConditionPart::Moisture, &scheme).unwrap().ends_with("volume: set in evenstand.toml"));
    }

    #[test]
    fn a_part_that_no_strip_has_is_told_and_one_that_some_have_is_not() {
        let told = |answers: &[(ConditionPart, Answer, &[&str])]| {
            let mut findings = Vec::new();
            check_unrecorded(&labelled(&[ConditionPart::Crust], answers), &mut findings);
            findings
        };
        let findings = told(&[(ConditionPart::Crust, Answer::Unknown, &["A", "B"])]);
        assert_eq!((findings.len(), findings[0].severity.as_str()), (1, "note"));
        assert_eq!(findings[0].code, "condition_part_unrecorded");
        assert!(findings[0].remedy.as_deref().unwrap().contains("crust yes or no"), "{:?}", findings[0].remedy);
        let some = [
            (ConditionPart::Crust, Answer::Unknown, &["A", "B"][..]),
            (ConditionPart::Crust, class(CRUSTED), &["C"][..]),
        ];
        assert!(told(&some).is_empty());
        assert!(told(&[(ConditionPart::Crust, Answer::Two, &["A"])]).is_empty());
        assert!(told(&[(ConditionPart::Rain, Answer::Unknown, &["A"])]).is_empty(), "rain is not in the scheme");
        assert!(told(&[]).is_empty(), "no strips at all");
    }
}
