//! Covariates of a curve's location, spread and limit.

use crate::checks::{check_finite, check_length};
use crate::error::{Result, StatsError};
use crate::qr::Qr;
use ndarray::Array2;

/// Column names of one part of the predictors; the matrix is absent for a lone intercept.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Part {
    pub(super) matrix: Option<Array2<f64>>,
    pub(super) names: Vec<String>,
}

impl Part {
    fn intercept() -> Self {
        Self { matrix: None, names: vec!["(Intercept)".into()] }
    }

    pub(super) fn width(&self) -> usize {
        self.names.len()
    }

    /// Value of column `j` in `row`.
    pub(super) fn value(&self, row: usize, j: usize) -> f64 {
        self.matrix.as_ref().map_or(1.0, |matrix| matrix[[row, j]])
    }

    /// Row times coefficients.
    pub(super) fn predict(&self, row: usize, coefficients: &[f64]) -> f64 {
        (0..self.width()).map(|j| self.value(row, j) * coefficients[j]).sum()
    }

    /// Coefficients that give the same value in every row, as nearly as the columns can.
    pub(super) fn constant(&self, value: f64) -> Vec<f64> {
        match &self.matrix {
            None => vec![value],
            Some(matrix) => Qr::new(matrix, None).solve(&columns(matrix), &vec![value; matrix.nrows()]).0,
        }
    }
}

fn columns(matrix: &Array2<f64>) -> Vec<Vec<f64>> {
    matrix.columns().into_iter().map(|column| column.to_vec()).collect()
}

/// Linear predictors of mu, log sigma and logit d, one row per interval of the data; each an intercept unless told otherwise.
#[derive(Debug, Clone, PartialEq)]
pub struct EventPredictors {
    rows: usize,
    pub(super) location: Part,
    pub(super) log_scale: Part,
    pub(super) logit_limit: Part,
}

impl EventPredictors {
    /// Intercepts only, for data of `rows` intervals.
    pub fn intercepts(rows: usize) -> Self {
        Self { rows, location: Part::intercept(), log_scale: Part::intercept(), logit_limit: Part::intercept() }
    }

    /// Columns of mu, n × (number of names), an intercept among them if one is wanted.
    ///
    /// # Errors
    /// A row count or number of names that differs, values that are not finite, no column, or a column that is a combination of
    /// the columns before it.
    pub fn with_location(mut self, matrix: Array2<f64>, names: Vec<String>) -> Result<Self> {
        self.location = self.part("location", matrix, names)?;
        Ok(self)
    }

    /// Columns of log sigma, as [`EventPredictors::with_location`].
    ///
    /// # Errors
    /// As [`EventPredictors::with_location`].
    pub fn with_log_scale(mut self, matrix: Array2<f64>, names: Vec<String>) -> Result<Self> {
        self.log_scale = self.part("log scale", matrix, names)?;
        Ok(self)
    }

    /// Columns of logit d, as [`EventPredictors::with_location`]. Ignored by a curve without limit.
    ///
    /// # Errors
    /// As [`EventPredictors::with_location`].
    pub fn with_logit_limit(mut self, matrix: Array2<f64>, names: Vec<String>) -> Result<Self> {
        self.logit_limit = self.part("logit limit", matrix, names)?;
        Ok(self)
    }

    /// Number of rows.
    pub fn rows(&self) -> usize {
        self.rows
    }

    fn part(&self, what: &str, matrix: Array2<f64>, names: Vec<String>) -> Result<Part> {
        check_length(&format!("the {what} columns (rows)"), matrix.nrows(), self.rows)?;
        check_length(&format!("the names of the {what} columns"), names.len(), matrix.ncols())?;
        for (column, name) in columns(&matrix).iter().zip(&names) {
            check_finite(&format!("{what} column `{name}`"), column)?;
        }
        if matrix.ncols() == 0 {
            return Err(StatsError::NothingEstimable { columns: 0 });
        }
        let qr = Qr::new(&matrix, None);
        if let Some((j, _)) = qr.dependent.first() {
            return Err(StatsError::EventTimes {
                reason: format!("{what} column `{}` is zero or a combination of the columns before it", names[*j]),
                advice: "leave that column out",
            });
        }
        Ok(Part { matrix: Some(matrix), names })
    }

    /// True when rows `i` and `j` have the same predictors.
    pub(super) fn same(&self, i: usize, j: usize) -> bool {
        [&self.location, &self.log_scale, &self.logit_limit]
            .iter()
            .all(|part| (0..part.width()).all(|column| part.value(i, column) == part.value(j, column)))
    }

    /// The predictors of one row of the data, below [`EventPredictors::rows`].
    pub fn at(&self, row: usize) -> EventAt {
        let values = |part: &Part| (0..part.width()).map(|j| part.value(row, j)).collect();
        EventAt {
            location: values(&self.location),
            log_scale: values(&self.log_scale),
            logit_limit: values(&self.logit_limit),
        }
    }
}

/// One row of each predictor, at which a quantity is asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct EventAt {
    /// Values of the location columns.
    pub location: Vec<f64>,
    /// Values of the log scale columns.
    pub log_scale: Vec<f64>,
    /// Values of the logit limit columns; of no account for a curve without limit.
    pub logit_limit: Vec<f64>,
}

impl EventAt {
    /// The one row there is when each predictor is an intercept.
    pub fn intercepts() -> Self {
        Self { location: vec![1.0], log_scale: vec![1.0], logit_limit: vec![1.0] }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use ndarray::array;

    #[test]
    fn columns_are_checked_at_the_door() {
        let names = |list: &[&str]| -> Vec<String> { list.iter().map(|name| (*name).into()).collect() };
        let base = EventPredictors::intercepts(3);
        let twice = array![[1.0, 2.0], [1.0, 2.0], [1.0, 2.0]];
        let refused = base.clone().with_location(twice, names(&["one", "two"]));
        assert!(refused.unwrap_err().to_string().contains("`two`"));
        let infinite = array![[1.0], [f64::INFINITY], [1.0]];
        let refused = base.clone().with_log_scale(infinite, names(&["one"]));
        assert!(matches!(refused, Err(StatsError::NotFinite { position: 1, .. })));
        assert!(base.with_logit_limit(array![[1.0]], names(&["one"])).is_err());
    }

    #[test]
    fn a_constant_is_found_in_columns_that_span_it() {
        let part = EventPredictors::intercepts(4)
            .with_location(array![[1.0, 0.0], [1.0, 0.0], [0.0, 1.0], [0.0, 1.0]], vec!["a".into(), "b".into()])
            .unwrap()
            .location;
        assert!(part.constant(2.5).iter().all(|value| (value - 2.5).abs() < 1e-14));
    }
}
