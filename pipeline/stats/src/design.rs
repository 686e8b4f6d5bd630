//! What is fitted: a response, fixed columns, grouped random terms and weights, checked once at the door.

use crate::aliasing::{Aliasing, check_columns};
use crate::checks::{check_length, check_scale};
use crate::dense::dot;
use crate::error::{Result, StatsError};
use crate::note::Note;
use crate::qr::Qr;
use crate::random_term::RandomTerm;
use ndarray::Array2;

/// A checked model frame: n rows, p independent fixed columns, any number of random terms.
#[derive(Debug, Clone)]
pub struct Design {
    response: Vec<f64>,
    /// Kept columns only, n × p.
    fixed: Array2<f64>,
    aliasing: Aliasing,
    random: Vec<RandomTerm>,
    weights: Option<Vec<f64>>,
    root_weights: Option<Vec<f64>>,
    sampling_variances_known: bool,
    pub(crate) qr: Qr,
}

impl Design {
    /// Checks and keeps a model frame.
    ///
    /// `fixed` is n × (number of `names`) and holds its own intercept column if one is wanted. A column that depends linearly
    /// on the columns before it is dropped and listed in [`Design::aliased`]. `weights` are prior weights: the residual
    /// variance of row i is sigma² / weight_i.
    ///
    /// # Errors
    /// Lengths that differ, values that are not finite, weights that are not above zero, group codes out of range, random
    /// terms with fewer than two used groups or one row per group, no independent fixed column, no residual degrees of freedom.
    pub fn new(
        response: Vec<f64>,
        fixed: Array2<f64>,
        names: Vec<String>,
        random: Vec<RandomTerm>,
        weights: Option<Vec<f64>>,
    ) -> Result<Self> {
        Self::checked(response, fixed, names, random, weights, false)
    }

    /// As [`Design::new`] for rows that are estimates with known sampling `variances` (each above zero), as in a second stage or a
    /// meta-analysis: the residual variance of row i *is* `variances[i]` and no sigma is estimated. A random term with one group per row
    /// is then allowed and is the spread of the true values beyond their sampling error.
    ///
    /// # Errors
    /// As [`Design::new`].
    pub fn with_sampling_variances(
        response: Vec<f64>,
        fixed: Array2<f64>,
        names: Vec<String>,
        random: Vec<RandomTerm>,
        variances: &[f64],
    ) -> Result<Self> {
        if let Some(&value) = variances.iter().find(|value| !(**value > 0.0 && value.is_finite())) {
            return Err(StatsError::OutOfRange { what: "a sampling variance", value, expected: "a number above zero" });
        }
        let weights = variances.iter().map(|variance| 1.0 / variance).collect();
        Self::checked(response, fixed, names, random, Some(weights), true)
    }

    fn checked(
        response: Vec<f64>,
        fixed: Array2<f64>,
        names: Vec<String>,
        random: Vec<RandomTerm>,
        weights: Option<Vec<f64>>,
        sampling_variances_known: bool,
    ) -> Result<Self> {
        let rows = response.len();
        check_length("the matrix of fixed columns (rows)", fixed.nrows(), rows)?;
        check_scale("the response", &response)?;
        check_columns(&fixed, &names)?;
        if let Some(weights) = &weights {
            check_length("the weights", weights.len(), rows)?;
            for (position, &value) in weights.iter().enumerate() {
                if !(value > 0.0 && value.is_finite()) {
                    return Err(StatsError::Weight { position, value });
                }
            }
            check_scale("the weights", weights)?;
        }
        for term in &random {
            term.check(rows, sampling_variances_known)?;
        }
        let root_weights: Option<Vec<f64>> = weights.as_ref().map(|w| w.iter().map(|value| value.sqrt()).collect());
        let qr = Qr::new(&fixed, root_weights.as_deref());
        let aliasing = Aliasing::new(names, &qr)?;
        if rows <= qr.rank() {
            return Err(StatsError::TooFewRows { rows, coefficients: qr.rank() });
        }
        let kept = if aliasing.aliased().is_empty() { fixed } else { fixed.select(ndarray::Axis(1), &qr.kept) };
        Ok(Self { response, fixed: kept, aliasing, random, weights, root_weights, sampling_variances_known, qr })
    }

