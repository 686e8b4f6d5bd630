//! Joins everything: strips in, result tables out.

use std::collections::{BTreeMap, BTreeSet};

use crate::summary::{mean, quantile};
use evenstand_settings::{Planter, Settings};
use evenstand_tables::Finding;
use evenstand_tables::rows::{
    AdjustedRow, ComparisonRow, CurveRow, DigStripRow, DigWindowRow, FieldCurveRow, KnobRow, ModelRow,
    StartingPointRow, StripMeasureRow, StripRow,
};
use rayon::prelude::*;

use crate::comparisons::comparisons;
use crate::curve::{CurveModel, Drawing, fit_curves};
use crate::decision::{Evidence, Picture, choose, grid, picture};
use crate::digs::dig_window;
use crate::draws::GroupDraws;
use crate::facts::{model_facts, not_fitted};
use crate::groups::{Axis, Basis, Coverage, GroupKey, axis_of, distinct, group_of};
use crate::knob::{Offer, knob_row};
use crate::levels::{LevelTest, test_levels};
use crate::observations::observations;
use crate::response::{Better, Measures, Response};
use crate::words;

/// What is asked.
#[derive(Debug, Clone, Copy)]
pub struct Questions<'a> {
    /// One row a strip.
    pub strips: &'a [StripRow],
    /// Other measures by strip.
    pub measures: &'a [StripMeasureRow],
    /// Dig checks by strip.
    pub digs: &'a [DigStripRow],
    /// Choices of the review.
    pub settings: &'a Settings,
}

/// What is answered: result tables.
#[derive(Debug, Default)]
pub struct Answers {
    /// Pooled curves.
    pub curves: Vec<CurveRow>,
    /// Curves by field-season.
    pub field_curves: Vec<FieldCurveRow>,
    /// Strips with field-season and block taken out.
    pub adjusted: Vec<AdjustedRow>,
    /// Starting points.
    pub starting_points: Vec<StartingPointRow>,
    /// Starting points in each planter's knob.
    pub settings: Vec<KnobRow>,
    /// Differences between settings.
    pub comparisons: Vec<ComparisonRow>,
    /// Dig evidence.
    pub dig_window: Vec<DigWindowRow>,
    /// What was fitted.
    pub model: Vec<ModelRow>,
    /// What a person should look at.
    pub findings: Vec<Finding>,
}

/// Points of a field-season's curve.
const FIELD_CURVE_POINTS: usize = 31;
/// Limits of intervals in `curves` and `field_curves`: 90 %.
const LOW: f64 = 0.05;
const HIGH: f64 = 0.95;

/// Answers all questions. Never fails: what cannot be fitted stays open, with the reason in words.
pub fn analyse(questions: &Questions) -> Answers {
    let measures = Measures::new(questions.measures);
    let axes: BTreeSet<Axis> = questions.strips.iter().filter_map(axis_of).collect();
    let responses = Response::all(&measures);
    let tasks: Vec<(Axis, &Response)> =
        axes.iter().flat_map(|axis| responses.iter().map(move |response| (axis.clone(), response))).collect();
    let outcomes: Vec<Outcome> =
        tasks.par_iter().map(|(axis, response)| work_out(questions, &measures, axis, response)).collect();
    let mut answers = Answers { dig_window: dig_window(questions.digs), ..Answers::default() };
    let mut groups: Vec<GroupAnswer> = Vec::new();
    for outcome in outcomes {
        answers.curves.extend(outcome.curves);
        answers.field_curves.extend(outcome.field_curves);
        answers.adjusted.extend(outcome.adjusted);
        answers.comparisons.extend(outcome.comparisons);
        answers.model.extend(outcome.facts);
        groups.extend(outcome.groups);
    }
    groups.extend(open_from_the_start(questions.strips, &groups, questions.settings));
    mark_primary(&mut groups, questions.settings);
    // Strips whose condition is not one condition come last: nobody plants by them.
    let unclear = |key: &GroupKey| key.condition == "mixed" || key.condition == "unstated";
    groups.sort_by_key(|group| (unclear(&group.key), group.key.clone(), !group.primary, group.response.clone()));
    for group in &groups {
        answers.starting_points.push(starting_point(group, questions));
        answers.settings.extend(knob_rows(group, questions));
        if group.primary
            && let Some(test) = &group.levels
            && let Some(picture) = &group.picture
            && !picture.seen
        {
            answers.findings.push(Finding::note(
                "no_difference_seen",
                format!(
                    "{}: no setting could be told from another in {} (p = {:.2})",
                    group.key.condition, group.response, test.p_value
                ),
            ));
        }
    }
    answers
}

