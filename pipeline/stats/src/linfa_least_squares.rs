//! Least squares as an estimator of the `linfa` family: parameters, `fit` on a dataset, `predict`.

use crate::checks::check_level;
use crate::design::Design;
use crate::error::{Result, StatsError};
use crate::inference::{Contrast, LinearFit};
use crate::interval::Interval;
use crate::least_squares::{LeastSquares, LeastSquaresFit};
use linfa::ParamGuard;
use linfa::dataset::{AsSingleTargets, DatasetBase};
use linfa::traits::{Fit, PredictInplace};
use ndarray::{Array1, Array2, ArrayBase, Axis, Data, Ix2};

/// Parameters of [`LeastSquares`] for use with `linfa`; checked when fitted.
///
/// ```
/// use evenstand_stats::LeastSquaresParams;
/// use linfa::Dataset;
/// use linfa::traits::{Fit, Predict};
/// use ndarray::array;
///
/// let data = Dataset::new(array![[0.0], [1.0], [2.0], [3.0]], array![1.0, 3.0, 2.0, 5.0]);
/// let model = LeastSquaresParams::new().fit(&data)?;
/// assert!((model.predict(&array![[4.0]])[0] - 5.5).abs() < 1e-12);
/// # Ok::<(), evenstand_stats::StatsError>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct LeastSquaresParams(LeastSquaresValidParams);

/// Checked parameters.
#[derive(Debug, Clone, PartialEq)]
pub struct LeastSquaresValidParams {
    intercept: bool,
    level: f64,
}

/// A fitted model: predictions, and the whole [`LeastSquaresFit`].
#[derive(Debug, Clone)]
pub struct LeastSquaresModel {
    design: Design,
    fit: LeastSquaresFit,
    intercept: bool,
    level: f64,
}

impl Default for LeastSquaresParams {
    fn default() -> Self {
        Self::new()
    }
}

impl LeastSquaresParams {
    /// With an intercept and limits at 0.95.
    pub fn new() -> Self {
        Self(LeastSquaresValidParams { intercept: true, level: 0.95 })
    }

    /// Whether a column of ones is put before the features.
    #[must_use]
    pub fn with_intercept(mut self, intercept: bool) -> Self {
        self.0.intercept = intercept;
        self
    }

    /// Confidence level of the limits.
    #[must_use]
    pub fn with_level(mut self, level: f64) -> Self {
        self.0.level = level;
        self
    }
}

impl LeastSquaresValidParams {
    /// Whether a column of ones is put before the features.
    pub fn intercept(&self) -> bool {
        self.intercept
    }

    /// Confidence level of the limits.
    pub fn level(&self) -> f64 {
        self.level
    }
}

impl ParamGuard for LeastSquaresParams {
    type Checked = LeastSquaresValidParams;
    type Error = StatsError;

    fn check_ref(&self) -> Result<&Self::Checked> {
        check_level("the confidence level", self.0.level)?;
        Ok(&self.0)
    }

    fn check(self) -> Result<Self::Checked> {
        self.check_ref()?;
        Ok(self.0)
    }
}

impl<D: Data<Elem = f64>, T: AsSingleTargets<Elem = f64>> Fit<ArrayBase<D, Ix2>, T, StatsError>
    for LeastSquaresValidParams
{
    type Object = LeastSquaresModel;

    /// Weights of the dataset, if it has any, are prior weights; feature names name the coefficients.
    fn fit(&self, dataset: &DatasetBase<ArrayBase<D, Ix2>, T>) -> Result<LeastSquaresModel> {
        let records = dataset.records();
        let offset = usize::from(self.intercept);
        let fixed = Array2::from_shape_fn((records.nrows(), records.ncols() + offset), |(i, j)| {
            if j < offset { 1.0 } else { records[[i, j - offset]] }
        });
        let given = dataset.feature_names();
        let names = (0..fixed.ncols())
            .map(|j| match j.checked_sub(offset) {
                None => "(Intercept)".to_string(),
                Some(k) => given.get(k).cloned().unwrap_or_else(|| format!("feature-{k}")),
            })
            .collect();
        let weights = dataset.weights().map(|weights| weights.iter().map(|&weight| f64::from(weight)).collect());
        let design = Design::new(dataset.as_single_targets().to_vec(), fixed, names, vec![], weights)?;
        let fit = LeastSquares.fit(&design)?;
        Ok(LeastSquaresModel { design, fit, intercept: self.intercept, level: self.level })
    }
}

impl LeastSquaresModel {
    /// Coefficients with their covariance, tests and remarks.
    pub fn fit(&self) -> &LeastSquaresFit {
        &self.fit
    }

    /// The mean response at each record with its standard error, and limits for that mean at the level of the parameters.
    ///
    /// # Errors
    /// Another number of features, values that are not finite, a record outside the combinations that the data can tell.
    pub fn predict_with_limits<D: Data<Elem = f64>>(
        &self,
        records: &ArrayBase<D, Ix2>,
    ) -> Result<Vec<(Contrast, Interval)>> {
        records
            .axis_iter(Axis(0))
            .map(|record| {
                let contrast = self.estimate(record.iter().copied())?;
                let limits = contrast.interval(self.level);
                Ok((contrast, limits))
            })
            .collect()
    }