    /// Number of rows, n.
    pub fn n_observations(&self) -> usize {
        self.response.len()
    }

    /// Number of independent fixed columns, p.
    pub fn rank(&self) -> usize {
        self.qr.rank()
    }

    /// Names of the kept fixed columns, in the order of the coefficients.
    pub fn names(&self) -> &[String] {
        self.aliasing.names()
    }

    /// Names of the dropped columns, each a linear combination of columns before it.
    pub fn aliased(&self) -> &[String] {
        self.aliasing.aliased()
    }

    /// The response.
    pub fn response(&self) -> &[f64] {
        &self.response
    }

    /// The kept fixed columns, n × p.
    pub fn fixed(&self) -> &Array2<f64> {
        &self.fixed
    }

    /// The random terms.
    pub fn random(&self) -> &[RandomTerm] {
        &self.random
    }

    /// The prior weights, if any were given.
    pub fn weights(&self) -> Option<&[f64]> {
        self.weights.as_deref()
    }

    /// True when the weights are the inverses of known sampling variances, so that no sigma is estimated.
    pub fn sampling_variances_known(&self) -> bool {
        self.sampling_variances_known
    }

    /// The same model frame for another response, without a new factorisation. For repeated fits such as a bootstrap.
    ///
    /// # Errors
    /// A response of another length or with a value that is not finite.
    pub fn with_response(&self, response: Vec<f64>) -> Result<Self> {
        check_length("the response", response.len(), self.response.len())?;
        check_scale("the response", &response)?;
        Ok(Self { response, ..self.clone() })
    }

    /// The same response and fixed columns with other random terms.
    ///
    /// # Errors
    /// As [`Design::new`] for the terms.
    pub fn with_random(&self, random: Vec<RandomTerm>) -> Result<Self> {
        for term in &random {
            term.check(self.response.len(), self.sampling_variances_known)?;
        }
        Ok(Self { random, ..self.clone() })
    }

    /// Translates a row (or a difference of rows) over all columns given to [`Design::new`] into one over the kept columns.
    ///
    /// # Errors
    /// Wrong length, or a combination that the data cannot tell because a dropped column would be needed.
    pub fn estimable_row(&self, row: &[f64]) -> Result<Vec<f64>> {
        self.aliasing.estimable_row(row)
    }

    /// `values` times the root weights.
    pub(crate) fn weighted(&self, values: &[f64]) -> Vec<f64> {
        match &self.root_weights {
            Some(root) => values.iter().zip(root).map(|(v, w)| v * w).collect(),
            None => values.to_vec(),
        }
    }

    /// Kept columns times the root weights.
    pub(crate) fn weighted_columns(&self) -> Vec<Vec<f64>> {
        self.fixed.columns().into_iter().map(|column| self.weighted(&column.to_vec())).collect()
    }

    /// Root weight of row `i`.
    pub(crate) fn root_weight(&self, i: usize) -> f64 {
        self.root_weights.as_ref().map_or(1.0, |w| w[i])
    }

    /// `Σ log weight`, zero without weights.
    pub(crate) fn sum_log_weights(&self) -> f64 {
        self.weights.as_ref().map_or(0.0, |w| w.iter().map(|value| value.ln()).sum())
    }

    /// Fixed columns times coefficients.
    pub(crate) fn fixed_part(&self, coefficients: &[f64]) -> Vec<f64> {
        self.fixed.rows().into_iter().map(|row| row.iter().zip(coefficients).map(|(x, b)| x * b).sum()).collect()
    }

    /// Whether a weighted residual sum of squares is no more than rounding of a response: the columns then explain everything.
    pub(crate) fn is_reproduced(&self, response: &[f64], residual_sum_of_squares: f64) -> bool {
        let response = self.weighted(response);
        !(residual_sum_of_squares > 1e-26 * dot(&response, &response))
    }

