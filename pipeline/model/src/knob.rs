//! Starting points in each planter's own knob, against its own default.

use evenstand_settings::{Calibration, Knob, Planter};
use evenstand_tables::rows::KnobRow;

use crate::decision::{Choice, Evidence, Picture, gain, near_best};
use crate::draws::GroupDraws;
use crate::group_answer::{GroupAnswer, Outlook};
use crate::groups::Coverage;
use crate::label_answer::fill_knob;
use crate::left_out::choose_held;
use crate::words;

/// The row of one planter. `default_n` is its default on the group's axis (nominal newtons are kilopascals);
/// `default_given` whether the planter or the review names it, otherwise the setting used most stands for it.
pub(crate) fn knob_row(planter: &Planter, group: &GroupAnswer, default_n: Option<f64>, default_given: bool) -> KnobRow {
    let calibrated = planter.calibrated() && group.key.planter_id.is_empty();
    let mut row = KnobRow {
        planter_id: planter.id.clone(),
        closer: group.key.closer.clone(),
        condition: group.key.condition.clone(),
        response: group.response.clone(),
        primary: Some(group.primary),
        evidence: Evidence::Open.name().to_owned(),
        basis: Some(group.coverage.basis.name().to_owned()),
        knob: Some(
            match &planter.knob {
                Some(Knob::Pressure { .. }) => "pressure",
                Some(Knob::Positions { .. }) => "positions",
                None => "none",
            }
            .to_owned(),
        ),
        advice: Some("open".to_owned()),
        default_force_n: default_n.filter(|_| calibrated),
        ..KnobRow::default()
    };
    match &planter.knob {
        Some(Knob::Pressure { default_kpa, .. }) => row.default_pressure_kpa = *default_kpa,
        Some(Knob::Positions { default, .. }) => row.default_position = default.clone(),
        None => {}
    }
    let coverage = &group.coverage;
    let told = match &group.finding {
        Outlook::Open(why) => {
            row.reason = Some(why.clone());
            return row;
        }
        Outlook::Labelled(told) => {
            fill_knob(&mut row, planter, told, coverage);
            return row;
        }
        Outlook::Told(told) => told,
    };
    let (draws, picture) = (&told.draws, &told.picture);
    let held = choose_held(draws, coverage, picture, told.left_out.as_ref(), default_n);
    let choice = held.choice;
    row.evidence = choice.evidence.name().to_owned();
    row.reason = Some(
        words::reason(coverage, picture, &choice, choice.gain.is_some()) + held.why.as_deref().unwrap_or_default(),
    );
    if !default_given {
        row.reason = row.reason.map(|reason| reason + words::NO_DEFAULT_GIVEN);
        fill_most_used(&mut row, planter, default_n, calibrated);
    }
    row.shape = Some(picture.shape.name().to_owned());
    fill_window(&mut row, planter, picture, calibrated);
    if choice.evidence == Evidence::Open {
        return row;
    }
    fill_start(&mut row, planter, &choice, draws, coverage, default_n, calibrated, picture);
    row
}

/// The setting used most, on the knob, in the place of a default that nobody named.
fn fill_most_used(row: &mut KnobRow, planter: &Planter, default_n: Option<f64>, calibrated: bool) {
    let Some(force) = default_n else { return };
    match &planter.knob {
        Some(Knob::Pressure { calibration, .. }) => {
            row.default_pressure_kpa = Some(pressure_of(calibration.as_ref().filter(|_| calibrated), force));
        }
        Some(Knob::Positions { positions, .. }) => {
            let weighed = positions.iter().filter_map(|position| Some((position, position.force_n?)));
            let nearest = weighed.min_by(|a, b| (a.1 - force).abs().total_cmp(&(b.1 - force).abs()));
            row.default_position = nearest.map(|(position, _)| position.label.clone());
        }
        None => {}
    }
}

fn fill_window(row: &mut KnobRow, planter: &Planter, picture: &Picture, calibrated: bool) {
    let Some((low, high)) = picture.window else { return };
    if calibrated {
        (row.window_low_n, row.window_high_n) = (Some(low), Some(high));
    }
    match &planter.knob {
        Some(Knob::Pressure { min_kpa, max_kpa, step_kpa, calibration, .. }) => {
            let pressure =
                |force: f64| pressure_of(calibration.as_ref().filter(|_| calibrated), force).clamp(*min_kpa, *max_kpa);
            // Rounded inwards, so that what is called as good is as good.
            let low = min_kpa + ((pressure(low) - min_kpa) / step_kpa - 1e-9).ceil() * step_kpa;
            let high = min_kpa + ((pressure(high) - min_kpa) / step_kpa + 1e-9).floor() * step_kpa;
            if low <= high + 1e-9 {
                (row.window_low_pressure_kpa, row.window_high_pressure_kpa) = (Some(low), Some(high));
            }
        }
        Some(Knob::Positions { positions, .. }) => {
            let mut inside = positions
                .iter()
                .filter(|position| position.force_n.is_some_and(|force| force >= low - 1e-9 && force <= high + 1e-9));
            row.window_low_position = inside.next().map(|position| position.label.clone());
            row.window_high_position =
                inside.next_back().map(|position| position.label.clone()).or_else(|| row.window_low_position.clone());
        }
        None => {}
    }
}

