//! Starting points in each planter's own knob, against its own default.

use evenstand_settings::{Knob, Planter};
use evenstand_tables::rows::KnobRow;

use crate::decision::{Choice, Evidence, LEANING, gain, near_best};
use crate::dial::{Dial, KnobRange, Step};
use crate::dig_start;
use crate::dig_window::Allowed;
use crate::group_answer::{GroupAnswer, Outlook, Told};
use crate::groups::Coverage;
use crate::label_answer::fill_knob;
use crate::left_out::choose_held;
use crate::words;

/// A default on the axis of a group (nominal newtons are kilopascals).
#[derive(Debug, Clone, Copy)]
pub(crate) struct Reference {
    pub force_n: Option<f64>,
    /// Whether the planter or the review names it; otherwise the setting used most stands for it.
    pub given: bool,
}

/// The row of one planter.
pub(crate) fn knob_row(planter: &Planter, group: &GroupAnswer, default: Reference) -> KnobRow {
    let calibrated = planter.calibrated() && group.key.planter_id.is_empty();
    let dial = Dial::new(planter, calibrated);
    let mut row = blank(planter, group, default.force_n.filter(|_| calibrated));
    if planter.unweighed_positions().is_none() {
        let limits = group.coverage.allowed;
        if calibrated {
            (row.dig_low_n, row.dig_high_n) = (limits.low, limits.high);
        }
        let range = dial.range_inside((limits.low.unwrap_or(f64::MIN), limits.high.unwrap_or(f64::MAX)));
        (row.dig_low_pressure_kpa, row.dig_high_pressure_kpa) =
            one_sided(range.pressures_kpa, limits.low.is_some(), limits.high.is_some());
        (row.dig_low_position, row.dig_high_position) =
            one_sided(range.positions, limits.low.is_some(), limits.high.is_some());
    }
    match &group.finding {
        Outlook::Open(why) => row.reason = Some(why.clone()),
        Outlook::Labelled(told) => fill_knob(&mut row, planter, told, &group.coverage),
        Outlook::Dug(window) => {
            row.reason = Some(dig_start::reason(window, default));
            fill_default(&mut row, &dial, default);
            dig_start::fill_knob(&mut row, &dial, window, default.force_n, calibrated);
        }
        Outlook::Told(told) => fill_told(&mut row, &dial, told, &group.coverage, default, calibrated),
    }
    row
}

fn one_sided<T>(range: Option<(T, T)>, low: bool, high: bool) -> (Option<T>, Option<T>) {
    let (from, to) = range.unzip();
    (from.filter(|_| low), to.filter(|_| high))
}

fn blank(planter: &Planter, group: &GroupAnswer, default_force_n: Option<f64>) -> KnobRow {
    let mut row = KnobRow {
        planter_id: planter.id.clone(),
        closer: group.key.closer.clone(),
        condition: group.key.condition.clone(),
        response: group.response.clone(),
        primary: Some(group.primary),
        evidence: Evidence::Open.name().to_owned(),
        basis: Some(group.basis().to_owned()),
        knob: Some(
            match &planter.knob {
                Some(Knob::Pressure { .. }) => "pressure",
                Some(Knob::Positions { .. }) => "positions",
                None => "none",
            }
            .to_owned(),
        ),
        advice: Some("open".to_owned()),
        default_force_n,
        ..KnobRow::default()
    };
    match &planter.knob {
        Some(Knob::Pressure { default_kpa, .. }) => row.default_pressure_kpa = *default_kpa,
        Some(Knob::Positions { default, .. }) => row.default_position = default.clone(),
        None => {}
    }
    row
}

/// The setting used most, on the knob, in the place of a default that nobody named.
fn fill_default(row: &mut KnobRow, dial: &Dial, default: Reference) {
    if let Some(step) = default.force_n.filter(|_| !default.given).and_then(|force| dial.at_force(force)) {
        row.default_pressure_kpa = step.pressure_kpa;
        row.default_position = step.position;
    }
}

fn fill_told(row: &mut KnobRow, dial: &Dial, told: &Told, coverage: &Coverage, default: Reference, calibrated: bool) {
    let picture = &told.picture;
    let held = choose_held(&told.draws, coverage, picture, told.left_out.as_ref(), default.force_n);
    let choice = held.choice;
    row.evidence = choice.evidence.name().to_owned();
    let mut reason =
        words::reason(coverage, picture, &choice, choice.gain.is_some()) + held.why.as_deref().unwrap_or_default();
    if !default.given {
        reason.push_str(words::NO_DEFAULT_GIVEN);
        fill_default(row, dial, default);
    }
    row.bound_by = choice.bound.map(|(by, _)| by.name().to_owned());
    row.shape = Some(picture.shape.name().to_owned());
    if let Some(window) = picture.window {
        fill_window(row, dial, window, calibrated);
    }
    if choice.evidence != Evidence::Open {
        match start_step(row, dial, &choice, coverage) {
            Some(step) if choice.bound.is_some() && !near_enough(told, &step) => {
                row.evidence = Evidence::Open.name().to_owned();
                reason.push_str(words::DUG_AGAINST);
            }
            Some(step) => {
                reason.push_str(beside(choice.stay, &step, &coverage.allowed));
                fill_start(row, &step, &choice, told, coverage, default.force_n, calibrated);
            }
            None => {
                row.evidence = Evidence::Open.name().to_owned();
                reason.push_str(words::NO_STEP);
            }
        }
    }
    row.reason = Some(reason);
}

