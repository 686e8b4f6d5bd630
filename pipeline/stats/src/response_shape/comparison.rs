//! Candidate shapes side by side, and the curve averaged over them.

use super::fitted_shape::FittedShape;
use super::frame::ResponseFrame;
use super::shape::ResponseShape;
use crate::distribution::{normal_quantile, t_quantile};
use crate::error::{Result, StatsError};
use crate::inference::Contrast;
use crate::interval::Interval;
use crate::note::Note;

/// Shapes fitted to one frame, with Akaike weights.
///
/// Weight of shape i: `exp(-Δ_i / 2) / Σ exp(-Δ_j / 2)` with Δ the difference in AICc from the smallest (Buckland, Burnham & Augustin
/// 1997, Biometrics 53, 603-618). Weights rank the candidates given, no others: read them together with the tests of lack of fit.
#[derive(Debug, Clone)]
pub struct ShapeComparison {
    candidates: Vec<FittedShape>,
    weights: Vec<f64>,
    dropped: Vec<DroppedShape>,
    notes: Vec<Note>,
}

/// A shape that was asked for and could not be compared.
#[derive(Debug, Clone, PartialEq)]
pub struct DroppedShape {
    /// The shape.
    pub shape: ResponseShape,
    /// Why.
    pub reason: StatsError,
}

/// The averaged curve, or a difference on it, at one x.
#[derive(Debug, Clone, PartialEq)]
pub struct AveragedPoint {
    /// The x.
    pub x: f64,
    /// `Σ w_i f_i`.
    pub estimate: f64,
    /// Unconditional standard error `Σ w_i sqrt(var_i + (f_i - estimate)²)` (Buckland et al. 1997, equation 9): the choice between
    /// the shapes is part of it.
    pub std_error: f64,
    /// Weight and answer of each shape, in the order of the candidates.
    pub parts: Vec<(f64, Contrast)>,
}

impl ShapeComparison {
    /// Fits every shape of `shapes` to `frame`. Those that the data cannot tell are named in [`ShapeComparison::dropped`] and in a note.
    ///
    /// # Errors
    /// A shape listed twice, or no shape left to compare: the reason of the first.
    pub fn new(frame: &ResponseFrame, shapes: &[ResponseShape]) -> Result<Self> {
        let mut candidates: Vec<FittedShape> = Vec::new();
        let mut dropped: Vec<DroppedShape> = Vec::new();
        for (at, &shape) in shapes.iter().enumerate() {
            let refuse = |reason: &str| StatsError::ShapeNotEstimable { shape: shape.name(), reason: reason.into() };
            if shapes[..at].contains(&shape) {
                return Err(StatsError::OutOfRange {
                    what: "the number of times a shape is listed",
                    value: shapes.iter().filter(|other| **other == shape).count() as f64,
                    expected: "1, or its weight would multiply",
                });
            }
            match FittedShape::fit(frame, shape) {
                Ok(fit) if fit.aicc().is_finite() => candidates.push(fit),
                Ok(fit) => {
                    let (n, k) = (frame.n_observations(), fit.n_parameters());
                    let reason =
                        refuse(&format!("AICc needs more than {} rows for its {k} parameters, found {n}", k + 1));
                    dropped.push(DroppedShape { shape, reason });
                }
                Err(reason) => dropped.push(DroppedShape { shape, reason }),
            }
        }
        if candidates.is_empty() {
            return Err(match dropped.into_iter().next() {
                Some(first) => first.reason,
                None => StatsError::TooFewValues { what: "a comparison of shapes", needed: 1, found: 0 },
            });
        }
        let lowest = candidates.iter().map(FittedShape::aicc).fold(f64::INFINITY, f64::min);
        let raw: Vec<f64> = candidates.iter().map(|fit| (-0.5 * (fit.aicc() - lowest)).exp()).collect();
        let total: f64 = raw.iter().sum();
        let weights = raw.into_iter().map(|weight| weight / total).collect();
        let notes = dropped
            .iter()
            .map(|shape| {
                let reason = shape.reason.to_string();
                let first_line = reason.lines().next().unwrap_or_default().to_string();
                Note::new("shape-dropped", first_line)
            })
            .collect();
        Ok(Self { candidates, weights, dropped, notes })
    }

    /// The fitted shapes, in the order asked for.
    pub fn candidates(&self) -> &[FittedShape] {
        &self.candidates
    }

    /// Akaike weight of each candidate; they sum to one.
    pub fn weights(&self) -> &[f64] {
        &self.weights
    }

    /// Shapes that were left out, with reasons.
    pub fn dropped(&self) -> &[DroppedShape] {
        &self.dropped
    }

    /// Remarks: one for each shape left out.
    pub fn notes(&self) -> &[Note] {
        &self.notes
    }

    /// The fitted `shape`, if it was compared.
    pub fn get(&self, shape: ResponseShape) -> Option<&FittedShape> {
        self.candidates.iter().find(|fit| fit.shape() == shape)
    }

    /// The candidate with the largest weight.
    pub fn best(&self) -> &FittedShape {
        let best =
            (1..self.weights.len()).fold(0, |best, k| if self.weights[k] > self.weights[best] { k } else { best });
        &self.candidates[best]
    }

    /// Averaged response at every x of `points`, the other columns at their means.
    ///
    /// # Errors
    /// As [`FittedShape::curve`].
    pub fn averaged_curve(&self, points: &[f64]) -> Result<Vec<AveragedPoint>> {
        points.iter().map(|&x| self.averaged(x, |fit| fit.curve(x))).collect()
    }

    /// Averaged response at every x of `points` less the one at `reference`.
    ///
    /// # Errors
    /// As [`FittedShape::difference`].
    pub fn averaged_difference(&self, points: &[f64], reference: f64) -> Result<Vec<AveragedPoint>> {
        points.iter().map(|&x| self.averaged(x, |fit| fit.difference(x, reference))).collect()
    }

    fn averaged(&self, x: f64, ask: impl Fn(&FittedShape) -> Result<Contrast>) -> Result<AveragedPoint> {
        let mut parts = Vec::with_capacity(self.weights.len());
        for (fit, &weight) in self.candidates.iter().zip(&self.weights) {
            parts.push((weight, ask(fit)?));
        }
        let estimate = parts.iter().map(|(weight, part)| weight * part.estimate).sum();
        let std_error = unconditional(&parts, estimate, |_| 1.0);
        Ok(AveragedPoint { x, estimate, std_error, parts })
    }
}

impl AveragedPoint {
    /// `estimate ± z Σ w_i sqrt((t_i / z)² var_i + (f_i - estimate)²)`, t_i with the degrees of freedom of shape i: the adjusted
    /// unconditional interval of Burnham & Anderson (2002), which is the t interval when one shape has all the weight.
    pub fn interval(&self, confidence: f64) -> Interval {
        let upper = 0.5 + 0.5 * confidence;
        let z = normal_quantile(upper);
        let half = z * unconditional(&self.parts, self.estimate, |part| {
            // A difference from itself has variance zero and no degrees of freedom.
            if part.std_error == 0.0 { 1.0 } else { (t_quantile(upper, part.df) / z).powi(2) }
        });
        Interval { low: self.estimate - half, high: self.estimate + half }
    }
}

fn unconditional(parts: &[(f64, Contrast)], estimate: f64, inflation: impl Fn(&Contrast) -> f64) -> f64 {
    parts
        .iter()
        .map(|(weight, part)| {
            weight * (inflation(part) * part.std_error.powi(2) + (part.estimate - estimate).powi(2)).sqrt()
        })
        .sum()
}
