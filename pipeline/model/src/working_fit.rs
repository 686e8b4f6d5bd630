//! The fit behind tests and intervals: least squares without random terms, else restricted likelihood with Kenward-Roger.

use evenstand_stats::{DegreesOfFreedom, Design, LeastSquares, LinearFit, Lmm, LmmFit, RandomTerm, Result, StatsError};
use ndarray::Array2;

/// Name of the random term for what strips differ by beyond the error of their own counts.
pub(crate) const STRIP: &str = "strip";

/// A design; where every row has a standard error of its own, these are the sampling variances and strips differ beyond them by
/// a random term of their own, the last one. (Without them the residual is both.)
pub(crate) fn design(
    response: Vec<f64>,
    matrix: Array2<f64>,
    names: Vec<String>,
    mut random: Vec<RandomTerm>,
    weights: Option<Vec<f64>>,
    std_errors: Option<Vec<f64>>,
) -> Result<Design> {
    let Some(std_errors) = std_errors else { return Design::new(response, matrix, names, random, weights) };
    let rows = response.len();
    random.push(RandomTerm::intercept(STRIP, (0..rows).collect(), rows));
    let variances: Vec<f64> = std_errors.iter().map(|error| error * error).collect();
    Design::with_sampling_variances(response, matrix, names, random, &variances)
}

/// A mixed model with Kenward and Roger's degrees of freedom; where they do not exist, with Satterthwaite's and a remark that says so.
pub(crate) fn mixed_model(design: &Design) -> Result<(LmmFit, Option<String>)> {
    match Lmm::reml().with_degrees_of_freedom(DegreesOfFreedom::KenwardRoger).fit(design) {
        Err(error @ StatsError::DegreesOfFreedom { .. }) => {
            let reason = error.to_string();
            let remark = reason.lines().next().unwrap_or_default().to_owned();
            Ok((Lmm::reml().fit(design)?, Some(remark)))
        }
        fitted => Ok((fitted?, None)),
    }
}

/// Whatever fit these columns and terms call for, with remarks on its degrees of freedom and on terms estimated as zero.
pub(crate) fn fit(design: &Design) -> Result<(Box<dyn LinearFit>, Vec<String>)> {
    if design.random().is_empty() {
        return Ok((Box::new(LeastSquares.fit(design)?), Vec::new()));
    }
    let (fit, remark) = mixed_model(design)?;
    let components = fit.variance_components().iter();
    let zero: Vec<&str> =
        components.filter(|component| component.variance == 0.0).map(|component| component.term.as_str()).collect();
    let zero = (!zero.is_empty()).then(|| format!("estimated as zero: {}", zero.join(", ")));
    let remarks = remark.into_iter().chain(zero).collect();
    Ok((Box::new(fit), remarks))
}