/// One group and response: what it can tell.
struct GroupAnswer {
    key: GroupKey,
    response: String,
    primary: bool,
    tolerance: f64,
    coverage: Option<Coverage>,
    levels: Option<LevelTest>,
    draws: Option<GroupDraws>,
    picture: Option<Picture>,
    borrowed_share: Option<f64>,
    open: Option<String>,
}

#[derive(Default)]
struct Outcome {
    groups: Vec<GroupAnswer>,
    curves: Vec<CurveRow>,
    field_curves: Vec<FieldCurveRow>,
    adjusted: Vec<AdjustedRow>,
    comparisons: Vec<ComparisonRow>,
    facts: Vec<ModelRow>,
}

fn work_out(questions: &Questions, measures: &Measures, axis: &Axis, response: &Response) -> Outcome {
    let settings = questions.settings;
    let Some(observed) = observations(questions.strips, measures, response, axis) else { return Outcome::default() };
    let mut outcome = Outcome { comparisons: comparisons(&observed, response, axis), ..Outcome::default() };
    if response.better == Better::Neither {
        return outcome;
    }
    let tolerance = settings.tolerance.of(&response.name).unwrap_or_else(|| {
        let values: Vec<f64> = observed.rows.iter().map(|row| row.value.value).collect();
        0.02 * mean(&values).abs()
    });
    let open = |key: &GroupKey, coverage: &Coverage, why: String| GroupAnswer {
        key: key.clone(),
        response: response.name.clone(),
        primary: false,
        tolerance,
        coverage: Some(coverage.clone()),
        levels: None,
        draws: None,
        picture: None,
        borrowed_share: None,
        open: Some(why),
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
    let seed = seed_of(settings.analysis.seed, axis.name(), &response.name);
    let model = match fit_curves(response, observed, Drawing { seed, draws: settings.analysis.draws }) {
        Ok(model) => model,
        Err(why) => {
            outcome.facts = not_fitted(axis, &response.name, &why);
            outcome.groups = groups
                .iter()
                .map(|(key, coverage)| {
                    let reason = words::nothing_to_compare(coverage, &key.condition)
                        .unwrap_or_else(|| format!("The curve could not be fitted to so few strips ({why}). More blocks or field-seasons are needed."));
                    open(key, coverage, reason)
                })
                .collect();
            return outcome;
        }
    };
    let tests: Vec<Option<LevelTest>> =
        (0..groups.len()).map(|group| test_levels(&model.observations, group, response)).collect();
    outcome.facts = model_facts(axis, &model, &tests);
    for (number, ((key, coverage), levels)) in groups.iter().zip(tests).enumerate() {
        if let Some(why) = words::nothing_to_compare(coverage, &key.condition) {
            outcome.groups.push(open(key, coverage, why));
            continue;
        }
        let Some(draws) = GroupDraws::new(&model, number, seed ^ (number as u64 + 1)) else {
            outcome.groups.push(open(
                key,
                coverage,
                "The settings cannot be told apart from the fields they were in.".into(),
            ));
            continue;
        };
        outcome.curves.extend(curve_rows(key, &model, coverage, &draws));
        outcome.field_curves.extend(field_curve_rows(key, &model, number));
        outcome.adjusted.extend(adjusted_rows(key, &model, number));
        let own = if coverage.basis == Basis::Trial { coverage.field_seasons } else { 0 };
        let total = model.trial_field_seasons.max(own);
        outcome.groups.push(GroupAnswer {
            key: key.clone(),
            response: response.name.clone(),
            primary: false,
            tolerance,
            picture: Some(picture(&draws, coverage, levels.as_ref(), tolerance)),
            coverage: Some(coverage.clone()),
            levels,
            draws: Some(draws),
            borrowed_share: (total > 0).then(|| (total - own) as f64 / total as f64),
            open: None,
        });
    }
    outcome
}

/// A seed of its own for each model, the same whatever else is modelled (FNV-1a of the names).
fn seed_of(seed: u64, axis: &str, response: &str) -> u64 {
    let hash = axis
        .bytes()
        .chain([0])
        .chain(response.bytes())
        .fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3));
    hash ^ seed.wrapping_mul(0x9e37_79b9_7f4a_7c15)
}

fn planter_text(key: &GroupKey) -> Option<String> {
    (!key.planter_id.is_empty()).then(|| key.planter_id.clone())
}

