//! Rows of `starting_points` and `settings`.

use std::collections::BTreeMap;

use evenstand_settings::{Planter, Settings};
use evenstand_tables::rows::{KnobRow, ShapeRow, StartingPointRow, StripRow};

use crate::decision::Evidence;
use crate::dig_start;
use crate::group_answer::{GroupAnswer, Outlook};
use crate::groups::distinct;
use crate::knob::{Reference, knob_row};
use crate::label_answer::{by_label, fill_starting_point};
use crate::left_out::choose_held;
use crate::overlap::{compliance, overlap_share};
use crate::pooled_closers::ALL_CLOSERS;
use crate::words;

/// Below this p value a response is no parabola.
const LACK_OF_FIT: f64 = 0.1;

impl Reference {
    /// A default of a planter, else of the review, else the force most used in these strips.
    pub(crate) fn new(planter_default_n: Option<f64>, strips: &[&StripRow], settings: &Settings) -> Self {
        let given = planter_default_n.or(settings.analysis.default_force_n);
        Self { force_n: given.or_else(|| most_used(strips)), given: given.is_some() }
    }

    /// The default a pooled answer is held against: that of the planter with most strips that has one.
    pub(crate) fn pooled(strips: &[&StripRow], settings: &Settings) -> Self {
        let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
        for strip in strips.iter().filter(|strip| strip.force_n.is_some()) {
            *counts.entry(strip.planter_id.as_deref().unwrap_or_default()).or_default() += 1;
        }
        let mut planters: Vec<(&str, usize)> = counts.into_iter().collect();
        planters.sort_by(|a, b| b.1.cmp(&a.1).then(a.0.cmp(b.0)));
        Self::new(planters.iter().find_map(|(id, _)| settings.planter(id).default_force_n()), strips, settings)
    }
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

/// The answer of a group in newtons. `strips` are its members.
pub(crate) fn starting_point(group: &GroupAnswer, strips: &[&StripRow], settings: &Settings) -> StartingPointRow {
    let coverage = &group.coverage;
    let reference = Reference::pooled(strips, settings);
    let mut row = StartingPointRow {
        condition: group.key.condition.clone(),
        closer: group.key.closer.clone(),
        planter_id: group.key.planter(),
        response: group.response.clone(),
        primary: Some(group.primary),
        evidence: Evidence::Open.name().to_owned(),
        basis: group.basis().to_owned(),
        n_field_seasons: Some(coverage.field_seasons as i64),
        n_strips: Some(coverage.strips as i64),
        n_levels: Some(coverage.level_forces.len() as i64),
        tested_low_n: finite(coverage.tested.0),
        tested_high_n: finite(coverage.tested.1),
        default_n: reference.force_n,
        tolerance: Some(group.tolerance),
        overlap_share: overlap_share(strips),
        compliance_share: compliance(strips.iter().copied()).map(|found| found.within),
        ..StartingPointRow::default()
    };
    if by_label(&group.key, strips) {
        row.default_n = None;
    }
    let told = match &group.finding {
        Outlook::Open(why) => {
            row.reason = why.clone();
            return row;
        }
        Outlook::Labelled(told) => {
            fill_starting_point(&mut row, told, coverage);
            return row;
        }
        Outlook::Dug(window) => {
            dig_start::fill_starting_point(&mut row, window, dig_start::reason(window, reference));
            return row;
        }
        Outlook::Told(told) => told,
    };
    let picture = &told.picture;
    if let Some(test) = &told.levels {
        row.levels_p_value = Some(test.p_value);
        row.largest_difference = Some(test.largest_difference);
        row.settings_low_n = test.can_be_best.first().copied();
        row.settings_high_n = test.can_be_best.last().copied();
        row.lack_of_fit_p_value = test.lack_of_fit;
        row.shapes_best_n = test.shapes.as_ref().map(|shapes| shapes.averaged_best_n);
    }
    row.own_best_n = told.own.map(|own| own.best_n);
    // Where the settings are no parabola, its set is precise and wrong.
    let bent = row.lack_of_fit_p_value.is_some_and(|p_value| p_value < LACK_OF_FIT);
    let own_set = told.own.and_then(|own| own.set).filter(|_| !bent);
    (row.own_low_n, row.own_high_n) = own_set.unzip();
    row.borrowed_share = Some(told.borrowed_share);
    let held = choose_held(&told.draws, coverage, picture, told.left_out.as_ref(), reference.force_n);
    let choice = held.choice;
    row.evidence = choice.evidence.name().to_owned();
    row.reason = words::reason(coverage, picture, &choice, choice.gain.is_some());
    row.reason.push_str(held.why.as_deref().unwrap_or_default());
    if !reference.given {
        row.reason.push_str(words::NO_DEFAULT_GIVEN);
    }
    if let Some((by, before_n)) = choice.bound {
        row.bound_by = Some(by.name().to_owned());
        row.start_before_digs_n = Some(before_n);
    }
    row.shape = Some(picture.shape.name().to_owned());
    row.best_n = Some(picture.best_n);
    (row.best_low_n, row.best_high_n) = (Some(picture.best_low_n), Some(picture.best_high_n));
    if let Some((low, high)) = picture.window {
        (row.window_low_n, row.window_high_n) = (Some(low), Some(high));
    }
    row.prob_near_best = Some(choice.near.probability);
    row.near_best_share = Some(choice.near.confident);
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

/// The candidate shapes of a group, heaviest weight first.
pub(crate) fn shape_rows(group: &GroupAnswer) -> Vec<ShapeRow> {
    let Outlook::Told(told) = &group.finding else { return Vec::new() };
    let Some(shapes) = told.levels.as_ref().and_then(|test| test.shapes.as_ref()) else { return Vec::new() };
    let mut rows: Vec<ShapeRow> = shapes
        .fitted
        .iter()
        .map(|fitted| ShapeRow {
            condition: group.key.condition.clone(),
            closer: group.key.closer.clone(),
            planter_id: group.key.planter(),
            response: group.response.clone(),
            shape: fitted.candidate.name().to_owned(),
            parameters: Some(fitted.parameters as i64),
            chi_square: Some(fitted.chi_square),
            aicc: Some(fitted.aicc),
            weight: Some(fitted.weight),
            joint_n: fitted.joint_n,
            best_n: fitted.best_n,
        })
        .collect();
    rows.sort_by(|a, b| b.weight.unwrap_or(0.0).total_cmp(&a.weight.unwrap_or(0.0)));
    rows
}

/// Whether an answer for a closer is one for a planter.
fn belongs(planter: &Planter, closer: &str) -> bool {
    planter.closer == closer || closer == ALL_CLOSERS
}

/// One row a planter that the answer of this group is for. `strips` are its members.
pub(crate) fn knob_rows(group: &GroupAnswer, strips: &[&StripRow], settings: &Settings) -> Vec<KnobRow> {
    let mut ids: Vec<String> = distinct(strips.iter().filter_map(|strip| strip.planter_id.as_deref()));
    if group.key.planter_id.is_empty() {
        let fitting =
            settings.planters.iter().filter(|planter| belongs(planter, &group.key.closer) && planter.calibrated());
        ids.extend(fitting.map(|planter| planter.id.clone()));
    } else {
        ids.retain(|id| *id == group.key.planter_id);
    }
    ids.sort();
    ids.dedup();
    ids.iter()
        .map(|id| {
            let planter = settings.planter(id);
            let reference = Reference::new(planter.default_force_n(), strips, settings);
            knob_row(&planter, group, reference)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn strips(of: &[(&str, f64)]) -> Vec<StripRow> {
        of.iter()
            .map(|(planter, force)| StripRow {
                planter_id: Some((*planter).to_owned()),
                force_n: Some(*force),
                ..StripRow::default()
            })
            .collect()
    }

    fn planters(defaults: &[(&str, Option<f64>)]) -> Settings {
        let blocks = defaults.iter().map(|(id, default)| {
            let default = default.map_or(String::new(), |kpa| format!("default_kpa = {kpa}\n"));
            format!("[[planter]]\nid = \"{id}\"\ncloser = \"other\"\n[planter.closing]\nkind = \"pressure\"\nmax_kpa = 400\nstep_kpa = 10\n{default}")
        });
        Settings::parse(&blocks.collect::<String>()).unwrap()
    }

    #[test]
    fn the_setting_used_most_stands_for_a_default_and_of_several_the_one_nearest_the_middle() {
        let most = |forces: &[f64]| {
            let rows = strips(&forces.iter().map(|force| ("p", *force)).collect::<Vec<_>>());
            most_used(&rows.iter().collect::<Vec<_>>())
        };
        assert_eq!(most(&[100.0, 200.0, 200.0, 300.0]), Some(200.0));
        assert_eq!(most(&[100.0, 100.0, 100.0, 200.0, 200.0, 300.0]), Some(100.0));
        assert_eq!(most(&[100.0, 190.0, 300.0]), Some(190.0));
        assert_eq!(most(&[100.0, 100.0, 290.0, 290.0, 300.0, 400.0]), Some(290.0));
        assert_eq!(most(&[]), None);
    }

    #[test]
    fn a_default_is_the_planters_before_the_reviews_before_the_setting_used_most() {
        let rows = strips(&[("p", 150.0), ("p", 150.0), ("p", 250.0)]);
        let rows: Vec<&StripRow> = rows.iter().collect();
        let reference = |planter: Option<f64>, review: Option<f64>| {
            let mut settings = Settings::default();
            settings.analysis.default_force_n = review;
            let found = Reference::new(planter, &rows, &settings);
            (found.force_n, found.given)
        };
        assert_eq!(reference(Some(180.0), Some(220.0)), (Some(180.0), true));
        assert_eq!(reference(None, Some(220.0)), (Some(220.0), true));
        assert_eq!(reference(None, None), (Some(150.0), false));
    }

    #[test]
    fn a_pooled_answer_is_held_against_the_planter_with_most_strips_that_names_a_default() {
        let rows = strips(&[("a", 100.0), ("b", 120.0), ("b", 120.0), ("c", 130.0), ("c", 130.0), ("c", 130.0)]);
        let rows: Vec<&StripRow> = rows.iter().collect();
        let pooled = |defaults: &[(&str, Option<f64>)]| Reference::pooled(&rows, &planters(defaults)).force_n;
        assert_eq!(pooled(&[("a", Some(100.0)), ("b", Some(110.0)), ("c", None)]), Some(110.0));
        assert_eq!(pooled(&[("a", Some(100.0)), ("b", Some(110.0)), ("c", Some(140.0))]), Some(140.0));
        assert_eq!(pooled(&[("a", Some(100.0))]), Some(100.0));
        // Without any, the setting used most.
        assert_eq!(pooled(&[]), Some(130.0));
    }
}
