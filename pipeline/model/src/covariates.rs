//! Parts of the planter that changed from strip to strip of a trial, apart from the setting: the model adjusts for them.
//!
//! A press wheel position, a depth stop or a gauge wheel that differs between strips of one condition, closer and field-season moves their
//! stand. Where it does not go with the setting there, its effect can be told and taken out of the residual; where it does, the two
//! cannot be told apart and `layout.rs` says so. Each level but one gets a column: 1 in its strips, less the mean over the strips of
//! the group, field-season and planter. So a column compares strips of one planter inside a field-season alone, takes nothing from the
//! level of a field-season, and a curve is that of the field's own mixture of parts. A strip of which the part is not known stands at that mean.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_agronomy::force_levels;

use crate::condition_checks::Recorded;
use crate::observations::Observation;
use crate::setting_terms::{linked_parts, renumber};

/// Residual degrees of freedom that must be left, field-seasons and blocks counted as taken: fewer tell no effect from chance.
const LEFT_OVER: usize = 4;

/// The parts, by what they are called.
const PARTS: [(&str, Recorded); 3] = [
    ("press wheel position", |strip| strip.press_position.as_deref()),
    ("depth stop", |strip| strip.depth_stop.as_deref()),
    ("gauge wheel", |strip| strip.gauge_wheel.as_deref()),
];

/// A column that the model adjusts for.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Covariate {
    /// "depth stop 2 (north-12)": positions of two planters are not one.
    pub name: String,
    /// The level it is compared with.
    pub reference: String,
    pub column: Vec<f64>,
    /// Strips of this level in the field-seasons that tell it, and these.
    pub strips: usize,
    pub field_seasons: usize,
}

/// What of the recorded parts a model adjusts for.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Covariates {
    pub columns: Vec<Covariate>,
    /// Parts that varied but have too few strips beside everything else that is fitted.
    pub left_out: Vec<&'static str>,
}

/// A group in a field-season under one planter: what two planters differ in is more than a part.
type Cell<'a> = (usize, usize, &'a str);
/// Planter and word: a level of a part.
type Level<'a> = (&'a str, &'a str);

impl Covariates {
    /// The columns for these rows. `taken` is what the model fits besides: columns and blocks.
    pub fn new(rows: &[&Observation], taken: usize) -> Self {
        let mut found = Self::default();
        for (what, word) in PARTS {
            let of_part = columns(rows, what, word);
            if rows.len() >= taken + found.columns.len() + of_part.len() + LEFT_OVER {
                found.columns.extend(of_part);
            } else if !of_part.is_empty() {
                found.left_out.push(what);
            }
        }
        found
    }
}

/// The columns of one part.
fn columns(rows: &[&Observation], what: &str, word: Recorded) -> Vec<Covariate> {
    let level = |row: usize| -> Option<Level> {
        Some((rows[row].strip.planter_id.as_deref().unwrap_or_default(), word(rows[row].strip)?))
    };
    let mut cells: BTreeMap<Cell, Vec<usize>> = BTreeMap::new();
    for (number, row) in rows.iter().enumerate() {
        if let Some((planter, _)) = level(number) {
            cells.entry((row.group, row.field_season, planter)).or_default().push(number);
        }
    }
    cells.retain(|_, members| told_apart(rows, members, &level));
    let references = references(&cells, &level);
    let levels: BTreeSet<Level> = cells.values().flatten().filter_map(|row| level(*row)).collect();
    let planters: BTreeSet<&str> = levels.iter().map(|(planter, _)| *planter).collect();
    let name = |(planter, word): Level| {
        if planters.len() > 1 { format!("{word} ({planter})") } else { word.to_owned() }
    };
    levels
        .into_iter()
        .filter(|own| references.get(own).is_some_and(|reference| reference != own))
        .map(|own| {
            let mut column = vec![0.0; rows.len()];
            let (mut strips, mut field_seasons) = (0, BTreeSet::new());
            for ((_, field_season, _), members) in &cells {
                let with: Vec<bool> = members.iter().map(|row| level(*row) == Some(own)).collect();
                let count = with.iter().filter(|with| **with).count();
                if count == 0 {
                    continue;
                }
                strips += count;
                field_seasons.insert(*field_season);
                let mean = count as f64 / members.len() as f64;
                for (row, with) in members.iter().zip(with) {
                    column[*row] = f64::from(u8::from(with)) - mean;
                }
            }
            Covariate {
                name: format!("{what} {}", name(own)),
                reference: references.get(&own).map_or_else(String::new, |reference| name(*reference)),
                column,
                strips,
                field_seasons: field_seasons.len(),
            }
        })
        .collect()
}

/// Whether the part varies in a cell and is no function of the setting there: the same as `layout.rs` asks before it calls the two confounded.
fn told_apart<'a>(rows: &[&Observation], members: &[usize], level: &impl Fn(usize) -> Option<Level<'a>>) -> bool {
    let words: Vec<Level> = members.iter().filter_map(|row| level(*row)).collect();
    let values: Vec<Level> = words.iter().copied().collect::<BTreeSet<_>>().into_iter().collect();
    let codes: Vec<usize> = words.iter().map(|word| values.partition_point(|other| other < word)).collect();
    let forces: Vec<f64> = members.iter().map(|row| rows[*row].force_n).collect();
    let settings = renumber(force_levels(&forces).0.into_iter());
    values.len() > 1 && linked_parts(&codes, &settings) == 1
}

/// The level that each level is compared with: the first of those that field-seasons tie together.
fn references<'a>(
    cells: &BTreeMap<Cell<'a>, Vec<usize>>,
    level: &impl Fn(usize) -> Option<Level<'a>>,
) -> BTreeMap<Level<'a>, Level<'a>> {
    let mut references: BTreeMap<Level, Level> = BTreeMap::new();
    for members in cells.values() {
        let here: BTreeSet<Level> = members.iter().filter_map(|row| level(*row)).collect();
        let tied: BTreeSet<Level> = here.iter().map(|own| references.get(own).copied().unwrap_or(*own)).collect();
        let Some(first) = tied.first().copied() else { continue };
        references.extend(here.into_iter().map(|own| (own, first)));
        references.values_mut().filter(|reference| tied.contains(*reference)).for_each(|reference| *reference = first);
    }
    references
}

#[cfg(test)]
mod tests;