    pub(crate) fn alias_notes(&self) -> Vec<Note> {
        self.aliasing.notes()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use ndarray::array;

    fn names(list: &[&str]) -> Vec<String> {
        list.iter().map(|name| (*name).to_string()).collect()
    }

    fn ones(rows: usize) -> Array2<f64> {
        Array2::ones((rows, 1))
    }

    #[test]
    fn a_dependent_column_is_dropped_and_named() {
        let fixed = array![[1.0, 1.0, 0.0], [1.0, 1.0, 0.0], [1.0, 0.0, 1.0], [1.0, 0.0, 1.0]];
        let design = Design::new(vec![1.0, 2.0, 3.0, 5.0], fixed, names(&["one", "a", "b"]), vec![], None)
            .expect("valid design");
        assert_eq!(design.names(), ["one", "a"]);
        assert_eq!(design.aliased(), ["b"]);
        assert_eq!(design.estimable_row(&[1.0, 0.0, 1.0]).expect("estimable"), [1.0, 0.0]);
        let refused = design.estimable_row(&[1.0, 0.0, 0.0]);
        assert_eq!(refused, Err(StatsError::NotEstimable { column: "b".into() }));
    }

    #[test]
    fn differences_inside_unlinked_parts_can_be_told_wherever_the_dropped_column_lies() {
        // Two fields with settings of their own and three blocks each, in one table of settings and all blocks but the last.
        let rows: Vec<(usize, usize)> =
            (0..6).flat_map(|block| (0..4).map(move |s| (s + 4 * (block / 3), block))).collect();
        let fixed = Array2::from_shape_fn((24, 13), |(row, column)| {
            let (setting, block) = rows[row];
            f64::from(u8::from(if column < 8 { setting == column } else { block == column - 8 }))
        });
        let response = (0..24).map(|i| f64::from(i % 7)).collect();
        let list = (0..13).map(|j| format!("column {j}")).collect();
        let design = Design::new(response, fixed, list, vec![], None).expect("valid design");
        assert_eq!(design.rank(), 12);
        for (a, b, told) in [(1, 0, true), (3, 2, true), (5, 4, true), (7, 6, true), (4, 3, false), (7, 0, false)] {
            let mut row = vec![0.0; 13];
            (row[a], row[b]) = (1.0, -1.0);
            assert_eq!(design.estimable_row(&row).is_ok(), told, "{a} less {b}");
        }
    }

    #[test]
    fn the_door_names_the_first_bad_value() {
        let bad = Design::new(vec![1.0, f64::NAN, 2.0], ones(3), names(&["one"]), vec![], None);
        assert!(matches!(bad, Err(StatsError::NotFinite { position: 1, .. })));
        let weights = Design::new(vec![1.0, 2.0], ones(2), names(&["one"]), vec![], Some(vec![1.0, 0.0]));
        assert!(matches!(weights, Err(StatsError::Weight { position: 1, .. })));
        let code = RandomTerm::intercept("g", vec![0, 2, 1], 2);
        let codes = Design::new(vec![1.0, 2.0, 3.0], ones(3), names(&["one"]), vec![code], None);
        assert!(matches!(codes, Err(StatsError::GroupCode { position: 1, code: 2, .. })));
    }

    #[test]
    fn designs_without_residual_degrees_of_freedom_or_columns_are_refused() {
        let full = Design::new(vec![1.0, 2.0], array![[1.0, 0.0], [1.0, 1.0]], names(&["a", "b"]), vec![], None);
        assert!(matches!(full, Err(StatsError::TooFewRows { rows: 2, coefficients: 2 })));
        let none = Design::new(vec![1.0, 2.0], Array2::zeros((2, 1)), names(&["zero"]), vec![], None);
        assert!(matches!(none, Err(StatsError::NothingEstimable { columns: 1 })));
    }

    #[test]
    fn random_terms_that_no_data_can_tell_are_refused() {
        let single = RandomTerm::intercept("field", vec![0; 3], 4);
        let row = RandomTerm::intercept("row", vec![0, 1, 2], 3);
        let flat = RandomTerm::slope("slope", vec![0, 0, 1], 2, vec![0.0; 3]);
        for term in [single, row, flat] {
            let refused = Design::new(vec![1.0, 2.0, 4.0], ones(3), names(&["one"]), vec![term], None);
            assert!(matches!(refused, Err(StatsError::RandomTerm { .. })));
        }
    }
}