fn curve_rows(key: &GroupKey, model: &CurveModel, coverage: &Coverage, draws: &GroupDraws) -> Vec<CurveRow> {
    grid(coverage.tested)
        .into_iter()
        .map(|force_n| {
            let typical = draws.typical(force_n);
            CurveRow {
                condition: key.condition.clone(),
                closer: key.closer.clone(),
                planter_id: planter_text(key),
                response: model.response.name.clone(),
                force_n,
                estimate: Some(mean(&typical)),
                low: Some(quantile(&typical, LOW)),
                high: Some(quantile(&typical, HIGH)),
            }
        })
        .collect()
}

/// A random effect of one draw, or zero where the model has no such term.
fn effect(model: &CurveModel, draw: usize, term: Option<usize>, group: usize) -> f64 {
    term.and_then(|term| model.posterior.effect_offset(term))
        .map_or(0.0, |offset| model.posterior.effects[[draw, offset + group]])
}

fn field_curve_rows(key: &GroupKey, model: &CurveModel, group: usize) -> Vec<FieldCurveRow> {
    let observed = &model.observations;
    let mut cells: BTreeMap<usize, (f64, f64, (f64, f64))> = BTreeMap::new();
    for (row, cell) in observed.rows.iter().zip(&model.cells).filter(|(row, _)| row.group == group) {
        let entry = cells.entry(row.field_season).or_insert((row.force_n, row.force_n, *cell));
        (entry.0, entry.1) = (entry.0.min(row.force_n), entry.1.max(row.force_n));
    }
    let terms = &model.groups[group];
    let coefficient =
        |draw: usize, column: Option<usize>| column.map_or(0.0, |column| model.posterior.coefficients[[draw, column]]);
    let between = model.fit.names().iter().position(|name| name == "force between field-seasons");
    let mut rows = Vec::new();
    for (field_season, (low, high, (mean_s, mean_s2))) in cells {
        if high - low < 1e-9 || observed.groups[group].1.basis == Basis::Logs {
            continue;
        }
        let (field_id, season) = observed.field_seasons[field_season];
        for point in 0..FIELD_CURVE_POINTS {
            let force_n = low + (high - low) * point as f64 / (FIELD_CURVE_POINTS - 1) as f64;
            let s = (force_n - model.centre_n) / model.half_range_n;
            let values: Vec<f64> = (0..model.posterior.draws())
                .map(|draw| {
                    let level = coefficient(draw, terms.intercept)
                        + coefficient(draw, between) * (mean_s - terms.mean_s)
                        + effect(model, draw, model.terms.field, field_season);
                    let slope = coefficient(draw, terms.linear) + effect(model, draw, model.terms.slope, field_season);
                    let curvature =
                        coefficient(draw, terms.quadratic) + effect(model, draw, model.terms.curvature, field_season);
                    model.response.scale.back(level + slope * (s - mean_s) + curvature * (s * s - mean_s2))
                })
                .collect();
            rows.push(FieldCurveRow {
                field_id: field_id.to_owned(),
                season,
                condition: key.condition.clone(),
                closer: key.closer.clone(),
                planter_id: planter_text(key),
                response: model.response.name.clone(),
                force_n,
                estimate: Some(mean(&values)),
                low: Some(quantile(&values, LOW)),
                high: Some(quantile(&values, HIGH)),
            });
        }
    }
    rows
}

/// Each strip on the pooled curve, with its residual and its field's own slope left in.
fn adjusted_rows(key: &GroupKey, model: &CurveModel, group: usize) -> Vec<AdjustedRow> {
    let fit = &model.fit;
    let terms = &model.groups[group];
    let coefficient = |column: Option<usize>| column.map_or(0.0, |column| fit.coefficients()[column]);
    let modes = fit.conditional_modes();
    let mode = |term: Option<usize>, number: usize| {
        term.and_then(|term| modes.get(term)).map_or(0.0, |modes| modes.modes[number])
    };
    let rows = model.observations.rows.iter().zip(&model.cells).zip(fit.residuals());
    rows.filter(|((row, _), _)| row.group == group)
        .map(|((row, (cell_s, cell_s2)), residual)| {
            let s = (row.force_n - model.centre_n) / model.half_range_n;
            let pooled = coefficient(terms.intercept)
                + coefficient(terms.linear) * (s - terms.mean_s)
                + coefficient(terms.quadratic) * (s * s - terms.mean_s2);
            let own = mode(model.terms.slope, row.field_season) * (s - cell_s)
                + mode(model.terms.curvature, row.field_season) * (s * s - cell_s2);
            AdjustedRow {
                condition: key.condition.clone(),
                closer: key.closer.clone(),
                planter_id: planter_text(key),
                response: model.response.name.clone(),
                field_id: row.strip.field_id.clone(),
                season: row.strip.season,
                strip_id: row.strip.strip_id.clone(),
                block: row.strip.block.clone(),
                force_n: Some(row.force_n),
                adjusted: Some(model.response.scale.back(pooled + own + residual)),
                observed: Some(row.value.value),
            }
        })
        .collect()
}

