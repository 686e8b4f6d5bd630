//! Times, spreads and the limit read off a fitted curve, with delta-method standard errors.

use super::fit::{EventTimesFit, Limit};
use super::predictors::EventAt;
use super::shape::{Shape, logistic, logistic_density, over_expm1};
use crate::dense::quadratic_form;
use crate::distribution::t_quantile;
use crate::error::{Result, StatsError};
use crate::inference::LinearFit;
use crate::interval::Interval;

/// Whose quantile: of the individuals that have the event, or of all.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Share {
    /// Solves `F(t) = p d`.
    Happening,
    /// Solves `F(t) = p`; there is no such time when d ≤ p.
    All,
}

/// A question to a fitted curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum EventQuantity {
    /// The share d of individuals that ever have the event.
    Limit,
    /// The time by which the share `p` had the event, in units of time.
    Quantile {
        /// Share, inside (0, 1).
        p: f64,
        /// Of whom.
        of: Share,
    },
    /// The time between two quantiles of the happening share, `T(high) - T(low)`.
    Spread {
        /// Lower share.
        low: f64,
        /// Higher share.
        high: f64,
    },
    /// The ratio of two quantiles of the happening share, `T(high) / T(low)`.
    Ratio {
        /// Lower share.
        low: f64,
        /// Higher share.
        high: f64,
    },
}

/// The scale on which a quantity is closest to normal and on which its interval is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum IntervalScale {
    /// Log: times and spreads.
    Log,
    /// Log of log: ratios, which exceed one. It is the scale of log sigma.
    LogLog,
    /// Logit: the limit.
    Logit,
}

impl IntervalScale {
    /// From the scale back to the quantity.
    pub(super) fn back(self, value: f64) -> f64 {
        match self {
            Self::Log => value.exp(),
            Self::LogLog => value.exp().exp(),
            Self::Logit => logistic(value),
        }
    }

    /// Derivative of [`IntervalScale::back`].
    fn slope(self, value: f64) -> f64 {
        match self {
            Self::Log => value.exp(),
            Self::LogLog => (value + value.exp()).exp(),
            Self::Logit => logistic_density(value),
        }
    }
}

/// A quantity with its standard errors by the delta method.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EventEstimate {
    /// Value.
    pub estimate: f64,
    /// Standard error of the value.
    pub std_error: f64,
    /// Standard error of the log of the value.
    pub std_error_of_log: f64,
    /// Degrees of freedom: infinite, or number of clusters less one.
    pub df: f64,
    /// Scale of the interval.
    pub scale: IntervalScale,
    /// The value on that scale.
    pub scaled: f64,
    /// Its standard error.
    pub scaled_std_error: f64,
}

impl EventEstimate {
    /// Two-sided limits, made on [`EventEstimate::scale`] and taken back. NaN limits for a level outside (0, 1).
    pub fn interval(&self, level: f64) -> Interval {
        let half = t_quantile(0.5 + 0.5 * level, self.df) * self.scaled_std_error;
        Interval { low: self.scale.back(self.scaled - half), high: self.scale.back(self.scaled + half) }
    }
}

/// A linear predictor that a quantity moves with one for one on its scale; the rest is a function of tau and lambda.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Pivot {
    Location,
    LogScale,
    LogitLimit,
}

/// A quantity on its scale: pivot predictor plus `value`, with derivatives of the latter.
#[derive(Debug, Clone, Copy)]
pub(super) struct Form {
    pub(super) scale: IntervalScale,
    pub(super) pivot: Pivot,
    pub(super) value: f64,
    /// Along tau and lambda.
    pub(super) first: [f64; 2],
    /// tau-tau, tau-lambda, lambda-lambda.
    pub(super) second: [f64; 3],
}

impl Form {
    fn of_tau(scale: IntervalScale, pivot: Pivot, value: f64, first: f64, second: f64) -> Self {
        Self { scale, pivot, value, first: [first, 0.0], second: [second, 0.0, 0.0] }
    }
}

impl EventQuantity {
    /// Refuses shares outside (0, 1) or out of order.
    pub(super) fn check(&self) -> Result<()> {
        let inside = |what: &'static str, p: f64| {
            if p > 0.0 && p < 1.0 {
                Ok(())
            } else {
                Err(StatsError::OutOfRange { what, value: p, expected: "a number between 0 and 1" })
            }
        };
        match *self {
            Self::Limit => Ok(()),
            Self::Quantile { p, .. } => inside("the share of a quantile", p),
            Self::Spread { low, high } | Self::Ratio { low, high } => {
                inside("the lower share", low)?;
                inside("the higher share", high)?;
                if low < high {
                    return Ok(());
                }
                Err(StatsError::OutOfRange {
                    what: "the higher share",
                    value: high,
                    expected: "more than the lower one",
                })
            }
        }
    }

    /// The quantity at tau and lambda; `None` when d leaves no such time.
    pub(super) fn form(&self, shape: Shape, tau: f64, lambda: f64) -> Option<Form> {
        let sigma = tau.exp();
        match *self {
            Self::Limit => Some(Form::of_tau(IntervalScale::Logit, Pivot::LogitLimit, 0.0, 0.0, 0.0)),
            Self::Quantile { p, of: Share::Happening } => {
                let move_by = sigma * shape.quantile(p);
                Some(Form::of_tau(IntervalScale::Log, Pivot::Location, move_by, move_by, move_by))
            }
            Self::Quantile { p, of: Share::All } => {
                let rest = logistic(-lambda);
                let q = p * (1.0 + (-lambda).exp());
                if !(q < 1.0) {
                    return None;
                }
                let z = shape.quantile(q);
                let (density, slope) = shape.density(z);
                // q = p / d falls with lambda at the rate q (1 - d).
                let z_lambda = -q * rest / density;
                let z_lambda_lambda = q * rest / density - slope * z_lambda * z_lambda;
                Some(Form {
                    scale: IntervalScale::Log,
                    pivot: Pivot::Location,
                    value: sigma * z,
                    first: [sigma * z, sigma * z_lambda],
                    second: [sigma * z, sigma * z_lambda, sigma * z_lambda_lambda],
                })
            }
            Self::Spread { low, high } => {
                let (z, width) = (shape.quantile(low), sigma * (shape.quantile(high) - shape.quantile(low)));
                // log(T2 - T1) = mu + sigma z1 + log(exp(w) - 1)
                let k = over_expm1(width);
                let first = sigma * z + width + k;
                let bend = if width > 700.0 { 0.0 } else { k * k * width.exp() };
                let value = sigma * z + width + (-(-width).exp_m1()).ln();
                Some(Form::of_tau(IntervalScale::Log, Pivot::Location, value, first, first - bend))
            }
            Self::Ratio { low, high } => {
                let value = (shape.quantile(high) - shape.quantile(low)).ln();
                Some(Form::of_tau(IntervalScale::LogLog, Pivot::LogScale, value, 0.0, 0.0))
            }
        }
    }
}

