//! Data whose successes and failures are told apart by the columns, so that the likelihood has no finite maximum.
//!
//! A maximum exists unless some direction d has `x_i'd ≥ 0` where all trials succeed, `≤ 0` where all fail, `= 0` elsewhere, and is not
//! zero in every row (Albert & Anderson 1984, Biometrika 71:1-10). At a fit with zero score, rows whose residual is not zero force
//! `x_i'd = 0`: their residuals are positive multipliers in `Σ r_i x_i = 0`. If these rows span the columns, no direction is left.
//! Otherwise the other rows are fitted again inside the space that the certain rows leave free, until the space is empty (a finite
//! maximum) or every remaining row is told apart (the fit is such a direction). Each round removes at least one dimension.

use super::columns::Columns;
use super::objective::Objective;
use crate::dense::solve_upper;
use crate::error::Result;
use crate::newton::minimise;
use crate::note::Note;
use crate::qr::Qr;
use ndarray::{Array2, Axis};

/// Which coefficients run to infinity, and where.
#[derive(Debug, Clone, PartialEq)]
pub struct Separation {
    /// True when every row is told apart (complete separation); false when only some are (quasi-complete separation).
    pub complete: bool,
    /// Number of rows whose fitted probability goes to 0 or 1.
    pub rows: usize,
    /// Columns whose coefficient has no finite estimate.
    pub columns: Vec<String>,
    /// For each of them 1 when it runs to plus infinity, -1 to minus infinity, 0 when the data do not tell.
    pub directions: Vec<f64>,
    /// Free space, p × m on the kept columns.
    pub(super) space: Array2<f64>,
    /// For all kept columns, the direction of recession.
    pub(super) direction: Vec<f64>,
}

/// A residual below this is called zero: a search ends with residuals near 1e-14 in rows that are told apart.
const CERTAIN: f64 = 1e-9;

/// Looks for a direction of recession; `residuals` are those at the end of the search on all columns.
pub(super) fn find(
    columns: &Columns,
    successes: &[f64],
    trials: &[f64],
    residuals: &[f64],
) -> Result<Option<Separation>> {
    let rank = columns.rank();
    let mut space: Array2<f64> = Array2::eye(rank);
    let mut rows: Vec<usize> = (0..successes.len()).collect();
    let mut residuals = residuals.to_vec();
    let mut inside = columns.fixed.clone();
    let mut fitted: Option<Vec<f64>> = None;
    for _ in 0..=rank {
        let certain: Vec<usize> = (0..rows.len())
            .filter(|&r| {
                let i = rows[r];
                (0.0 < successes[i] && successes[i] < trials[i]) || residuals[r].abs() > CERTAIN
            })
            .collect();
        if certain.is_empty() {
            // Without a fit of its own the first round has none yet: fit once more, on the same rows.
            if let Some(coefficients) = &fitted {
                let direction = space.dot(&ndarray::arr1(coefficients)).to_vec();
                return Ok(verified(columns, successes, trials, &rows, space, direction));
            }
        } else {
            if certain.len() == rows.len() {
                return Ok(None);
            }
            let qr = Qr::new(&inside.select(Axis(0), &certain), None);
            if qr.dependent.is_empty() {
                return Ok(None);
            }
            let mut free: Array2<f64> = Array2::zeros((inside.ncols(), qr.dependent.len()));
            for (c, (j, on_kept)) in qr.dependent.iter().enumerate() {
                free[[*j, c]] = 1.0;
                for (&kept, value) in qr.kept.iter().zip(on_kept) {
                    free[[kept, c]] = -value;
                }
            }
            space = clean_product(&space, &free);
            let mut gone = certain.iter().copied().peekable();
            rows = (0..rows.len()).filter(|r| gone.next_if_eq(r).is_none()).map(|r| rows[r]).collect();
        }
        inside = clean_product(&columns.fixed.select(Axis(0), &rows), &space);
        if inside.iter().all(|value| *value == 0.0) {
            return Ok(None);
        }
        let names = (0..inside.ncols()).map(|j| j.to_string()).collect();
        let reduced = Columns::new(&inside, names)?;
        let (k, n): (Vec<f64>, Vec<f64>) = rows.iter().map(|&i| (successes[i], trials[i])).unzip();
        let objective = Objective::new(&reduced, &k, &n, false);
        let Some(minimum) = minimise(|p| objective.local(p), &objective.start(), 200, 3.0) else {
            return Ok(None);
        };
        residuals = objective.row_points(&minimum.point).iter().map(|at| at.residual).collect();
        let mut on_columns = minimum.point;
        solve_upper(&reduced.upper, &mut on_columns);
        fitted = Some(on_columns);
        if reduced.rank() < inside.ncols() {
            return Ok(None);
        }
    }
    Ok(None)
}

