//! Why a trial is advised, in words. Forces stay in their columns; amounts of the response stand in its own unit.

use crate::group_answer::GroupAnswer;
use crate::preposterior::FEWEST_DRAWS;
use crate::words::counted;

use crate::decision::ENOUGH_FIELD_SEASONS;

use super::range::Beyond;
use super::{Candidate, NEARLY_ALL, field_seasons_now};

/// Said where nobody counted plants.
pub(super) const ONLY_DIGS: &str = "Nobody has counted plants yet, so what digging allows is not tied to the stand.";
/// Why nothing is worked out from logs.
pub(super) const ONLY_LOGS: &str =
    "Settings varied only between the seasons of a field, so what is seen is a pattern and no trial yet.";
/// Why nothing is worked out by label.
pub(super) const BY_LABEL: &str = "Further field-seasons make the answer firmer.";
/// Why nothing is worked out from draws.
pub(super) const NOT_SIMULATED: &str = "What a trial would teach could not be simulated from these strips.";

/// An amount of a response, two figures, and its unit: shares in points, times in hours.
fn figure(response: &str, value: f64) -> (String, &'static str) {
    let (value, unit) = if response.ends_with("_share") {
        (100.0 * value, " points")
    } else if response.ends_with("_h") {
        (value, " h")
    } else {
        (value, "")
    };
    let decimals = if value > 0.0 { (1.0 - value.log10().floor()).clamp(0.0, 4.0) as usize } else { 0 };
    (format!("{value:.decimals$}"), unit)
}

fn amount(response: &str, value: f64) -> String {
    let (figure, unit) = figure(response, value);
    figure + unit
}

/// Why no trial is advised: the loss now is too small to matter, or else `largest`, the largest reduction of any trial, is.
pub(super) fn no_trial(group: &GroupAnswer, loss_now: f64, largest: Option<f64>) -> String {
    let loss = amount(&group.response, loss_now);
    let settled = if field_seasons_now(group) < ENOUGH_FIELD_SEASONS {
        " The answer cannot be called settled before three field-seasons of trials, though."
    } else {
        ""
    };
    match largest {
        None => format!(
            "No trial is needed for the choice: the setting that is best so far falls short of the true best by {loss} on average.{settled}"
        ),
        Some(largest) => format!(
            "No trial considered would help noticeably: the setting that is best so far falls short of the true best by {loss} on average, and the most helpful would save {}.{settled}",
            amount(&group.response, largest.max(0.0))
        ),
    }
}

/// Why the advised trial is advised.
pub(super) fn advised(
    group: &GroupAnswer,
    candidates: &[Candidate],
    advised: usize,
    strip_variance: f64,
    beyond: Option<Beyond>,
) -> String {
    let chosen = &candidates[advised];
    let expected = &chosen.expected;
    let place = if chosen.fields == 1 {
        "A trial in 1 field".to_owned()
    } else {
        format!("Trials in {}", counted(chosen.fields, "field"))
    };
    let trial = format!(
        "{place} with {} in {} ({})",
        counted(chosen.levels, "setting"),
        counted(chosen.blocks, "block"),
        counted(chosen.strips(), "strip"),
    );
    let (now, after) = (figure(&group.response, expected.loss_now).0, amount(&group.response, expected.loss_after));
    let mut text = match beyond.zip(chosen.step_half_width) {
        Some((beyond, half_width)) => {
            let (end, further) = match beyond {
                Beyond::Lightest => ("lightest", "lighter"),
                Beyond::Heaviest => ("heaviest", "heavier"),
            };
            let told = amount(&group.response, half_width);
            let among = if expected.reduction > expected.monte_carlo_error {
                format!("cut the expected loss from choosing wrongly among the settings tried from {now} to {after}")
            } else {
                format!("leave the expected loss from choosing wrongly among the settings tried at {after}")
            };
            format!(
                "The best so far is at the {end} setting tried, and nobody knows what lies beyond. {trial} would go a step {further}, \
                 tell that from the next setting to within {told} (90 % limits), and {among}."
            )
        }
        None => {
            let more = more_blocks(group, candidates, chosen, strip_variance).unwrap_or_else(|| ".".to_owned());
            format!("{trial} would cut the expected loss from choosing wrongly from {now} to {after}{more}")
        }
    };
    let after = field_seasons_now(group) + chosen.fields;
    text.push_str(&if after < ENOUGH_FIELD_SEASONS {
        format!(
            " It cannot settle the answer, which takes three field-seasons: {} would be there.",
            counted(after, "field-season")
        )
    } else if expected.prob_likely < 0.01 {
        " It would hardly settle the answer: fields differ so much that no one start is likely to be near the best in a field not yet seen.".to_owned()
    } else {
        let start = if beyond.is_some() { "Of the settings tried, the start" } else { "The start" };
        let probability = match expected.prob_likely {
            sure if sure > 0.99 => "more than 0.99".to_owned(),
            probability => format!("{probability:.2}"),
        };
        format!(" {start} would then be expected to serve four fields in five with a probability of {probability}; settled asks for that with 90 % confidence.")
    });
    if expected.effective_draws < FEWEST_DRAWS {
        text.push_str(" The draws are few for a trial that tells so much, so its gain is understated.");
    }
    text
}

