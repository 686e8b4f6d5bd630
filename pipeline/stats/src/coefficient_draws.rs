//! Draws of the coefficients of a fit, for the uncertainty of anything derived from them.

use crate::checks::check_length;
use crate::dense::{cholesky_in_place, dot};
use crate::error::{Result, StatsError};
use crate::inference::LinearFit;
use ndarray::Array2;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{ChiSquared, Distribution, StandardNormal};

/// Draws `coefficients + sqrt(df / chi²_df) L z` with `LL'` the covariance of the fit: multivariate t, one chi-squared per draw.
///
/// For least squares with its residual degrees of freedom this is the posterior under a flat prior on (coefficients, log sigma).
/// For other fits it is an approximation that is as good as their covariance: nothing of a curved likelihood is in it.
#[derive(Debug, Clone)]
pub struct CoefficientDraws {
    coefficients: Array2<f64>,
}

impl CoefficientDraws {
    /// Draws `draws` times from the fit. Infinite `df` gives normal draws. The same seed gives the same bytes.
    ///
    /// # Errors
    /// Degrees of freedom not above zero, no draws, a covariance that is not positive definite.
    pub fn new(fit: &impl LinearFit, df: f64, draws: usize, seed: u64) -> Result<Self> {
        let size = fit.coefficients().len();
        if draws == 0 {
            return Err(StatsError::OutOfRange { what: "the number of draws", value: 0.0, expected: "at least 1" });
        }
        let chi_squared = if df == f64::INFINITY { None } else { Some(ChiSquared::new(df)) };
        let chi_squared = chi_squared.transpose().map_err(|_| StatsError::OutOfRange {
            what: "the degrees of freedom",
            value: df,
            expected: "a number above zero",
        })?;
        // Correlations instead of covariances: the columns may have very different units.
        let errors = fit.standard_errors();
        let covariance = fit.covariance();
        let mut lower: Vec<f64> = (0..size * size)
            .map(|at| covariance[[at / size, at % size]] / (errors[at / size] * errors[at % size]))
            .collect();
        if !cholesky_in_place(&mut lower, size) {
            return Err(StatsError::Numerical { step: "the factorisation of the covariance of the coefficients" });
        }
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let mut coefficients = Array2::zeros((draws, size));
        for draw in 0..draws {
            let noise: Vec<f64> = (0..size).map(|_| random.sample(StandardNormal)).collect();
            let stretch = chi_squared.map_or(1.0, |chi_squared| (df / chi_squared.sample(&mut random)).sqrt());
            for j in 0..size {
                let correlated = dot(&lower[j * size..=j * size + j], &noise[..=j]);
                coefficients[[draw, j]] = fit.coefficients()[j] + stretch * errors[j] * correlated;
            }
        }
        Ok(Self { coefficients })
    }

    /// The drawn coefficients (draws × p).
    pub fn coefficients(&self) -> &Array2<f64> {
        &self.coefficients
    }

    /// `row · coefficients` for every draw.
    ///
    /// # Errors
    /// A row of the wrong length.
    pub fn linear(&self, row: &[f64]) -> Result<Vec<f64>> {
        check_length("the row", row.len(), self.coefficients.ncols())?;
        Ok(self.coefficients.dot(&ndarray::aview1(row)).to_vec())
    }

    /// `rows · coefficients` (draws × r) for every draw and row of `rows` (r × p), such as a curve on a grid.
    ///
    /// # Errors
    /// Rows of the wrong length.
    pub fn linear_many(&self, rows: &Array2<f64>) -> Result<Array2<f64>> {
        check_length("each row", rows.ncols(), self.coefficients.ncols())?;
        Ok(self.coefficients.dot(&rows.t()))
    }

    /// Anything else that follows from the coefficients, for every draw.
    pub fn derive<T>(&self, mut statistic: impl FnMut(&[f64]) -> T) -> Vec<T> {
        self.coefficients.rows().into_iter().map(|row| statistic(&row.to_vec())).collect()
    }
}
