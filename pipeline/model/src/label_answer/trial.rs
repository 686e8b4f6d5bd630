//! The strips of one group by the positions they stood at, and what these can tell.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_settings::Position;
use evenstand_tables::rows::StripRow;

use crate::dig_window::Allowed;
use crate::groups::{Basis, Coverage, GroupKey};
use crate::observations::{Observation, Observations};
use crate::response::{Measures, Response};
use crate::setting_fit::SettingRows;
use crate::setting_terms::renumber;

/// Strips of one group that have a value and a position.
pub(super) struct Trial<'a> {
    /// All of them. There is no force: `force_n` of a row is the number of its position, and says only which is heavier.
    pub observed: Observations<'a>,
    pub coverage: Coverage,
    /// Rows behind the answer: of field-seasons in which positions varied, and of these the largest set that positions in common link.
    counted: Vec<usize>,
    positions: Vec<String>,
}

/// Strips behind an answer, with positions, field-seasons and blocks numbered without gaps.
#[derive(Debug, Clone)]
pub(super) struct Compared {
    pub modelled: Vec<f64>,
    pub std_errors: Option<Vec<f64>>,
    pub settings: Vec<usize>,
    pub blocks: Vec<usize>,
    pub fields: Vec<usize>,
    /// Labels of the settings, lightest first.
    pub labels: Vec<String>,
}

impl Compared {
    /// The same strips as a fit of settings takes them.
    pub fn setting_rows(&self) -> SettingRows {
        SettingRows {
            response: self.modelled.clone(),
            std_errors: self.std_errors.clone(),
            settings: self.settings.clone(),
            blocks: self.blocks.clone(),
            fields: self.fields.clone(),
        }
    }
}

impl Compared {
    /// Number of field-seasons that tried each position.
    pub fn tried(&self) -> Vec<usize> {
        let cells: BTreeSet<(usize, usize)> = self.settings.iter().copied().zip(self.fields.iter().copied()).collect();
        (0..self.labels.len()).map(|label| cells.iter().filter(|(setting, _)| *setting == label).count()).collect()
    }
}

