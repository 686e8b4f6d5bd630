//! Fitting a curve of event times with or without a share that never happens.

use super::data::IntervalData;
use super::fit::{EventTimesFit, Limit};
use super::likelihood::Likelihood;
use super::predictors::EventPredictors;
use super::search::{Found, refuse_single_jump, rises_to_one, search};
use super::shape::Shape;
use crate::checks::check_length;
use crate::error::{Result, StatsError};
use crate::note::Note;

/// A share of events in the last interval above which d and sigma are said to be confounded.
const STILL_GOING_ON: f64 = 0.05;

/// A curve of event times, `F(t) = d G((log t - mu) / sigma)`, fitted by maximum likelihood to intervals.
///
/// G is one of three [`Shape`]s and d ≤ 1 the share of individuals that ever have the event (Farewell 1982, Biometrics
/// 38:1041-1046; Ritz, Pipper & Streibig 2013, Eur J Agron 45:1-6). An event in (l, r] adds `log(F(r) - F(l))` per individual, one
/// not seen by l adds `log(1 - F(l))`; no multinomial constant is added. The parameters are mu, log sigma and logit d, each with
/// its own columns if asked.
///
/// ```
/// use evenstand_stats::{EventAt, EventQuantity, EventTimes, IntervalData, Share};
///
/// // 100 individuals looked at on six days; the fourth look was missed.
/// let seen = [Some(0), Some(9), Some(41), None, Some(79), Some(80)];
/// let data = IntervalData::from_cumulative(&[5.0, 7.0, 8.0, 9.0, 11.0, 14.0], &seen, 100)?;
/// let fit = EventTimes::log_logistic().fit(&data)?;
/// let half = EventQuantity::Quantile { p: 0.5, of: Share::Happening };
/// let time = fit.quantity(&half, &EventAt::intercepts())?.expect("half of the happening share is always reached");
/// assert!(time.interval(0.95).contains(8.0));
/// # Ok::<(), evenstand_stats::StatsError>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct EventTimes {
    pub(super) shape: Shape,
    pub(super) limited: bool,
}

impl EventTimes {
    /// A curve of the given shape, its upper limit d estimated.
    pub fn new(shape: Shape) -> Self {
        Self { shape, limited: true }
    }

    /// Log-logistic curve, d estimated.
    pub fn log_logistic() -> Self {
        Self::new(Shape::LogLogistic)
    }

    /// Weibull curve, d estimated.
    pub fn weibull() -> Self {
        Self::new(Shape::Weibull)
    }

    /// Log-normal curve, d estimated.
    pub fn log_normal() -> Self {
        Self::new(Shape::LogNormal)
    }

    /// Estimates the upper limit d (the default).
    #[must_use]
    pub fn with_limit(mut self) -> Self {
        self.limited = true;
        self
    }

    /// Fixes d at one: every individual has the event in the end.
    #[must_use]
    pub fn without_limit(mut self) -> Self {
        self.limited = false;
        self
    }

    /// Fits one curve to all of the data.
    ///
    /// Where the likelihood rises all the way to d = 1 the curve without limit is returned with the note `limit-at-one`.
    ///
    /// # Errors
    /// Data that do not tell the curve: events in one interval only, all before the first look, or in two intervals that one jump
    /// between them explains; a likelihood without a maximum.
    pub fn fit(&self, data: &IntervalData) -> Result<EventTimesFit> {
        refuse_single_jump(data, self.limited)?;
        self.run(data, EventPredictors::intercepts(data.rows()))
    }

    /// Fits a curve whose mu, log sigma and logit d depend on covariates, one row for each interval of the data.
    ///
    /// # Errors
    /// A row count that differs; a likelihood without a maximum, as when a group of rows has no event at all.
    pub fn fit_with(&self, data: &IntervalData, predictors: &EventPredictors) -> Result<EventTimesFit> {
        check_length("the predictors (rows)", predictors.rows(), data.rows())?;
        let parts = [&predictors.location, &predictors.log_scale, &predictors.logit_limit];
        if parts.iter().all(|part| part.matrix.is_none()) {
            return self.fit(data);
        }
        self.run(data, predictors.clone())
    }