impl EventTimesFit {
    /// A quantity at a row of predictors ([`EventAt::intercepts`] for a fit without covariates); `None` when the curve has no such
    /// time, its limit d being no higher than the share asked for.
    ///
    /// # Errors
    /// Shares outside (0, 1) or out of order; rows of the wrong length; the limit of a curve whose limit was not estimated or was
    /// estimated at its edge, where it has no standard error.
    pub fn quantity(&self, quantity: &EventQuantity, at: &EventAt) -> Result<Option<EventEstimate>> {
        quantity.check()?;
        self.check_at(at)?;
        if *quantity == EventQuantity::Limit && self.limit != Limit::Estimated {
            let reason = if self.limit == Limit::AtOne {
                "the limit d was estimated as 1, where a standard error does not exist"
            } else {
                "the limit d was fixed at 1 and not estimated"
            };
            let advice = "report d = 1, or ask for its profile interval where d was estimated";
            return Err(StatsError::EventTimes { reason: reason.into(), advice });
        }
        let (mu, tau, lambda) = self.linear_predictors_at(at)?;
        let Some(form) = quantity.form(self.shape, tau, lambda) else { return Ok(None) };
        let linear = match form.pivot {
            Pivot::Location => mu,
            Pivot::LogScale => tau,
            Pivot::LogitLimit => lambda,
        };
        let scaled = linear + form.value;
        let row = gradient(&form, at, self.limit == Limit::Estimated);
        let covariance: Vec<f64> = self.covariance().iter().copied().collect();
        let scaled_std_error = quadratic_form(&covariance, &row).sqrt();
        let estimate = form.scale.back(scaled);
        let std_error = form.scale.slope(scaled) * scaled_std_error;
        Ok(Some(EventEstimate {
            estimate,
            std_error,
            std_error_of_log: std_error / estimate,
            df: self.df,
            scale: form.scale,
            scaled,
            scaled_std_error,
        }))
    }
}

/// Derivative of a quantity on its scale in all parameters.
pub(super) fn gradient(form: &Form, at: &EventAt, limited: bool) -> Vec<f64> {
    let rate = |pivot: Pivot, extra: f64| extra + f64::from(u8::from(form.pivot == pivot));
    let [along_tau, along_lambda] = form.first;
    let location = at.location.iter().map(|x| x * rate(Pivot::Location, 0.0));
    let scale = at.log_scale.iter().map(|x| x * rate(Pivot::LogScale, along_tau));
    let limit = at.logit_limit.iter().map(|x| x * rate(Pivot::LogitLimit, along_lambda));
    let limit: Vec<f64> = if limited { limit.collect() } else { Vec::new() };
    location.chain(scale).chain(limit).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::derivatives::{STEP, derivatives};

    #[test]
    fn the_forms_have_the_derivatives_they_say() {
        let asked = [
            EventQuantity::Quantile { p: 0.1, of: Share::Happening },
            EventQuantity::Quantile { p: 0.5, of: Share::All },
            EventQuantity::Spread { low: 0.1, high: 0.9 },
        ];
        for shape in [Shape::LogLogistic, Shape::Weibull, Shape::LogNormal] {
            for quantity in asked {
                let (tau, lambda) = (-1.1, 0.9);
                let found = quantity.form(shape, tau, lambda).unwrap();
                let numeric = derivatives(
                    |p| quantity.form(shape, p[0], p[1]).map(|form| vec![form.value]),
                    &[tau, lambda],
                    STEP,
                )
                .unwrap();
                let pairs = [
                    (found.first[0], numeric.gradient[0][0]),
                    (found.first[1], numeric.gradient[1][0]),
                    (found.second[0], numeric.hessian[0][0]),
                    (found.second[1], numeric.hessian[1][0]),
                    (found.second[2], numeric.hessian[3][0]),
                ];
                for (k, (a, b)) in pairs.iter().enumerate() {
                    assert!((a - b).abs() < 1e-8, "{shape:?} {quantity:?} derivative {k}: {a} against {b}");
                }
            }
        }
    }
}
