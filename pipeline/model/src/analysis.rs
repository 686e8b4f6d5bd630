//! Joins everything: strips in, result tables out.

use std::collections::BTreeSet;

use evenstand_settings::Settings;
use evenstand_tables::rows::{
    AdjustedRow, ComparisonRow, CurveRow, DigChecklistRow, DigCurveRow, DigLevelRow, DigStandRow, DigStripRow,
    DigWindowRow, FactorRow, FieldCurveRow, FieldEffectRow, KnobRow, ModelRow, NextTrialRow, SensitivityRow, ShapeRow,
    StartingPointRow, StripMeasureRow, StripRow,
};
use evenstand_tables::{Finding, LongTable, Row, with_usable_numbers};
use rayon::prelude::*;

use crate::by_response::{Outcome, work_out};
use crate::confounded;
use crate::covariance::Before;
use crate::design_checks::design_checks;
use crate::dig_checklist::dig_checklist;
use crate::dig_stand::dig_stand;
use crate::dig_start::dug_groups;
use crate::dig_window::{Digs, dig_windows, placed};
use crate::group_answer::{GroupAnswer, Members, Outlook, mark_primary, members, open_from_the_start};
use crate::groups::{Axis, GroupKey, axis_of};
use crate::label_answer::label_answers;
use crate::layout::closer_findings;
use crate::next_trial::next_trials;
use crate::pooled_closers::{ALL_CLOSERS, pooled};
use crate::response::{Measures, Response};
use crate::sensitivity::sensitivity;
use crate::starting_points::{knob_rows, shape_rows, starting_point};

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

/// What is answered: result tables, the long ones as columns.
#[derive(Debug, Default)]
pub struct Answers {
    /// Pooled curves.
    pub curves: Vec<CurveRow>,
    /// Curves by field-season.
    pub field_curves: LongTable<FieldCurveRow>,
    /// Differences between two settings by field-season.
    pub field_effects: Vec<FieldEffectRow>,
    /// Strips with field-season and block taken out.
    pub adjusted: LongTable<AdjustedRow>,
    /// Starting points.
    pub starting_points: Vec<StartingPointRow>,
    /// Starting points in each planter's knob.
    pub settings: Vec<KnobRow>,
    /// Trials that would help next season.
    pub next_trials: Vec<NextTrialRow>,
    /// Suggestions against other readings of the same strips.
    pub sensitivity: Vec<SensitivityRow>,
    /// Candidate shapes of the response over force.
    pub shapes: Vec<ShapeRow>,
    /// Differences between settings.
    pub comparisons: LongTable<ComparisonRow>,
    /// Factors beside the setting.
    pub factors: Vec<FactorRow>,
    /// Dig evidence.
    pub dig_window: Vec<DigWindowRow>,
    /// Shares of places not shut and too firm over force.
    pub dig_curves: Vec<DigCurveRow>,
    /// The same counted, setting by setting.
    pub dig_levels: Vec<DigLevelRow>,
    /// Questions asked with the spade, and what each answer asks for.
    pub dig_checklist: Vec<DigChecklistRow>,
    /// Digs against the stand.
    pub dig_stand: Vec<DigStandRow>,
    /// What was fitted.
    pub model: Vec<ModelRow>,
    /// What a person should look at.
    pub findings: Vec<Finding>,
}