impl<'a> Trial<'a> {
    /// Collects the strips that have a value of the response and stand at one of `positions`; `None` where there are none.
    pub fn new(
        key: &GroupKey,
        strips: &[&'a StripRow],
        positions: &[Position],
        response: &Response,
        measures: &Measures,
    ) -> Option<Self> {
        let mut field_seasons: BTreeMap<(&str, i64), usize> = BTreeMap::new();
        let mut blocks: BTreeMap<(&str, i64, &str), usize> = BTreeMap::new();
        let place = |strip: &'a StripRow| (strip.field_id.as_str(), strip.season);
        let block =
            |strip: &'a StripRow| (strip.field_id.as_str(), strip.season, strip.block.as_deref().unwrap_or_default());
        let mut found = Vec::new();
        for strip in strips.iter().copied() {
            let label = strip.closing_position.as_deref();
            let Some(number) = positions.iter().position(|position| Some(position.label.as_str()) == label) else {
                continue;
            };
            let Some(value) = response.of(strip, measures) else { continue };
            field_seasons.insert(place(strip), 0);
            blocks.insert(block(strip), 0);
            found.push((strip, value, number));
        }
        field_seasons.values_mut().enumerate().for_each(|(number, slot)| *slot = number);
        blocks.values_mut().enumerate().for_each(|(number, slot)| *slot = number);
        let rows: Vec<Observation> = found
            .into_iter()
            .map(|(strip, value, number)| Observation {
                strip,
                value,
                modelled: response.modelled(value),
                modelled_std_error: response.modelled_std_error(value),
                force_n: number as f64,
                group: 0,
                field_season: field_seasons[&place(strip)],
                block: blocks[&block(strip)],
            })
            .collect();
        if rows.is_empty() {
            return None;
        }
        let (basis, counted) = counted(&rows);
        let coverage = coverage(&rows, &counted, basis);
        let observed = Observations {
            rows,
            groups: vec![(key.clone(), coverage.clone())],
            field_seasons: field_seasons.into_keys().collect(),
            blocks: blocks.len(),
        };
        let positions = positions.iter().map(|position| position.label.clone()).collect();
        Some(Self { observed, coverage, counted, positions })
    }

    /// The strips behind an answer.
    pub fn compared(&self) -> Compared {
        let rows = || self.counted.iter().map(|row| &self.observed.rows[*row]);
        let used: BTreeSet<usize> = rows().map(position_of).collect();
        Compared {
            modelled: rows().map(|row| row.modelled).collect(),
            std_errors: rows().map(|row| row.modelled_std_error).collect(),
            settings: renumber(rows().map(position_of)),
            blocks: renumber(rows().map(|row| row.block)),
            fields: renumber(rows().map(|row| row.field_season)),
            labels: used.into_iter().map(|number| self.positions[number].clone()).collect(),
        }
    }
}

fn position_of(row: &Observation) -> usize {
    row.force_n as usize
}

/// Positions by a key of the rows.
fn positions_by<K: Ord>(rows: &[&Observation], key: impl Fn(&Observation) -> K) -> BTreeMap<K, BTreeSet<usize>> {
    let mut sets: BTreeMap<K, BTreeSet<usize>> = BTreeMap::new();
    rows.iter().for_each(|row| {
        sets.entry(key(row)).or_default().insert(position_of(row));
    });
    sets
}

/// What an answer rests on: field-seasons in which positions varied; where these fall into parts that share no position, the part with most
/// strips. Without such field-seasons, all strips.
fn counted(rows: &[Observation]) -> (Basis, Vec<usize>) {
    let mut fields = positions_by(&rows.iter().collect::<Vec<_>>(), |row| row.field_season);
    fields.retain(|_, positions| positions.len() > 1);
    let mut parts: Vec<(BTreeSet<usize>, BTreeSet<usize>)> = Vec::new();
    for (field, positions) in fields {
        let mut joined = (BTreeSet::from([field]), positions);
        for part in std::mem::take(&mut parts) {
            if part.1.is_disjoint(&joined.1) {
                parts.push(part);
            } else {
                joined.0.extend(part.0);
                joined.1.extend(part.1);
            }
        }
        parts.push(joined);
    }
    let members = |part: &BTreeSet<usize>| -> Vec<usize> {
        (0..rows.len()).filter(|row| part.contains(&rows[*row].field_season)).collect()
    };
    // Of parts with as many strips, the one with the first field-season.
    let largest = parts
        .iter()
        .map(|(part, _)| part)
        .max_by(|a, b| members(a).len().cmp(&members(b).len()).then(b.first().cmp(&a.first())));
    match largest {
        Some(part) => (Basis::Trial, members(part)),
        None => (Basis::Logs, (0..rows.len()).collect()),
    }
}

fn coverage(rows: &[Observation], counted: &[usize], basis: Basis) -> Coverage {
    let counted: Vec<&Observation> = counted.iter().map(|row| &rows[*row]).collect();
    let all: Vec<&Observation> = rows.iter().collect();
    let used: BTreeSet<usize> = counted.iter().map(|row| position_of(row)).collect();
    let strips_of = |own: usize| counted.iter().filter(|row| position_of(row) == own).count();
    let several = |sets: BTreeMap<_, BTreeSet<usize>>| sets.values().filter(|set| set.len() > 1).count();
    Coverage {
        basis,
        field_seasons: counted.iter().map(|row| row.field_season).collect::<BTreeSet<_>>().len(),
        strips: counted.len(),
        repeated: used.len() < counted.len(),
        fewest_strips: used.iter().map(|own| strips_of(*own)).min().unwrap_or(0),
        level_forces: used.into_iter().map(|number| number as f64).collect(),
        tested: (f64::NAN, f64::NAN),
        varied_within_fields: positions_by(&all, |row| row.strip.field_id.clone()).values().any(|set| set.len() > 1),
        blocks: several(positions_by(&counted, |row| row.block)),
        spans: Vec::new(),
        allowed: Allowed::default(),
    }
}