/// Product in which a sum that cancels down to rounding is zero.
fn clean_product(a: &Array2<f64>, b: &Array2<f64>) -> Array2<f64> {
    Array2::from_shape_fn((a.nrows(), b.ncols()), |(i, j)| {
        let (mut sum, mut size) = (0.0, 0.0_f64);
        for k in 0..b.nrows() {
            let part: f64 = a[[i, k]] * b[[k, j]];
            sum += part;
            size += part.abs();
        }
        if sum.abs() > 1e-10 * size { sum } else { 0.0 }
    })
}

/// The direction as a result, if it tells every one of `rows` apart and offends no row at all.
fn verified(
    columns: &Columns,
    successes: &[f64],
    trials: &[f64],
    rows: &[usize],
    space: Array2<f64>,
    direction: Vec<f64>,
) -> Option<Separation> {
    let mut told = vec![false; successes.len()];
    rows.iter().for_each(|&i| told[i] = true);
    for (i, row) in columns.fixed.rows().into_iter().enumerate() {
        let along: f64 = row.iter().zip(&direction).map(|(x, d)| x * d).sum();
        let size: f64 = row.iter().zip(&direction).map(|(x, d)| (x * d).abs()).sum();
        let right = if successes[i] == trials[i] { along } else { -along };
        if (told[i] && !(right > 0.0)) || (!told[i] && along.abs() > 1e-8 * size) {
            return None;
        }
    }
    let length = |j: usize| columns.fixed.column(j).iter().fold(0.0_f64, |m, x| m.max(x.abs()));
    let reach: Vec<f64> = (0..direction.len()).map(|j| direction[j] * length(j)).collect();
    let largest = reach.iter().fold(0.0_f64, |m, x| m.max(x.abs()));
    let sign = |j: usize| if reach[j].abs() > 1e-9 * largest { reach[j].signum() } else { 0.0 };
    let affected: Vec<usize> =
        (0..direction.len()).filter(|&j| space.row(j).iter().any(|value| *value != 0.0)).collect();
    Some(Separation {
        complete: rows.len() == successes.len(),
        rows: rows.len(),
        columns: affected.iter().map(|&j| columns.aliasing.names()[j].clone()).collect(),
        directions: affected.iter().map(|&j| sign(j)).collect(),
        direction: (0..direction.len()).map(sign).collect(),
        space,
    })
}

