//! Positions without weighed forces: compared as treatments, and the start named by its label.
//!
//! Positions of one planter in one condition are a factor, never numbers on the force axis, and never pooled with another planter. In
//! field-seasons in which they varied (`trial`), the settings are tested as in `levels` (`test`), and a mixed model is drawn (`draws`):
//!
//! `y = a_k + u_f + u_b + v_fk + e`
//!
//! with field-season f fixed, and position k, block b and field-season × position random. `decision` reads the draws by the same lines as the
//! answers on the force axis, and `rows` writes the tables.

mod decision;
mod draws;
mod rows;
mod test;
#[cfg(test)]
mod tests;
mod trial;

use evenstand_settings::{Knob, Position};
use evenstand_tables::rows::{ComparisonRow, FactorRow, ModelRow, StripRow};
use rayon::prelude::*;

use crate::analysis::{Questions, seed_of};
use crate::comparisons::{DefaultSetting, Yardstick, comparisons};
use crate::covariance::Before;
use crate::decision::NO_DIFFERENCE;
use crate::drawn::Drawing;
use crate::factors::factor_rows;
use crate::group_answer::{GroupAnswer, Members, Outlook};
use crate::groups::{Axis, Coverage, GroupKey};
use crate::response::{Better, Measures, Response};
use crate::summary::mean;
use crate::words;
use decision::{Decision, DefaultPlace, decide};
use draws::LabelDraws;
pub(crate) use rows::{fill_knob, fill_starting_point};
use test::LabelTest;
use trial::Trial;

/// What all groups of positions give.
#[derive(Default)]
pub(crate) struct LabelAnswers {
    pub groups: Vec<GroupAnswer>,
    pub comparisons: Vec<ComparisonRow>,
    pub factors: Vec<FactorRow>,
    pub facts: Vec<ModelRow>,
}

/// What one group of positions can tell of one response.
pub(crate) struct Labelled {
    /// Labels of the positions compared, lightest first.
    labels: Vec<String>,
    test: LabelTest,
    decision: Decision,
    reference: LabelReference,
}

impl Labelled {
    /// p value of the test that all positions are alike, where none could be told from another.
    pub fn unseen(&self) -> Option<f64> {
        Some(self.test.p_value).filter(|p_value| *p_value > NO_DIFFERENCE)
    }
}

/// The position that the start is held against.
struct LabelReference {
    label: Option<String>,
    /// Whether the planter names it; otherwise the position used most stands for it.
    given: bool,
}

/// Whether the strips of a group are compared by the labels of their positions. Only the key of such a group names a planter although no strip
/// of it has a force.
pub(crate) fn by_label(key: &GroupKey, strips: &[&StripRow]) -> bool {
    !key.planter_id.is_empty() && strips.iter().all(|strip| strip.force_n.is_none())
}

/// Answers of all groups whose positions have no weighed forces, for every response they have.
pub(crate) fn label_answers(questions: &Questions, measures: &Measures, members: &Members) -> LabelAnswers {
    let responses = Response::all(measures);
    let groups = members.iter().filter(|(key, strips)| by_label(key, strips));
    let tasks: Vec<_> = groups.flat_map(|group| responses.iter().map(move |response| (group, response))).collect();
    let found: Vec<LabelAnswers> = tasks
        .par_iter()
        .map(|((key, strips), response)| work_out(questions, measures, key, strips, response))
        .collect();
    let mut all = LabelAnswers::default();
    for one in found {
        all.groups.extend(one.groups);
        all.comparisons.extend(one.comparisons);
        all.factors.extend(one.factors);
        all.facts.extend(one.facts);
    }
    all
}

