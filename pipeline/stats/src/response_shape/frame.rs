//! A response over x with everything else that stands in its model, checked once.

use crate::checks::{check_finite, check_length};
use crate::design::Design;
use crate::error::{Result, StatsError};
use crate::random_term::RandomTerm;
use ndarray::Array2;

/// A response, the variable x it is a curve over, and the rest of the model: other fixed columns, random terms, weights.
///
/// Every [`ResponseShape`](crate::ResponseShape) fitted to one frame shares the rest of the model. A constant column comes first and need not be given.
#[derive(Debug, Clone)]
pub struct ResponseFrame {
    response: Vec<f64>,
    x: Vec<f64>,
    columns: Array2<f64>,
    names: Vec<String>,
    random: Vec<RandomTerm>,
    weights: Option<Vec<f64>>,
    levels: Vec<f64>,
}

impl ResponseFrame {
    /// Checks and keeps a frame of n rows.
    ///
    /// `columns` (n × number of `names`) are fixed columns that go beside the shape, such as indicators of blocks; a full set of
    /// indicators is fine. Random terms and weights are as in [`Design::new`].
    ///
    /// # Errors
    /// As [`Design::new`] for the model without x; x of another length, not finite, or the same in every row.
    pub fn new(
        response: Vec<f64>,
        x: Vec<f64>,
        columns: Array2<f64>,
        names: Vec<String>,
        random: Vec<RandomTerm>,
        weights: Option<Vec<f64>>,
    ) -> Result<Self> {
        check_length("x", x.len(), response.len())?;
        check_finite("x", &x)?;
        check_length("the matrix of other columns (rows)", columns.nrows(), response.len())?;
        check_length("the list of other column names", names.len(), columns.ncols())?;
        let mut levels = x.clone();
        levels.sort_by(f64::total_cmp);
        levels.dedup();
        if levels.len() < 2 {
            return Err(StatsError::TooFewValues {
                what: "a curve over x (different values)",
                needed: 2,
                found: levels.len(),
            });
        }
        let frame = Self { response, x, columns, names, random, weights, levels };
        frame.design(&[])?;
        Ok(frame)
    }

    /// A frame of nothing but a response and x.
    ///
    /// # Errors
    /// As [`ResponseFrame::new`].
    pub fn plain(response: Vec<f64>, x: Vec<f64>) -> Result<Self> {
        let rows = response.len();
        Self::new(response, x, Array2::zeros((rows, 0)), Vec::new(), Vec::new(), None)
    }

    /// The different values of x, ascending.
    pub fn levels(&self) -> &[f64] {
        &self.levels
    }

    /// The x of each row.
    pub fn x(&self) -> &[f64] {
        &self.x
    }

    /// Middle of the range of x, where curves are centred.
    pub fn centre(&self) -> f64 {
        let (low, high) = self.range();
        low + 0.5 * (high - low)
    }

    /// Smallest and largest x.
    pub(crate) fn range(&self) -> (f64, f64) {
        (self.levels[0], self.levels[self.levels.len() - 1])
    }

    pub(crate) fn has_random_terms(&self) -> bool {
        !self.random.is_empty()
    }

    pub(crate) fn n_observations(&self) -> usize {
        self.response.len()
    }

    /// The model with the given columns after the constant and the other columns, so that a shape column that these explain is
    /// the one that is dropped.
    pub(crate) fn design(&self, shape: &[(String, Vec<f64>)]) -> Result<Design> {
        let others = self.names.len();
        let fixed =
            Array2::from_shape_fn((self.response.len(), 1 + others + shape.len()), |(i, j)| match j.checked_sub(1) {
                None => 1.0,
                Some(j) if j < others => self.columns[[i, j]],
                Some(j) => shape[j - others].1[i],
            });
        let names = std::iter::once("constant".to_string())
            .chain(self.names.iter().cloned())
            .chain(shape.iter().map(|(name, _)| name.clone()))
            .collect();
        Design::new(self.response.clone(), fixed, names, self.random.clone(), self.weights.clone())
    }

    /// As [`ResponseFrame::design`] with one more random term after the others.
    pub(crate) fn design_with_term(&self, shape: &[(String, Vec<f64>)], term: RandomTerm) -> Result<Design> {
        let design = self.design(shape)?;
        let mut random = self.random.clone();
        random.push(term);
        design.with_random(random)
    }

    /// Constant and means of the other columns over the rows: where curves are shown.
    pub(crate) fn reference(&self) -> Vec<f64> {
        let rows = self.response.len() as f64;
        let means = self.columns.columns().into_iter().map(|column| column.iter().sum::<f64>() / rows);
        std::iter::once(1.0).chain(means).collect()
    }

    /// The same frame with `slope * (x - centre)` taken off the response.
    pub(crate) fn tilted(&self, slope: f64) -> Self {
        let centre = self.centre();
        let response = self.response.iter().zip(&self.x).map(|(y, x)| y - slope * (x - centre)).collect();
        Self { response, ..self.clone() }
    }

    /// One indicator column per level but the first.
    pub(crate) fn level_columns(&self) -> Vec<(String, Vec<f64>)> {
        self.levels[1..]
            .iter()
            .map(|&level| {
                let column = self.x.iter().map(|&x| f64::from(u8::from(x == level))).collect();
                (format!("level {level}"), column)
            })
            .collect()
    }
}
