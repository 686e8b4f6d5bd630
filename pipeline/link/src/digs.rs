//! Dig checks with the setting and condition of their strip.

use std::collections::BTreeMap;

use evenstand_agronomy::{DigCheck, DigEffort, TrenchShut};
use evenstand_tables::rows::{DigRow, DigStripRow, StripRow};

use crate::condition::UNSTATED;
use crate::key::StripKey;

/// Ties each dig check to its strip; one about the whole field has no force and no stated condition.
pub(crate) fn dig_strips(digs: &[DigRow], strips: &[StripRow]) -> Vec<DigStripRow> {
    let by_key: BTreeMap<StripKey, &StripRow> =
        strips.iter().map(|strip| (StripKey::new(&strip.field_id, strip.season, &strip.strip_id), strip)).collect();
    digs.iter()
        .map(|dig| {
            let strip = dig.strip_id.as_ref().and_then(|id| by_key.get(&StripKey::new(&dig.field_id, dig.season, id)));
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
                not_shut: check.not_shut(),
                too_firm: check.too_firm(),
                dig_effort: dig.dig_effort,
                closing_position: strip.and_then(|strip| strip.closing_position.clone()),
                block: strip.and_then(|strip| strip.block.clone()),
                row_unit: dig.row_unit.clone(),
                dug_at: dig.dug_at,
                trench_shut: dig.trench_shut.clone(),
                light_at_seed: dig.light_at_seed,
                air_gap: dig.air_gap,
                press_mark: dig.press_mark,
                soil_thrown: dig.soil_thrown,
                seed_depth_m: dig.seed_depth_m,
                source_file: Some(dig.source_file.clone()),
                source_row: Some(dig.source_row),
            }
        })
        .collect()
}
