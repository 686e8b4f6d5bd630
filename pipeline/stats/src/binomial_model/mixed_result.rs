//! What a logistic mixed model can be asked.

use super::coefficients::{Coefficients, answer_linear_fit};
use crate::lmm::ConditionalModes;
use crate::note::Note;
use crate::search_record::SearchRecord;

/// Estimated standard deviation of one random term.
#[derive(Debug, Clone, PartialEq)]
pub struct RandomDeviation {
    /// Name of the term.
    pub term: String,
    /// Standard deviation of its effects, on the logit (per unit of the covariate for a slope).
    pub standard_deviation: f64,
    /// Standard error of its logarithm; `None` for an estimate of zero, where there is none, and after a search that failed.
    pub std_error_of_log: Option<f64>,
}

/// Result of [`BinomialMixed::fit`](super::BinomialMixed::fit).
///
/// Contrasts are compared with the normal distribution (`z`, infinite degrees of freedom): with few groups their limits are too short.
#[derive(Debug, Clone)]
pub struct BinomialMixedFit {
    pub(super) coefficients: Coefficients,
    pub(super) deviations: Vec<RandomDeviation>,
    pub(super) modes: Vec<ConditionalModes>,
    pub(super) log_likelihood: f64,
    pub(super) probabilities: Vec<f64>,
    pub(super) marginal_logits: Vec<f64>,
    pub(super) record: SearchRecord,
    pub(super) notes: Vec<Note>,
    pub(super) n_observations: usize,
}

answer_linear_fit!(BinomialMixedFit);

impl BinomialMixedFit {
    /// Standard deviation of each random term.
    pub fn random_deviations(&self) -> &[RandomDeviation] {
        &self.deviations
    }

    /// Most likely effects of each random term given the estimates, on the logit, with their conditional standard deviations.
    pub fn conditional_modes(&self) -> &[ConditionalModes] {
        &self.modes
    }

    /// Fitted probabilities (n), random effects at their modes.
    pub fn probabilities(&self) -> &[f64] {
        &self.probabilities
    }

    /// Logits (n) of the fixed part alone. Their probabilities are those of a group with effects of zero, not averages over groups.
    pub fn marginal_logits(&self) -> &[f64] {
        &self.marginal_logits
    }

    /// How the search ended.
    pub fn record(&self) -> &SearchRecord {
        &self.record
    }

    fn count_parameters(&self) -> usize {
        self.coefficients.values.len() + self.deviations.len()
    }
}