/// Whether a step is more likely than not within tolerance of the best.
fn near_enough(told: &Told, step: &Step) -> bool {
    near_best(&told.draws, &told.picture, step.force_n).probability >= LEANING
}

/// The window on the knob.
pub(crate) fn fill_window(row: &mut KnobRow, dial: &Dial, window: (f64, f64), calibrated: bool) {
    if calibrated {
        (row.window_low_n, row.window_high_n) = (Some(window.0), Some(window.1));
    }
    let KnobRange { pressures_kpa, positions } = dial.range_inside(window);
    (row.window_low_pressure_kpa, row.window_high_pressure_kpa) = pressures_kpa.unzip();
    (row.window_low_position, row.window_high_position) = positions.unzip();
}

/// The step of the start: the default itself where the answer is to stay, else one that was tested, inside the dig window where it can be. `None` where
/// digging settled that no step is right.
fn start_step(row: &KnobRow, dial: &Dial, choice: &Choice, coverage: &Coverage) -> Option<Step> {
    if choice.stay {
        return Some(stay(row, dial, choice.start_n));
    }
    let (low, high) = coverage.tested;
    let tested = |force: f64| force >= low - 1e-6 * (high - low) && force <= high + 1e-6 * (high - low);
    let allowed = &coverage.allowed;
    dial.in_window(choice.start_n, allowed, tested).or_else(|| {
        let between = if allowed.is_bounded() { None } else { dial.between_steps(choice.start_n) };
        // No position was tested near enough: the force is told without one.
        let without = Step { force_n: choice.start_n, pressure_kpa: None, position: None, at_limit: None };
        (!allowed.settled).then(|| between.unwrap_or(without))
    })
}

/// Said where a start is not to stay and lies outside what digging allows.
pub(crate) fn beside(stays: bool, step: &Step, allowed: &Allowed) -> &'static str {
    if stays || allowed.allows(step.force_n) { "" } else { words::STEP_BESIDE }
}

/// Fills the start, on the knob and in newtons, and the way to it from the default.
pub(crate) fn fill_step(row: &mut KnobRow, step: &Step, stays: bool, default_n: Option<f64>, calibrated: bool) {
    row.start_pressure_kpa = step.pressure_kpa;
    row.start_position = step.position.clone();
    row.at_limit = step.at_limit;
    row.start_force_n = calibrated.then_some(step.force_n);
    row.advice = Some(advice(stays, default_n, step.force_n).to_owned());
}

/// The default as it stands on the knob.
pub(crate) fn stay(row: &KnobRow, dial: &Dial, force_n: f64) -> Step {
    Step {
        force_n,
        pressure_kpa: row.default_pressure_kpa,
        position: row.default_position.clone(),
        at_limit: dial.named_default().and_then(|step| step.at_limit),
    }
}

/// The way from the default to a start.
fn advice(stays: bool, default_n: Option<f64>, start_n: f64) -> &'static str {
    match default_n.map(|default| start_n - default) {
        _ if stays => "stay",
        Some(difference) if difference.abs() < 1e-6 => "stay",
        Some(difference) if difference < 0.0 => "lighter",
        Some(_) => "heavier",
        None => "stay",
    }
}

fn fill_start(
    row: &mut KnobRow,
    step: &Step,
    choice: &Choice,
    told: &Told,
    coverage: &Coverage,
    default_n: Option<f64>,
    calibrated: bool,
) {
    let (low, high) = coverage.tested;
    let draws = &told.draws;
    fill_step(row, step, choice.stay, default_n, calibrated);
    row.rounding_loss = Some(if choice.stay { 0.0 } else { gain(draws, choice.start_n, step.force_n).expected });
    row.prob_near_best = Some(near_best(draws, &told.picture, step.force_n).probability);
    if choice.gain.is_some()
        && let Some(default) = default_n
    {
        let gain = gain(draws, step.force_n, default.clamp(low, high));
        row.gain_vs_default = Some(gain.expected);
        row.gain_low = Some(gain.low);
        row.gain_high = Some(gain.high);
        row.prob_gain = gain.probability;
    }
}

#[cfg(test)]
mod tests;
