//! Bootstrap of whole groups.

use super::parametric::{check_replicates, check_same_design, stream};
use super::summary::Bootstrap;
use crate::checks::check_length;
use crate::design::Design;
use crate::error::{Result, StatsError};
use crate::lmm::{Criterion, Lmm, LmmFit};
use crate::random_effects::{lies_inside, resampled_term};
use rand::Rng;
use rayon::prelude::*;

/// Draws whole groups of rows with replacement, as many as there are, fits again and takes `statistic`, `replicates` times.
///
/// `groups` holds the group of each row. A group drawn twice counts as two groups: random terms whose levels lie inside single groups
/// get new levels for every copy; other terms (crossed with the groups) keep theirs. `statistic` is given the resampled design, whose
/// columns are the kept columns of `design`: a resample can lose a column, so rows of coefficients belong through
/// [`Design::estimable_row`]; NaN says that a resample has no answer. Fixed columns that mark single groups are lost in most
/// resamples: make the groups a random term first.
///
/// The fit of the original rows is taken from `fit`, as are the criterion of the refits. Streams as in [`parametric_bootstrap`].
///
/// [`parametric_bootstrap`]: crate::parametric_bootstrap
///
/// # Errors
/// No replicates, a fit of another design, fewer than two groups, a list of groups of the wrong length.
pub fn group_bootstrap(
    design: &Design,
    fit: &LmmFit,
    groups: &[usize],
    replicates: usize,
    seed: u64,
    statistic: impl Fn(&Design, &LmmFit) -> Vec<f64> + Sync,
) -> Result<Bootstrap> {
    check_replicates(replicates)?;
    check_same_design(design, fit)?;
    check_length("the groups", groups.len(), design.n_observations())?;
    let members = members(groups);
    if members.len() < 2 {
        return Err(StatsError::TooFewValues {
            what: "a bootstrap of groups (groups)",
            needed: 2,
            found: members.len(),
        });
    }
    let nested: Vec<bool> = design.random().iter().map(|term| lies_inside(term, groups)).collect();
    let model = refit_like(fit);
    let outcomes = (0..replicates)
        .into_par_iter()
        .map(|replicate| {
            let mut random = stream(seed, replicate);
            let drawn: Vec<usize> = (0..members.len()).map(|_| random.random_range(0..members.len())).collect();
            resample(design, &members, &nested, &drawn)
                .and_then(|again| model.fit(&again).map(|fit| (again, fit)))
                .map(|(again, fit)| (statistic(&again, &fit), fit.optimum().converged))
                .map_err(|error| error.to_string())
        })
        .collect();
    Ok(Bootstrap::gather(statistic(design, fit), outcomes).with_groups(members.len()))
}

/// The options that `fit` was made with.
fn refit_like(fit: &LmmFit) -> Lmm {
    let model = match fit.likelihood() {
        Criterion::Reml => Lmm::reml(),
        Criterion::MaximumLikelihood => Lmm::maximum_likelihood(),
    };
    model.with_degrees_of_freedom(fit.degrees_of_freedom())
}

/// Rows of every group that has rows, by ascending code.
fn members(groups: &[usize]) -> Vec<Vec<usize>> {
    let mut by_code: std::collections::BTreeMap<usize, Vec<usize>> = std::collections::BTreeMap::new();
    for (row, &code) in groups.iter().enumerate() {
        by_code.entry(code).or_default().push(row);
    }
    by_code.into_values().collect()
}

fn resample(design: &Design, members: &[Vec<usize>], nested: &[bool], drawn: &[usize]) -> Result<Design> {
    let rows: Vec<usize> = drawn.iter().flat_map(|&group| members[group].iter().copied()).collect();
    let copies: Vec<usize> =
        drawn.iter().enumerate().flat_map(|(copy, &group)| std::iter::repeat_n(copy, members[group].len())).collect();
    let random = design
        .random()
        .iter()
        .zip(nested)
        .map(|(term, &nested)| resampled_term(term, &rows, nested.then_some(&copies)))
        .collect();
    let response = rows.iter().map(|&row| design.response()[row]).collect();
    let fixed = design.fixed().select(ndarray::Axis(0), &rows);
    let names = design.names().to_vec();
    let weights = design.weights().map(|weights| rows.iter().map(|&row| weights[row]).collect::<Vec<f64>>());
    match weights {
        Some(weights) if design.sampling_variances_known() => {
            let variances: Vec<f64> = weights.iter().map(|weight| 1.0 / weight).collect();
            Design::with_sampling_variances(response, fixed, names, random, &variances)
        }
        weights => Design::new(response, fixed, names, random, weights),
    }
}
