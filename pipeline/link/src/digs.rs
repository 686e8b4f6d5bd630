//! Dig checks with the setting and condition of their strip.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_agronomy::{DigCheck, DigEffort, TrenchShut, force_levels};
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
}
