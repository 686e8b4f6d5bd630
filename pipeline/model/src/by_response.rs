//! One response on one axis: comparisons, curve, and the answer of every group.

use evenstand_settings::Settings;
use evenstand_tables::rows::{
    AdjustedRow, ComparisonRow, CurveRow, FactorRow, FieldCurveRow, FieldEffectRow, ModelRow,
};
use evenstand_tables::{Finding, LongTable};
use rayon::prelude::*;

use crate::analysis::{Questions, seed_of};
use crate::comparisons::{DefaultSetting, Yardstick, comparisons};
use crate::covariance::Before;
use crate::curve::{CurveModel, fit_curves};
use crate::curve_tables::{adjusted_rows, curve_rows, field_curve_rows};
use crate::decision::{best_not_tried, picture};
use crate::drawn::Drawing;
use crate::draws::GroupDraws;
use crate::factors::factor_rows;
use crate::facts::{model_facts, not_fitted};
use crate::field_effects::{Contrast, field_effect_rows};
use crate::group_answer::{GroupAnswer, Members, Outlook, Told};
use crate::groups::{Axis, Coverage, GroupKey};
use crate::knob::Reference;
use crate::left_out::{LeftOut, left_out};
use crate::levels::{LevelTest, test_levels};
use crate::observations::observations;
use crate::own_answer::own_answer;
use crate::response::{Better, Measures, Response};
use crate::strip_error::strip_variance;
use crate::summary::mean;
use crate::words;

/// Answers of one response on one axis.
#[derive(Default)]
pub(crate) struct Outcome {
    pub groups: Vec<GroupAnswer>,
    pub curves: Vec<CurveRow>,
    pub field_curves: LongTable<FieldCurveRow>,
    pub field_effects: Vec<FieldEffectRow>,
    pub adjusted: LongTable<AdjustedRow>,
    pub comparisons: LongTable<ComparisonRow>,
    pub factors: Vec<FactorRow>,
    pub facts: Vec<ModelRow>,
    pub findings: Vec<Finding>,
}

/// Works out one response on one axis: what compares settings, and the curve with all that rests on it.
pub(crate) fn work_out(
    questions: &Questions,
    measures: &Measures,
    members: &Members,
    axis: &Axis,
    response: &Response,
) -> Outcome {
    let settings = questions.settings;
    let Some(observed) = observations(questions.strips, measures, response, axis) else { return Outcome::default() };
    let default_of = |key: &GroupKey| {
        let default = Reference::pooled(members.get(key)?, settings);
        default.force_n.filter(|_| default.given).map(DefaultSetting::Force)
    };
    let before = Before { names: &settings.analysis.covariates, measures };
    let margin = settings.tolerance.of(&response.name);
    let yardstick = Yardstick { margin, default_of: &default_of, before: &before };
    let whole_plots = settings.analysis.whole_plots.as_deref();
    let (comparisons, factors) = rayon::join(
        || comparisons(&observed, response, axis, &yardstick).into(),
        || factor_rows(&observed, response, axis, whole_plots, &before),
    );
    let mut outcome = Outcome { comparisons, factors, ..Outcome::default() };
    if response.better == Better::Neither {
        return outcome;
    }
    let observed = observed.behind_curves();
    let tolerance = settings.tolerance.of(&response.name).unwrap_or_else(|| {
        let values: Vec<f64> = observed.rows.iter().map(|row| row.value.value).collect();
        0.02 * mean(&values).abs()
    });
    let open = |key: &GroupKey, coverage: &Coverage, why: String| GroupAnswer {
        key: key.clone(),
        response: response.name.clone(),
        primary: false,
        tolerance,
        coverage: coverage.clone(),
        finding: Outlook::Open(why),
    };
    let groups = observed.groups.clone();
    if groups.iter().all(|(key, coverage)| words::nothing_to_compare(coverage, &key.condition).is_some()) {
        outcome.groups = groups
            .iter()
            .filter_map(|(key, coverage)| {
                Some(open(key, coverage, words::nothing_to_compare(coverage, &key.condition)?))
            })
            .collect();
        return outcome;
    }
    let first = observed.rows[0].modelled;
    let alike = observed.rows.iter().all(|row| row.modelled == first);
    let seed = seed_of(settings.analysis.seed, axis.name(), &response.name);
    let model = match fit_curves(response, observed, Drawing { seed, draws: settings.analysis.draws }) {
        Ok(model) => model,
        Err(why) => {
            outcome.facts = not_fitted(axis, &response.name, &why);
            outcome.groups = groups
                .iter()
                .map(|(key, coverage)| {
                    let reason =
                        words::nothing_to_compare(coverage, &key.condition).unwrap_or_else(|| words::not_fitted(alike));
                    open(key, coverage, reason)
                })
                .collect();
            return outcome;
        }
    };
    let tests: Vec<Option<LevelTest>> =
        (0..groups.len()).into_par_iter().map(|group| test_levels(&model.observations, group, response)).collect();
    outcome.facts = model_facts(axis, &model, &tests);
    outcome.findings.extend(disagreement(&model));
    let without = left_out(&model);
    let asked = Asked { model: &model, members, settings, tolerance };
    let of_groups: Vec<Outcome> = tests
        .into_par_iter()
        .zip(without)
        .enumerate()
        .map(|(group, (levels, without))| asked.of_group(group, levels, without))
        .collect();
    for of_group in of_groups {
        outcome.groups.extend(of_group.groups);
        outcome.curves.extend(of_group.curves);
        outcome.field_curves.append(of_group.field_curves);
        outcome.field_effects.extend(of_group.field_effects);
        outcome.adjusted.append(of_group.adjusted);
    }
    outcome
}