impl Answers {
    /// Numbers of results that a curve on a log scale has led beyond the range of a number become missing, and a finding says so.
    fn without_odd_numbers(&mut self) {
        fn sweep<R: Row>(rows: &mut Vec<R>, found: &mut Vec<String>) {
            if let Ok(Some((kept, count))) = with_usable_numbers(rows, f64::MAX) {
                *rows = kept;
                found.push(format!("{} ({count})", R::TABLE));
            }
        }
        fn sweep_long<R: Row>(rows: &mut LongTable<R>, found: &mut Vec<String>) {
            let count = rows.take_out_odd_numbers(f64::MAX);
            if count > 0 {
                found.push(format!("{} ({count})", R::TABLE));
            }
        }
        let mut found = Vec::new();
        sweep_long(&mut self.field_curves, &mut found);
        sweep_long(&mut self.adjusted, &mut found);
        sweep_long(&mut self.comparisons, &mut found);
        sweep(&mut self.curves, &mut found);
        sweep(&mut self.field_effects, &mut found);
        sweep(&mut self.starting_points, &mut found);
        sweep(&mut self.settings, &mut found);
        sweep(&mut self.next_trials, &mut found);
        sweep(&mut self.sensitivity, &mut found);
        sweep(&mut self.shapes, &mut found);
        sweep(&mut self.factors, &mut found);
        sweep(&mut self.dig_window, &mut found);
        sweep(&mut self.dig_curves, &mut found);
        sweep(&mut self.dig_levels, &mut found);
        sweep(&mut self.dig_stand, &mut found);
        sweep(&mut self.model, &mut found);
        if !found.is_empty() {
            let problem = format!("results beyond any number are missing: {}", found.join(", "));
            let remedy = "look for strips in strips.csv whose values differ by many powers of ten, and correct the files they come from";
            self.findings.push(Finding::warning("result_out_of_range", problem).remedy(remedy));
        }
    }
}

/// Numbers beyond this are no measure of anything, and their squares and products would leave the range of a number.
const LARGEST: f64 = 1e30;

/// Answers all questions. Never fails: what cannot be fitted stays open, with the reason in words. Numbers that are none, or beyond 1e30, count
/// as missing, with a finding.
pub fn analyse(questions: &Questions) -> Answers {
    fn usable<R: Row>(rows: &[R]) -> Option<(Vec<R>, usize)> {
        with_usable_numbers(rows, LARGEST).ok().flatten()
    }
    let (strips, measures, digs) = (usable(questions.strips), usable(questions.measures), usable(questions.digs));
    let taken_out =
        [strips.as_ref().map(|part| part.1), measures.as_ref().map(|part| part.1), digs.as_ref().map(|part| part.1)];
    let taken_out: usize = taken_out.into_iter().flatten().sum();
    let mut answers = analyse_usable(&Questions {
        strips: strips.as_ref().map_or(questions.strips, |part| &part.0),
        measures: measures.as_ref().map_or(questions.measures, |part| &part.0),
        digs: digs.as_ref().map_or(questions.digs, |part| &part.0),
        settings: questions.settings,
    });
    answers.without_odd_numbers();
    if taken_out > 0 {
        let problem = format!(
            "{taken_out} numbers of strips, measures or digs are beyond 1e30 or no numbers at all, and count as missing"
        );
        let finding = Finding::warning("number_out_of_range", problem);
        answers.findings.push(
            finding.remedy("look for them in strips.csv and strip_measures.csv, and correct the files they come from"),
        );
    }
    answers
}

fn analyse_usable(questions: &Questions) -> Answers {
    let pooled = questions.settings.hardware.pool_closers.then(|| pooled(questions.strips)).flatten();
    let Some((strips, finding)) = pooled else { return answers(questions) };
    let digs: Vec<DigStripRow> =
        questions.digs.iter().map(|dig| DigStripRow { closer: Some(ALL_CLOSERS.to_owned()), ..dig.clone() }).collect();
    let mut answers = answers(&Questions { strips: &strips, digs: &digs, ..*questions });
    answers.findings.extend(closer_findings(questions.strips));
    answers.findings.push(finding);
    answers
}

