//! Sets of values that a likelihood profile does not exclude.

use super::frame::ResponseFrame;
use super::joint::deviance;
use super::shape::Side;
use crate::checks::check_level;
use crate::distribution::t_quantile;
use crate::error::{Result, StatsError};
use crate::inference::LinearFit;
use crate::interval::Interval;

/// Values that a profile does not exclude at some confidence.
#[derive(Debug, Clone, PartialEq)]
pub struct ProfileSet {
    /// Pieces of the set in ascending order, inside the range searched.
    pub pieces: Vec<Interval>,
    /// Confidence of the set.
    pub confidence: f64,
    /// Range searched; nothing is said about values outside.
    pub searched: Interval,
    /// True when the set reaches the lower end of the range, so that no lower limit can be given.
    pub open_low: bool,
    /// True when the set reaches the upper end of the range, so that no upper limit can be given.
    pub open_high: bool,
    /// What the profile was compared with, in words.
    pub method: String,
}

impl ProfileSet {
    /// True when `value` lies in the set.
    pub fn contains(&self, value: f64) -> bool {
        self.pieces.iter().any(|piece| piece.contains(value))
    }
}

/// How a difference of deviances is judged.
pub(crate) struct Yardstick {
    /// Lowest deviance, and the number of rows.
    pub(crate) lowest: f64,
    pub(crate) rows: f64,
    /// Rows less parameters of the mean, for least squares; `None` with random terms.
    pub(crate) residual_df: Option<f64>,
    /// Degrees of freedom of the F quantile.
    pub(crate) df: f64,
}

impl Yardstick {
    /// F of one extra parameter. Exact for least squares: the deviance is `n log RSS` and a constant. With random terms the
    /// likelihood ratio itself, which the F quantile judges more carefully than chi-squared would.
    pub(crate) fn statistic(&self, deviance: f64) -> f64 {
        let rise = deviance - self.lowest;
        match self.residual_df {
            Some(df) => (rise / self.rows).exp_m1() * df,
            None => rise,
        }
    }

    pub(crate) fn limit(&self, confidence: f64) -> f64 {
        t_quantile(0.5 + 0.5 * confidence, self.df).powi(2)
    }

    pub(crate) fn method(&self) -> String {
        let df = self.df;
        match self.residual_df {
            Some(_) => format!("profile F(1, {df})"),
            None => format!("likelihood ratio against F(1, {df:.2}), approximate with random terms"),
        }
    }
}

/// The set where `deviance` stays below the yardstick's limit. `points` (ascending) must be dense enough to meet every piece;
/// limits between two of them are found by bisection.
pub(crate) fn profile_set(
    mut deviance: impl FnMut(f64) -> Result<f64>,
    points: &[f64],
    yardstick: &Yardstick,
    confidence: f64,
) -> Result<ProfileSet> {
    check_level("the confidence", confidence)?;
    let limit = yardstick.limit(confidence);
    let mut inside = |value: f64| -> Result<bool> { Ok(yardstick.statistic(deviance(value)?) <= limit) };
    let mut pieces: Vec<Interval> = Vec::new();
    let mut before: Option<(f64, bool)> = None;
    let (mut open_low, mut open_high) = (false, false);
    for &point in points {
        let here = inside(point)?;
        match before {
            None if here => {
                open_low = true;
                pieces.push(Interval { low: point, high: point });
            }
            Some((last, was)) if was != here => {
                // `kept` stays inside the set, `lost` outside.
                let (mut kept, mut lost) = if was { (last, point) } else { (point, last) };
                for _ in 0..60 {
                    let middle = 0.5 * (kept + lost);
                    if middle == kept || middle == lost {
                        break;
                    }
                    if inside(middle)? {
                        kept = middle
                    } else {
                        lost = middle
                    }
                    if (kept - lost).abs() < 1e-9 * (kept.abs() + lost.abs()) {
                        break;
                    }
                }
                if was {
                    if let Some(piece) = pieces.last_mut() {
                        piece.high = kept;
                    }
                } else {
                    pieces.push(Interval { low: kept, high: point });
                }
            }
            _ => {}
        }
        if here && let Some(piece) = pieces.last_mut() {
            piece.high = point;
        }
        open_high = here;
        before = Some((point, here));
    }
    let searched =
        Interval { low: points.first().copied().unwrap_or(f64::NAN), high: points.last().copied().unwrap_or(f64::NAN) };
    Ok(ProfileSet { pieces, confidence, searched, open_low, open_high, method: yardstick.method() })
}

/// Values of x where a quadratic response may have slope `gradient`, by the likelihood with the slope held there.
///
/// For least squares this is the set of [`QuadraticOptimum::fieller_set`](crate::QuadraticOptimum::fieller_set) again, by another
/// route; with random terms it also lets the variances answer, where the Fieller set holds them fixed.
/// Only `range` is searched, at 100 points and the estimate.
///
/// # Errors
/// As [`Lmm::fit`](crate::Lmm::fit); a range that is empty or not finite; a confidence outside (0, 1); a quadratic that the columns cannot tell.
pub fn optimum_profile_set(
    frame: &ResponseFrame,
    gradient: f64,
    confidence: f64,
    range: Interval,
) -> Result<ProfileSet> {
    check_range(range)?;
    let quadratic = super::fitted_shape::FittedShape::fit(frame, super::shape::ResponseShape::Quadratic)?;
    let optimum = quadratic.optimum(gradient)?;
    let tilted = frame.tilted(gradient);
    let centre = frame.centre();
    let rows = frame.n_observations() as f64;
    let residual = rows - quadratic.maximum_likelihood().coefficients().len() as f64;
    let yardstick = Yardstick {
        lowest: quadratic.maximum_likelihood().criterion(),
        rows,
        residual_df: (!frame.has_random_terms()).then_some(residual),
        df: optimum.df(),
    };
    let mut points: Vec<f64> = (0..=100).map(|k| range.low + range.width() * f64::from(k) / 100.0).collect();
    points.extend(optimum.estimate().filter(|estimate| range.contains(*estimate)));
    points.sort_by(f64::total_cmp);
    points.dedup();
    let held = |x: f64| -> Result<f64> {
        // (x - c)² - 2 (x0 - c)(x - c) has slope zero at x0 and nowhere else.
        let column = frame.x().iter().map(|&value| (value - centre) * (value - centre - 2.0 * (x - centre))).collect();
        deviance(&tilted, &[("held".into(), column)])
    };
    profile_set(held, &points, &yardstick, confidence)
}

pub(crate) fn check_range(range: Interval) -> Result<()> {
    crate::checks::check_finite("the range", &[range.low, range.high])?;
    if range.low < range.high {
        return Ok(());
    }
    Err(StatsError::OutOfRange {
        what: "the width of the range",
        value: range.width(),
        expected: "a lower end below the upper end",
    })
}

/// Eight points per gap, as many again beyond the range on the side of the plateau over half its width, and the estimate.
pub(crate) fn joint_points(frame: &ResponseFrame, estimate: f64, side: Side) -> Vec<f64> {
    let (low, high) = frame.range();
    let beyond = 0.5 * (high - low);
    let mut ends = frame.levels().to_vec();
    match side {
        Side::Right => ends.push(high + beyond),
        Side::Left => ends.insert(0, low - beyond),
    }
    let mut points: Vec<f64> = ends
        .windows(2)
        .flat_map(|pair| (0..8).map(move |k| pair[0] + (pair[1] - pair[0]) * f64::from(k) / 8.0))
        .collect();
    points.extend(ends.last());
    points.push(estimate);
    points.sort_by(f64::total_cmp);
    points.dedup();
    points
}
