//! A fitted curve of event times.

use super::data::IntervalData;
use super::likelihood::{Likelihood, linear_predictors};
use super::predictors::{EventAt, EventPredictors};
use super::search::Found;
use super::shape::{Shape, logistic};
use crate::checks::{check_finite, check_length};
use crate::combinations::IndependentCombinations;
use crate::dense::{dot, quadratic_form};
use crate::distribution::{chi_squared_sf, f_sf};
use crate::error::{Result, StatsError};
use crate::inference::{Contrast, JointTest, LinearFit};
use crate::note::Note;
use crate::search_record::SearchRecord;
use ndarray::Array2;

/// What became of the upper limit d.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Limit {
    /// Estimated below one.
    Estimated,
    /// Asked to be one.
    FixedAtOne,
    /// Asked to be estimated, and estimated as one, the edge of what is possible; it is not among the coefficients.
    AtOne,
}

/// Result of [`EventTimes::fit`](crate::EventTimes::fit).
///
/// The coefficients are those of mu, of log sigma and of logit d, in this order and on these scales.
#[derive(Debug, Clone)]
pub struct EventTimesFit {
    pub(super) shape: Shape,
    pub(super) limit: Limit,
    pub(super) data: IntervalData,
    pub(super) predictors: EventPredictors,
    pub(super) point: Vec<f64>,
    pub(super) df: f64,
    method: &'static str,
    names: Vec<String>,
    covariance: Array2<f64>,
    log_likelihood: f64,
    record: SearchRecord,
    notes: Vec<Note>,
}

impl EventTimesFit {
    pub(super) fn new(
        shape: Shape,
        limit: Limit,
        data: IntervalData,
        predictors: EventPredictors,
        found: Found,
        notes: Vec<Note>,
    ) -> Self {
        let size = found.point.len();
        let labelled = [
            ("location", &predictors.location),
            ("log scale", &predictors.log_scale),
            ("logit limit", &predictors.logit_limit),
        ];
        let names = labelled
            .iter()
            .flat_map(|(label, part)| part.names.iter().map(move |name| format!("{label} {name}")))
            .take(size)
            .collect();
        Self {
            shape,
            limit,
            names,
            covariance: Array2::from_shape_fn((size, size), |(i, j)| found.covariance[i * size + j]),
            log_likelihood: -found.minus_log_likelihood,
            point: found.point,
            df: f64::INFINITY,
            method: "normal",
            record: found.record,
            data,
            predictors,
            notes,
        }
    }

    /// The shape fitted.
    pub fn shape(&self) -> Shape {
        self.shape
    }

    /// What became of the upper limit.
    pub fn limit_status(&self) -> Limit {
        self.limit
    }

    /// How the search ended.
    pub fn record(&self) -> &SearchRecord {
        &self.record
    }

    /// The data fitted.
    pub fn data(&self) -> &IntervalData {
        &self.data
    }

    /// True when the standard errors come from [`EventTimesFit::robust`].
    pub fn is_robust(&self) -> bool {
        self.df.is_finite()
    }

    /// mu, sigma and d at a row of predictors; d is one where it is not estimated.
    ///
    /// # Errors
    /// Rows of the wrong length or not finite.
    pub fn parameters_at(&self, at: &EventAt) -> Result<[f64; 3]> {
        let (mu, tau, lambda) = self.linear_predictors_at(at)?;
        Ok([mu, tau.exp(), logistic(lambda)])
    }

    /// `F(time)`, the share that had the event by `time`, at a row of predictors.
    ///
    /// # Errors
    /// A time that is negative or NaN; rows of the wrong length or not finite.
    pub fn cumulative(&self, time: f64, at: &EventAt) -> Result<f64> {
        if !(time >= 0.0) {
            return Err(StatsError::OutOfRange { what: "the time", value: time, expected: "a number from 0" });
        }
        let [mu, sigma, d] = self.parameters_at(at)?;
        Ok(d * self.shape.cdf((time.ln() - mu) / sigma))
    }

    /// The same fit with the covariance of a cluster-robust sandwich (Liang & Zeger 1986, Biometrika 73:13-22).
    ///
    /// `clusters` gives the cluster of each interval of the data; rows of one cluster may depend on each other in any way. The
    /// covariance is `A⁻¹ (Σ_g s_g s_g') A⁻¹ G / (G - 1)`, A the observed information and s_g the score of cluster g. Limits and
    /// tests then use t with G - 1 degrees of freedom; below ten clusters the sandwich itself is too short and a note says so.
    ///
    /// # Errors
    /// A length that differs, or fewer than two clusters that hold somebody.
    pub fn robust(&self, clusters: &[usize]) -> Result<Self> {
        check_length("the clusters", clusters.len(), self.data.rows())?;
        let size = self.point.len();
        let mut sums: std::collections::BTreeMap<usize, Vec<f64>> = std::collections::BTreeMap::new();
        for (row, score) in self.likelihood().scores(&self.point) {
            let sum = sums.entry(clusters[row]).or_insert_with(|| vec![0.0; size]);
            sum.iter_mut().zip(&score).for_each(|(total, value)| *total += value);
        }
        let count = sums.len();
        if count < 2 {
            return Err(StatsError::TooFewValues {
                what: "a cluster-robust covariance (clusters)",
                needed: 2,
                found: count,
            });
        }
        let factor = count as f64 / (count - 1) as f64;
        // The observed information is taken from the fit, whose own covariance is its inverse.
        let inverse = self.model_covariance();
        let images: Vec<Vec<f64>> = sums
            .values()
            .map(|sum| (0..size).map(|i| dot(&inverse[i * size..(i + 1) * size], sum)).collect())
            .collect();
        let covariance = Array2::from_shape_fn((size, size), |(i, j)| {
            factor * images.iter().map(|image| image[i] * image[j]).sum::<f64>()
        });
        let mut robust = self.clone();
        robust.covariance = covariance;
        robust.df = (count - 1) as f64;
        robust.method = "cluster-robust";
        robust.notes.retain(|note| note.code != "few-clusters");
        if count < 10 {
            let message =
                format!("the standard errors rest on {count} clusters; with fewer than 10 they tend to be too short");
            robust.notes.push(Note::new("few-clusters", message));
        }
        Ok(robust)
    }