fn answers(questions: &Questions) -> Answers {
    let measures = Measures::new(questions.measures);
    let members = members(questions.strips, questions.settings);
    let dug = placed(questions.digs, &members);
    let digs = dig_windows(&dug, questions.settings);
    let (mut answers, groups) = suggestions(questions, &measures, &members, &digs);
    answers.dig_window = digs.window_rows;
    answers.dig_curves = digs.curves;
    answers.dig_levels = digs.levels;
    answers.dig_checklist = dig_checklist(&dug);
    answers.dig_stand = dig_stand(questions.digs, questions.strips);
    answers.model.extend(digs.facts);
    answers.findings.extend(digs.findings);
    let design = design_checks(questions, &measures, &groups, &members);
    answers.model.extend(design.facts);
    confounded::hold_back(&members, &design.findings, &mut answers.starting_points, &mut answers.settings);
    answers.findings.extend(design.findings);
    answers.findings.extend(Before { names: &questions.settings.analysis.covariates, measures: &measures }.findings());
    let hangs = sensitivity(questions, &measures, &groups, &mut answers.starting_points);
    answers.sensitivity = hangs.rows;
    answers.findings.extend(hangs.findings);
    let starts = answers.starting_points.par_iter();
    let deciding = groups.par_iter().zip(starts).filter(|(group, _)| group.primary);
    answers.next_trials = deciding
        .flat_map_iter(|(group, start)| {
            let strips = members.get(&group.key).map_or(&[][..], Vec::as_slice);
            let seed = seed_of(questions.settings.analysis.seed, &group.key.condition, &group.response);
            next_trials(group, strips, start.default_n, questions.settings, seed)
        })
        .collect();
    answers
}

/// The part of [`analyse`] that ends in starting points: without dig tables, checks of the design, what answers hang on beyond a
/// field-season, and trials for next season, which change none of them.
pub fn suggest(questions: &Questions) -> Answers {
    let measures = Measures::new(questions.measures);
    let members = members(questions.strips, questions.settings);
    let digs = dig_windows(&placed(questions.digs, &members), questions.settings);
    suggestions(questions, &measures, &members, &digs).0
}

/// The part of [`analyse`] that works out dig windows.
pub fn suggest_from_digs(questions: &Questions) -> Vec<DigWindowRow> {
    let members = members(questions.strips, questions.settings);
    dig_windows(&placed(questions.digs, &members), questions.settings).window_rows
}

fn suggestions(
    questions: &Questions,
    measures: &Measures,
    members: &Members,
    digs: &Digs,
) -> (Answers, Vec<GroupAnswer>) {
    let axes: BTreeSet<Axis> = questions.strips.iter().filter_map(axis_of).collect();
    let responses = Response::all(measures);
    let tasks: Vec<(Axis, &Response)> =
        axes.iter().flat_map(|axis| responses.iter().map(move |response| (axis.clone(), response))).collect();
    let outcomes: Vec<Outcome> =
        tasks.par_iter().map(|(axis, response)| work_out(questions, measures, members, axis, response)).collect();
    let mut answers = Answers::default();
    let mut groups: Vec<GroupAnswer> = Vec::new();
    for outcome in outcomes {
        answers.curves.extend(outcome.curves);
        answers.field_curves.append(outcome.field_curves);
        answers.field_effects.extend(outcome.field_effects);
        answers.adjusted.append(outcome.adjusted);
        answers.comparisons.append(outcome.comparisons);
        answers.factors.extend(outcome.factors);
        answers.model.extend(outcome.facts);
        answers.findings.extend(outcome.findings);
        groups.extend(outcome.groups);
    }
    let by_label = label_answers(questions, measures, members);
    answers.comparisons.extend(by_label.comparisons);
    answers.factors.extend(by_label.factors);
    answers.model.extend(by_label.facts);
    groups.extend(by_label.groups);
    groups.extend(dug_groups(&digs.windows, members));
    groups.extend(open_from_the_start(members, &groups, questions.settings));
    for group in &mut groups {
        if let Some(window) = digs.windows.get(&group.key) {
            group.coverage.allowed = window.allowed();
        }
    }
    mark_primary(&mut groups, questions.settings);
    // Strips whose condition is not one condition come last: nobody plants by them.
    let unclear = |key: &GroupKey| key.condition == "mixed" || key.condition == "unstated";
    groups.sort_by_key(|group| (unclear(&group.key), group.key.clone(), !group.primary, group.response.clone()));
    let advised: Vec<Advised> =
        groups.par_iter().map(|group| Advised::new(group, members, questions.settings)).collect();
    for (group, Advised { start, shapes, knobs }) in groups.iter().zip(advised) {
        answers.findings.extend(moved_by_digs(&start));
        answers.starting_points.push(start);
        answers.shapes.extend(shapes);
        answers.findings.extend(knobs.iter().filter_map(start_beside_window));
        answers.settings.extend(knobs);
        answers.findings.extend(nothing_seen(group));
    }
    (answers, groups)
}

