//! What is fitted: counts out of trials, fixed columns and grouped random terms, checked once at the door.

use super::columns::Columns;
use crate::checks::check_length;
use crate::error::{Result, StatsError};
use crate::random_term::RandomTerm;
use ndarray::Array2;

/// A checked model frame for counts: `successes` of `trials` in each of n rows, p independent fixed columns, random terms.
///
/// A random intercept with one group per row is allowed: with more than one trial a row it measures overdispersion.
#[derive(Debug, Clone)]
pub struct BinomialDesign {
    successes: Vec<f64>,
    trials: Vec<f64>,
    pub(super) columns: Columns,
    random: Vec<RandomTerm>,
}

/// Whole numbers above this are no longer told apart from their neighbours.
const LARGEST_COUNT: f64 = 9_007_199_254_740_992.0;

impl BinomialDesign {
    /// Checks and keeps a model frame.
    ///
    /// `fixed` is n × (number of `names`) and holds its own intercept column if one is wanted. A column that depends linearly
    /// on the columns before it is dropped and listed in [`BinomialDesign::aliased`].
    ///
    /// # Errors
    /// Lengths that differ; trials that are not whole numbers from 1 up; successes that are not whole numbers from 0 to the trials;
    /// fixed values that are not finite; no independent fixed column; random terms that no data of this
    /// shape can tell (fewer than two groups with rows, a covariate of zeros, or one group per row when every row is one trial).
    pub fn new(
        successes: Vec<f64>,
        trials: Vec<f64>,
        fixed: Array2<f64>,
        names: Vec<String>,
        random: Vec<RandomTerm>,
    ) -> Result<Self> {
        let rows = successes.len();
        check_length("the trials", trials.len(), rows)?;
        check_length("the matrix of fixed columns (rows)", fixed.nrows(), rows)?;
        for (position, (&k, &n)) in successes.iter().zip(&trials).enumerate() {
            let refuse = |what, value, expected: String| Err(StatsError::Count { what, position, value, expected });
            if !((1.0..=LARGEST_COUNT).contains(&n) && n.fract() == 0.0) {
                return refuse("number of trials", n, "a whole number from 1 up".into());
            }
            if !(k >= 0.0 && k <= n && k.fract() == 0.0) {
                return refuse("number of successes", k, format!("a whole number from 0 to the {n} trials"));
            }
        }
        for term in &random {
            check_term(term, rows, &trials)?;
        }
        let columns = Columns::new(&fixed, names)?;
        Ok(Self { successes, trials, columns, random })
    }

    /// Number of rows, n.
    pub fn n_observations(&self) -> usize {
        self.successes.len()
    }

    /// Number of independent fixed columns, p.
    pub fn rank(&self) -> usize {
        self.columns.rank()
    }

    /// Names of the kept fixed columns, in the order of the coefficients.
    pub fn names(&self) -> &[String] {
        self.columns.aliasing.names()
    }

    /// Names of the dropped columns, each a linear combination of columns before it.
    pub fn aliased(&self) -> &[String] {
        self.columns.aliasing.aliased()
    }

    /// The kept fixed columns, n × p.
    pub fn fixed(&self) -> &Array2<f64> {
        &self.columns.fixed
    }

    /// Successes (n).
    pub fn successes(&self) -> &[f64] {
        &self.successes
    }

    /// Trials (n).
    pub fn trials(&self) -> &[f64] {
        &self.trials
    }

    /// The random terms.
    pub fn random(&self) -> &[RandomTerm] {
        &self.random
    }

    /// Whether given column `j` was kept.
    pub(super) fn is_kept(&self, j: usize) -> bool {
        self.columns.aliasing.is_kept(j)
    }

    /// Translates a row (or a difference of rows) over all columns given to [`BinomialDesign::new`] into one over the kept columns.
    ///
    /// # Errors
    /// Wrong length, or a combination that the data cannot tell because a dropped column would be needed.
    pub fn estimable_row(&self, row: &[f64]) -> Result<Vec<f64>> {
        self.columns.aliasing.estimable_row(row)
    }
}

fn check_term(term: &RandomTerm, rows: usize, trials: &[f64]) -> Result<()> {
    // Overdispersion between rows shows in counts of several trials, so a group per row is no fault by itself.
    term.check(rows, true)?;
    let refuse = |reason: &str| Err(StatsError::RandomTerm { term: term.name.clone(), reason: reason.into() });
    if term.n_columns() != 1 {
        return refuse("models of counts take one column per term; give each column a term of its own");
    }
    if term.is_intercept() && term.used_groups() == rows && trials.iter().all(|n| *n == 1.0) {
        return refuse("every group is one row of one trial, and a single trial shows no spread");
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frame(successes: &[f64], trials: &[f64], random: Vec<RandomTerm>) -> Result<BinomialDesign> {
        let rows = successes.len();
        BinomialDesign::new(successes.to_vec(), trials.to_vec(), Array2::ones((rows, 1)), vec!["one".into()], random)
    }

    #[test]
    fn counts_that_are_none_are_refused_with_their_place() {
        for (k, n, bad) in [([1.0, 5.0], [3.0, 4.0], 1), ([0.5, 1.0], [2.0, 2.0], 0), ([0.0, f64::NAN], [1.0, 1.0], 1)]
        {
            assert!(matches!(frame(&k, &n, vec![]), Err(StatsError::Count { position, .. }) if position == bad));
        }
        for n in [0.0, 1.5, f64::NAN, f64::INFINITY, -1.0] {
            assert!(matches!(frame(&[0.0], &[n], vec![]), Err(StatsError::Count { position: 0, .. })));
        }
    }

    #[test]
    fn one_group_per_row_is_a_term_only_when_rows_hold_several_trials() {
        let rows = || vec![RandomTerm::intercept("row", vec![0, 1, 2], 3)];
        assert!(frame(&[1.0, 0.0, 2.0], &[3.0; 3], rows()).is_ok());
        assert!(matches!(frame(&[1.0, 0.0, 1.0], &[1.0; 3], rows()), Err(StatsError::RandomTerm { .. })));
    }

    #[test]
    fn terms_with_bad_codes_or_nothing_to_tell_are_refused() {
        let bad = RandomTerm::intercept("g", vec![0, 3, 1], 3);
        assert!(matches!(frame(&[1.0; 3], &[3.0; 3], vec![bad]), Err(StatsError::GroupCode { position: 1, .. })));
        for term in
            [RandomTerm::intercept("one", vec![0; 3], 2), RandomTerm::slope("flat", vec![0, 0, 1], 2, vec![0.0; 3])]
        {
            assert!(matches!(frame(&[1.0; 3], &[3.0; 3], vec![term]), Err(StatsError::RandomTerm { .. })));
        }
    }
}
