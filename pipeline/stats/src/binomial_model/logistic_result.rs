//! What a logistic regression can be asked.

use super::coefficients::{Coefficients, answer_linear_fit};
use super::design::BinomialDesign;
use super::kernel::saturated;
use super::logistic::Logistic;
use super::logistic_profile::Profile;
use super::separation::Separation;
use crate::checks::{check_finite, check_level};
use crate::error::{Result, StatsError};
use crate::interval::Interval;
use crate::likelihood_ratio::LikelihoodRatio;
use crate::note::Note;
use crate::search_record::SearchRecord;

/// Result of [`Logistic::fit`].
#[derive(Debug, Clone)]
pub struct LogisticFit {
    pub(super) options: Logistic,
    pub(super) design: BinomialDesign,
    pub(super) point: Vec<f64>,
    pub(super) minimum: f64,
    pub(super) coefficients: Coefficients,
    pub(super) log_likelihood: f64,
    pub(super) unpenalised: f64,
    pub(super) deviance: f64,
    pub(super) pearson: f64,
    pub(super) probabilities: Vec<f64>,
    pub(super) separation: Option<Separation>,
    pub(super) record: SearchRecord,
    pub(super) notes: Vec<Note>,
    pub(super) n_observations: usize,
}

answer_linear_fit!(LogisticFit);

impl LogisticFit {
    /// Twice the log-likelihood of a coefficient per row less that of the fit; unpenalised.
    pub fn deviance(&self) -> f64 {
        self.deviance
    }

    /// Deviance of one probability common to all rows.
    pub fn null_deviance(&self) -> f64 {
        let (k, n) = (self.design.successes(), self.design.trials());
        let each: f64 = k.iter().zip(n).map(|(&k, &n)| saturated(k, n)).sum();
        2.0 * (each - saturated(k.iter().sum(), n.iter().sum()))
    }

    /// Pearson's chi-squared, `Σ (k - n p)² / (n p (1 - p))`.
    pub fn pearson_chi_squared(&self) -> f64 {
        self.pearson
    }

    /// Pearson's chi-squared over its degrees of freedom: about 1 when rows scatter as binomial counts do. Only telling when rows hold
    /// several trials. `None` without residual degrees of freedom.
    pub fn dispersion(&self) -> Option<f64> {
        (self.residual_df() > 0).then(|| self.pearson / self.residual_df() as f64)
    }

    /// Rows less coefficients.
    pub fn residual_df(&self) -> usize {
        self.n_observations - self.point.len()
    }

    /// Log-likelihood with binomial coefficients and without Firth's penalty.
    pub fn unpenalised_log_likelihood(&self) -> f64 {
        self.unpenalised
    }

    /// Fitted probabilities (n).
    pub fn probabilities(&self) -> &[f64] {
        &self.probabilities
    }

    /// Which coefficients have no finite maximum, for an ordinary fit of separated data.
    pub fn separation(&self) -> Option<&Separation> {
        self.separation.as_ref()
    }

    /// How the search ended.
    pub fn record(&self) -> &SearchRecord {
        &self.record
    }

    /// True for Firth's penalised likelihood.
    pub fn is_penalised(&self) -> bool {
        self.options.penalised
    }

    fn count_parameters(&self) -> usize {
        self.point.len() + usize::from(self.options.estimated_dispersion)
    }

    /// Values of one coefficient that the likelihood-ratio test at `1 - level` does not refuse, all other coefficients at their best.
    ///
    /// With Firth's penalty the ratio is that of the penalised likelihood with the penalty of all columns (Heinze & Schemper 2002). A
    /// limit is infinite when the likelihood ratio never reaches the quantile on that side.
    ///
    /// # Errors
    /// No such coefficient, a level outside (0, 1), separated data, an estimated dispersion, or a constrained search that fails.
    pub fn profile_interval(&self, coefficient: usize, level: f64) -> Result<Interval> {
        check_level("the level", level)?;
        self.profile(coefficient)?.interval(level)
    }

    /// Likelihood-ratio test that one coefficient has the given `value`, all other coefficients at their best; penalised as the fit is.
    ///
    /// # Errors
    /// As [`LogisticFit::profile_interval`].
    pub fn profile_test(&self, coefficient: usize, value: f64) -> Result<LikelihoodRatio> {
        check_finite("the tested value", &[value])?;
        Ok(LikelihoodRatio::chi_squared(self.profile(coefficient)?.ratio(value)?, 1))
    }

    fn profile(&self, coefficient: usize) -> Result<Profile<'_>> {
        if coefficient >= self.point.len() {
            return Err(StatsError::OutOfRange {
                what: "the index of the coefficient",
                value: coefficient as f64,
                expected: "below the number of coefficients",
            });
        }
        if let Some(found) = &self.separation {
            return Err(StatsError::NoFiniteMaximum { column: found.columns[0].clone() });
        }
        if self.options.estimated_dispersion {
            return Err(StatsError::NotPossible {
                what: "a likelihood ratio".into(),
                reason: "with an estimated dispersion there is no likelihood".into(),
                next: "use the limits of a contrast, or a fit without estimated dispersion",
            });
        }
        Profile::new(self, coefficient)
    }

    /// Likelihood-ratio test of this ordinary fit against a `smaller` one whose columns it contains, on the same rows.
    ///
    /// # Errors
    /// Rows that differ, a `smaller` fit that is not smaller, a penalised fit (use [`LogisticFit::profile_test`]) or an estimated
    /// dispersion.
    pub fn likelihood_ratio_test(&self, smaller: &Self) -> Result<LikelihoodRatio> {
        let plain = |fit: &Self| !fit.options.penalised && !fit.options.estimated_dispersion;
        if !(plain(self) && plain(smaller)) {
            return Err(StatsError::NotPossible {
                what: "the likelihood-ratio test of two fits".into(),
                reason: "the penalties of different columns cannot be compared, and an estimated dispersion has no likelihood".into(),
                next: "use a profile test, or ordinary fits",
            });
        }
        if self.design.successes() != smaller.design.successes() || self.design.trials() != smaller.design.trials() {
            return Err(StatsError::NotPossible {
                what: "the likelihood-ratio test of two fits".into(),
                reason: "the fits rest on different counts".into(),
                next: "fit both to the same rows in the same order",
            });
        }
        if smaller.point.len() >= self.point.len() {
            return Err(StatsError::OutOfRange {
                what: "the number of coefficients of the smaller fit",
                value: smaller.point.len() as f64,
                expected: "fewer than in the larger fit",
            });
        }
        Ok(LikelihoodRatio::chi_squared(smaller.deviance - self.deviance, self.point.len() - smaller.point.len()))
    }
}
