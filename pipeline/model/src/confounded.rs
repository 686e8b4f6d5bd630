//! A start is not settled where in every trial behind it another part of the planter changed with the setting.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_tables::Finding;
use evenstand_tables::rows::{KnobRow, StartingPointRow};

use crate::decision::Evidence;
use crate::group_answer::Members;
use crate::groups::GroupKey;

/// Code of the finding that says so for one field-season.
const CONFOUNDED: &str = "setting_confounded";
const WHY: &str = " It would be settled, but in every trial behind it another part of the planter changed with the setting, so the two cannot be told apart.";

/// Groups of which every field-season with several settings has the finding.
fn groups<'a>(members: &'a Members, findings: &[Finding]) -> Vec<&'a GroupKey> {
    let found: BTreeSet<(&str, i64)> = findings
        .iter()
        .filter(|finding| finding.code == CONFOUNDED)
        .filter_map(|finding| Some((finding.field_id.as_deref()?, finding.season?)))
        .collect();
    members
        .iter()
        .filter(|(_, strips)| {
            let mut places: BTreeMap<(&str, i64), Vec<f64>> = BTreeMap::new();
            for strip in strips.iter() {
                places.entry((strip.field_id.as_str(), strip.season)).or_default().extend(strip.force_n);
            }
            places.retain(|_, forces| evenstand_agronomy::force_levels(forces).1.len() > 1);
            !places.is_empty() && places.keys().all(|place| found.contains(place))
        })
        .map(|(key, _)| key)
        .collect()
}

/// Lets what is settled in such groups fall to leaning, with the reason.
pub(crate) fn hold_back(
    members: &Members,
    findings: &[Finding],
    starts: &mut [StartingPointRow],
    knobs: &mut [KnobRow],
) {
    let settled = Evidence::Settled.name();
    let leaning = || Evidence::Leaning.name().to_owned();
    for key in groups(members, findings) {
        let here = |condition: &str, closer: &str| condition == key.condition && closer == key.closer;
        for start in
            starts.iter_mut().filter(|row| here(&row.condition, &row.closer) && row.planter_id == key.planter())
        {
            if start.evidence == settled {
                start.evidence = leaning();
                start.reason.push_str(WHY);
            }
        }
        let own = |row: &KnobRow| key.planter_id.is_empty() || row.planter_id == key.planter_id;
        for knob in knobs.iter_mut().filter(|row| here(&row.condition, &row.closer) && own(row)) {
            if knob.evidence == settled {
                knob.evidence = leaning();
                knob.reason.get_or_insert_default().push_str(WHY);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::group_answer::members;
    use evenstand_settings::Settings;
    use evenstand_tables::rows::StripRow;

    fn strip(field: &str, force_n: f64) -> StripRow {
        StripRow {
            field_id: field.into(),
            season: 2025,
            condition: "wet".into(),
            closer: Some("other".into()),
            force_n: Some(force_n),
            ..StripRow::default()
        }
    }

    fn evidence(confounded: &[&str]) -> (String, String) {
        let strips = [strip("A", 100.0), strip("A", 200.0), strip("B", 100.0), strip("B", 200.0), strip("C", 150.0)];
        let settings = Settings::default();
        let members = members(&strips, &settings);
        let findings: Vec<Finding> =
            confounded.iter().map(|field| Finding::warning(CONFOUNDED, "").field(field, 2025)).collect();
        let mut starts = [StartingPointRow {
            condition: "wet".into(),
            closer: "other".into(),
            evidence: "settled".into(),
            ..StartingPointRow::default()
        }];
        let mut knobs = [KnobRow {
            condition: "wet".into(),
            closer: "other".into(),
            evidence: "settled".into(),
            ..KnobRow::default()
        }];
        hold_back(&members, &findings, &mut starts, &mut knobs);
        (starts[0].evidence.clone(), knobs[0].evidence.clone())
    }

    #[test]
    fn what_is_settled_falls_where_every_trial_is_confounded_and_stands_where_one_is_not() {
        assert_eq!(evidence(&["A", "B"]), ("leaning".to_owned(), "leaning".to_owned()));
        assert_eq!(evidence(&["A"]), ("settled".to_owned(), "settled".to_owned()));
        assert_eq!(evidence(&[]), ("settled".to_owned(), "settled".to_owned()));
    }
}