/// Groups of strips that no model speaks for, each with the reason.
fn open_from_the_start(strips: &[StripRow], answered: &[GroupAnswer], settings: &Settings) -> Vec<GroupAnswer> {
    let wanted = settings.analysis.primary.clone();
    let mut silent: BTreeMap<GroupKey, Vec<&StripRow>> = BTreeMap::new();
    for strip in strips {
        silent.entry(group_of(strip, axis_of(strip).as_ref())).or_default().push(strip);
    }
    silent.retain(|key, _| {
        !answered
            .iter()
            .any(|answer| answer.key == *key && wanted.as_ref().is_none_or(|wanted| answer.response == *wanted))
    });
    silent
        .into_iter()
        .filter(|(key, _)| !answered.iter().any(|answer| answer.key == *key && answer.response.ends_with("_share")))
        .map(|(key, strips)| {
            let counted = strips.iter().filter(|strip| strip.emerged.is_some()).count();
            let with_force = strips.iter().filter(|strip| strip.force_n.is_some()).count();
            let shares = strips.iter().filter(|strip| strip.emerged_share.is_some()).count();
            let why = if with_force == 0 && strips.iter().any(|strip| strip.closing_position.is_some()) {
                "The positions that were used have no weighed forces, so they are compared as treatments only. Weigh the force of each position and write it into evenstand.toml."
            } else if with_force == 0 {
                "No closing downforce is known for these strips: nobody logged a set pressure, force or weighed position. Without it, emergence cannot be tied to the setting. Log the setting of each strip."
            } else if counted == 0 {
                "There are no stand counts that can be used in these strips."
            } else if shares == 0 {
                "Seeds sown are not known for these strips, so no share can be told."
            } else {
                "No strip has both a setting and a usable count."
            };
            let response = wanted.clone().unwrap_or_else(|| {
                if strips.iter().any(|strip| strip.on_time_share.is_some()) { "on_time_share" } else { "emerged_share" }.to_owned()
            });
            GroupAnswer {
                tolerance: settings.tolerance.of(&response).unwrap_or(0.0),
                coverage: Some(Coverage {
                    basis: Basis::Logs,
                    field_seasons: distinct(strips.iter().map(|strip| strip.field_id.as_str())).len(),
                    strips: strips.len(),
                    level_forces: Vec::new(),
                    tested: (f64::NAN, f64::NAN),
                    varied_within_fields: false,
                    blocks: 0,
                }),
                response,
                primary: false,
                levels: None,
                draws: None,
                picture: None,
                borrowed_share: None,
                open: Some(why.to_owned()),
                key,
            }
        })
        .collect()
}

/// The response that decides: the one asked for, else on-time share, or emerged share where no course was taken.
fn mark_primary(groups: &mut [GroupAnswer], settings: &Settings) {
    let with_course: BTreeSet<GroupKey> =
        groups.iter().filter(|group| group.response == "on_time_share").map(|group| group.key.clone()).collect();
    for group in groups {
        let decides = match &settings.analysis.primary {
            Some(primary) => primary == &group.response,
            None if with_course.contains(&group.key) => group.response == "on_time_share",
            None => group.response == "emerged_share",
        };
        group.primary = decides;
    }
}

/// The default a pooled answer is held against: that of the planter with most strips, else the review's, else the
/// force most used.
fn default_of(group: &GroupAnswer, questions: &Questions) -> Option<f64> {
    let members: Vec<&StripRow> = questions
        .strips
        .iter()
        .filter(|strip| group_of(strip, axis_of(strip).as_ref()) == group.key && strip.force_n.is_some())
        .collect();
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    for strip in &members {
        *counts.entry(strip.planter_id.as_deref().unwrap_or_default()).or_default() += 1;
    }
    let mut planters: Vec<(&str, usize)> = counts.into_iter().collect();
    planters.sort_by(|a, b| b.1.cmp(&a.1).then(a.0.cmp(b.0)));
    planters
        .iter()
        .find_map(|(id, _)| questions.settings.planter(id).default_force_n())
        .or(questions.settings.analysis.default_force_n)
        .or_else(|| most_used(&members))
}