/// What the most blocks in one field would do instead of several fields, and why; what more fields would do instead of one.
fn more_blocks(
    group: &GroupAnswer,
    candidates: &[Candidate],
    chosen: &Candidate,
    strip_variance: f64,
) -> Option<String> {
    let same = candidates.iter().filter(|candidate| candidate.levels == chosen.levels);
    if chosen.fields == 1 {
        let most = same.max_by(|a, b| a.expected.reduction.total_cmp(&b.expected.reduction))?;
        let least = amount(&group.response, most.expected.loss_after.min(chosen.expected.loss_after));
        return Some(format!("; more blocks and fields would leave {least} of it."));
    }
    let one_field = same.filter(|candidate| candidate.fields == 1).max_by_key(|candidate| candidate.blocks)?;
    let lacks = one_field.expected.reduction < NEARLY_ALL * chosen.expected.reduction;
    // The part of the error that more blocks cannot mend must be the larger one even with the most blocks.
    let fields_differ = chosen.field_variance > strip_variance / one_field.blocks as f64;
    (lacks && fields_differ).then(|| {
        let why = if chosen.field_variance > strip_variance {
            "because fields differ more than strips"
        } else {
            "because fields differ"
        };
        format!(
            "; {} in one field would leave {}, {why}.",
            counted(one_field.blocks, "block"),
            amount(&group.response, one_field.expected.loss_after)
        )
    })
}

/// Why the plain trial stands there.
pub(super) fn plain(why: &str, (levels, blocks, fields): (usize, usize, usize), ranged: bool) -> String {
    let around = if ranged { "around the default" } else { "around the usual one, which is not known here" };
    format!(
        "{why} What a trial would bring cannot be worked out yet; the plan is a stated default: {levels} settings {around}, {} in each of {}.",
        counted(blocks, "block"),
        counted(fields, "field")
    )
}

/// Why the plain trial of positions without weighed forces stands there.
pub(super) fn of_positions(why: &str, (levels, blocks, fields): (usize, usize, usize)) -> String {
    format!(
        "{why} What a trial would bring is not worked out for positions without weighed forces; the plan is a stated default: {} around the usual one, {} in each of {}.",
        counted(levels, "position"),
        counted(blocks, "block"),
        counted(fields, "field")
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn amounts_have_two_figures_and_the_unit_of_the_response() {
        assert_eq!(amount("on_time_share", 0.0123), "1.2 points");
        assert_eq!(amount("on_time_share", 0.0004), "0.040 points");
        assert_eq!(amount("spread_h", 12.6), "13 h");
        assert_eq!(amount("spacing_cv", 0.031), "0.031");
        assert_eq!(amount("measure:yield", 0.0), "0");
    }
}
