//! Dig checks with the setting and condition of their strip.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_agronomy::{DigCheck, DigEffort, TrenchShut, force_levels};
use evenstand_tables::Finding;
use evenstand_tables::rows::{DigRow, DigStripRow, StripRow};

use crate::condition::UNSTATED;
use crate::key::{FieldSeason, StripKey};

/// Ties each dig check to its strip. One about the whole field has the setting and condition of its strips where these are the same in all of
/// them, else no force, and no stated condition.
pub(crate) fn dig_strips(digs: &[DigRow], strips: &[StripRow]) -> Vec<DigStripRow> {
    let by_key: BTreeMap<StripKey, &StripRow> =
        strips.iter().map(|strip| (StripKey::new(&strip.field_id, strip.season, &strip.strip_id), strip)).collect();
    let mut by_field: BTreeMap<FieldSeason, Vec<&StripRow>> = BTreeMap::new();
    for strip in strips {
        by_field.entry(FieldSeason::new(&strip.field_id, strip.season)).or_default().push(strip);
    }
    let alike: BTreeMap<FieldSeason, &StripRow> =
        by_field.into_iter().filter_map(|(field, strips)| Some((field, one_setting(&strips)?))).collect();
    digs.iter()
        .map(|dig| {
            let strip = match &dig.strip_id {
                Some(id) => by_key.get(&StripKey::new(&dig.field_id, dig.season, id)),
                None => alike.get(&FieldSeason::new(&dig.field_id, dig.season)),
            };
            dig_strip(dig, strip.copied())
        })
        .collect()
}

/// What a whole field is called as a strip, where no table names any.
const WHOLE_FIELD: &str = "whole field";

/// Strips that only digs know: those they name in fields of which no other table names a strip, and the whole field where they name none. In
/// other fields a name that no other table has is more likely mistyped, and makes no strip.
pub(crate) fn strips_of_digs(digs: &[DigRow], named: &BTreeSet<&FieldSeason>) -> BTreeSet<StripKey> {
    digs.iter()
        .map(|dig| StripKey::new(&dig.field_id, dig.season, dig.strip_id.as_deref().unwrap_or(WHOLE_FIELD)))
        .filter(|key| !named.contains(&key.field))
        .collect()
}

/// Digs whose setting is not known: one finding a field-season.
pub(crate) fn dig_findings(digs: &[DigStripRow], strips: &[StripRow]) -> Vec<Finding> {
    let known: BTreeSet<(&str, i64, &str)> =
        strips.iter().map(|strip| (strip.field_id.as_str(), strip.season, strip.strip_id.as_str())).collect();
    let mut unknown: BTreeMap<(&str, i64), (usize, BTreeSet<&str>)> = BTreeMap::new();
    for dig in digs.iter().filter(|dig| dig.force_n.is_none() && dig.closing_position.is_none()) {
        let found = unknown.entry((dig.field_id.as_str(), dig.season)).or_default();
        found.0 += 1;
        found.1.extend(dig.strip_id.as_deref().filter(|id| !known.contains(&(dig.field_id.as_str(), dig.season, id))));
    }
    unknown
        .into_iter()
        .map(|((field_id, season), (places, names))| {
            let finding = if names.is_empty() {
                Finding::warning(
                    "digs_without_setting",
                    format!("dig checks whose setting is not known: {places}; they are counted and tell no limit of force"),
                )
                .remedy("log the setting of their strips, and write the strip beside each dig")
            } else {
                let names: Vec<&str> = names.into_iter().collect();
                Finding::warning(
                    "digs_without_strip",
                    format!(
                        "dig checks name strips that no other table of this field has ({}); places dug without a setting: {places}",
                        names.join(", ")
                    ),
                )
                .remedy("check the strips' names")
            };
            finding.field(field_id, season)
        })
        .collect()
}

/// A strip that stands for all of a field-season, where they share setting, condition, planter and closer.
fn one_setting<'a>(strips: &[&'a StripRow]) -> Option<&'a StripRow> {
    let shared = |strip: &StripRow| {
        (strip.condition.clone(), strip.planter_id.clone(), strip.closer.clone(), strip.closing_position.clone())
    };
    let forces: Vec<f64> = strips.iter().filter_map(|strip| strip.force_n).collect();
    let same_force = forces.is_empty() || (forces.len() == strips.len() && force_levels(&forces).1.len() == 1);
    let same = strips.iter().map(|strip| shared(strip)).collect::<BTreeSet<_>>().len() == 1;
    strips.first().copied().filter(|_| same && same_force)
}

