//! Fixed columns, their dependent ones dropped, on an orthonormal basis.
//!
//! Searches run on `Q √n` instead of X = QR: its columns have mean square one, so that a coefficient has the size of the change it
//! makes on the logit, and neither units nor near-collinear columns matter.

use crate::design::{check_finite, check_length};
use crate::error::{Result, StatsError};
use crate::note::Note;
use crate::qr::Qr;
use ndarray::{Array2, Axis};

#[derive(Debug, Clone)]
pub(crate) struct Columns {
    /// Kept columns, n × p.
    pub(super) fixed: Array2<f64>,
    /// Names of the kept columns.
    pub(super) names: Vec<String>,
    all_names: Vec<String>,
    aliased: Vec<String>,
    kept: Vec<usize>,
    dependent: Vec<(usize, Vec<f64>)>,
    /// `Q √n`, row-major n × p.
    pub(super) basis: Vec<f64>,
    /// `R / √n`, row-major p × p.
    pub(super) upper: Vec<f64>,
    /// Log determinant of `upper' upper`.
    pub(super) log_determinant: f64,
}

impl Columns {
    /// # Errors
    /// Lengths that differ, values that are not finite, no independent column.
    pub(crate) fn new(fixed: &Array2<f64>, names: Vec<String>) -> Result<Self> {
        check_length("the list of column names", names.len(), fixed.ncols())?;
        for (column, name) in fixed.columns().into_iter().zip(&names) {
            check_finite(&format!("column `{name}`"), &column.to_vec())?;
        }
        let qr = Qr::new(fixed, None);
        let (rows, rank) = (fixed.nrows(), qr.rank());
        if rank == 0 {
            return Err(StatsError::NothingEstimable { columns: names.len() });
        }
        let root = (rows as f64).sqrt();
        let mut basis = vec![0.0; rows * rank];
        for j in 0..rank {
            for (i, value) in qr.q_column(j).iter().enumerate() {
                basis[i * rank + j] = value * root;
            }
        }
        Ok(Self {
            fixed: fixed.select(Axis(1), &qr.kept),
            names: qr.kept.iter().map(|&j| names[j].clone()).collect(),
            aliased: qr.dependent.iter().map(|(j, _)| names[*j].clone()).collect(),
            all_names: names,
            basis,
            upper: qr.r.iter().map(|value| value / root).collect(),
            log_determinant: qr.log_determinant() - rank as f64 * (rows as f64).ln(),
            kept: qr.kept,
            dependent: qr.dependent,
        })
    }

    pub(crate) fn rank(&self) -> usize {
        self.names.len()
    }

    pub(crate) fn aliased(&self) -> &[String] {
        &self.aliased
    }

    pub(super) fn is_kept(&self, j: usize) -> bool {
        self.kept.contains(&j)
    }

    pub(crate) fn alias_notes(&self) -> Vec<Note> {
        let message =
            |name: &String| format!("column `{name}` was dropped: it is a combination of the columns before it");
        self.aliased.iter().map(|name| Note::new("aliased", message(name))).collect()
    }

    /// As [`Design::estimable_row`](crate::Design::estimable_row).
    pub(crate) fn estimable_row(&self, row: &[f64]) -> Result<Vec<f64>> {
        check_length("the row", row.len(), self.all_names.len())?;
        check_finite("the row", row)?;
        let kept: Vec<f64> = self.kept.iter().map(|&j| row[j]).collect();
        for (j, on_kept) in &self.dependent {
            let implied: f64 = on_kept.iter().zip(&kept).map(|(a, x)| a * x).sum();
            let size: f64 = on_kept.iter().zip(&kept).map(|(a, x)| (a * x).abs()).sum::<f64>() + row[*j].abs();
            // The dependence itself is known to about 1e-11 of the column.
            if (implied - row[*j]).abs() > 1e-8 * size {
                return Err(StatsError::NotEstimable { column: self.all_names[*j].clone() });
            }
        }
        Ok(kept)
    }

    /// `upper coefficients`: coefficients of the columns as coefficients of the basis.
    pub(super) fn on_basis(&self, coefficients: &[f64]) -> Vec<f64> {
        let rank = self.rank();
        (0..rank).map(|i| (i..rank).map(|j| self.upper[i * rank + j] * coefficients[j]).sum()).collect()
    }

    /// The same kept columns with column `last` moved to the end, so that its coefficient is the last one on the basis
    /// divided by the last diagonal element of `upper`.
    pub(super) fn with_last(&self, last: usize) -> Result<Self> {
        let mut order: Vec<usize> = (0..self.rank()).filter(|&j| j != last).collect();
        order.push(last);
        let moved =
            Self::new(&self.fixed.select(Axis(1), &order), order.iter().map(|&j| self.names[j].clone()).collect())?;
        // Columns that just passed the test of dependence in one order may fail it in another.
        if moved.rank() < self.rank() {
            return Err(StatsError::Numerical { step: "the reordering of nearly dependent columns" });
        }
        Ok(moved)
    }
}