    fn estimate(&self, record: impl Iterator<Item = f64>) -> Result<Contrast> {
        let row: Vec<f64> = self.intercept.then_some(1.0).into_iter().chain(record).collect();
        self.fit.contrast(&self.design.estimable_row(&row)?)
    }
}

impl<D: Data<Elem = f64>> PredictInplace<ArrayBase<D, Ix2>, Array1<f64>> for LeastSquaresModel {
    /// The mean response at each record; NaN where [`LeastSquaresModel::predict_with_limits`] has an error that says why.
    fn predict_inplace(&self, records: &ArrayBase<D, Ix2>, targets: &mut Array1<f64>) {
        for (record, target) in records.axis_iter(Axis(0)).zip(targets.iter_mut()) {
            *target = self.estimate(record.iter().copied()).map_or(f64::NAN, |contrast| contrast.estimate);
        }
    }

    fn default_target(&self, records: &ArrayBase<D, Ix2>) -> Array1<f64> {
        Array1::zeros(records.nrows())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use linfa::Dataset;
    use linfa::traits::Predict;
    use linfa_linear::LinearRegression;
    use ndarray::array;

    fn data() -> Dataset<f64, f64, ndarray::Ix1> {
        let records = Array2::from_shape_fn((12, 3), |(i, j)| ((i * (j + 2) + j * j) % 7) as f64 + 0.1 * i as f64);
        let targets = (0..12).map(|i| ((i * 5) % 13) as f64).collect();
        Dataset::new(records, targets).with_feature_names(vec!["a", "b", "c"])
    }

    #[test]
    fn predictions_agree_with_linear_regression_of_linfa() {
        for intercept in [true, false] {
            let own = LeastSquaresParams::new().with_intercept(intercept).fit(&data()).expect("fit");
            let other = LinearRegression::new().with_intercept(intercept).fit(&data()).expect("fit");
            let slopes = &own.fit().coefficients()[usize::from(intercept)..];
            for (a, b) in slopes.iter().zip(other.params()) {
                assert!((a - b).abs() < 1e-12, "{a} {b}");
            }
            let fresh = array![[1.0, 2.0, 3.0], [-4.0, 0.5, 9.0]];
            let (a, b): (Array1<f64>, Array1<f64>) = (own.predict(&fresh), other.predict(&fresh));
            assert!(a.iter().zip(&b).all(|(a, b)| (a - b).abs() < 1e-11), "{a} {b}");
            let limits = own.predict_with_limits(&fresh).expect("limits");
            assert!(limits.iter().zip(&a).all(|((contrast, set), a)| contrast.estimate == *a && set.contains(*a)));
        }
    }

    #[test]
    fn names_and_weights_of_the_dataset_are_used() {
        let model = LeastSquaresParams::new().fit(&data()).expect("fit");
        assert_eq!(model.fit().names(), ["(Intercept)", "a", "b", "c"]);
        let weights: Vec<f32> = (0..12).map(|i| if i == 0 { 2.0 } else { 1.0 }).collect();
        let weighted = LeastSquaresParams::new().fit(&data().with_weights(Array1::from_vec(weights))).expect("fit");
        let mut rows: Vec<usize> = (0..12).collect();
        rows.push(0);
        let (records, targets) = (data().records().select(Axis(0), &rows), data().targets().select(Axis(0), &rows));
        let repeated = LeastSquaresParams::new().fit(&Dataset::new(records, targets)).expect("fit");
        for (a, b) in weighted.fit().coefficients().iter().zip(repeated.fit().coefficients()) {
            assert!((a - b).abs() < 1e-12);
        }
    }

    #[test]
    fn bad_parameters_and_bad_data_are_errors() {
        let level = LeastSquaresParams::new().with_level(1.5);
        assert!(level.check_ref().is_err());
        assert!(matches!(level.fit(&data()), Err(StatsError::OutOfRange { .. })));
        let broken = Dataset::new(array![[1.0], [f64::NAN], [2.0]], array![1.0, 2.0, 3.0]);
        assert!(matches!(LeastSquaresParams::new().fit(&broken), Err(StatsError::NotFinite { .. })));
    }

    #[test]
    fn a_record_that_the_data_cannot_tell_is_nan_with_a_reason_beside_it() {
        // The second feature is twice the first in the data, so only such records can be predicted.
        let records = array![[1.0, 2.0], [2.0, 4.0], [3.0, 6.0], [4.0, 8.0]];
        let model = LeastSquaresParams::new().fit(&Dataset::new(records, array![1.0, 2.5, 2.0, 4.0])).expect("fit");
        let asked = array![[5.0, 10.0], [5.0, 0.0]];
        let predicted: Array1<f64> = model.predict(&asked);
        assert!(predicted[0].is_finite() && predicted[1].is_nan());
        assert!(matches!(model.predict_with_limits(&asked), Err(StatsError::NotEstimable { .. })));
        let narrow: Array1<f64> = model.predict(&array![[5.0]]);
        assert!(narrow[0].is_nan());
    }
}