fn most_used(strips: &[&StripRow]) -> Option<f64> {
    let forces: Vec<f64> = strips.iter().filter_map(|strip| strip.force_n).collect();
    let (levels, means) = evenstand_agronomy::force_levels(&forces);
    let mut counts = vec![0usize; means.len()];
    levels.iter().for_each(|level| counts[*level] += 1);
    let most = counts.iter().max()?;
    counts.iter().position(|count| count == most).map(|level| means[level])
}

fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

fn starting_point(group: &GroupAnswer, questions: &Questions) -> StartingPointRow {
    let coverage = group.coverage.as_ref();
    let default_n = default_of(group, questions);
    let mut row = StartingPointRow {
        condition: group.key.condition.clone(),
        closer: group.key.closer.clone(),
        planter_id: planter_text(&group.key),
        response: group.response.clone(),
        primary: Some(group.primary),
        evidence: Evidence::Open.name().to_owned(),
        reason: group.open.clone().unwrap_or_default(),
        basis: coverage.map_or("logs", |coverage| coverage.basis.name()).to_owned(),
        shape: None,
        n_field_seasons: coverage.map(|coverage| coverage.field_seasons as i64),
        n_strips: coverage.map(|coverage| coverage.strips as i64),
        n_levels: coverage.map(|coverage| coverage.level_forces.len() as i64),
        levels_p_value: group.levels.as_ref().map(|test| test.p_value),
        largest_difference: group.levels.as_ref().map(|test| test.largest_difference),
        tested_low_n: coverage.and_then(|coverage| finite(coverage.tested.0)),
        tested_high_n: coverage.and_then(|coverage| finite(coverage.tested.1)),
        best_n: None,
        best_low_n: None,
        best_high_n: None,
        window_low_n: None,
        window_high_n: None,
        start_n: None,
        default_n,
        gain_vs_default: None,
        gain_low: None,
        gain_high: None,
        prob_gain: None,
        prob_near_best: None,
        tolerance: Some(group.tolerance),
        borrowed_share: group.borrowed_share,
    };
    let (Some(draws), Some(picture), Some(coverage), None) = (&group.draws, &group.picture, coverage, &group.open)
    else {
        return row;
    };
    let choice = choose(draws, coverage, picture, default_n);
    row.evidence = choice.evidence.name().to_owned();
    row.reason = words::reason(coverage, picture, &choice, choice.gain.is_some());
    row.shape = Some(picture.shape.name().to_owned());
    row.best_n = Some(picture.best_n);
    (row.best_low_n, row.best_high_n) = (Some(picture.best_low_n), Some(picture.best_high_n));
    if let Some((low, high)) = picture.window {
        (row.window_low_n, row.window_high_n) = (Some(low), Some(high));
    }
    row.prob_near_best = Some(choice.prob_near_best);
    if choice.evidence != Evidence::Open {
        row.start_n = Some(choice.start_n);
        if let Some(gain) = choice.gain {
            row.gain_vs_default = Some(gain.expected);
            (row.gain_low, row.gain_high) = (Some(gain.low), Some(gain.high));
            row.prob_gain = gain.probability;
        }
    }
    row
}

/// One row a planter that the answer of this group is for.
fn knob_rows(group: &GroupAnswer, questions: &Questions) -> Vec<KnobRow> {
    let settings = questions.settings;
    let members: Vec<&StripRow> =
        questions.strips.iter().filter(|strip| group_of(strip, axis_of(strip).as_ref()) == group.key).collect();
    let mut ids: Vec<String> = distinct(members.iter().filter_map(|strip| strip.planter_id.as_deref()));
    if group.key.planter_id.is_empty() {
        let fitting =
            settings.planters.iter().filter(|planter| planter.closer == group.key.closer && planter.calibrated());
        ids.extend(fitting.map(|planter| planter.id.clone()));
    } else {
        ids.retain(|id| *id == group.key.planter_id);
    }
    ids.sort();
    ids.dedup();
    ids.iter()
        .map(|id| {
            let planter: Planter = settings.planter(id);
            let default_n =
                planter.default_force_n().or(settings.analysis.default_force_n).or_else(|| most_used(&members));
            let offer = Offer {
                key: &group.key,
                response: &group.response,
                primary: group.primary,
                coverage: group.coverage.as_ref(),
                answer: group.draws.as_ref().zip(group.picture.as_ref()),
                open: group.open.as_deref(),
            };
            knob_row(&planter, &offer, default_n)
        })
        .collect()
}
