//! Profile-likelihood intervals: the quantity becomes a parameter, the others are optimised out.

use super::fit::{EventTimesFit, Limit};
use super::likelihood::Likelihood;
use super::predictors::EventAt;
use super::quantity::{EventQuantity, Form, Pivot, gradient};
use super::shape::Shape;
use crate::checks::{check_finite, check_length, check_level};
use crate::dense::dot;
use crate::distribution::chi_squared_quantile;
use crate::error::{Result, StatsError};
use crate::inference::LinearFit;
use crate::interval::Interval;
use crate::newton::{Local, minimise};

/// Where d was estimated as 1 the profile starts from this logit, from where d can fall.
const NEAR_ONE: f64 = 12.0;

/// A logit of d above this is close to one, and the logit of a start that is not.
const FAR: f64 = 5.0;
const BACK: f64 = 1.0;

/// Limits at which twice the log-likelihood has fallen by the chi-squared quantile.
#[derive(Debug, Clone, PartialEq)]
pub struct ProfileInterval {
    /// The limits; one that does not exist is the edge of what is possible (0, 1 or ∞).
    pub limits: Interval,
    /// True when no value below the estimate is excluded.
    pub low_open: bool,
    /// True when no value above the estimate is excluded, as for a late quantile while events still go on.
    pub high_open: bool,
    /// Profiles computed.
    pub evaluations: usize,
}

impl EventTimesFit {
    /// Profile-likelihood interval of a quantity at a row of predictors.
    ///
    /// The quantity on its scale is one linear predictor plus a function of others, so one coefficient is written in terms of the
    /// quantity and the rest; Newton's method optimises the rest for each value tried. Where d was estimated as 1 the profile lets d
    /// fall below one again. `None` when the curve has no such time at the estimate.
    ///
    /// # Errors
    /// A level outside (0, 1); a robust fit, whose covariance is not that of its likelihood; a limit that was fixed; errors of
    /// [`EventTimesFit::quantity`]; a profile that cannot be computed.
    pub fn profile_interval(
        &self,
        quantity: &EventQuantity,
        at: &EventAt,
        level: f64,
    ) -> Result<Option<ProfileInterval>> {
        quantity.check()?;
        self.check_at(at)?;
        check_level("the level", level)?;
        let refuse = |reason: &str, advice| Err(StatsError::EventTimes { reason: reason.into(), advice });
        if self.is_robust() {
            return refuse(
                "a profile rests on the likelihood, which a robust fit does not trust",
                "profile the fit itself",
            );
        }
        if *quantity == EventQuantity::Limit && self.limit == Limit::FixedAtOne {
            return refuse("the limit d was fixed at 1 and not estimated", "fit the curve with limit");
        }
        if self.limit != Limit::FixedAtOne {
            check_length("the logit limit row", at.logit_limit.len(), self.predictors.logit_limit.width())?;
            check_finite("the logit limit row", &at.logit_limit)?;
        }
        let Some(mut profile) = Profile::new(self, quantity, at)? else { return Ok(None) };
        let target = chi_squared_quantile(level, 1.0).sqrt();
        let (low, low_open) = profile.limit(-1.0, target)?;
        let at_edge = *quantity == EventQuantity::Limit && self.limit == Limit::AtOne;
        let (high, high_open) = if at_edge { (1.0, true) } else { profile.limit(1.0, target)? };
        Ok(Some(ProfileInterval {
            limits: Interval { low, high },
            low_open,
            high_open,
            evaluations: profile.evaluations,
        }))
    }
}

/// The likelihood with one coefficient replaced by a quantity.
struct Profile<'a> {
    likelihood: Likelihood<'a>,
    shape: Shape,
    quantity: &'a EventQuantity,
    at: EventAt,
    limited: bool,
    /// The coefficient replaced, and its predictor value.
    replaced: usize,
    factor: f64,
    /// All parameters at the maximum.
    maximum: Vec<f64>,
    minus_maximum: f64,
    centre: f64,
    std_error: f64,
    evaluations: usize,
}

