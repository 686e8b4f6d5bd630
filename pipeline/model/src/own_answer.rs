//! What one group's trials say alone: the best of its own parabola, with the set that goes with it.

use evenstand_stats::{Interval, LinearFit, QuadraticOptimum, QuadraticRows};

use crate::curve::CurveModel;
use crate::decision::ENOUGH_FIELD_SEASONS;
use crate::drawn::Term;
use crate::groups::Basis;

/// Confidence of the set.
const CONFIDENCE: f64 = 0.90;

/// The group's own answer, without other conditions and without departures from a parabola.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct OwnAnswer {
    /// Best force of its parabola inside the tested range.
    pub best_n: f64,
    /// Lightest and heaviest force that can be the best in a field not yet seen; missing under three field-seasons. Every force whose slope
    /// there cannot be told from 0 (Fieller 1954; ends by a one-sided test, Peterson, Cahya & del Castillo 2002), where the spread of slopes
    /// and curvatures between fields counts beside the errors of the mean ones.
    pub set: Option<(f64, f64)>,
}

/// Confidence of the set for the fields tried, as of the limits of differences beside it.
const CONFIDENCE_HERE: f64 = 0.95;

/// Where the mean parabola of the fields that were tried has its best, without anything said of other fields.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct BestHere {
    /// Best force inside the tested range.
    pub best_n: f64,
    /// Lightest and heaviest force that can be the best, at 95 % (Fieller 1954; ends by a one-sided test).
    pub set: (f64, f64),
}

/// The best in the fields tried; `None` under logs, or where the settings tell no curvature.
pub(crate) fn best_here(model: &CurveModel, group: usize) -> Option<BestHere> {
    let (optimum, range) = optimum(model, group)?;
    let force = |scaled: f64| model.frame.centre_n + model.frame.half_range_n * scaled;
    let best_n = force(optimum.constrained_estimate(range).ok()?);
    let set = optimum.constrained_set(CONFIDENCE_HERE, range).ok()?;
    Some(BestHere { best_n, set: (force(set.pieces.first()?.low), force(set.pieces.last()?.high)) })
}

/// The optimum of a group's parabola on the scaled axis, turned so that the best is the highest, and the range that was tried.
fn optimum(model: &CurveModel, group: usize) -> Option<(QuadraticOptimum, Interval)> {
    let coverage = &model.observations.groups[group].1;
    let terms = model.groups[group];
    let (linear, quadratic) = (terms.linear?, terms.quadratic?);
    if coverage.basis == Basis::Logs {
        return None;
    }
    let sign = model.response.better.sign();
    let unit =
        |column: usize| (0..model.fit.coefficients().len()).map(move |other| if other == column { sign } else { 0.0 });
    let rows = QuadraticRows { slope: unit(linear).collect(), curvature: unit(quadratic).collect(), centre: 0.0 };
    let optimum = QuadraticOptimum::new(&model.fit, &rows, 0.0).ok()?;
    let frame = &model.frame;
    Some((optimum, Interval { low: frame.scaled(coverage.tested.0), high: frame.scaled(coverage.tested.1) }))
}

/// The own answer of a group; `None` under logs, or where its settings tell no curvature.
pub(crate) fn own_answer(model: &CurveModel, group: usize) -> Option<OwnAnswer> {
    let coverage = &model.observations.groups[group].1;
    let (optimum, range) = optimum(model, group)?;
    let frame = &model.frame;
    let force = |scaled: f64| frame.centre_n + frame.half_range_n * scaled;
    let best_n = force(optimum.constrained_estimate(range).ok()?);
    // A spread estimated as zero is not zero: the drawn one stands in where it is larger.
    let variance = |term: Option<usize>, drawn: Term| {
        let fitted = term.map_or(0.0, |term| model.fit.variance_components()[term].variance);
        fitted.max(model.drawn.mean_variance(drawn))
    };
    let set = (coverage.field_seasons >= ENOUGH_FIELD_SEASONS)
        .then(|| {
            optimum.for_new_group(
                variance(model.terms.slope, Term::Slope),
                variance(model.terms.curvature, Term::Curvature),
            )
        })
        .and_then(|optimum| optimum.constrained_set(CONFIDENCE, range).ok())
        .and_then(|set| Some((force(set.pieces.first()?.low), force(set.pieces.last()?.high))));
    Some(OwnAnswer { best_n, set })
}
