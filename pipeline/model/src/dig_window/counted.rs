//! Places dug at each setting, counted, with exact intervals.

use std::collections::BTreeMap;

use evenstand_agronomy::force_levels;
use evenstand_stats::clopper_pearson;
use evenstand_tables::rows::{DigLevelRow, DigStripRow};

use super::Question;
use super::placed::DugGroup;

/// Level of the exact intervals.
const LEVEL: f64 = 0.90;

/// A row a setting of which this was judged: forces from the lightest, then positions that have no force.
pub(super) fn level_rows(group: &DugGroup, question: Question) -> Vec<DigLevelRow> {
    let judged: Vec<(&DigStripRow, bool)> =
        group.digs.iter().filter_map(|dig| Some((*dig, question.seen(dig)?))).collect();
    let forces: Vec<f64> = judged.iter().filter_map(|(dig, _)| dig.force_n).collect();
    let (levels, means) = force_levels(&forces);
    let mut by_force = vec![(0, 0); means.len()];
    let mut by_label: BTreeMap<&str, (u64, u64)> = BTreeMap::new();
    let mut levels = levels.into_iter();
    for (dig, yes) in &judged {
        let count = match (dig.force_n.and_then(|_| levels.next()), dig.closing_position.as_deref()) {
            (Some(level), _) => &mut by_force[level],
            (None, Some(label)) => by_label.entry(label).or_default(),
            (None, None) => continue,
        };
        count.0 += u64::from(*yes);
        count.1 += 1;
    }
    let row = |force_n: Option<f64>, label: Option<&str>, (yes, digs): (u64, u64)| {
        let interval = clopper_pearson(yes, digs, LEVEL).ok();
        DigLevelRow {
            condition: group.key.condition.clone(),
            closer: group.key.closer.clone(),
            planter_id: group.key.planter(),
            question: question.name().to_owned(),
            force_n,
            closing_position: label.map(str::to_owned),
            n_digs: Some(digs as i64),
            n_yes: Some(yes as i64),
            share: Some(yes as f64 / digs as f64),
            low: interval.map(|interval| interval.low),
            high: interval.map(|interval| interval.high),
        }
    };
    let forces = means.iter().zip(by_force).map(|(force, count)| row(Some(*force), None, count));
    forces.chain(by_label.iter().map(|(label, count)| row(None, Some(label), *count))).collect()
}