impl<'a> Profile<'a> {
    fn new(fit: &'a EventTimesFit, quantity: &'a EventQuantity, at: &EventAt) -> Result<Option<Self>> {
        let limited = fit.limit != Limit::FixedAtOne;
        let mut maximum = fit.point.clone();
        if fit.limit == Limit::AtOne {
            maximum.extend(fit.predictors.logit_limit.constant(NEAR_ONE));
        }
        let mut new = Self {
            likelihood: Likelihood::new(&fit.data, &fit.predictors, fit.shape, limited),
            shape: fit.shape,
            quantity,
            at: at.clone(),
            limited,
            replaced: 0,
            factor: 1.0,
            maximum,
            minus_maximum: -fit.log_likelihood(),
            centre: 0.0,
            std_error: 0.1,
            evaluations: 0,
        };
        let Some(form) = new.form(&new.maximum) else { return Ok(None) };
        let (row, offset) = match form.pivot {
            Pivot::Location => (&new.at.location, 0),
            Pivot::LogScale => (&new.at.log_scale, new.at.location.len()),
            Pivot::LogitLimit => (&new.at.logit_limit, new.at.location.len() + new.at.log_scale.len()),
        };
        let largest = (0..row.len()).max_by(|&i, &j| row[i].abs().total_cmp(&row[j].abs())).unwrap_or(0);
        new.factor = row[largest];
        new.replaced = offset + largest;
        if new.factor == 0.0 {
            return Err(StatsError::EventTimes {
                reason: "every column is zero in the row asked for, so no coefficient can stand for the quantity"
                    .into(),
                advice: "ask at a row with an intercept or another value that is not zero",
            });
        }
        new.centre = new.scaled(&form, &new.maximum);
        if let Ok(Some(estimate)) = fit.quantity(quantity, at) {
            new.std_error = estimate.scaled_std_error;
            new.centre = estimate.scaled;
        }
        Ok(Some(new))
    }

    /// The predictors tau and lambda of the row asked for.
    fn form(&self, point: &[f64]) -> Option<Form> {
        let (first, second) = (self.at.location.len(), self.at.location.len() + self.at.log_scale.len());
        let tau = dot(&self.at.log_scale, &point[first..second]);
        let lambda = if self.limited { dot(&self.at.logit_limit, &point[second..]) } else { f64::INFINITY };
        self.quantity.form(self.shape, tau, lambda)
    }

    /// The quantity on its scale.
    fn scaled(&self, form: &Form, point: &[f64]) -> f64 {
        let (first, second) = (self.at.location.len(), self.at.location.len() + self.at.log_scale.len());
        let linear = match form.pivot {
            Pivot::Location => dot(&self.at.location, &point[..first]),
            Pivot::LogScale => dot(&self.at.log_scale, &point[first..second]),
            Pivot::LogitLimit => dot(&self.at.logit_limit, &point[second..]),
        };
        linear + form.value
    }

    /// All parameters that give the quantity the value `wanted`, from all but the replaced one.
    fn complete(&self, rest: &[f64], wanted: f64) -> Option<(Vec<f64>, Form)> {
        let mut point = rest.to_vec();
        point.insert(self.replaced, 0.0);
        let form = self.form(&point)?;
        point[self.replaced] = (wanted - self.scaled(&form, &point)) / self.factor;
        Some((point, form))
    }

    /// Minus the log-likelihood over the rest, with derivatives by the chain rule.
    fn reduced(&self, rest: &[f64], wanted: f64) -> Option<Local> {
        let (point, form) = self.complete(rest, wanted)?;
        let full = self.likelihood.minus(&point)?;
        let (size, k) = (point.len(), self.replaced);
        let slopes: Vec<f64> = gradient(&form, &self.at, self.limited).iter().map(|g| -g / self.factor).collect();
        let (first, second) = (self.at.location.len(), self.at.location.len() + self.at.log_scale.len());
        let bend = |i: usize, j: usize| -> f64 {
            let (x, y) = (self.predictor(i), self.predictor(j));
            let index = match (i < first || j < first, i >= second, j >= second) {
                (true, ..) => return 0.0,
                (_, false, false) => 0,
                (_, true, true) => 2,
                _ => 1,
            };
            -x * y * form.second[index] / self.factor
        };
        let kept: Vec<usize> = (0..size).filter(|&i| i != k).collect();
        let h = |i: usize, j: usize| full.hessian[i * size + j];
        let gradient = kept.iter().map(|&i| full.gradient[i] + full.gradient[k] * slopes[i]).collect();
        let hessian = kept
            .iter()
            .flat_map(|&i| kept.iter().map(move |&j| (i, j)))
            .map(|(i, j)| {
                h(i, j)
                    + h(i, k) * slopes[j]
                    + h(k, j) * slopes[i]
                    + h(k, k) * slopes[i] * slopes[j]
                    + full.gradient[k] * bend(i, j)
            })
            .collect();
        Some(Local { value: full.value, gradient, hessian })
    }

