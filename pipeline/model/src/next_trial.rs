//! Which strip trial of next season would help most, and how sure the answer would be after it.
//!
//! Where draws can be trusted, every trial of a fixed list is simulated ([`crate::preposterior`]) and the smallest one is
//! advised that brings nearly all that any of them would. Where they cannot, a plain trial by stated defaults is named, and
//! what is missing.
//!
//! Losses are counted among the forces that have been tried. Where the best of them is at an end and the knob goes on, the trial does so too; what
//! lies there is not valued, for a parabola that is carried on knows nothing of it, but the trial must tell it from the next setting.

mod range;
mod words;

use evenstand_settings::Settings;
use evenstand_tables::rows::{NextTrialRow, StripRow};

use crate::decision::{ENOUGH_FIELD_SEASONS, LIKELY};
use crate::draws::Field;
use crate::group_answer::{GroupAnswer, Outlook};
use crate::groups::Basis;
use crate::preposterior::{Choice, Curves, Effort, Expected, Preposterior};
use range::{Reach, TrialRange};

/// Numbers of settings, of blocks in each field, and of new field-seasons that are considered.
const LEVELS: [usize; 4] = [3, 4, 5, 6];
const BLOCKS: [usize; 4] = [2, 3, 4, 6];
const FIELDS: [usize; 3] = [1, 2, 3];
/// The trial that is named where nothing can be worked out: settings, blocks, fields.
const PLAIN: (usize, usize, usize) = (5, 4, 3);
/// Losses below this share of the tolerance do not matter.
const MATTERS: f64 = 0.1;
/// The advised trial brings at least this share of what the best of all would.
const NEARLY_ALL: f64 = 0.8;
/// Draws taken for the truth, and draws that are weighed: about 70 ms for all trials of a group on a busy machine.
const TRUTHS: usize = 200;
const WEIGHED: usize = 400;

/// One trial and what is expected of it.
#[derive(Debug, Clone, Copy)]
struct Candidate {
    levels: usize,
    blocks: usize,
    fields: usize,
    expected: Expected,
    /// Variance of a contrast between fields, on the model's scale.
    field_variance: f64,
    /// Half width of the 90 % limits of the difference between the setting beyond the tested range and the next one, in the response's unit.
    step_half_width: Option<f64>,
}

impl Candidate {
    fn strips(&self) -> usize {
        self.levels * self.blocks * self.fields
    }
}

/// The trials considered for a group, or the one row that says why there is none to consider. Exactly one row is advised.
///
/// `strips` are the members of the group, `default_n` the force its start is held against.
pub(crate) fn next_trials(
    group: &GroupAnswer,
    strips: &[&StripRow],
    default_n: Option<f64>,
    settings: &Settings,
    seed: u64,
) -> Vec<NextTrialRow> {
    let reach = Reach::of(&group.key, strips, settings);
    let planter = settings.planter(&group.key.planter_id);
    let positions = planter.unweighed_positions().map_or(0, <[_]>::len);
    match &group.finding {
        Outlook::Open(why) if group.key.condition == "mixed" => vec![no_trial(group, None, why.clone())],
        Outlook::Open(why) if positions > 0 => vec![trial_of_positions(group, positions, why)],
        Outlook::Labelled(_) => vec![trial_of_positions(group, positions, words::BY_LABEL)],
        Outlook::Open(why) => vec![plain_trial(group, default_n, reach.as_ref(), why)],
        Outlook::Dug(_) => vec![plain_trial(group, default_n, reach.as_ref(), words::ONLY_DIGS)],
        Outlook::Told(_) if group.coverage.basis == Basis::Logs => {
            vec![plain_trial(group, default_n, reach.as_ref(), words::ONLY_LOGS)]
        }
        Outlook::Told(told) => {
            let effort = Effort { truths: TRUTHS, weighed: WEIGHED, seed };
            let found = worked_out(group, &told.draws, told.strip_variance, reach.as_ref(), effort);
            found.unwrap_or_else(|| vec![plain_trial(group, default_n, reach.as_ref(), words::NOT_SIMULATED)])
        }
    }
}

