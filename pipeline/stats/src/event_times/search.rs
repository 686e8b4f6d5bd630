//! The search for the maximum: where to start, what counts as one, and why there may be none.

use super::data::IntervalData;
use super::likelihood::Likelihood;
use super::predictors::EventPredictors;
use super::shape::Shape;
use super::turnbull::turnbull;
use crate::dense::{cholesky_in_place, inverse_from_cholesky};
use crate::error::{Result, StatsError};
use crate::newton::minimise;
use crate::search_record::SearchRecord;

/// Newton steps allowed from one start.
const LIMIT: usize = 200;

/// A standard error of log sigma (or of mu in sigmas) above this means that the likelihood is flat out there, not curved.
const FLAT: f64 = 50.0;

/// A maximum with its curvature.
#[derive(Debug, Clone)]
pub(super) struct Found {
    pub(super) point: Vec<f64>,
    pub(super) minus_log_likelihood: f64,
    /// Inverse of the observed information (size × size).
    pub(super) covariance: Vec<f64>,
    pub(super) record: SearchRecord,
}

/// The maximum reached from the first start that leads to one; the reason of the last failure when none does.
pub(super) fn search(
    data: &IntervalData,
    likelihood: &Likelihood<'_>,
    shape: Shape,
) -> std::result::Result<Found, String> {
    let mut failure = String::from("the likelihood has no value at any start");
    for spread in [1.0, 0.4, 2.5, 0.1] {
        let start = start(data, likelihood, shape, spread);
        match from_start(likelihood, &start) {
            Ok(found) => return Ok(found),
            Err(reason) => failure = reason,
        }
    }
    Err(failure)
}

pub(super) fn from_start(likelihood: &Likelihood<'_>, start: &[f64]) -> std::result::Result<Found, String> {
    let size = start.len();
    let mut evaluations = 0;
    let counted = |point: &[f64]| {
        evaluations += 1;
        likelihood.minus(point)
    };
    let Some(end) = minimise(counted, start, LIMIT, 1.0) else {
        return Err("the likelihood has no value at the start".into());
    };
    let mut factor = end.local.hessian.clone();
    if !cholesky_in_place(&mut factor, size) {
        return Err(format!("the search stopped where the likelihood is not curved downwards ({})", end.reason));
    }
    let covariance = inverse_from_cholesky(&factor, size, size);
    let record = SearchRecord::of(&end, evaluations);
    if !(record.distance_left < 1e-4) {
        return Err(format!("the search stopped before a maximum ({})", end.reason));
    }
    let widths: Vec<usize> = likelihood.parts().iter().map(|part| part.width()).collect();
    let sigma = end.point[widths[0]].exp();
    for k in 0..widths[0] + widths[1] {
        let std_error = covariance[k * size + k].sqrt();
        let (relative, what) = if k < widths[0] { (std_error / sigma, "mu") } else { (std_error, "log sigma") };
        // A location coefficient is in units of its own column, so its bound is loose.
        if !(relative < if k < widths[0] { 1e3 * FLAT } else { FLAT }) {
            return Err(format!("the likelihood levels off as {what} runs away, it has no maximum"));
        }
    }
    Ok(Found { point: end.point, minus_log_likelihood: end.local.value, covariance, record })
}

/// Moments of the log of middle times; `spread` multiplies sigma.
fn start(data: &IntervalData, likelihood: &Likelihood<'_>, shape: Shape, spread: f64) -> Vec<f64> {
    let limited = likelihood.parts().len() == 3;
    let (mut sum, mut squares, mut weight, mut width) = (0.0, 0.0, 0.0, 0.0);
    let mut add = |log_time: f64, log_width: f64, count: u64| {
        let count = count as f64;
        sum += count * log_time;
        squares += count * log_time * log_time;
        width += count * log_width;
        weight += count;
    };
    for row in data.used() {
        let (left, right, count) = (data.left()[row], data.right()[row], data.counts()[row]);
        if right.is_finite() {
            let low = if left > 0.0 { left.ln() } else { right.ln() - 1.0 };
            add(0.5 * (low + right.ln()), right.ln() - low, count);
        } else if !limited {
            add(left.ln() + 0.5, 1.0, count);
        }
    }
    let mean = sum / weight;
    let deviation = (squares / weight - mean * mean).max(0.0).sqrt().max(0.3 * width / weight).max(1e-3);
    let (centre, unit) = shape.moments();
    let sigma = spread * deviation / unit;
    let mut point = Vec::with_capacity(likelihood.size());
    for (k, part) in likelihood.parts().iter().enumerate() {
        let total = data.total() as f64;
        let value = match k {
            0 => mean - sigma * centre,
            1 => sigma.ln(),
            _ => ((data.events() as f64 + 0.5) / (total - data.events() as f64 + 0.5)).ln(),
        };
        point.extend(part.constant(value));
    }
    point
}

/// Refuses data that a single jump (or a level line) explains as well as any curve: sigma then shrinks to zero (or grows) without end.
pub(super) fn refuse_single_jump(data: &IntervalData, limited: bool) -> Result<()> {
    let (mut latest_left, mut earliest_right) = (0.0_f64, f64::INFINITY);
    for row in data.used().filter(|&row| data.right()[row].is_finite()) {
        latest_left = latest_left.max(data.left()[row]);
        earliest_right = earliest_right.min(data.right()[row]);
    }
    if latest_left > earliest_right {
        return Ok(());
    }
    let masses = turnbull(data);
    let carrying: Vec<(f64, f64)> = masses
        .masses()
        .iter()
        .filter(|mass| mass.mass > 0.0 && (mass.right.is_finite() || !limited))
        .map(|mass| (mass.left, mass.right))
        .collect();
    let reason = match carrying[..] {
        [(0.0, right)] => {
            format!("every event had happened by the first look, at {right}, so sigma cannot be estimated")
        }
        [(left, right)] => {
            format!("only one interval holds events, from {left} to {right}, so sigma cannot be estimated")
        }
        [(0.0, right), (left, f64::INFINITY)] if right < left => format!(
            "the share was the same at every look from {right} to {left}, and a curve without limit cannot stay level"
        ),
        [(_, right), (left, f64::INFINITY)] if right == left => format!(
            "one share at time {right} explains everything that was seen, so mu and sigma cannot both be estimated"
        ),
        [(_, right), (left, _)] if right == left => format!(
            "the events lie in two intervals that meet at {left}, and one jump there explains them: sigma cannot be estimated"
        ),
        _ => return Ok(()),
    };
    Err(StatsError::EventTimes {
        reason,
        advice: "report the intervals and counts themselves, or look more often while events happen",
    })
}

/// True when the log-likelihood does not fall as d rises to one: then d = 1 is the estimate, at the edge of what is possible.
pub(super) fn rises_to_one(data: &IntervalData, predictors: &EventPredictors, shape: Shape, point: &[f64]) -> bool {
    let mut slope = 0.0;
    for row in data.used() {
        let count = data.counts()[row] as f64;
        let (mu, tau, _) = super::likelihood::linear_predictors(predictors, false, row, point);
        if data.right()[row].is_finite() {
            slope += count;
        } else {
            // d/dd log(1 - d G) at d = 1.
            let z = (data.left()[row].ln() - mu) / tau.exp();
            slope -= count * shape.cdf(z) / shape.after(z).log.exp();
        }
    }
    slope >= 0.0
}
