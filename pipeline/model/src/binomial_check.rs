//! The second opinion on shares: the same columns and terms in a binomial mixed model on the counts themselves.
//!
//! The working model takes empirical logits as normal, which is fast and has small-sample degrees of freedom; the binomial model
//! takes the counts as they are, with a strip term for what strips differ by beyond chance. Where both tell the same slopes, neither
//! assumption carries the answer.

use evenstand_stats::{BinomialDesign, BinomialMixed, LinearFit, LmmFit, RandomTerm};
use ndarray::Array2;

use crate::curve::GroupTerms;
use crate::observations::Observation;
use crate::working_fit::STRIP;

/// Slopes that differ by more than this many standard errors of the working model are a finding.
const AGREEMENT: f64 = 1.0;

/// A coefficient in both models.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Compared {
    pub name: String,
    /// Group whose slope or curvature of force this is; none for other coefficients.
    pub group: Option<usize>,
    pub estimate: f64,
    pub std_error: f64,
    /// Difference from the working model, in its standard errors.
    pub difference: f64,
}

/// The binomial model beside the working one.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct BinomialCheck {
    pub coefficients: Vec<Compared>,
    /// Name and standard deviation of each random term, on the logit.
    pub deviations: Vec<(String, f64)>,
    pub log_likelihood: f64,
    pub converged: bool,
    /// How the search ended.
    pub reason: String,
    pub notes: Vec<String>,
}

impl BinomialCheck {
    /// Fits the binomial model to the rows of the working one. The error says in words why there is none.
    pub fn new(
        rows: &[Observation],
        matrix: &Array2<f64>,
        names: &[String],
        random: &[RandomTerm],
        working: &LmmFit,
        groups: &[GroupTerms],
    ) -> Result<Self, String> {
        let counts: Vec<(f64, f64)> = rows
            .iter()
            .map(|row| {
                let seeds = row.value.seeds.unwrap_or(0.0).round();
                ((row.value.value * row.value.seeds.unwrap_or(0.0)).round().min(seeds), seeds)
            })
            .collect();
        let (plants, seeds) = counts.into_iter().unzip();
        let mut terms = random.to_vec();
        terms.push(RandomTerm::intercept(STRIP, (0..rows.len()).collect(), rows.len()));
        let fit = BinomialDesign::new(plants, seeds, matrix.clone(), names.to_vec(), terms)
            .and_then(|design| BinomialMixed::laplace().fit(&design))
            .map_err(|error| error.to_string().lines().next().unwrap_or_default().to_owned())?;
        let working_errors = working.standard_errors();
        let coefficients = fit
            .names()
            .iter()
            .zip(fit.coefficients())
            .zip(fit.standard_errors())
            .filter_map(|((name, &estimate), std_error)| {
                let column = working.names().iter().position(|other| other == name)?;
                let difference = (estimate - working.coefficients()[column]) / working_errors[column];
                let of_force = |terms: &GroupTerms| [terms.linear, terms.quadratic].contains(&Some(column));
                let group = groups.iter().position(of_force);
                Some(Compared { name: name.clone(), group, estimate, std_error, difference })
            })
            .collect();
        Ok(Self {
            coefficients,
            deviations: fit
                .random_deviations()
                .iter()
                .map(|deviation| (deviation.term.clone(), deviation.standard_deviation))
                .collect(),
            log_likelihood: fit.log_likelihood(),
            converged: fit.record().converged,
            reason: fit.record().reason.clone(),
            notes: fit.notes().iter().map(|note| note.message.clone()).collect(),
        })
    }

    /// The slope or curvature of force that differs most between the models.
    pub fn worst(&self) -> Option<&Compared> {
        self.coefficients
            .iter()
            .filter(|compared| compared.group.is_some())
            .max_by(|a, b| a.difference.abs().total_cmp(&b.difference.abs()))
    }

    /// Whether both models tell the same slopes.
    pub fn agrees(&self) -> bool {
        self.worst().is_none_or(|worst| worst.difference.abs() <= AGREEMENT)
    }
}