/// All trials of the list, simulated; `None` where a number is not finite.
fn worked_out<C: Curves>(
    group: &GroupAnswer,
    draws: &C,
    strip_variance: f64,
    reach: Option<&Reach>,
    effort: Effort,
) -> Option<Vec<NextTrialRow>> {
    let coverage = &group.coverage;
    let best_now = |force: &f64| {
        (0..draws.number()).map(|draw| draws.worth_of(draws.modelled(draw, *force, Field::Typical))).sum()
    };
    let range = TrialRange::new(coverage.tested, coverage.level_forces.len(), reach, best_now)?;
    let choice = Choice { starts_n: range.starts_n.clone(), tolerance: group.tolerance, strip_variance };
    let prepared = Preposterior::new(draws, choice, effort)?;
    let matters = MATTERS * group.tolerance;
    let now = Now { loss: prepared.loss_now(), prob_near_best: prepared.prob_near_best_now() };
    if range.beyond.is_none() && now.loss < matters {
        return Some(vec![no_trial(group, Some(now), words::no_trial(group, now.loss, None))]);
    }
    let candidates = candidates(&prepared, &range, reach)?;
    let best = candidates.iter().rev().max_by(|a, b| a.expected.reduction.total_cmp(&b.expected.reduction))?.expected;
    let helps = best.reduction >= matters && best.reduction >= best.monte_carlo_error;
    if range.beyond.is_none() && !helps {
        return Some(vec![no_trial(group, Some(now), words::no_trial(group, now.loss, Some(best.reduction)))]);
    }
    let brings = |candidate: &Candidate| !helps || candidate.expected.reduction >= NEARLY_ALL * best.reduction;
    let tells = |candidate: &Candidate| told_apart(candidate, &candidates, group.tolerance);
    // What tells the step best need not bring the most among the settings tried: the step is what the trial is for.
    let both = advised(&candidates, |candidate| brings(candidate) && tells(candidate));
    let advised = both.or_else(|| advised(&candidates, tells))?;
    let reason = words::advised(group, &candidates, advised, strip_variance, range.beyond);
    let rows = candidates.iter().enumerate().map(|(number, candidate)| {
        let row = row(group, candidate, &range, prepared.prob_near_best_now());
        let is_advised = number == advised;
        NextTrialRow { advised: Some(is_advised), reason: is_advised.then(|| reason.clone()), ..row }
    });
    Some(rows.collect())
}

fn candidates<C: Curves>(
    prepared: &Preposterior<C>,
    range: &TrialRange,
    reach: Option<&Reach>,
) -> Option<Vec<Candidate>> {
    let mut candidates = Vec::new();
    for number in range.level_counts(&LEVELS, reach) {
        let levels = prepared.levels(&range.levels_n(number))?;
        let step = match range.step_beyond(number) {
            Some((pair, end)) => Some(prepared.step(&pair, end)?),
            None => None,
        };
        for blocks in BLOCKS {
            for fields in FIELDS {
                let expected = prepared.expected(&levels, blocks, fields)?;
                let field_variance = levels.field_variance();
                let step_half_width = step.as_ref().map(|step| prepared.half_width(step, blocks, fields));
                candidates.push(Candidate {
                    levels: number,
                    blocks,
                    fields,
                    expected,
                    field_variance,
                    step_half_width,
                });
            }
        }
    }
    Some(candidates)
}

/// Whether a trial tells the setting beyond the tested range from the next one: to within the tolerance, or nearly as well as any trial with as many settings.
fn told_apart(candidate: &Candidate, candidates: &[Candidate], tolerance: f64) -> bool {
    let Some(half_width) = candidate.step_half_width else { return true };
    let alike = candidates.iter().filter(|other| other.levels == candidate.levels);
    let least = alike.filter_map(|other| other.step_half_width).fold(f64::INFINITY, f64::min);
    half_width <= tolerance || NEARLY_ALL * half_width <= least
}

/// Position of the trial with the fewest strips that is `enough`; of equal ones that with the larger reduction.
fn advised(candidates: &[Candidate], enough: impl Fn(&Candidate) -> bool) -> Option<usize> {
    let good = (0..candidates.len()).filter(|number| enough(&candidates[*number]));
    good.min_by(|a, b| {
        let (a, b) = (&candidates[*a], &candidates[*b]);
        a.strips().cmp(&b.strips()).then(b.expected.reduction.total_cmp(&a.expected.reduction))
    })
}