/// What is said to one group about next season.
struct Advised {
    start: StartingPointRow,
    shapes: Vec<ShapeRow>,
    knobs: Vec<KnobRow>,
}

impl Advised {
    fn new(group: &GroupAnswer, members: &Members, settings: &Settings) -> Self {
        let strips = members.get(&group.key).map_or(&[][..], Vec::as_slice);
        Self {
            start: starting_point(group, strips, settings),
            shapes: shape_rows(group),
            knobs: knob_rows(group, strips, settings),
        }
    }
}

/// A note where no step of a knob lies in the dig window, and the one that misses it least is the start.
fn start_beside_window(row: &KnobRow) -> Option<Finding> {
    let start_n = row.start_force_n.filter(|_| row.primary == Some(true))?;
    let slack = 1e-6 * start_n.abs().max(1.0);
    let outside = row.dig_low_n.is_some_and(|low| start_n < low - slack)
        || row.dig_high_n.is_some_and(|high| start_n > high + slack);
    let message = format!(
        "{}: no step of the knob of planter {} lies inside the dig window; the start is the one that misses it least",
        row.condition, row.planter_id
    );
    outside.then(|| Finding::note("start_beside_window", message).remedy("dig behind it before you rely on it"))
}

/// What a person should know where digging moved a start, or stands against the stand.
fn moved_by_digs(start: &StartingPointRow) -> Option<Finding> {
    let by = start.bound_by.as_deref().filter(|_| start.primary == Some(true))?;
    let (side, seen) = match by {
        "open_limit" => ("lighter", "the trench is not shut often enough there"),
        _ => ("heavier", "the soil is pressed too hard there"),
    };
    let message = format!(
        "{}: by the stand alone ({}) the start would be {side}, but digging says that {seen}",
        start.condition, start.response
    );
    Some(if start.start_n.is_some() {
        Finding::note("start_bound_by_digs", message + "; the start is kept inside the dig window")
    } else {
        Finding::warning("digs_against_stand", message + "; the two disagree, so there is no start")
            .remedy("try settings at and inside the dig window beside the one that the stand likes best, and dig and count both")
    })
}

/// A note where no setting could be told from another in the response that decides.
fn nothing_seen(group: &GroupAnswer) -> Option<Finding> {
    let p_value = match &group.finding {
        Outlook::Told(told) => told.levels.as_ref().filter(|_| !told.picture.seen)?.p_value,
        Outlook::Labelled(told) => told.unseen()?,
        Outlook::Open(_) | Outlook::Dug(_) => return None,
    };
    if !group.primary {
        return None;
    }
    let message = format!(
        "{}: no setting could be told from another in {} (p = {:.2})",
        group.key.condition, group.response, p_value
    );
    Some(Finding::note("no_difference_seen", message))
}

/// A seed of its own for each model, the same whatever else is modelled (FNV-1a of the names).
pub(crate) fn seed_of(seed: u64, axis: &str, response: &str) -> u64 {
    let hash = axis
        .bytes()
        .chain([0])
        .chain(response.bytes())
        .fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3));
    hash ^ seed.wrapping_mul(0x9e37_79b9_7f4a_7c15)
}