    fn model_covariance(&self) -> Vec<f64> {
        let size = self.point.len();
        if !self.is_robust() {
            return self.covariance.iter().copied().collect();
        }
        self.likelihood()
            .minus(&self.point)
            .and_then(|local| {
                let mut factor = local.hessian;
                crate::dense::cholesky_in_place(&mut factor, size)
                    .then(|| crate::dense::inverse_from_cholesky(&factor, size, size))
            })
            .unwrap_or_else(|| self.covariance.iter().copied().collect())
    }

    pub(super) fn likelihood(&self) -> Likelihood<'_> {
        Likelihood::new(&self.data, &self.predictors, self.shape, self.limit == Limit::Estimated)
    }

    /// mu, tau and lambda at a row, lambda infinite where d is one.
    pub(super) fn linear_predictors_at(&self, at: &EventAt) -> Result<(f64, f64, f64)> {
        self.check_at(at)?;
        let (first, rest) = self.point.split_at(at.location.len());
        let (second, third) = rest.split_at(at.log_scale.len());
        let lambda = if third.is_empty() { f64::INFINITY } else { dot(&at.logit_limit, third) };
        Ok((dot(&at.location, first), dot(&at.log_scale, second), lambda))
    }

    pub(super) fn check_at(&self, at: &EventAt) -> Result<()> {
        let mut given = vec![
            ("the location row", &at.location, self.predictors.location.width()),
            ("the log scale row", &at.log_scale, self.predictors.log_scale.width()),
        ];
        if self.limit == Limit::Estimated {
            given.push(("the logit limit row", &at.logit_limit, self.predictors.logit_limit.width()));
        }
        for (what, values, width) in given {
            check_length(what, values.len(), width)?;
            check_finite(what, values)?;
        }
        Ok(())
    }

    /// `F` at a time for a row of the data.
    pub(super) fn cumulative_in_row(&self, time: f64, row: usize) -> f64 {
        if time == f64::INFINITY {
            return 1.0;
        }
        let limited = self.limit == Limit::Estimated;
        let (mu, tau, lambda) = linear_predictors(&self.predictors, limited, row, &self.point);
        logistic(lambda) * self.shape.cdf((time.ln() - mu) / tau.exp())
    }
}

impl LinearFit for EventTimesFit {
    fn names(&self) -> &[String] {
        &self.names
    }

    fn coefficients(&self) -> &[f64] {
        &self.point
    }

    fn covariance(&self) -> &Array2<f64> {
        &self.covariance
    }

    fn contrast(&self, row: &[f64]) -> Result<Contrast> {
        check_length("the contrast", row.len(), self.point.len())?;
        check_finite("the contrast", row)?;
        let covariance: Vec<f64> = self.covariance.iter().copied().collect();
        Ok(Contrast {
            estimate: dot(row, &self.point),
            std_error: quadratic_form(&covariance, row).sqrt(),
            df: self.df,
            method: self.method.into(),
        })
    }

    /// Wald test: chi-squared over its degrees of freedom, or F with the clusters' degrees of freedom.
    fn joint_test(&self, rows: &Array2<f64>) -> Result<JointTest> {
        let size = self.point.len();
        let identity: Vec<f64> = (0..size * size).map(|k| f64::from(u8::from(k / size == k % size))).collect();
        let covariance: Vec<f64> = self.covariance.iter().copied().collect();
        let statistics =
            IndependentCombinations::new(rows, &identity, Some(&covariance))?.squared_over_variance(&self.point);
        let rank = statistics.len() as f64;
        let f = statistics.iter().sum::<f64>() / rank;
        let p_value = if self.df.is_finite() { f_sf(f, rank, self.df) } else { chi_squared_sf(f * rank, rank) };
        Ok(JointTest { f, numerator_df: rank, denominator_df: self.df, p_value, method: self.method.into() })
    }

    /// `Σ count log P(interval)`, without a multinomial constant.
    fn log_likelihood(&self) -> f64 {
        self.log_likelihood
    }

    /// Number of coefficients, and one more for a limit that was estimated at its edge.
    fn n_parameters(&self) -> usize {
        self.point.len() + usize::from(self.limit == Limit::AtOne)
    }

    /// Number of individuals, not of intervals.
    fn n_observations(&self) -> usize {
        self.data.total() as usize
    }

    fn notes(&self) -> &[Note] {
        &self.notes
    }
}
