//! The joint of a plateau: the best over all gaps between neighbouring values of x.

use super::frame::ResponseFrame;
use super::shape::{ResponseShape, Side};
use crate::error::{Result, StatsError};
use crate::inference::LinearFit;
use crate::least_squares::LeastSquares;
use crate::lmm::{Criterion, Lmm, deviance_at};
use crate::note::Note;

/// Where a slope meets its plateau.
///
/// There is no standard error on purpose: the likelihood has a kink wherever the joint crosses a value of x, so that one tells
/// nothing. [`FittedShape::joint_set`](crate::FittedShape::joint_set) gives the values that the data do not exclude.
#[derive(Debug, Clone, PartialEq)]
pub struct Joint {
    /// The joint with the highest likelihood inside the range of x.
    pub estimate: f64,
    /// `-2 log L` (maximum likelihood) at the estimate.
    pub deviance: f64,
    /// Values of the likelihood looked at during the search.
    pub evaluations: usize,
    /// True when the estimate is a value of x, where the likelihood has its kink.
    pub at_level: bool,
    /// True when the estimate is the last value searched on the side of the plateau (the response may not have levelled off
    /// inside the range), or the last on the side of the slope (a single level lies on the slope, which then has no size of its own).
    pub at_edge: bool,
}

impl Joint {
    /// What a reader of the estimate must know.
    pub(crate) fn note(&self, shape: ResponseShape) -> Option<Note> {
        let name = shape.name();
        if self.at_edge {
            return Some(Note::new(
                "joint-at-edge",
                format!(
                    "the joint of the {name} shape ended at {}, the edge of what was searched: either the response does not level off \
                 inside the range, or a single level of x lies on the slope",
                    self.estimate
                ),
            ));
        }
        self.at_level.then(|| {
        Note::new(
            "joint-at-level",
            format!(
                "the joint of the {name} shape sits on the value {} of x, where the likelihood has a kink: use its profile set",
                self.estimate
            ),
        )
    })
    }
}

/// Points looked at inside a gap before the golden section starts.
const LOOKS: usize = 5;

/// Golden-section steps: the bracket shrinks to 1e-9 of a gap, beyond which the likelihood is flat to rounding.
const STEPS: usize = 44;

/// `-2 log L` by maximum likelihood with the joint held at `joint`.
pub(crate) fn deviance_at_joint(frame: &ResponseFrame, shape: ResponseShape, joint: f64) -> Result<f64> {
    deviance(frame, &shape.columns(frame, Some(joint)))
}

/// `-2 log L` by maximum likelihood with the given shape columns.
pub(crate) fn deviance(frame: &ResponseFrame, columns: &[(String, Vec<f64>)]) -> Result<f64> {
    let design = frame.design(columns)?;
    if frame.has_random_terms() {
        return Ok(Lmm::maximum_likelihood().fit(&design)?.criterion());
    }
    let value = -2.0 * LeastSquares.fit(&design)?.log_likelihood();
    if value.is_finite() { Ok(value) } else { Err(StatsError::PerfectFit) }
}

/// Searches from the second level on the side of the slope to the last on the side of the plateau. Nearer the first level the
/// likelihood is constant, as slope and joint trade off exactly.
pub(crate) fn search(frame: &ResponseFrame, shape: ResponseShape, side: Side) -> Result<Joint> {
    let levels = frame.levels();
    let knots = match side {
        Side::Right => &levels[1..],
        Side::Left => &levels[..levels.len() - 1],
    };
    let mut evaluations = 0;
    let (deviance, mut estimate) = if frame.has_random_terms() {
        alternate(frame, shape, knots, &mut evaluations)?
    } else {
        sweep(knots, |joint| {
            evaluations += 1;
            Ok((deviance_at_joint(frame, shape, joint)?, joint))
        })?
    };
    let (low, high) = frame.range();
    // A kink is approached to about 1e-8 by function values alone; the level itself is then the answer.
    if let Some(&level) = knots.iter().find(|level| (**level - estimate).abs() < 1e-6 * (high - low))
        && deviance_at_joint(frame, shape, level)? <= deviance + 1e-9 * (1.0 + deviance.abs())
    {
        estimate = level;
    }
    let at_level = levels.contains(&estimate);
    let at_edge = estimate == knots[0] || estimate == knots[knots.len() - 1];
    Ok(Joint { estimate, deviance, evaluations, at_level, at_edge })
}