impl Separation {
    pub(super) fn note(&self, rows: usize) -> Note {
        let each: Vec<String> = self
            .columns
            .iter()
            .zip(&self.directions)
            .map(|(name, sign)| {
                let place = match *sign {
                    s if s > 0.0 => "runs to plus infinity",
                    s if s < 0.0 => "runs to minus infinity",
                    _ => "has no finite value either",
                };
                format!("the coefficient of `{name}` {place}")
            })
            .collect();
        let kind = if self.complete { "complete" } else { "quasi-complete" };
        Note::new(
            "separation",
            format!(
                "no finite maximum: {}; {kind} separation, a combination of these columns tells all successes from all failures \
                 in {} of {rows} rows. Use Firth's penalised likelihood for finite estimates and profile limits",
                each.join(", "),
                self.rows
            ),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use ndarray::array;

    fn look(x: &Array2<f64>, k: &[f64], n: &[f64]) -> Option<Separation> {
        let names = (0..x.ncols()).map(|j| format!("x{j}")).collect();
        let columns = Columns::new(x, names).expect("columns");
        let objective = Objective::new(&columns, k, n, false);
        let end = minimise(|p| objective.local(p), &objective.start(), 200, 3.0).expect("a value");
        let residuals: Vec<f64> = objective.row_points(&end.point).iter().map(|at| at.residual).collect();
        find(&columns, k, n, &residuals).expect("no error")
    }

    #[test]
    fn a_clean_cut_is_complete_separation() {
        let x = array![[1.0, 0.0], [1.0, 1.0], [1.0, 2.0], [1.0, 3.0]];
        let found = look(&x, &[0.0, 0.0, 1.0, 1.0], &[1.0; 4]).expect("separated");
        assert!(found.complete && found.rows == 4);
        assert_eq!(found.directions, [-1.0, 1.0]);
    }

    #[test]
    fn a_shared_edge_is_quasi_complete_separation() {
        // At x = 1 both happen; below all fail and above all succeed.
        let x = array![[1.0, 0.0], [1.0, 1.0], [1.0, 1.0], [1.0, 2.0]];
        let found = look(&x, &[0.0, 0.0, 1.0, 1.0], &[1.0; 4]).expect("separated");
        assert!(!found.complete && found.rows == 2);
        assert_eq!(found.directions, [-1.0, 1.0]);
    }

    #[test]
    fn an_overlap_of_one_trial_is_enough_for_a_finite_maximum() {
        let x = array![[1.0, 0.0], [1.0, 1.0], [1.0, 2.0], [1.0, 3.0]];
        assert_eq!(look(&x, &[0.0, 1.0, 0.0, 1.0], &[1.0; 4]), None);
        // Very far apart, but overlapping: the far rows have residuals near zero and are no separation.
        let far = array![[1.0, -400.0], [1.0, -0.1], [1.0, 0.1], [1.0, 0.0], [1.0, 400.0]];
        assert_eq!(look(&far, &[0.0, 1.0, 0.0, 1.0, 1.0], &[1.0; 5]), None);
    }

    #[test]
    fn a_group_without_failures_names_its_column_alone() {
        let x = array![
            [1.0, 0.0, 0.3],
            [1.0, 0.0, 0.9],
            [1.0, 0.0, 0.1],
            [1.0, 1.0, 0.4],
            [1.0, 1.0, 0.2],
            [1.0, 0.0, 0.5]
        ];
        let found = look(&x, &[1.0, 2.0, 2.0, 5.0, 4.0, 3.0], &[3.0, 4.0, 5.0, 5.0, 4.0, 6.0]).expect("separated");
        assert_eq!((found.columns.as_slice(), found.directions.as_slice()), (&["x1".to_string()][..], &[1.0][..]));
    }

    #[test]
    fn a_combination_of_columns_is_found_as_well() {
        // Successes exactly where a + 2 b > 3, never on a single column.
        let x = Array2::from_shape_fn((25, 3), |(i, j)| [1.0, (i % 5) as f64, (i / 5) as f64][j]);
        let k: Vec<f64> = (0..25).map(|i| f64::from(u8::from((i % 5) + 2 * (i / 5) > 3))).collect();
        let found = look(&x, &k, &[1.0; 25]).expect("separated");
        assert!(found.complete);
        assert_eq!(found.directions, [-1.0, 1.0, 1.0]);
        let mut flipped = k.clone();
        flipped[24] = 0.0;
        assert_eq!(look(&x, &flipped, &[1.0; 25]), None);
    }
}
