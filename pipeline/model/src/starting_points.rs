//! Rows of `starting_points` and `settings`.

use std::collections::BTreeMap;

use evenstand_settings::Planter;
use evenstand_tables::rows::{KnobRow, StartingPointRow, StripRow};

use crate::analysis::Questions;
use crate::decision::{Evidence, choose};
use crate::group_answer::GroupAnswer;
use crate::groups::{axis_of, distinct, group_of};
use crate::knob::{Offer, knob_row};
use crate::words;

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

/// Whether the planters of a group, or the review, say a default.
fn has_given_default(group: &GroupAnswer, questions: &Questions) -> bool {
    let settings = questions.settings;
    let mut members = questions.strips.iter().filter(|strip| group_of(strip, axis_of(strip).as_ref()) == group.key);
    settings.analysis.default_force_n.is_some()
        || members
            .any(|strip| strip.planter_id.as_deref().is_some_and(|id| settings.planter(id).default_force_n().is_some()))
}

fn most_used(strips: &[&StripRow]) -> Option<f64> {
    let forces: Vec<f64> = strips.iter().filter_map(|strip| strip.force_n).collect();
    let (levels, means) = evenstand_agronomy::force_levels(&forces);
    let mut counts = vec![0usize; means.len()];
    levels.iter().for_each(|level| counts[*level] += 1);
    let most = counts.iter().max()?;
    // Of settings used equally often, the one nearest the middle: a default is rarely at an end.
    let middle = (means.first()? + means.last()?) / 2.0;
    let used_most = (0..means.len()).filter(|level| counts[*level] == *most);
    used_most.map(|level| means[level]).min_by(|a, b| (a - middle).abs().total_cmp(&(b - middle).abs()))
}

fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

pub(crate) fn starting_point(group: &GroupAnswer, questions: &Questions) -> StartingPointRow {
    let coverage = group.coverage.as_ref();
    let default_n = default_of(group, questions);
    let mut row = StartingPointRow {
        condition: group.key.condition.clone(),
        closer: group.key.closer.clone(),
        planter_id: group.key.planter(),
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
    if !has_given_default(group, questions) {
        row.reason.push_str(words::NO_DEFAULT_GIVEN);
    }
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
pub(crate) fn knob_rows(group: &GroupAnswer, questions: &Questions) -> Vec<KnobRow> {
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
            let given = planter.default_force_n().or(settings.analysis.default_force_n);
            let default_n = given.or_else(|| most_used(&members));
            let offer = Offer {
                key: &group.key,
                response: &group.response,
                primary: group.primary,
                coverage: group.coverage.as_ref(),
                answer: group.draws.as_ref().zip(group.picture.as_ref()),
                open: group.open.as_deref(),
                default_given: given.is_some(),
            };
            knob_row(&planter, &offer, default_n)
        })
        .collect()
}
