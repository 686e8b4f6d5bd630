//! Logistic regression behind linfa's traits.

use super::design::BinomialDesign;
use super::kernel::probabilities;
use super::logistic::Logistic;
use super::logistic_result::LogisticFit;
use crate::error::{Result, StatsError};
use crate::inference::LinearFit;
use linfa::ParamGuard;
use linfa::dataset::{AsTargets, DatasetBase};
use linfa::traits::{Fit, PredictInplace};
use ndarray::{Array1, Array2, ArrayBase, ArrayView2, Axis, Data, Ix2};

/// Parameters of a logistic regression in linfa's manner, not yet checked.
///
/// Records are n × p. Targets are n numbers 0 or 1, or n × 2 numbers with successes and trials in each row; feature names of the data
/// set name the coefficients.
///
/// ```
/// use evenstand_stats::{LinearFit, LogisticParams};
/// use linfa::prelude::*;
/// use ndarray::array;
///
/// let records = array![[0.0], [1.0], [2.0], [3.0], [4.0], [5.0]];
/// let data = Dataset::new(records, array![0.0, 0.0, 1.0, 0.0, 1.0, 1.0]);
/// let model = LogisticParams::ordinary().fit(&data)?;
/// let probabilities: ndarray::Array1<f64> = model.predict(&data);
/// assert!(probabilities[0] < 0.5 && probabilities[5] > 0.5);
/// assert_eq!(model.answers().names(), ["intercept", "feature-0"]);
/// # Ok::<(), evenstand_stats::StatsError>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LogisticParams(LogisticValidParams);

/// Checked parameters of a logistic regression.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LogisticValidParams {
    options: Logistic,
    intercept: bool,
}

/// A fitted model: linfa's prediction, and the full answers of [`LogisticFit`].
#[derive(Debug, Clone)]
pub struct LogisticModel {
    answers: LogisticFit,
    intercept: f64,
    /// One a feature; 0 for a feature that was dropped as a combination of others.
    weights: Array1<f64>,
}

impl LogisticParams {
    /// Maximum likelihood with an intercept, as [`Logistic::ordinary`].
    pub fn ordinary() -> Self {
        Self(LogisticValidParams { options: Logistic::ordinary(), intercept: true })
    }

    /// Firth's penalised likelihood with an intercept, as [`Logistic::firth`].
    pub fn firth() -> Self {
        Self(LogisticValidParams { options: Logistic::firth(), intercept: true })
    }

    /// Whether a column of ones is put before the records.
    pub fn with_intercept(mut self, intercept: bool) -> Self {
        self.0.intercept = intercept;
        self
    }

    /// Quasi-binomial standard errors, as [`Logistic::with_estimated_dispersion`].
    pub fn with_estimated_dispersion(mut self) -> Self {
        self.0.options = self.0.options.with_estimated_dispersion();
        self
    }
}

impl ParamGuard for LogisticParams {
    type Checked = LogisticValidParams;
    type Error = StatsError;

    fn check_ref(&self) -> Result<&LogisticValidParams> {
        self.0.options.check()?;
        Ok(&self.0)
    }

    fn check(self) -> Result<LogisticValidParams> {
        self.check_ref().copied()
    }
}

impl<D: Data<Elem = f64>, T: AsTargets<Elem = f64>> Fit<ArrayBase<D, Ix2>, T, StatsError> for LogisticValidParams {
    type Object = LogisticModel;

    /// # Errors
    /// Targets of another shape or with other values than described at [`LogisticParams`], sample weights (which have no place in this
    /// likelihood), and all errors of [`BinomialDesign::new`] and [`Logistic::fit`].
    fn fit(&self, dataset: &DatasetBase<ArrayBase<D, Ix2>, T>) -> Result<LogisticModel> {
        if dataset.weights().is_some() {
            return Err(StatsError::Dataset {
                reason: "it has sample weights, and a count has none; use successes and trials as targets".into(),
            });
        }
        let records = dataset.records();
        let features = records.ncols();
        let (successes, trials) = counts(dataset.targets())?;
        let named = dataset.feature_names();
        let label = |j: usize| named.get(j).cloned().unwrap_or_else(|| format!("feature-{j}"));
        let shift = usize::from(self.intercept);
        let names: Vec<String> = (0..shift).map(|_| "intercept".to_string()).chain((0..features).map(label)).collect();
        let fixed = Array2::from_shape_fn((records.nrows(), features + shift), |(i, j)| {
            if j < shift { 1.0 } else { records[[i, j - shift]] }
        });
        let design = BinomialDesign::new(successes, trials, fixed, names.clone(), Vec::new())?;
        let answers = self.options.fit(&design)?;
        let mut every = vec![0.0; names.len()];
        // Kept columns stand in their old order, so names that occur twice are told apart by place.
        let mut next = 0;
        for (j, value) in every.iter_mut().enumerate() {
            if design.is_kept(j) {
                *value = answers.coefficients()[next];
                next += 1;
            }
        }
        Ok(LogisticModel {
            intercept: if self.intercept { every[0] } else { 0.0 },
            weights: Array1::from_vec(every[shift..].to_vec()),
            answers,
        })
    }
}

/// Successes and trials from targets of 0 and 1, or of both columns.
fn counts<T: AsTargets<Elem = f64>>(targets: &T) -> Result<(Vec<f64>, Vec<f64>)> {
    let view = targets.as_targets();
    let width = if view.ndim() == 1 { 1 } else { view.shape()[1] };
    let rows = view.shape()[0];
    let flat: Vec<f64> = view.iter().copied().collect();
    let table = ArrayView2::from_shape((rows, width), &flat).map_err(linfa::Error::from)?;
    match width {
        1 => Ok((flat.clone(), vec![1.0; rows])),
        2 => Ok((table.index_axis(Axis(1), 0).to_vec(), table.index_axis(Axis(1), 1).to_vec())),
        _ => Err(StatsError::Dataset {
            reason: format!("targets have {width} columns, expected 1 (0 or 1) or 2 (successes, trials)"),
        }),
    }
}

impl LogisticModel {
    /// The fit with its standard errors, limits, tests and notes.
    pub fn answers(&self) -> &LogisticFit {
        &self.answers
    }

    /// Intercept on the logit; 0 without one.
    pub fn intercept(&self) -> f64 {
        self.intercept
    }

    /// Coefficient of each feature on the logit; 0 for a dropped one.
    pub fn params(&self) -> &Array1<f64> {
        &self.weights
    }
}

impl<D: Data<Elem = f64>> PredictInplace<ArrayBase<D, Ix2>, Array1<f64>> for LogisticModel {
    /// Probabilities of success. NaN where coefficients of separated data run to infinity in both directions.
    fn predict_inplace<'a>(&'a self, records: &'a ArrayBase<D, Ix2>, targets: &mut Array1<f64>) {
        for (target, row) in targets.iter_mut().zip(records.rows()) {
            // A feature of zero adds nothing, also when its coefficient is infinite.
            let parts = row.iter().zip(&self.weights).filter(|(x, _)| **x != 0.0).map(|(x, w)| x * w);
            *target = probabilities(self.intercept + parts.sum::<f64>()).0;
        }
    }

    fn default_target(&self, records: &ArrayBase<D, Ix2>) -> Array1<f64> {
        Array1::zeros(records.nrows())
    }
}
