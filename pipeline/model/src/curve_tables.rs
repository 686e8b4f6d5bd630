//! A fitted model as rows: pooled curves, curves by field-season, adjusted strips.

use std::collections::BTreeMap;

use evenstand_tables::rows::{AdjustedRow, CurveRow, FieldCurveRow};
use rayon::prelude::*;

use crate::curve::CurveModel;
use crate::curve_basis::{Functions, basis, dot, less};
use crate::decision::grid;
use crate::draws::GroupDraws;
use crate::groups::{Basis, Coverage, GroupKey};
use crate::observations::Observation;
use crate::summary::{limits, mean};

/// Points of a field-season's curve.
const FIELD_CURVE_POINTS: usize = 31;

pub(crate) fn curve_rows(key: &GroupKey, model: &CurveModel, coverage: &Coverage, draws: &GroupDraws) -> Vec<CurveRow> {
    grid(coverage.tested)
        .into_iter()
        .map(|force_n| {
            let typical = draws.typical(force_n);
            let (low, high) = limits(&typical);
            CurveRow {
                condition: key.condition.clone(),
                closer: key.closer.clone(),
                planter_id: key.planter(),
                response: model.response.name.clone(),
                force_n,
                estimate: Some(mean(&typical)),
                low: Some(low),
                high: Some(high),
            }
        })
        .collect()
}

/// Draws of the curve of one field-season in one group.
pub(crate) struct FieldSeasonCurve {
    pub field_season: usize,
    /// Lightest and heaviest setting tried there.
    pub tested: (f64, f64),
    pub strips: usize,
    cell: Functions,
    draws: Vec<Functions>,
}

impl FieldSeasonCurve {
    /// The response at a force, draw by draw, in its own unit.
    pub fn at(&self, model: &CurveModel, force_n: f64) -> Vec<f64> {
        let functions = less(&basis(model.frame.scaled(force_n)), &self.cell);
        self.draws.iter().map(|curve| model.response.scale.back(dot(curve, &functions))).collect()
    }
}

/// What each curve of a group's field-seasons comes to, in their order; nothing under logs, which have one setting a field-season. Draws of one
/// field-season after the other are in memory, never those of all.
pub(crate) fn of_field_seasons<T: Send>(
    model: &CurveModel,
    group: usize,
    told: impl Fn(FieldSeasonCurve) -> T + Sync,
) -> Vec<T> {
    let observed = &model.observations;
    if observed.groups[group].1.basis == Basis::Logs {
        return Vec::new();
    }
    let mut cells: BTreeMap<usize, (f64, f64, usize, Functions)> = BTreeMap::new();
    for (row, cell) in observed.rows.iter().zip(&model.frame.cells).filter(|(row, _)| row.group == group) {
        let entry = cells.entry(row.field_season).or_insert((row.force_n, row.force_n, 0, *cell));
        *entry = (entry.0.min(row.force_n), entry.1.max(row.force_n), entry.2 + 1, entry.3);
    }
    let drawn = &model.drawn;
    let cells: Vec<_> = cells.into_iter().filter(|(_, (low, high, ..))| high - low >= 1e-9).collect();
    cells
        .into_par_iter()
        .map(|(field_season, (low, high, strips, cell))| {
            let away = cell[1] - model.frame.groups[group].mean[1];
            let draws = (0..drawn.len())
                .map(|draw| {
                    let (curve, own) = (drawn.curve(draw, group), drawn.field_season(draw, field_season, away));
                    std::array::from_fn(|function| curve[function] + own[function])
                })
                .collect();
            told(FieldSeasonCurve { field_season, tested: (low, high), strips, cell, draws })
        })
        .collect()
}

pub(crate) fn field_curve_rows(key: &GroupKey, model: &CurveModel, group: usize) -> Vec<FieldCurveRow> {
    let rows = of_field_seasons(model, group, |curve| {
        let (field_id, season) = model.observations.field_seasons[curve.field_season];
        let (low, high) = curve.tested;
        let row = |point: usize| {
            let force_n = low + (high - low) * point as f64 / (FIELD_CURVE_POINTS - 1) as f64;
            let values = curve.at(model, force_n);
            let (low, high) = limits(&values);
            FieldCurveRow {
                field_id: field_id.to_owned(),
                season,
                condition: key.condition.clone(),
                closer: key.closer.clone(),
                planter_id: key.planter(),
                response: model.response.name.clone(),
                force_n,
                estimate: Some(mean(&values)),
                low: Some(low),
                high: Some(high),
            }
        };
        (0..FIELD_CURVE_POINTS).map(row).collect::<Vec<_>>()
    });
    rows.into_iter().flatten().collect()
}

/// Each strip on the pooled curve, with its residual and its field's own slope left in: what the drawn model takes for its field-season, block
/// and mean force is taken out.
pub(crate) fn adjusted_rows(key: &GroupKey, model: &CurveModel, group: usize) -> Vec<AdjustedRow> {
    let drawn = &model.drawn;
    let group_mean = model.frame.groups[group].mean;
    let curve = drawn.mean_curve(group);
    let strips: Vec<(&Observation, &Functions)> =
        model.observations.rows.iter().zip(&model.frame.cells).filter(|(row, _)| row.group == group).collect();
    // Strips of one block in one field-season share their level.
    let blocks: BTreeMap<(usize, usize), f64> =
        strips.iter().map(|(row, cell)| ((row.field_season, row.block), cell[1] - group_mean[1])).collect();
    let levels: BTreeMap<(usize, usize), f64> = blocks
        .into_par_iter()
        .map(|((field_season, block), away)| ((field_season, block), drawn.mean_level(field_season, block, away)))
        .collect();
    strips
        .into_iter()
        .map(|(row, cell)| {
            let level = levels[&(row.field_season, row.block)];
            let adjusted = row.modelled - level + dot(&curve, &less(cell, &group_mean));
            AdjustedRow {
                condition: key.condition.clone(),
                closer: key.closer.clone(),
                planter_id: key.planter(),
                response: model.response.name.clone(),
                field_id: row.strip.field_id.clone(),
                season: row.strip.season,
                strip_id: row.strip.strip_id.clone(),
                block: row.strip.block.clone(),
                force_n: Some(row.force_n),
                adjusted: Some(model.response.scale.back(adjusted)),
                observed: Some(row.value.value),
            }
        })
        .collect()
}