    /// Log-likelihood and its gradient at given parameters: location, log scale, then logit limit if there is one.
    ///
    /// # Errors
    /// Lengths that differ, or parameters at which an interval that holds somebody has no probability.
    pub fn log_likelihood_at(
        &self,
        data: &IntervalData,
        predictors: &EventPredictors,
        parameters: &[f64],
    ) -> Result<(f64, Vec<f64>)> {
        check_length("the predictors (rows)", predictors.rows(), data.rows())?;
        let likelihood = Likelihood::new(data, predictors, self.shape, self.limited);
        check_length("the parameters", parameters.len(), likelihood.size())?;
        let local =
            likelihood.minus(parameters).ok_or(StatsError::Numerical { step: "the likelihood of event times" })?;
        Ok((-local.value, local.gradient.iter().map(|g| -g).collect()))
    }

    fn run(&self, data: &IntervalData, predictors: EventPredictors) -> Result<EventTimesFit> {
        let no_maximum = |reason: String| StatsError::EventTimes {
            reason: format!("the {} curve could not be fitted: {reason}", self.shape.name()),
            advice: "try another shape or a curve without limit, use fewer columns, or report the counts themselves",
        };
        let without = || search(data, &Likelihood::new(data, &predictors, self.shape, false), self.shape);
        let (found, limit) = if !self.limited {
            (without().map_err(no_maximum)?, Limit::FixedAtOne)
        } else if predictors.logit_limit.matrix.is_some() {
            let likelihood = Likelihood::new(data, &predictors, self.shape, true);
            let found = search(data, &likelihood, self.shape).map_err(no_maximum)?;
            refuse_runaway_limit(&found, predictors.logit_limit.width()).map_err(no_maximum)?;
            (found, Limit::Estimated)
        } else {
            let edge = without();
            let inside = if data.events() < data.total() {
                search(data, &Likelihood::new(data, &predictors, self.shape, true), self.shape)
            } else {
                Err("everybody had the event".into())
            };
            match (inside, edge) {
                (Ok(inside), Ok(edge)) if !better(&inside, &edge) => (edge, Limit::AtOne),
                // No curve without limit: the maximum inside must be one by its own curvature.
                (Ok(inside), Err(_)) => {
                    refuse_runaway_limit(&inside, 1).map_err(no_maximum)?;
                    (inside, Limit::Estimated)
                }
                (Ok(inside), Ok(_)) => (inside, Limit::Estimated),
                (Err(_), Ok(edge)) if rises_to_one(data, &predictors, self.shape, &edge.point) => (edge, Limit::AtOne),
                (Err(reason), _) => return Err(no_maximum(reason)),
            }
        };
        let notes = notes(data, &found, limit);
        Ok(EventTimesFit::new(self.shape, limit, data.clone(), predictors, found, notes))
    }
}

/// True when the maximum inside is higher than the one at d = 1 by more than rounding.
fn better(inside: &Found, edge: &Found) -> bool {
    inside.minus_log_likelihood < edge.minus_log_likelihood - 1e-9 * (1.0 + edge.minus_log_likelihood.abs())
}

pub(super) fn refuse_runaway_limit(found: &Found, width: usize) -> std::result::Result<(), String> {
    let size = found.point.len();
    let flat = (size - width..size).any(|k| !(found.covariance[k * size + k].sqrt() < 1e3));
    if flat { Err("a share runs to zero or one, where the likelihood has no maximum".into()) } else { Ok(()) }
}

pub(super) fn notes(data: &IntervalData, found: &Found, limit: Limit) -> Vec<Note> {
    let mut notes = Vec::new();
    notes.extend(found.record.note());
    if limit == Limit::AtOne {
        let why = if data.events() == data.total() {
            "everybody had the event"
        } else {
            "the likelihood has no interior maximum and rises until d = 1"
        };
        notes.push(Note::new(
            "limit-at-one",
            format!(
                "{why}: d is estimated as 1, and the curve without limit is reported; d has no standard error there"
            ),
        ));
    }
    if limit != Limit::FixedAtOne && data.events() < data.total() {
        let last = data.last_look();
        let in_last: u64 = data.used().filter(|&row| data.right()[row] == last).map(|row| data.counts()[row]).sum();
        let share = in_last as f64 / data.events() as f64;
        if share > STILL_GOING_ON {
            notes.push(Note::new(
                "still-going-on",
                format!(
                    "{in_last} of {} events ({:.0} %) were first seen at the last look: events may still be going on, \
                     so the limit d and the spread sigma cannot be told apart well",
                    data.events(),
                    100.0 * share
                ),
            ));
        }
    }
    notes
}
