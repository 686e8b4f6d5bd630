//! One design, many responses: for bootstraps and simulations.

use super::fit::{Lmm, assemble, optimise_from};
use super::profile::Profile;
use super::remarks::{boundary, stopped_early};
use super::result::LmmFit;
use crate::design::Design;
use crate::error::{Result, StatsError};
use crate::least_squares::LeastSquares;

/// A design whose factorisation and patterns are kept, to be fitted to new responses.
///
/// Gives the same fits as [`Lmm::fit`] from one start, the first fit's variances, and leaves out what belongs to a first fit: the
/// comparison with the baseline solver, and Satterthwaite's degrees of freedom until a question needs them.
#[derive(Debug, Clone)]
pub struct Refits<'a> {
    design: &'a Design,
    model: Lmm,
    profile: Profile,
    start: Vec<f64>,
}

impl<'a> Refits<'a> {
    /// `fit` is the first fit of `design`; refits use its likelihood and its degrees of freedom.
    ///
    /// # Errors
    /// A fit of another design.
    pub fn new(design: &'a Design, fit: &LmmFit) -> Result<Self> {
        let least_squares = LeastSquares.fit(design)?;
        let profile = Profile::new(design, &design.weighted(least_squares.residuals()))?;
        crate::checks::check_length("theta of the fit", fit.theta().len(), profile.n_parameters())?;
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
        Ok(Self { design, model: fit.options(), profile, start })
    }

    /// Fits the design to another response.
    ///
    /// # Errors
    /// As [`Lmm::fit`]; a response of another length.
    pub fn fit(&self, response: Vec<f64>) -> Result<LmmFit> {
        let design = self.design.with_response(response)?;
        let least_squares = LeastSquares.fit(&design)?;
        let profile = self.profile.with_residuals(&design, &design.weighted(least_squares.residuals()))?;
        let (theta, optimum) = optimise_from(&profile, self.model.criterion(), std::slice::from_ref(&self.start));
        if !theta.iter().all(|value| value.is_finite()) {
            return Err(StatsError::Numerical { step: "the search for the variances of a refit" });
        }
        let mut notes = stopped_early(&optimum);
        notes.extend(boundary(&design, &profile, &theta));
        assemble(&design, &least_squares, profile, self.model, theta, optimum, notes)
    }
}
