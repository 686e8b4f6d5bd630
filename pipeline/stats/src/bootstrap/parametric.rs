//! Parametric bootstrap: new responses from the fitted model, fitted again.

use super::summary::Bootstrap;
use crate::checks::check_length;
use crate::design::Design;
use crate::error::{Result, StatsError};
use crate::inference::LinearFit;
use crate::lmm::{LmmFit, Refits, relative_factors};
use crate::random_effects::add_effects;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;
use rayon::prelude::*;

/// Simulates from `fit`, fits again and takes `statistic`, `replicates` times, on all processors.
///
/// Works for least squares too: a design without random terms, fitted by [`Lmm`](crate::Lmm). Refits use the criterion and the degrees of freedom of `fit`. Every replicate
/// has a random stream of its own, numbered by the replicate under one `seed`, so the numbers do not depend on how many processors
/// there are. A statistic may return NaN where it has no answer; a refit that fails is counted, see [`Bootstrap`].
///
/// For a test, give the fit under the hypothesis and use [`Bootstrap::p_value`].
///
/// # Errors
/// No replicates, or a fit of another design.
pub fn parametric_bootstrap(
    design: &Design,
    fit: &LmmFit,
    replicates: usize,
    seed: u64,
    statistic: impl Fn(&LmmFit) -> Vec<f64> + Sync,
) -> Result<Bootstrap> {
    check_replicates(replicates)?;
    check_same_design(design, fit)?;
    let refits = Refits::new(design, fit)?;
    let outcomes = (0..replicates)
        .into_par_iter()
        .map(|replicate| {
            refits
                .fit(simulate(design, fit, &mut stream(seed, replicate)))
                .map(|again| (statistic(&again), again.optimum().converged))
                .map_err(|error| error.to_string())
        })
        .collect();
    Ok(Bootstrap::gather(statistic(fit), outcomes))
}

/// A response drawn from the fitted model: fixed part, new random effects, new residuals (variance sigma² / weight).
///
/// # Errors
/// A fit of another design.
pub fn simulate_response(design: &Design, fit: &LmmFit, seed: u64) -> Result<Vec<f64>> {
    check_same_design(design, fit)?;
    Ok(simulate(design, fit, &mut stream(seed, 0)))
}

pub(super) fn check_replicates(replicates: usize) -> Result<()> {
    if replicates > 0 {
        return Ok(());
    }
    Err(StatsError::OutOfRange { what: "the number of replicates", value: 0.0, expected: "at least 1" })
}

pub(super) fn check_same_design(design: &Design, fit: &LmmFit) -> Result<()> {
    check_length("the fit (rows)", fit.n_observations(), design.n_observations())?;
    check_length("the fit (coefficients)", fit.coefficients().len(), design.rank())?;
    let parameters = design.random().iter().map(|term| term.n_parameters()).sum();
    check_length("the fit (covariance parameters)", fit.theta().len(), parameters)
}

/// Streams of one seed are independent of each other; see the ChaCha generator.
pub(super) fn stream(seed: u64, replicate: usize) -> ChaCha8Rng {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    random.set_stream(replicate as u64);
    random
}

fn simulate(design: &Design, fit: &LmmFit, random: &mut ChaCha8Rng) -> Vec<f64> {
    let mut response = fit.marginal_fitted().to_vec();
    let sigma = fit.sigma();
    for (term, factor) in design.random().iter().zip(relative_factors(design.random(), fit.theta())) {
        add_effects(&mut response, term, &factor, sigma, random);
    }
    for (i, value) in response.iter_mut().enumerate() {
        let spread = sigma / design.root_weight(i);
        *value += spread * random.sample::<f64, _>(StandardNormal);
    }
    response
}