fn pressure_of(calibration: Option<&Calibration>, force: f64) -> f64 {
    calibration.map_or(force, |line| line.pressure_kpa(force))
}

#[allow(clippy::too_many_arguments)] // one row is filled from everything that is known about it
fn fill_start(
    row: &mut KnobRow,
    planter: &Planter,
    choice: &Choice,
    draws: &GroupDraws,
    coverage: &Coverage,
    default_n: Option<f64>,
    calibrated: bool,
    picture: &Picture,
) {
    let (low, high) = coverage.tested;
    let tested = |force: f64| force >= low - 1e-6 * (high - low) && force <= high + 1e-6 * (high - low);
    let mut start = choice.start_n;
    if !choice.stay {
        match &planter.knob {
            Some(Knob::Pressure { min_kpa, max_kpa, step_kpa, calibration, .. }) => {
                let calibration = calibration.as_ref().filter(|_| calibrated);
                let force_of = |pressure: f64| calibration.map_or(pressure, |line| line.force_n(pressure));
                let wanted = pressure_of(calibration, start);
                let steps = (wanted - min_kpa) / step_kpa;
                let on_knob =
                    [steps.floor(), steps.ceil()].map(|steps| (min_kpa + steps * step_kpa).clamp(*min_kpa, *max_kpa));
                let nearest = on_knob
                    .into_iter()
                    .filter(|pressure| tested(force_of(*pressure)))
                    .min_by(|a, b| (a - wanted).abs().total_cmp(&(b - wanted).abs()))
                    .unwrap_or_else(|| wanted.clamp(*min_kpa, *max_kpa));
                row.start_pressure_kpa = Some(nearest);
                row.at_limit = Some(nearest <= min_kpa + 1e-9 || nearest >= max_kpa - 1e-9);
                start = force_of(nearest);
            }
            Some(Knob::Positions { positions, .. }) => {
                let nearest = positions
                    .iter()
                    .filter_map(|position| Some((position, position.force_n?)))
                    .filter(|(_, force)| tested(*force))
                    .min_by(|a, b| (a.1 - start).abs().total_cmp(&(b.1 - start).abs()));
                if let Some((position, force)) = nearest {
                    row.start_position = Some(position.label.clone());
                    let ends = [positions.first(), positions.last()];
                    row.at_limit = Some(ends.iter().flatten().any(|end| end.label == position.label));
                    start = force;
                }
            }
            None => {}
        }
        row.rounding_loss = Some(gain(draws, choice.start_n, start).expected);
    } else {
        row.start_pressure_kpa = row.default_pressure_kpa;
        row.start_position = row.default_position.clone();
        row.rounding_loss = Some(0.0);
        row.at_limit = match &planter.knob {
            Some(Knob::Pressure { min_kpa, max_kpa, default_kpa: Some(default), .. }) => {
                Some(*default <= min_kpa + 1e-9 || *default >= max_kpa - 1e-9)
            }
            Some(Knob::Positions { positions, default: Some(default) }) => {
                Some([positions.first(), positions.last()].iter().flatten().any(|end| end.label == *default))
            }
            _ => None,
        };
    }
    row.start_force_n = calibrated.then_some(start);
    row.prob_near_best = Some(near_best(draws, picture, start).probability);
    let moved = default_n.map(|default| start - default);
    row.advice = Some(
        match moved {
            _ if choice.stay => "stay",
            Some(difference) if difference.abs() < 1e-6 => "stay",
            Some(difference) if difference < 0.0 => "lighter",
            Some(_) => "heavier",
            None => "stay",
        }
        .to_owned(),
    );
    if choice.gain.is_some()
        && let Some(default) = default_n
    {
        let gain = gain(draws, start, default.clamp(low, high));
        row.gain_vs_default = Some(gain.expected);
        row.gain_low = Some(gain.low);
        row.gain_high = Some(gain.high);
        row.prob_gain = gain.probability;
    }
}
