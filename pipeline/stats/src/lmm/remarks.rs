//! Remarks on standard deviations: too few groups, zero, a search that stopped early.

use super::optimizer::OptimumRecord;
use super::profile::Profile;
use crate::design::Design;
use crate::note::Note;
use crate::random_term::RandomTerm;

/// A remark on a search that did not meet its stopping rule.
pub(super) fn stopped_early(optimum: &OptimumRecord) -> Vec<Note> {
    if optimum.converged {
        return Vec::new();
    }
    let message = format!(
        "the search for the standard deviations stopped early: {}; largest derivative {:.1e}",
        optimum.reason, optimum.largest_gradient
    );
    vec![Note::new("stopped-early", message)]
}

/// Remarks on variances estimated as zero and on correlations estimated as one.
pub(super) fn boundary(design: &Design, profile: &Profile, theta: &[f64]) -> Vec<Note> {
    let terms = design.random();
    let zero = |&index: &usize| theta[index] == 0.0 && profile.layout.parameters[index].is_diagonal();
    (0..theta.len())
        .filter(zero)
        .map(|index| {
            let parameter = profile.layout.parameters[index];
            let label = terms[parameter.term].label(parameter.row);
            let factor = profile.layout.templates[parameter.term].factor(theta);
            let q = terms[parameter.term].n_columns();
            let row = &factor[parameter.row * q..(parameter.row + 1) * q];
            let message = if q > 1 && row.iter().any(|value| *value != 0.0) {
                format!(
                    "the effects of `{label}` were estimated as a fixed combination of those of the columns before it (a correlation \
                     of one): these data cannot tell them apart, which does not show that they are one"
                )
            } else {
                estimated_as_zero(&label)
            };
            Note::new("boundary", message)
        })
        .collect()
}

/// What an estimate of zero does and does not say.
pub(crate) fn estimated_as_zero(label: &str) -> String {
    format!(
        "the standard deviation of `{label}` was estimated as zero: these data cannot tell it from zero, \
         which does not show that it is zero"
    )
}

/// A remark on each term with fewer than five groups.
pub(crate) fn few_groups(terms: &[RandomTerm]) -> Vec<Note> {
    terms
        .iter()
        .map(|term| (term, term.used_groups()))
        .filter(|(term, used)| *used < 5 && term.n_groups > 1)
        .map(|(term, used)| {
            Note::new(
                "few-groups",
                format!(
                    "the standard deviation of `{}` rests on {used} groups: it may be far off in either direction",
                    term.name
                ),
            )
        })
        .collect()
}
