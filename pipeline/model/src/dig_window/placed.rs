//! Dig checks sorted into the groups that curves have.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_agronomy::force_levels;
use evenstand_tables::rows::{DigStripRow, StripRow};

use super::{Counts, Question};
use crate::group_answer::Members;
use crate::groups::GroupKey;

/// The digs of one group.
#[derive(Debug)]
pub(crate) struct DugGroup<'a> {
    pub key: GroupKey,
    pub digs: Vec<&'a DigStripRow>,
    /// Lightest and heaviest force dug; `None` where no place has a force.
    pub dug: Option<(f64, f64)>,
    pub counts: Counts,
    /// Places where soil or residue was thrown, of those where this was seen.
    pub thrown: (usize, usize),
}

/// Field and season.
pub(crate) type Place<'a> = (&'a str, i64);

/// Where a dig was: field and season.
pub(crate) fn place(dig: &DigStripRow) -> Place<'_> {
    (dig.field_id.as_str(), dig.season)
}

/// Sorts digs into groups: that of their strip; that of all strips of their field-season, where it is one; else by their own condition and closer.
pub(crate) fn placed<'a>(digs: &'a [DigStripRow], members: &Members) -> Vec<DugGroup<'a>> {
    let mut by_strip: BTreeMap<(&str, i64, &str), &GroupKey> = BTreeMap::new();
    let mut by_field: BTreeMap<(&str, i64), BTreeSet<&GroupKey>> = BTreeMap::new();
    for (key, strips) in members {
        for strip in strips.iter().copied() {
            let StripRow { field_id, season, strip_id, .. } = strip;
            by_strip.insert((field_id, *season, strip_id), key);
            by_field.entry((field_id, *season)).or_default().insert(key);
        }
    }
    let key_of = |dig: &DigStripRow| {
        let of_strip = dig.strip_id.as_deref().and_then(|id| by_strip.get(&(dig.field_id.as_str(), dig.season, id)));
        let of_field = || match by_field.get(&place(dig)) {
            Some(keys) if dig.strip_id.is_none() && keys.len() == 1 => keys.first(),
            _ => None,
        };
        of_strip.or_else(of_field).map_or_else(
            || GroupKey {
                condition: dig.condition.clone(),
                closer: dig.closer.clone().unwrap_or_else(|| "other".into()),
                planter_id: String::new(),
            },
            |key| (*key).clone(),
        )
    };
    let mut groups: BTreeMap<GroupKey, Vec<&DigStripRow>> = BTreeMap::new();
    for dig in digs {
        groups.entry(key_of(dig)).or_default().push(dig);
    }
    groups.into_iter().map(|(key, digs)| group(key, digs)).collect()
}

fn group<'a>(key: GroupKey, digs: Vec<&'a DigStripRow>) -> DugGroup<'a> {
    let forces: Vec<f64> = digs.iter().filter_map(|dig| dig.force_n).collect();
    let count = |holds: &dyn Fn(&DigStripRow) -> bool| digs.iter().filter(|dig| holds(dig)).count();
    let labels: BTreeSet<&str> =
        digs.iter().filter(|dig| dig.force_n.is_none()).filter_map(|dig| dig.closing_position.as_deref()).collect();
    let mut by_season: BTreeMap<Place, Vec<f64>> = BTreeMap::new();
    for dig in &digs {
        by_season.entry(place(dig)).or_default().extend(dig.force_n);
    }
    let varied = by_season.values().filter(|forces| force_levels(forces).1.len() > 1).count();
    let strips: BTreeSet<(Place, Option<&str>)> =
        digs.iter().map(|dig| (place(dig), dig.strip_id.as_deref())).collect();
    let range = forces
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), force| (low.min(*force), high.max(*force)));
    DugGroup {
        dug: (!forces.is_empty()).then_some(range),
        counts: Counts {
            digs: digs.len(),
            judged_open: count(&|dig| dig.not_shut.is_some()),
            open: count(&|dig| dig.not_shut == Some(true)),
            judged_firm: count(&|dig| Question::TooFirm.seen(dig).is_some()),
            firm: count(&|dig| Question::TooFirm.seen(dig) == Some(true)),
            nameless: count(&|dig| dig.strip_id.is_none()),
            field_seasons: by_season.len(),
            varied,
            strips: strips.len(),
            levels: force_levels(&forces).1.len() + labels.len(),
        },
        thrown: (count(&|dig| dig.soil_thrown == Some(true)), count(&|dig| dig.soil_thrown.is_some())),
        key,
        digs,
    }
}
