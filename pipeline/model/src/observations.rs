//! The strips that a model of one response is fitted to.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_agronomy::force_levels;
use evenstand_tables::rows::StripRow;

use crate::groups::{Axis, Basis, Coverage, GroupKey, Placed, axis_of, coverage, group_of};
use crate::response::{Measures, Response, Value};
use crate::setting_terms::{count, renumber};

/// One strip in a model.
#[derive(Debug, Clone)]
pub(crate) struct Observation<'a> {
    pub strip: &'a StripRow,
    pub value: Value,
    /// Value on the model's scale.
    pub modelled: f64,
    /// Its standard error from the counts of the strip alone, where they give one; all rows of a response have it or none.
    pub modelled_std_error: Option<f64>,
    /// Force; of strips compared by label the number of their position.
    pub force_n: f64,
    /// Position in [`Observations::groups`].
    pub group: usize,
    /// Number of its field-season, in the order of names.
    pub field_season: usize,
    /// Number of its block within all field-seasons.
    pub block: usize,
}

/// All strips of one axis that have a value of the response.
#[derive(Debug)]
pub(crate) struct Observations<'a> {
    pub rows: Vec<Observation<'a>>,
    pub groups: Vec<(GroupKey, Coverage)>,
    pub field_seasons: Vec<(&'a str, i64)>,
    pub blocks: usize,
}

impl Observations<'_> {
    /// Without the strips that no curve may lean on: those of a trial's group in field-seasons where it had one setting.
    ///
    /// They compare nothing inside a field-season. Kept in, they would still move the answer by the back door: by the level at which a
    /// difference on the model's scale becomes a share, by the spread between field-seasons, and by the range that force is scaled to.
    pub fn behind_curves(mut self) -> Self {
        let mut forces: BTreeMap<(usize, usize), Vec<f64>> = BTreeMap::new();
        for row in &self.rows {
            forces.entry((row.group, row.field_season)).or_default().push(row.force_n);
        }
        let one_setting = |row: &Observation| force_levels(&forces[&(row.group, row.field_season)]).1.len() == 1;
        let groups = &self.groups;
        self.rows.retain(|row| groups[row.group].1.basis == Basis::Logs || !one_setting(row));
        let left: BTreeSet<usize> = self.rows.iter().map(|row| row.field_season).collect();
        self.field_seasons = left.iter().map(|number| self.field_seasons[*number]).collect();
        let fields = renumber(self.rows.iter().map(|row| row.field_season));
        let blocks = renumber(self.rows.iter().map(|row| row.block));
        self.blocks = count(&blocks);
        for ((row, field_season), block) in self.rows.iter_mut().zip(fields).zip(blocks) {
            (row.field_season, row.block) = (field_season, block);
        }
        self
    }
}

/// Collects the strips of one axis that have a value of the response; `None` where there are none.
pub(crate) fn observations<'a>(
    strips: &'a [StripRow],
    measures: &Measures,
    response: &Response,
    axis: &Axis,
) -> Option<Observations<'a>> {
    let members: Vec<(&StripRow, Value, f64)> = strips
        .iter()
        .filter(|strip| axis_of(strip).as_ref() == Some(axis))
        .filter_map(|strip| Some((strip, response.of(strip, measures)?, strip.force_n?)))
        .collect();
    if members.is_empty() {
        return None;
    }
    let mut groups: BTreeMap<GroupKey, Vec<Placed>> = BTreeMap::new();
    let mut field_seasons: BTreeMap<(&str, i64), usize> = BTreeMap::new();
    let mut blocks: BTreeMap<(&str, i64, &str), usize> = BTreeMap::new();
    for (strip, _, force_n) in &members {
        groups.entry(group_of(strip, Some(axis))).or_default().push(Placed {
            field_id: &strip.field_id,
            season: strip.season,
            block: strip.block.as_deref(),
            force_n: *force_n,
        });
        field_seasons.insert((&strip.field_id, strip.season), 0);
        blocks.insert((&strip.field_id, strip.season, strip.block.as_deref().unwrap_or_default()), 0);
    }
    field_seasons.values_mut().enumerate().for_each(|(number, slot)| *slot = number);
    blocks.values_mut().enumerate().for_each(|(number, slot)| *slot = number);
    let numbers: BTreeMap<&GroupKey, usize> = groups.keys().enumerate().map(|(number, key)| (key, number)).collect();
    let rows = members
        .into_iter()
        .map(|(strip, value, force_n)| Observation {
            strip,
            value,
            modelled: response.modelled(value),
            modelled_std_error: response.modelled_std_error(value),
            force_n,
            group: numbers[&group_of(strip, Some(axis))],
            field_season: field_seasons[&(strip.field_id.as_str(), strip.season)],
            block: blocks[&(strip.field_id.as_str(), strip.season, strip.block.as_deref().unwrap_or_default())],
        })
        .collect();
    Some(Observations {
        rows,
        blocks: blocks.len(),
        field_seasons: field_seasons.into_keys().collect(),
        groups: groups
            .into_iter()
            .map(|(key, placed)| {
                let found = coverage(&placed);
                (key, found)
            })
            .collect(),
    })
}