fn dig_strip(dig: &DigRow, strip: Option<&StripRow>) -> DigStripRow {
    let check = DigCheck {
        trench_shut: dig.trench_shut.as_deref().and_then(TrenchShut::parse),
        light_at_seed: dig.light_at_seed,
        air_gap: dig.air_gap,
        dig_effort: dig.dig_effort.and_then(|grade| u8::try_from(grade).ok()).and_then(DigEffort::new),
    };
    DigStripRow {
        field_id: dig.field_id.clone(),
        season: dig.season,
        strip_id: dig.strip_id.clone(),
        condition: strip.map_or_else(|| UNSTATED.to_owned(), |strip| strip.condition.clone()),
        planter_id: strip.and_then(|strip| strip.planter_id.clone()),
        closer: strip.and_then(|strip| strip.closer.clone()),
        force_n: strip.and_then(|strip| strip.force_n),
        closing_position: strip.and_then(|strip| strip.closing_position.clone()),
        not_shut: check.not_shut(),
        too_firm: check.too_firm(),
        dig_effort: dig.dig_effort,
        block: strip.filter(|_| dig.strip_id.is_some()).and_then(|strip| strip.block.clone()),
        row_unit: dig.row_unit.clone(),
        dug_at: dig.dug_at,
        trench_shut: check.trench_shut.map(|answer| answer.name().to_owned()),
        light_at_seed: dig.light_at_seed,
        air_gap: dig.air_gap,
        firm_all_round: dig.firm_all_round,
        press_mark: dig.press_mark,
        soil_thrown: dig.soil_thrown,
        seed_depth_m: dig.seed_depth_m,
        source_file: Some(dig.source_file.clone()),
        source_row: Some(dig.source_row),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn strip(id: &str, force_n: f64, condition: &str) -> StripRow {
        StripRow {
            field_id: "A".into(),
            season: 2025,
            strip_id: id.into(),
            condition: condition.into(),
            force_n: Some(force_n),
            ..StripRow::default()
        }
    }

    fn dig(strip_id: Option<&str>) -> DigRow {
        DigRow {
            field_id: "A".into(),
            season: 2025,
            strip_id: strip_id.map(Into::into),
            trench_shut: Some("1".into()),
            dig_effort: Some(4),
            ..DigRow::default()
        }
    }

    #[test]
    fn a_dig_has_the_force_and_condition_of_its_strip() {
        let strips = [strip("1", 100.0, "wet"), strip("2", 200.0, "wet")];
        let rows = dig_strips(&[dig(Some("2")), dig(Some("3"))], &strips);
        assert_eq!((rows[0].force_n, rows[0].condition.as_str()), (Some(200.0), "wet"));
        assert_eq!((rows[0].trench_shut.as_deref(), rows[0].too_firm), (Some("yes"), Some(true)));
        assert_eq!((rows[1].force_n, rows[1].condition.as_str()), (None, UNSTATED));
    }

    #[test]
    fn a_dig_about_the_field_has_the_setting_that_all_its_strips_share_and_none_otherwise() {
        let alike = [strip("1", 100.0, "wet"), strip("2", 101.0, "wet")];
        assert_eq!(dig_strips(&[dig(None)], &alike)[0].force_n, Some(100.0));
        let two_settings = [strip("1", 100.0, "wet"), strip("2", 200.0, "wet")];
        assert_eq!(dig_strips(&[dig(None)], &two_settings)[0].force_n, None);
        let two_conditions = [strip("1", 100.0, "wet"), strip("2", 100.0, "dry")];
        let row = &dig_strips(&[dig(None)], &two_conditions)[0];
        assert_eq!((row.force_n, row.condition.as_str()), (None, UNSTATED));
    }

    #[test]
    fn digs_make_strips_only_where_no_other_table_names_one() {
        let field = FieldSeason::new("A", 2025);
        assert!(strips_of_digs(&[dig(Some("S0I"))], &[&field].into()).is_empty());
        let made = strips_of_digs(&[dig(Some("1")), dig(None)], &BTreeSet::new());
        assert_eq!(made.into_iter().map(|key| key.strip_id).collect::<Vec<_>>(), ["1", WHOLE_FIELD]);
    }

    #[test]
    fn digs_without_a_setting_are_told_by_field_and_mistyped_strips_by_name() {
        let strips = [strip("1", 100.0, "wet"), strip("2", 200.0, "wet")];
        let found = |digs: &[DigRow]| {
            dig_findings(&dig_strips(digs, &strips), &strips)
                .into_iter()
                .map(|finding| finding.code)
                .collect::<Vec<_>>()
        };
        assert_eq!(found(&[dig(Some("1")), dig(Some("2"))]), Vec::<String>::new());
        assert_eq!(found(&[dig(Some("1")), dig(None)]), ["digs_without_setting"]);
        assert_eq!(found(&[dig(Some("S0I")), dig(Some("2"))]), ["digs_without_strip"]);
    }
}