fn work_out(
    questions: &Questions,
    measures: &Measures,
    key: &GroupKey,
    strips: &[&StripRow],
    response: &Response,
) -> LabelAnswers {
    let settings = questions.settings;
    let planter = settings.planter(&key.planter_id);
    let positions = planter.unweighed_positions().unwrap_or_default();
    let Some(trial) = Trial::new(key, strips, positions, response, measures) else { return LabelAnswers::default() };
    let axis = Axis::Nominal(key.planter_id.clone());
    let given = match &planter.knob {
        Some(Knob::Positions { default, .. }) => default.clone(),
        _ => None,
    };
    let default_of = |_: &GroupKey| given.clone().map(DefaultSetting::Position);
    let before = Before { names: &settings.analysis.covariates, measures };
    let margin = settings.tolerance.of(&response.name);
    let yardstick = Yardstick { margin, default_of: &default_of, before: &before };
    let whole_plots = settings.analysis.whole_plots.as_deref();
    let mut answers = LabelAnswers {
        comparisons: comparisons(&trial.observed, response, &axis, &yardstick),
        factors: factor_rows(&trial.observed, response, &axis, whole_plots, &before),
        ..LabelAnswers::default()
    };
    if response.better == Better::Neither {
        return answers;
    }
    let tolerance = settings.tolerance.of(&response.name).unwrap_or_else(|| {
        let values: Vec<f64> = trial.observed.rows.iter().map(|row| row.value.value).collect();
        0.02 * mean(&values).abs()
    });
    let reference = LabelReference { given: given.is_some(), label: given.or_else(|| most_used(strips, positions)) };
    let place = format!("{}; {}; {}", key.condition, key.closer, key.planter_id);
    let drawing =
        Drawing { seed: seed_of(settings.analysis.seed, &place, &response.name), draws: settings.analysis.draws };
    let finding = match told(&trial, response, tolerance, reference, positions, drawing, &place) {
        Ok((labelled, facts)) => {
            answers.facts = facts;
            Outlook::Labelled(Box::new(labelled))
        }
        Err(why) => Outlook::Open(why),
    };
    answers.groups.push(GroupAnswer {
        key: key.clone(),
        response: response.name.clone(),
        primary: false,
        tolerance,
        coverage: trial.coverage,
        finding,
    });
    answers
}

/// The answer of one group, with what was fitted; the error says why there is none.
fn told(
    trial: &Trial,
    response: &Response,
    tolerance: f64,
    reference: LabelReference,
    positions: &[Position],
    drawing: Drawing,
    place: &str,
) -> Result<(Labelled, Vec<ModelRow>), String> {
    if let Some(why) = nothing_to_compare(&trial.coverage, &trial.observed.groups[0].0.condition) {
        return Err(why);
    }
    let compared = trial.compared();
    let alike = compared.modelled.iter().all(|value| *value == compared.modelled[0]);
    let not_fitted = || words::not_fitted(alike).replace("for a curve", "to compare positions");
    let test = LabelTest::new(&compared, response).ok_or_else(not_fitted)?;
    let draws = LabelDraws::new(&compared, &test, response, drawing).map_err(|_| not_fitted())?;
    let default = default_among(&compared.labels, reference.label.as_deref(), positions);
    let decision = decide(&draws, &test, &trial.coverage, tolerance, default, &compared.tried());
    let facts = rows::facts(place, response, &compared, &test, &draws);
    Ok((Labelled { labels: compared.labels, test, decision, reference }, facts))
}

/// Where the default stands among the labels tried.
fn default_among(labels: &[String], default: Option<&str>, positions: &[Position]) -> DefaultPlace {
    let place = |label: &str| positions.iter().position(|position| position.label == label);
    let Some(default) = default else { return DefaultPlace::Other };
    if let Some(number) = labels.iter().position(|label| label == default) {
        return DefaultPlace::Tried(number);
    }
    let ends = [labels.first(), labels.last()].map(|end| place(end?));
    match (place(default), ends) {
        (Some(default), [Some(lightest), _]) if default < lightest => DefaultPlace::Lighter,
        (Some(default), [_, Some(heaviest)]) if default > heaviest => DefaultPlace::Heavier,
        _ => DefaultPlace::Other,
    }
}

/// As on the force axis; seasons of one field against each other are not told by label.
fn nothing_to_compare(coverage: &Coverage, condition: &str) -> Option<String> {
    words::nothing_to_compare(coverage, condition).or_else(|| {
        (coverage.basis == crate::groups::Basis::Logs).then(|| {
            format!(
                "The position varied only between the seasons of a field ({}), so what it did cannot be told from what the season did. Lay out strips at different positions in one field.",
                words::counted(coverage.field_seasons, "field-season")
            )
        })
    })
}

/// The label most strips stand at; of several, the one nearest the middle, and of two of these the lighter: a default is rarely at an end.
fn most_used(strips: &[&StripRow], positions: &[Position]) -> Option<String> {
    let used = |position: &Position| {
        strips.iter().filter(|strip| strip.closing_position.as_deref() == Some(position.label.as_str())).count()
    };
    let counts: Vec<usize> = positions.iter().map(used).collect();
    let most = counts.iter().max().filter(|most| **most > 0)?;
    let from_middle = |number: &usize| (2 * number + 1).abs_diff(positions.len());
    let number = (0..positions.len()).filter(|number| counts[*number] == *most).min_by_key(from_middle)?;
    Some(positions[number].label.clone())
}
