//! Likelihood-ratio tests between nested mixed models.

use super::profile::Criterion;
use super::result::LmmFit;
use crate::error::{Result, StatsError};
use crate::inference::LinearFit;
use crate::likelihood_ratio::LikelihoodRatio;
use crate::random_term::Structure;

/// Tests random terms: `smaller` has some of the terms of `larger`, or fewer columns in one of them, and the same fixed columns.
///
/// A variance of zero lies on the edge of what is possible, so the chi-squared distribution with as many degrees of freedom as there are
/// parameters is too wide. For one term, or the last of q correlated columns, the reference is the equal mixture of chi-squared with q - 1 and
/// q degrees of freedom (Self & Liang 1987; Stram & Lee 1994, case 3). For several uncorrelated terms at once it is the binomial mixture,
/// which holds where their estimates are uncorrelated and is only approximate otherwise. With few groups every one of these is
/// approximate; a parametric bootstrap is not.
///
/// # Errors
/// Fits by different likelihoods, of different rows or fixed columns, or terms that are not nested.
pub fn test_random_terms(smaller: &LmmFit, larger: &LmmFit) -> Result<LikelihoodRatio> {
    check_comparable(smaller, larger)?;
    let same = smaller.names() == larger.names() || smaller.likelihood() == Criterion::MaximumLikelihood;
    if !same || smaller.names().len() != larger.names().len() {
        return Err(not_nested("the fixed columns of the two fits differ"));
    }
    let mut added = Vec::new();
    let mut widened = None;
    for term in &larger.terms {
        match smaller.terms.iter().find(|other| other.name == term.name) {
            None => added.push(term),
            Some(other) if other.columns == term.columns && other.structure == term.structure => {}
            Some(other) if other.columns + 1 == term.columns && term.structure == Structure::Correlated => {
                widened = Some(term);
            }
            Some(_) => return Err(not_nested("a term of the smaller fit differs in more than one column")),
        }
    }
    if smaller.terms.iter().any(|term| larger.terms.iter().all(|other| other.name != term.name)) {
        return Err(not_nested("the smaller fit has a term that the larger one has not"));
    }
    let statistic = smaller.criterion() - larger.criterion();
    match (added.as_slice(), widened) {
        ([], None) => Err(not_nested("both have the same random terms")),
        ([], Some(term)) => Ok(mixture_of_two(statistic, term.columns)),
        ([term], None) if term.structure == Structure::Correlated && term.columns > 1 => {
            Err(not_nested("a term with several correlated columns is added; add its columns one at a time"))
        }
        ([_], None) => Ok(mixture_of_two(statistic, 1)),
        (several, None) if several.iter().all(|term| term.structure == Structure::Common) => {
            let count = several.len();
            let weight = |k: usize| binomial_coefficient(count, k) * 0.5_f64.powi(count as i32);
            let mixture = (0..=count).map(|k| (k, weight(k))).collect();
            let method = format!("binomial mixture of chi-squared with 0 to {count} degrees of freedom (approximate)");
            Ok(LikelihoodRatio::new(statistic, mixture, method))
        }
        _ => Err(not_nested("terms are added and widened at once; compare one step at a time")),
    }
}

/// Tests fixed columns: both fits by maximum likelihood with the same random terms, and the columns of `smaller` among those of `larger`.
///
/// The reference is chi-squared with the difference in the number of coefficients; with few groups it is too narrow, and an F test with
/// Kenward-Roger degrees of freedom is to be preferred.
///
/// # Errors
/// Fits by restricted likelihood, of different rows, or not nested.
pub fn test_fixed_columns(smaller: &LmmFit, larger: &LmmFit) -> Result<LikelihoodRatio> {
    check_comparable(smaller, larger)?;
    if larger.likelihood() != Criterion::MaximumLikelihood {
        return Err(not_nested(
            "restricted likelihoods with different fixed columns are not comparable; fit by maximum likelihood",
        ));
    }
    if smaller.terms != larger.terms {
        return Err(not_nested("the random terms of the two fits differ"));
    }
    let difference = larger.coefficients().len() as i64 - smaller.coefficients().len() as i64;
    if difference < 1 || !smaller.names().iter().all(|name| larger.names().contains(name)) {
        return Err(not_nested("the fixed columns of the smaller fit are not among those of the larger one"));
    }
    Ok(LikelihoodRatio::chi_squared(smaller.criterion() - larger.criterion(), difference as usize))
}

fn mixture_of_two(statistic: f64, columns: usize) -> LikelihoodRatio {
    let method = format!("equal mixture of chi-squared with {} and {columns} degrees of freedom", columns - 1);
    LikelihoodRatio::new(statistic, vec![(columns - 1, 0.5), (columns, 0.5)], method)
}

fn check_comparable(smaller: &LmmFit, larger: &LmmFit) -> Result<()> {
    if smaller.likelihood() != larger.likelihood() {
        return Err(not_nested("one was fitted by restricted, the other by maximum likelihood"));
    }
    if smaller.n_observations() != larger.n_observations() {
        return Err(not_nested("they have different numbers of rows"));
    }
    Ok(())
}

fn not_nested(reason: &'static str) -> StatsError {
    StatsError::NotComparable { reason }
}

fn binomial_coefficient(n: usize, k: usize) -> f64 {
    (0..k).map(|i| (n - i) as f64 / (i + 1) as f64).product()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_mixture_halves_the_p_value_of_one_variance() {
        // 3.841458820694124 is the 95 % point of chi-squared with one degree of freedom.
        let test = mixture_of_two(3.841_458_820_694_124, 1);
        assert!((test.p_value - 0.025).abs() < 1e-12);
        assert_eq!(mixture_of_two(0.0, 1).p_value, 1.0);
    }

    #[test]
    fn binomial_coefficients_are_those_of_pascal() {
        assert_eq!((0..=4).map(|k| binomial_coefficient(4, k)).collect::<Vec<_>>(), [1.0, 4.0, 6.0, 4.0, 1.0]);
    }
}
