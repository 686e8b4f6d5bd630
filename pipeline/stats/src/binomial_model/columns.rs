//! Fixed columns, their dependent ones dropped, on an orthonormal basis.
//!
//! Searches run on `Q √n` instead of X = QR: its columns have mean square one, so that a coefficient has the size of the change it
//! makes on the logit, and neither units nor near-collinear columns matter.

use crate::aliasing::{Aliasing, check_columns};
use crate::error::{Result, StatsError};
use crate::qr::Qr;
use ndarray::{Array2, Axis};

#[derive(Debug, Clone)]
pub(crate) struct Columns {
    /// Kept columns, n × p.
    pub(super) fixed: Array2<f64>,
    pub(super) aliasing: Aliasing,
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
        check_columns(fixed, &names)?;
        let qr = Qr::new(fixed, None);
        let (rows, rank) = (fixed.nrows(), qr.rank());
        let aliasing = Aliasing::new(names, &qr)?;
        let root = (rows as f64).sqrt();
        let mut basis = vec![0.0; rows * rank];
        for j in 0..rank {
            for (i, value) in qr.q_column(j).iter().enumerate() {
                basis[i * rank + j] = value * root;
            }
        }
        Ok(Self {
            fixed: fixed.select(Axis(1), &qr.kept),
            aliasing,
            basis,
            upper: qr.r.iter().map(|value| value / root).collect(),
            log_determinant: qr.log_determinant() - rank as f64 * (rows as f64).ln(),
        })
    }

    pub(crate) fn rank(&self) -> usize {
        self.aliasing.names().len()
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
        let moved = Self::new(
            &self.fixed.select(Axis(1), &order),
            order.iter().map(|&j| self.aliasing.names()[j].clone()).collect(),
        )?;
        // Columns that just passed the test of dependence in one order may fail it in another.
        if moved.rank() < self.rank() {
            return Err(StatsError::Numerical { step: "the reordering of nearly dependent columns" });
        }
        Ok(moved)
    }
}
