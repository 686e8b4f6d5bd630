//! The likelihood of logistic regression as a function of one coefficient, all others at their best.

use super::columns::Columns;
use super::logistic::{LONGEST_STEP, STEP_LIMIT};
use super::logistic_result::LogisticFit;
use super::objective::Objective;
use crate::distribution::{normal_quantile, solve_bracketed};
use crate::error::{Result, StatsError};
use crate::interval::Interval;
use crate::newton::{Local, minimise};
use std::cell::RefCell;

pub(super) struct Profile<'a> {
    fit: &'a LogisticFit,
    /// Columns with the profiled one last: on their basis its coefficient is the last coordinate alone.
    columns: Columns,
    estimate: f64,
    std_error: f64,
    /// The unconstrained maximum on the basis of `columns`.
    best: Vec<f64>,
}

impl<'a> Profile<'a> {
    pub(super) fn new(fit: &'a LogisticFit, coefficient: usize) -> Result<Self> {
        let columns = fit.design.columns.with_last(coefficient)?;
        let rank = columns.rank();
        let mut moved: Vec<f64> = (0..rank).filter(|&j| j != coefficient).map(|j| fit.coefficients.values[j]).collect();
        moved.push(fit.coefficients.values[coefficient]);
        let best = columns.on_basis(&moved);
        Ok(Self {
            fit,
            estimate: fit.coefficients.values[coefficient],
            std_error: fit.coefficients.covariance[[coefficient, coefficient]].sqrt(),
            columns,
            best,
        })
    }

    /// Twice the loss of log-likelihood when the coefficient is `value`, and the other coordinates there.
    fn constrained(&self, value: f64, start: &[f64]) -> Result<(f64, Vec<f64>)> {
        let rank = self.columns.rank();
        let design = &self.fit.design;
        let penalised = self.fit.is_penalised();
        let objective = Objective::new(&self.columns, design.successes(), design.trials(), penalised);
        let held = value * self.columns.upper[rank * rank - 1];
        let whole = |free: &[f64]| -> Vec<f64> { free.iter().copied().chain([held]).collect() };
        let free = rank - 1;
        let minimum = if free == 0 {
            objective.local(&[held]).map(|local| (local.value, Vec::new()))
        } else {
            let restricted = |point: &[f64]| {
                objective.local(&whole(point)).map(|local| Local {
                    value: local.value,
                    gradient: local.gradient[..free].to_vec(),
                    hessian: (0..free).flat_map(|i| local.hessian[i * rank..i * rank + free].to_vec()).collect(),
                })
            };
            minimise(restricted, start, STEP_LIMIT, LONGEST_STEP)
                .filter(|found| found.converged)
                .map(|found| (found.local.value, found.point))
        };
        let (least, point) = minimum.ok_or(StatsError::Numerical { step: "the search with one coefficient held" })?;
        Ok((2.0 * (least - self.fit.minimum), point))
    }

    pub(super) fn ratio(&self, value: f64) -> Result<f64> {
        self.constrained(value, &self.best[..self.best.len() - 1]).map(|(ratio, _)| ratio)
    }

    pub(super) fn interval(&self, level: f64) -> Result<Interval> {
        let z = normal_quantile(0.5 + 0.5 * level);
        Ok(Interval { low: self.limit(z, -1.0)?, high: self.limit(z, 1.0)? })
    }

    /// The limit on the side `sign`: the root of `√ratio - z`, which is nearly a straight line in the coefficient.
    fn limit(&self, z: f64, sign: f64) -> Result<f64> {
        // Each search starts where the last one ended; the failure of one is kept, because the root finder cannot carry it.
        let state = RefCell::new((self.best[..self.best.len() - 1].to_vec(), None));
        let excess = |distance: f64| {
            let start = state.borrow().0.clone();
            match self.constrained(self.estimate + sign * distance, &start) {
                Ok((ratio, point)) => {
                    state.borrow_mut().0 = point;
                    ratio.max(0.0).sqrt() - z
                }
                Err(error) => {
                    state.borrow_mut().1 = Some(error);
                    f64::NAN
                }
            }
        };
        let (mut near, mut far) = (0.0, z * self.std_error);
        let mut at_far = excess(far);
        for _ in 0..40 {
            if !(at_far < 0.0) {
                break;
            }
            near = far;
            far *= 2.0;
            at_far = excess(far);
        }
        if at_far < 0.0 {
            return Ok(sign * f64::INFINITY);
        }
        let distance = solve_bracketed(excess, near, far);
        match state.into_inner().1 {
            Some(error) => Err(error),
            None => Ok(self.estimate + sign * distance),
        }
    }
}
