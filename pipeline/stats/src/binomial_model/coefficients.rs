//! Coefficients with their covariance, and the questions all fits of this module answer alike.

use super::columns::Columns;
use crate::checks::{check_finite, check_length};
use crate::combinations::{IndependentCombinations, unscaled_covariance_from};
use crate::dense::{dot, quadratic_form, solve_upper, solve_upper_transpose};
use crate::error::{Result, StatsError};
use crate::inference::{Contrast, JointTest};
use ndarray::Array2;

#[derive(Debug, Clone)]
pub(super) struct Coefficients {
    pub(super) names: Vec<String>,
    pub(super) values: Vec<f64>,
    pub(super) covariance: Array2<f64>,
    upper: Vec<f64>,
    on_basis: Vec<f64>,
    df: f64,
    method: &'static str,
    /// Coefficients without a finite estimate.
    unbounded: Vec<bool>,
}

impl Coefficients {
    /// `point` and `covariance` (p × p) live on the basis of `columns`; `df` is infinite for a normal reference.
    pub(super) fn new(columns: &Columns, point: &[f64], covariance: Vec<f64>, df: f64, method: &'static str) -> Self {
        let mut values = point.to_vec();
        solve_upper(&columns.upper, &mut values);
        let rank = columns.rank();
        Self {
            names: columns.aliasing.names().to_vec(),
            values,
            covariance: unscaled_covariance_from(&columns.upper, &covariance, rank),
            upper: columns.upper.clone(),
            on_basis: covariance,
            df,
            method,
            unbounded: vec![false; rank],
        }
    }

    /// Marks coefficients that run away: `direction` is their sign, zero where the data do not tell the sign.
    pub(super) fn mark_unbounded(&mut self, which: &[bool], direction: &[f64]) {
        let rank = which.len();
        for j in (0..rank).filter(|&j| which[j]) {
            self.values[j] = match direction[j] {
                sign if sign > 0.0 => f64::INFINITY,
                sign if sign < 0.0 => f64::NEG_INFINITY,
                _ => f64::NAN,
            };
            for k in 0..rank {
                self.covariance[[j, k]] = 0.0;
                self.covariance[[k, j]] = 0.0;
            }
            self.covariance[[j, j]] = f64::INFINITY;
        }
        self.unbounded = which.to_vec();
    }

    fn check(&self, row: &[f64], what: &str) -> Result<()> {
        check_length(what, row.len(), self.values.len())?;
        check_finite(what, row)?;
        match (0..row.len()).find(|&j| self.unbounded[j] && row[j] != 0.0) {
            Some(j) => Err(StatsError::NoFiniteMaximum { column: self.names[j].clone() }),
            None => Ok(()),
        }
    }

    pub(super) fn contrast(&self, row: &[f64]) -> Result<Contrast> {
        self.check(row, "the contrast")?;
        let mut on_basis = row.to_vec();
        solve_upper_transpose(&self.upper, &mut on_basis);
        let bounded = (0..row.len()).filter(|&j| !self.unbounded[j]);
        Ok(Contrast {
            estimate: if self.unbounded.contains(&true) {
                bounded.map(|j| row[j] * self.values[j]).sum()
            } else {
                dot(row, &self.values)
            },
            std_error: quadratic_form(&self.on_basis, &on_basis).sqrt(),
            df: self.df,
            method: self.method.into(),
        })
    }

    pub(super) fn joint_test(&self, rows: &Array2<f64>) -> Result<JointTest> {
        for row in rows.rows() {
            self.check(&row.to_vec(), "a hypothesis row")?;
        }
        // The rows have zeros where a coefficient has no finite value, so any number may stand there.
        let finite: Vec<f64> =
            self.values.iter().zip(&self.unbounded).map(|(v, &unbounded)| if unbounded { 0.0 } else { *v }).collect();
        let combinations = IndependentCombinations::new(rows, &self.upper, Some(&self.on_basis))?;
        let statistics = combinations.squared_over_variance(&finite);
        let rank = statistics.len() as f64;
        Ok(JointTest::new(statistics.iter().sum::<f64>() / rank, rank, self.df, self.method.into()))
    }
}

/// Implements [`LinearFit`](crate::LinearFit) for a fit that holds `coefficients`, `log_likelihood`, `notes`, `n_observations` and
/// a method `count_parameters`.
macro_rules! answer_linear_fit {
    ($fit:ty) => {
        impl $crate::inference::LinearFit for $fit {
            fn names(&self) -> &[String] {
                &self.coefficients.names
            }

            fn coefficients(&self) -> &[f64] {
                &self.coefficients.values
            }

            fn covariance(&self) -> &ndarray::Array2<f64> {
                &self.coefficients.covariance
            }

            fn contrast(&self, row: &[f64]) -> $crate::error::Result<$crate::inference::Contrast> {
                self.coefficients.contrast(row)
            }

            fn joint_test(&self, rows: &ndarray::Array2<f64>) -> $crate::error::Result<$crate::inference::JointTest> {
                self.coefficients.joint_test(rows)
            }

            fn log_likelihood(&self) -> f64 {
                self.log_likelihood
            }

            fn n_parameters(&self) -> usize {
                self.count_parameters()
            }

            fn n_observations(&self) -> usize {
                self.n_observations
            }

            fn notes(&self) -> &[$crate::note::Note] {
                &self.notes
            }
        }
    };
}

pub(super) use answer_linear_fit;
