//! The fitted spline at any x, with the uncertainty of its random part.
//!
//! Henderson's mixed model equations at the estimated variances: with `b = Λu`, `Q` the orthonormal fixed columns and `W` the weights,
//! `A = [ΛZ'WZΛ + I, ΛZ'WQ; Q'WZΛ, I]` and `sigma² A⁻¹` is the covariance of (û - u, coefficients on Q). It holds the variance of the
//! estimate and, through û - u, the bias of smoothing (Henderson 1975; Nychka 1988). Dense, as one curve joins all rows.

use super::spline_basis::SplineBasis;
use crate::dense::{add_scaled, cholesky_in_place, dot, solve_lower, solve_upper_transpose};
use crate::design::Design;
use crate::error::{Result, StatsError};
use crate::inference::{Contrast, LinearFit};
use crate::lmm::{LmmFit, relative_factors};

/// Effects of all terms above which the dense factor takes seconds.
const MOST_EFFECTS: usize = 2500;

#[derive(Debug, Clone)]
pub(crate) struct SplineCurve {
    basis: SplineBasis,
    /// Cholesky factor of A.
    lower: Vec<f64>,
    size: usize,
    /// First effect of the spline, the last term.
    first: usize,
    theta: f64,
    /// Conditional mode of every spline effect.
    modes: Vec<f64>,
    upper: Vec<f64>,
    effective_parameters: f64,
    df: f64,
}

impl SplineCurve {
    /// `design` has the spline as its last random term.
    pub(crate) fn new(design: &Design, fit: &LmmFit, basis: SplineBasis) -> Result<Self> {
        let rank = design.rank();
        let columns = scaled_columns(design, fit)?;
        let effects = columns.len();
        let size = effects + rank;
        let mut lower = vec![0.0; size * size];
        for i in 0..size {
            for j in 0..=i {
                lower[i * size + j] = match (i.checked_sub(effects), j.checked_sub(effects)) {
                    (None, _) => dot(&columns[i], &columns[j]) + f64::from(u8::from(i == j)),
                    (Some(k), None) => dot(design.qr.q_column(k), &columns[j]),
                    (Some(_), Some(_)) => f64::from(u8::from(i == j)),
                };
            }
        }
        if !cholesky_in_place(&mut lower, size) {
            return Err(StatsError::Numerical { step: "the mixed model equations of the spline" });
        }
        // Effective parameters: the trace of A⁻¹ (A without the penalty), p + q less the trace of the effects' part of A⁻¹.
        let mut kept = 0.0;
        for i in 0..effects {
            let mut unit = vec![0.0; size];
            unit[i] = 1.0;
            solve_lower(&lower, size, &mut unit);
            kept += dot(&unit, &unit);
        }
        let effective_parameters = (rank + effects) as f64 - kept;
        let spline = fit.conditional_modes().len() - basis.n_columns();
        Ok(Self {
            first: effects - basis.n_columns(),
            theta: fit.theta().last().copied().unwrap_or(0.0),
            modes: fit.conditional_modes()[spline..].iter().map(|column| column.modes[0]).collect(),
            upper: design.qr.r.clone(),
            // At least one degree of freedom: a curve through every point has no spread to judge it by.
            df: (design.n_observations() as f64 - effective_parameters).max(1.0),
            effective_parameters,
            basis,
            lower,
            size,
        })
    }

    pub(crate) fn effective_parameters(&self) -> f64 {
        self.effective_parameters
    }

    /// The curve at `x`, less the one at `reference` where that is given; `row` is the part of the fixed coefficients.
    pub(crate) fn ask(&self, fit: &LmmFit, row: &[f64], x: f64, reference: Option<f64>) -> Result<Contrast> {
        let mut spline = self.basis.row(x)?;
        if let Some(reference) = reference {
            add_scaled(&mut spline, -1.0, &self.basis.row(reference)?);
        }
        let mut weights = vec![0.0; self.size];
        for (weight, z) in weights[self.first..].iter_mut().zip(&spline) {
            *weight = self.theta * z;
        }
        let rank = row.len();
        let mut on_q = row.to_vec();
        solve_upper_transpose(&self.upper, &mut on_q);
        weights[self.size - rank..].copy_from_slice(&on_q);
        solve_lower(&self.lower, self.size, &mut weights);
        Ok(Contrast {
            estimate: dot(row, fit.coefficients()) + dot(&spline, &self.modes),
            std_error: fit.sigma() * dot(&weights, &weights).sqrt(),
            df: self.df,
            method: "rows less effective parameters".into(),
        })
    }
}

/// The columns of `√W ZΛ`, term by term, group by group, column by column.
fn scaled_columns(design: &Design, fit: &LmmFit) -> Result<Vec<Vec<f64>>> {
    let effects: usize = design.random().iter().map(|term| term.n_groups * term.n_columns()).sum();
    if effects > MOST_EFFECTS {
        return Err(StatsError::OutOfRange {
            what: "the number of random effects beside a spline",
            value: effects as f64,
            expected: "at most 2500; leave the spline out",
        });
    }
    let rows = design.n_observations();
    let mut columns = Vec::with_capacity(effects);
    for (term, factor) in design.random().iter().zip(relative_factors(design.random(), fit.theta())) {
        let width = term.n_columns();
        let first = columns.len();
        columns.resize(first + term.n_groups * width, vec![0.0; rows]);
        for i in 0..rows {
            for c in 0..width {
                let value: f64 = (c..width).map(|k| term.columns[k][i] * factor[k * width + c]).sum();
                columns[first + term.groups[i] * width + c][i] = design.root_weight(i) * value;
            }
        }
    }
    Ok(columns)
}
