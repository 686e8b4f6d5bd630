//! A fitted model as rows: pooled curves, curves by field-season, adjusted strips.

use evenstand_stats::LinearFit;
use std::collections::BTreeMap;

use evenstand_tables::rows::{AdjustedRow, CurveRow, FieldCurveRow};

use crate::curve::CurveModel;
use crate::decision::grid;
use crate::draws::GroupDraws;
use crate::groups::{Basis, Coverage, GroupKey};
use crate::summary::{mean, quantile};

/// Points of a field-season's curve.
const FIELD_CURVE_POINTS: usize = 31;
/// Limits of intervals in `curves` and `field_curves`: 90 %.
const LOW: f64 = 0.05;
const HIGH: f64 = 0.95;

pub(crate) fn curve_rows(key: &GroupKey, model: &CurveModel, coverage: &Coverage, draws: &GroupDraws) -> Vec<CurveRow> {
    grid(coverage.tested)
        .into_iter()
        .map(|force_n| {
            let typical = draws.typical(force_n);
            CurveRow {
                condition: key.condition.clone(),
                closer: key.closer.clone(),
                planter_id: key.planter(),
                response: model.response.name.clone(),
                force_n,
                estimate: Some(mean(&typical)),
                low: Some(quantile(&typical, LOW)),
                high: Some(quantile(&typical, HIGH)),
            }
        })
        .collect()
}

/// A random effect of one draw, or zero where the model has no such term.
fn effect(model: &CurveModel, draw: usize, term: Option<usize>, group: usize) -> f64 {
    term.and_then(|term| model.posterior.effect_offset(term))
        .map_or(0.0, |offset| model.posterior.effects[[draw, offset + group]])
}

pub(crate) fn field_curve_rows(key: &GroupKey, model: &CurveModel, group: usize) -> Vec<FieldCurveRow> {
    let observed = &model.observations;
    let mut cells: BTreeMap<usize, (f64, f64, (f64, f64))> = BTreeMap::new();
    for (row, cell) in observed.rows.iter().zip(&model.cells).filter(|(row, _)| row.group == group) {
        let entry = cells.entry(row.field_season).or_insert((row.force_n, row.force_n, *cell));
        (entry.0, entry.1) = (entry.0.min(row.force_n), entry.1.max(row.force_n));
    }
    let terms = &model.groups[group];
    let coefficient =
        |draw: usize, column: Option<usize>| column.map_or(0.0, |column| model.posterior.coefficients[[draw, column]]);
    let between = model.fit.names().iter().position(|name| name == "force between field-seasons");
    let mut rows = Vec::new();
    for (field_season, (low, high, (mean_s, mean_s2))) in cells {
        if high - low < 1e-9 || observed.groups[group].1.basis == Basis::Logs {
            continue;
        }
        let (field_id, season) = observed.field_seasons[field_season];
        for point in 0..FIELD_CURVE_POINTS {
            let force_n = low + (high - low) * point as f64 / (FIELD_CURVE_POINTS - 1) as f64;
            let s = (force_n - model.centre_n) / model.half_range_n;
            let values: Vec<f64> = (0..model.posterior.draws())
                .map(|draw| {
                    let level = coefficient(draw, terms.intercept)
                        + coefficient(draw, between) * (mean_s - terms.mean_s)
                        + effect(model, draw, model.terms.field, field_season);
                    let slope = coefficient(draw, terms.linear) + effect(model, draw, model.terms.slope, field_season);
                    let curvature =
                        coefficient(draw, terms.quadratic) + effect(model, draw, model.terms.curvature, field_season);
                    model.response.scale.back(level + slope * (s - mean_s) + curvature * (s * s - mean_s2))
                })
                .collect();
            rows.push(FieldCurveRow {
                field_id: field_id.to_owned(),
                season,
                condition: key.condition.clone(),
                closer: key.closer.clone(),
                planter_id: key.planter(),
                response: model.response.name.clone(),
                force_n,
                estimate: Some(mean(&values)),
                low: Some(quantile(&values, LOW)),
                high: Some(quantile(&values, HIGH)),
            });
        }
    }
    rows
}

/// Each strip on the pooled curve, with its residual and its field's own slope left in.
pub(crate) fn adjusted_rows(key: &GroupKey, model: &CurveModel, group: usize) -> Vec<AdjustedRow> {
    let fit = &model.fit;
    let terms = &model.groups[group];
    let coefficient = |column: Option<usize>| column.map_or(0.0, |column| fit.coefficients()[column]);
    let modes = fit.conditional_modes();
    let mode = |term: Option<usize>, number: usize| {
        term.and_then(|term| modes.get(term)).map_or(0.0, |modes| modes.modes[number])
    };
    let rows = model.observations.rows.iter().zip(&model.cells).zip(fit.residuals()).enumerate();
    rows.filter(|(_, ((row, _), _))| row.group == group)
        .map(|(number, ((row, (cell_s, cell_s2)), residual))| {
            let s = (row.force_n - model.centre_n) / model.half_range_n;
            let pooled = coefficient(terms.intercept)
                + coefficient(terms.linear) * (s - terms.mean_s)
                + coefficient(terms.quadratic) * (s * s - terms.mean_s2);
            let own = mode(model.terms.slope, row.field_season) * (s - cell_s)
                + mode(model.terms.curvature, row.field_season) * (s * s - cell_s2)
                + mode(model.terms.strip, number);
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
                adjusted: Some(model.response.scale.back(pooled + own + residual)),
                observed: Some(row.value.value),
            }
        })
        .collect()
}