/// Rounds of [`alternate`]; joint and variances hardly depend on each other, so a handful is enough.
const ROUNDS: usize = 20;

/// With random terms: the best joint over all gaps for given relative variances, then new variances for that joint, until neither moves.
/// A sweep with variances held costs one factorisation a point where a fit would cost hundreds.
fn alternate(
    frame: &ResponseFrame,
    shape: ResponseShape,
    knots: &[f64],
    evaluations: &mut usize,
) -> Result<(f64, f64)> {
    let fit_at = |joint: f64| Lmm::maximum_likelihood().fit(&frame.design(&shape.columns(frame, Some(joint)))?);
    let (low, high) = frame.range();
    let mut best = (f64::INFINITY, knots[0]);
    let mut theta = Vec::new();
    for &knot in knots {
        let fit = fit_at(knot)?;
        *evaluations += 1;
        if fit.criterion() < best.0 {
            (best, theta) = ((fit.criterion(), knot), fit.theta().to_vec());
        }
    }
    for round in 0..ROUNDS {
        // After the first sweep only the gaps beside the best joint are looked at.
        let beside = knots.partition_point(|knot| *knot < best.1);
        let near = &knots[beside.saturating_sub(2)..(beside + 2).min(knots.len())];
        let found = sweep(if round == 0 { knots } else { near }, |joint| {
            *evaluations += 1;
            let design = frame.design(&shape.columns(frame, Some(joint)))?;
            Ok((deviance_at(&design, &theta, Criterion::MaximumLikelihood)?, joint))
        })?;
        let fit = fit_at(found.1)?;
        *evaluations += 1;
        if fit.criterion() >= best.0 {
            break;
        }
        let (gain, moved) = (best.0 - fit.criterion(), (found.1 - best.1).abs());
        (best, theta) = ((fit.criterion(), found.1), fit.theta().to_vec());
        if gain < 1e-10 * (1.0 + best.0.abs()) && moved < 1e-7 * (high - low) {
            break;
        }
    }
    Ok(best)
}

/// The best joint over the knots and the gaps between them; `at` gives a value with its joint.
fn sweep(knots: &[f64], mut at: impl FnMut(f64) -> Result<(f64, f64)>) -> Result<(f64, f64)> {
    let mut at_knots = Vec::with_capacity(knots.len());
    for &knot in knots {
        at_knots.push(at(knot)?);
    }
    let mut best = at_knots[0];
    for &candidate in &at_knots[1..] {
        best = lower(best, candidate);
    }
    for pair in at_knots.windows(2) {
        best = lower(best, best_in_gap(&mut at, pair[0], pair[1])?);
    }
    Ok(best)
}

/// The lower of two; a tie goes to the first.
fn lower(first: (f64, f64), second: (f64, f64)) -> (f64, f64) {
    if second.0 < first.0 { second } else { first }
}

/// Golden section around the lowest of a few looks. The likelihood is smooth inside a gap but may have a hump there.
fn best_in_gap(
    at: &mut impl FnMut(f64) -> Result<(f64, f64)>,
    first: (f64, f64),
    last: (f64, f64),
) -> Result<(f64, f64)> {
    let mut looks = vec![first];
    for k in 1..=LOOKS {
        looks.push(at(first.1 + (last.1 - first.1) * k as f64 / (LOOKS + 1) as f64)?);
    }
    looks.push(last);
    let lowest = (1..looks.len()).fold(0, |lowest, k| if looks[k].0 < looks[lowest].0 { k } else { lowest });
    let mut low = looks[lowest.saturating_sub(1)].1;
    let mut high = looks[(lowest + 1).min(looks.len() - 1)].1;
    let share = 0.5 * (5.0_f64.sqrt() - 1.0);
    let mut left = at(high - share * (high - low))?;
    let mut right = at(low + share * (high - low))?;
    let mut best = lower(looks[lowest], lower(left, right));
    for _ in 0..STEPS {
        if left.0 <= right.0 {
            high = right.1;
            right = left;
            left = at(high - share * (high - low))?;
            best = lower(best, left);
        } else {
            low = left.1;
            left = right;
            right = at(low + share * (high - low))?;
            best = lower(best, right);
        }
    }
    Ok(best)
}