    fn predictor(&self, i: usize) -> f64 {
        let (first, second) = (self.at.location.len(), self.at.location.len() + self.at.log_scale.len());
        if i < first {
            self.at.location[i]
        } else if i < second {
            self.at.log_scale[i - first]
        } else {
            self.at.logit_limit[i - second]
        }
    }

    /// Root of twice the loss of log-likelihood at a value; the optimum of the rest is left in `rest` for the next one.
    fn root(&mut self, wanted: f64, rest: &mut Vec<f64>) -> Result<f64> {
        self.evaluations += 1;
        let step = StatsError::Numerical { step: "a profile likelihood of event times" };
        if rest.is_empty() {
            let value = self.reduced(rest, wanted).map_or(f64::INFINITY, |local| local.value);
            return Ok((2.0 * (value - self.minus_maximum)).max(0.0).sqrt());
        }
        let from = |start: &[f64]| minimise(|point| self.reduced(point, wanted), start, 200, 2.0);
        let Some(mut end) = from(rest) else {
            // Too far to have a value from here: certainly beyond the limit.
            return Ok(f64::INFINITY);
        };
        if let Some(second) = self.away_from_one(&end.point).and_then(|start| from(&start))
            && second.local.value < end.local.value
        {
            end = second;
        }
        let loss = 2.0 * (end.local.value - self.minus_maximum);
        if loss < -1e-5 {
            return Err(step);
        }
        *rest = end.point;
        Ok(loss.max(0.0).sqrt())
    }

    /// Another start where d has come close to one: out there the likelihood is so flat in logit d that a way back is not seen.
    fn away_from_one(&self, rest: &[f64]) -> Option<Vec<f64>> {
        let limit_from = self.at.location.len() + self.at.log_scale.len();
        if !self.limited || self.replaced >= limit_from {
            return None;
        }
        // One coefficient, not of the limit, is replaced.
        let coefficients = &rest[limit_from - 1..];
        (dot(&self.at.logit_limit, coefficients) > FAR).then(|| {
            let mut start = rest[..limit_from - 1].to_vec();
            start.extend(self.likelihood.parts()[2].constant(BACK));
            start
        })
    }

    /// The limit on one side, and whether there is none.
    fn limit(&mut self, sign: f64, target: f64) -> Result<(f64, bool)> {
        let form = self.form(&self.maximum).ok_or(StatsError::Numerical { step: "a profile likelihood" })?;
        let mut rest = self.maximum.clone();
        rest.remove(self.replaced);
        let (mut inside, mut at_inside) = (0.0, 0.0);
        let mut trial = target * self.std_error;
        let (mut outside, mut at_outside) = (f64::NAN, f64::NAN);
        for _ in 0..80 {
            let mut here = rest.clone();
            let value = self.root(self.centre + sign * trial, &mut here)?;
            if value > target {
                (outside, at_outside) = (trial, value);
                break;
            }
            (inside, at_inside, rest) = (trial, value, here);
            trial *= (1.2 * target / value.max(1e-3)).clamp(1.2, 2.0);
            // So far out on a log or logit scale that the limit means nothing.
            if trial > 60.0 {
                break;
            }
        }
        if outside.is_nan() {
            return Ok((form.scale.back(sign * f64::INFINITY), true));
        }
        // The root is nearly straight in the distance, so false position (Illinois) takes a handful of steps.
        let (mut low_weight, mut high_weight) = (at_inside - target, at_outside - target);
        for iteration in 0..60 {
            if outside - inside < 1e-11 * (1.0 + outside) {
                break;
            }
            let straight = (inside * high_weight - outside * low_weight) / (high_weight - low_weight);
            let usable = high_weight.is_finite() && straight > inside && straight < outside && iteration % 5 != 4;
            let middle = if usable { straight } else { 0.5 * (inside + outside) };
            let mut here = rest.clone();
            let value = self.root(self.centre + sign * middle, &mut here)? - target;
            if value.abs() < 1e-10 {
                return Ok((form.scale.back(self.centre + sign * middle), false));
            }
            if value > 0.0 {
                (outside, high_weight) = (middle, value);
                low_weight *= 0.5;
            } else {
                (inside, low_weight, rest) = (middle, value, here);
                high_weight *= 0.5;
            }
        }
        Ok((form.scale.back(self.centre + sign * 0.5 * (inside + outside)), false))
    }
}
