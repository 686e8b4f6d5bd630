//! One design, many responses: for bootstraps and simulations.

use super::fit::{Data, Lmm, assemble, near, optimise_near};
use super::profile::Profile;
use super::remarks::{boundary, stopped_early};
use super::result::LmmFit;
use super::search::Near;
use crate::checks::{check_finite, check_length};
use crate::design::Design;
use crate::error::{Result, StatsError};

/// A design whose factorisation and patterns are kept, to be fitted to new responses.
///
/// Gives the same fits as [`Lmm::fit`] from one start, the first fit's variances and the curvature there, and leaves out what belongs to a first fit: the
/// comparison with the baseline solver, and Satterthwaite's degrees of freedom until a question needs them.
#[derive(Debug, Clone)]
pub struct Refits<'a> {
    design: &'a Design,
    model: Lmm,
    profile: Profile,
    weighted_columns: Vec<Vec<f64>>,
    near: Near,
}

impl<'a> Refits<'a> {
    /// `fit` is the first fit of `design`; refits use its likelihood and its degrees of freedom.
    ///
    /// # Errors
    /// A fit of another design.
    pub fn new(design: &'a Design, fit: &LmmFit) -> Result<Self> {
        let (_, profile) = Profile::of(design)?;
        check_length("theta of the fit", fit.theta().len(), profile.n_parameters())?;
        // A start on the edge would have to leave it first.
        let start = profile
            .unit()
            .iter()
            .zip(&profile.layout.parameters)
            .zip(fit.theta())
            .map(|((unit, parameter), theta)| {
                let size = theta / unit;
                if parameter.is_diagonal() { size.max(0.1) } else { size }
            })
            .collect();
        let near = near(&profile, fit.likelihood(), start);
        Ok(Self { design, model: fit.options(), profile, weighted_columns: design.weighted_columns(), near })
    }

    /// Fits the design to another response.
    ///
    /// # Errors
    /// As [`Lmm::fit`]; a response of another length.
    pub fn fit(&self, response: Vec<f64>) -> Result<LmmFit> {
        let design = self.design;
        check_length("the response", response.len(), design.n_observations())?;
        check_finite("the response", &response)?;
        let (least_squares, weighted_residuals) =
            design.qr.solve_quickly(&self.weighted_columns, &design.weighted(&response));
        check_finite("the coefficients of least squares", &least_squares)?;
        let profile = self.profile.with_residuals(design, &response, &weighted_residuals)?;
        let (theta, optimum) = optimise_near(&profile, self.model.criterion(), &self.near);
        if !theta.iter().all(|value| value.is_finite()) {
            return Err(StatsError::Numerical { step: "the search for the variances of a refit" });
        }
        let mut notes = stopped_early(&optimum);
        notes.extend(boundary(design, &profile, &theta));
        let data = Data { design, response: &response, least_squares: &least_squares };
        assemble(&data, profile, self.model, theta, optimum, notes)
    }
}