/// Field-seasons of trials there are now.
fn field_seasons_now(group: &GroupAnswer) -> usize {
    if group.coverage.basis == Basis::Trial { group.coverage.field_seasons } else { 0 }
}

fn of_group(group: &GroupAnswer) -> NextTrialRow {
    NextTrialRow {
        condition: group.key.condition.clone(),
        closer: group.key.closer.clone(),
        planter_id: group.key.planter(),
        response: group.response.clone(),
        ..NextTrialRow::default()
    }
}

fn row(group: &GroupAnswer, candidate: &Candidate, range: &TrialRange, prob_near_best_now: f64) -> NextTrialRow {
    let expected = &candidate.expected;
    let can_settle = field_seasons_now(group) + candidate.fields >= ENOUGH_FIELD_SEASONS;
    NextTrialRow {
        n_levels: Some(candidate.levels as i64),
        low_n: Some(range.ends_n.0),
        high_n: Some(range.ends_n.1),
        n_blocks: Some(candidate.blocks as i64),
        n_fields: Some(candidate.fields as i64),
        strips: Some(candidate.strips() as i64),
        expected_loss_now: Some(expected.loss_now),
        expected_loss_after: Some(expected.loss_after),
        reduction: Some(expected.reduction),
        prob_near_best_now: Some(prob_near_best_now),
        prob_near_best_after: Some(expected.prob_near_best),
        prob_four_in_five_after: Some(if can_settle { expected.prob_likely } else { 0.0 }),
        monte_carlo_error: Some(expected.monte_carlo_error),
        effective_draws: Some(expected.effective_draws),
        step_half_width: candidate.step_half_width,
        ..of_group(group)
    }
}

/// What is believed without a trial.
#[derive(Debug, Clone, Copy)]
struct Now {
    loss: f64,
    prob_near_best: f64,
}

/// The row that advises no trial.
fn no_trial(group: &GroupAnswer, now: Option<Now>, reason: String) -> NextTrialRow {
    let settled = |now: Now| now.prob_near_best >= LIKELY && field_seasons_now(group) >= ENOUGH_FIELD_SEASONS;
    NextTrialRow {
        n_levels: Some(0),
        n_blocks: Some(0),
        n_fields: Some(0),
        strips: Some(0),
        expected_loss_now: now.map(|now| now.loss),
        expected_loss_after: now.map(|now| now.loss),
        reduction: now.map(|_| 0.0),
        prob_near_best_now: now.map(|now| now.prob_near_best),
        prob_near_best_after: now.map(|now| now.prob_near_best),
        prob_four_in_five_after: now.map(|now| f64::from(u8::from(settled(now)))),
        advised: Some(true),
        reason: Some(reason),
        ..of_group(group)
    }
}

/// The plain trial of stated defaults, for a group that nothing can be worked out for.
fn plain_trial(group: &GroupAnswer, default_n: Option<f64>, reach: Option<&Reach>, why: &str) -> NextTrialRow {
    let (levels, blocks, fields) = PLAIN;
    let around = range::around(default_n, reach);
    NextTrialRow {
        n_levels: Some(levels as i64),
        low_n: around.map(|(low, _)| low),
        high_n: around.map(|(_, high)| high),
        n_blocks: Some(blocks as i64),
        n_fields: Some(fields as i64),
        strips: Some((levels * blocks * fields) as i64),
        advised: Some(true),
        reason: Some(words::plain(why, PLAIN, around.is_some())),
        ..of_group(group)
    }
}

/// The plain trial of a planter whose positions are compared by label: never of more settings than it has positions.
fn trial_of_positions(group: &GroupAnswer, positions: usize, why: &str) -> NextTrialRow {
    let (levels, blocks, fields) = (PLAIN.0.min(positions), PLAIN.1, PLAIN.2);
    NextTrialRow {
        n_levels: Some(levels as i64),
        n_blocks: Some(blocks as i64),
        n_fields: Some(fields as i64),
        strips: Some((levels * blocks * fields) as i64),
        advised: Some(true),
        reason: Some(words::of_positions(why, (levels, blocks, fields))),
        ..of_group(group)
    }
}