/// A fitted model and what its groups are held against.
struct Asked<'a> {
    model: &'a CurveModel<'a>,
    members: &'a Members<'a>,
    settings: &'a Settings,
    tolerance: f64,
}

impl Asked<'_> {
    /// Curves, differences and the answer of one group.
    fn of_group(&self, number: usize, levels: Option<LevelTest>, left_out: Option<LeftOut>) -> Outcome {
        let model = self.model;
        let (key, coverage) = &model.observations.groups[number];
        let mut outcome = Outcome::default();
        let finding = match words::nothing_to_compare(coverage, &key.condition) {
            Some(why) => Outlook::Open(why),
            None => match GroupDraws::new(model, number) {
                None => Outlook::Open("The settings cannot be told apart from the fields they were in.".into()),
                Some(draws) => {
                    outcome.curves = curve_rows(key, model, coverage, &draws);
                    outcome.field_curves = field_curve_rows(key, model, number).into();
                    outcome.adjusted = adjusted_rows(key, model, number).into();
                    self.outlook(number, draws, (levels, left_out), &mut outcome.field_effects)
                }
            },
        };
        outcome.groups.push(GroupAnswer {
            key: key.clone(),
            response: model.response.name.clone(),
            primary: false,
            tolerance: self.tolerance,
            coverage: coverage.clone(),
            finding,
        });
        outcome
    }

    /// What is told of a group with draws; what its best gains over the default goes to `field_effects`.
    fn outlook(
        &self,
        number: usize,
        draws: GroupDraws,
        (levels, left_out): (Option<LevelTest>, Option<LeftOut>),
        field_effects: &mut Vec<FieldEffectRow>,
    ) -> Outlook {
        let Self { model, members, settings, tolerance } = *self;
        let groups = &model.observations.groups;
        let (key, coverage) = &groups[number];
        if let Some(pool) = model.frame.groups[number].pool {
            let pooled = (0..groups.len()).filter(|other| model.frame.groups[*other].pool == Some(pool));
            let wide = pooled
                .map(|other| groups[other].1.tested)
                .fold(coverage.tested, |(low, high), (lightest, heaviest)| (low.min(lightest), high.max(heaviest)));
            if best_not_tried(&draws, coverage, wide, tolerance) {
                return Outlook::Open(words::BEST_NOT_TRIED.into());
            }
        }
        let picture = picture(&draws, coverage, levels.as_ref(), tolerance);
        let default_n = members.get(key).and_then(|strips| Reference::pooled(strips, settings).force_n);
        let contrast = Contrast::of(picture.best_n, default_n, coverage.tested);
        *field_effects = field_effect_rows(key, model, number, &draws, contrast);
        Outlook::Told(Box::new(Told {
            picture,
            own: own_answer(model, number),
            left_out,
            levels,
            draws,
            borrowed_share: model.drawn.borrowed(number, coverage.field_seasons),
            strip_variance: strip_variance(model, number),
        }))
    }
}

/// A finding where the binomial model of the same counts tells other slopes than the working model.
fn disagreement(model: &CurveModel) -> Option<Finding> {
    let Some(Ok(check)) = &model.binomial else { return None };
    let worst = check.worst().filter(|_| !check.agrees())?;
    let (key, _) = model.observations.groups.get(worst.group?)?;
    let message = format!(
        "{}: the binomial model of the counts tells another slope of {} than the working model (by {:.1} standard errors){}",
        key.condition,
        model.response.name,
        worst.difference.abs(),
        if check.converged { "" } else { "; its search did not settle" },
    );
    Some(Finding::warning("models_disagree", message).remedy(
        "look at strips with very few seeds, or with all or none of them up; the answer leans on how they are weighed",
    ))
}
