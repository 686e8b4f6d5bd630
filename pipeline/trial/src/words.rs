//! What a plan says in words.

use evenstand_tables::rows::NextTrialRow;

use crate::arrangement::Design;
use crate::papers::number;
use crate::plan::Layout;
use crate::precision::MOST_BLOCKS;

/// A loss above this share of another one is hardly less than it.
const HARDLY_LESS: f64 = 0.9;

/// What the sentences are made of; differences in the response's own unit.
pub(crate) struct WorthWords<'a> {
    pub response: &'a str,
    pub design: &'a Design,
    pub detectable: f64,
    pub difference: Option<f64>,
    /// Fewest blocks that find the difference.
    pub needed: Option<usize>,
    pub alpha: f64,
    pub power: f64,
    pub levels: usize,
    pub next_trials: &'a [NextTrialRow],
}

/// A size of a response in plain words: points of a share, hours, degree-days; two digits are enough.
pub fn size(response: &str, value: f64) -> String {
    let (value, unit) = if response.ends_with("_share") || response == "spacing_cv" {
        (100.0 * value, " points")
    } else if response.ends_with("_h") {
        (value, " hours")
    } else if response.ends_with("_cd") {
        (value, " degree-days")
    } else {
        (value, "")
    };
    let digits = match value.abs() {
        size if size >= 9.95 => 0,
        size if size >= 0.995 => 1,
        size if size >= 0.0095 => 2,
        _ => 4,
    };
    format!("{}{unit}", number(value, digits))
}

/// A power as people say it.
fn often(power: f64) -> String {
    if (power - 0.8).abs() < 1e-9 {
        "four times in five".into()
    } else if (power - 0.9).abs() < 1e-9 {
        "nine times in ten".into()
    } else {
        format!("{:.0} times in 100", 100.0 * power)
    }
}

/// What the trial can show, sentence by sentence.
pub(crate) fn sentences(words: &WorthWords) -> Vec<String> {
    let WorthWords { response, design, detectable, difference, needed, alpha, power, levels, next_trials } = words;
    let blocks = design.blocks;
    let mut said = vec![format!(
        "With {blocks} blocks you would see a difference of {} between two settings {}.",
        size(response, *detectable),
        often(*power)
    )];
    if let Some(difference) = difference.filter(|difference| *difference < *detectable) {
        let small = size(response, difference);
        said.push(match needed {
            Some(needed) => format!("{small} needs {needed} blocks in a field like this, or several fields."),
            None => format!("{small} is out of reach of any one field: it would need more than {MOST_BLOCKS} blocks."),
        });
        said.push(format!(
            "If no difference is seen, that does not mean that there is none: one of less than {} is often missed.",
            size(response, *detectable)
        ));
    } else if let Some(difference) = difference {
        said.push(format!("That is no more than what matters here, {}.", size(response, *difference)));
    }
    said.push(format!(
        "Of two settings that truly do not differ, {:.0} in 100 come out as different by chance alone (two-sided t test, one pair at a time).",
        100.0 * alpha
    ));
    match design.layout {
        Layout::SplitPlot => said.push(
            "Closers are compared less sharply than settings: each comes once in a block, so a difference between closers has only as many repeats as blocks.".into(),
        ),
        Layout::StripSplit => said.push(
            "Planters are compared less sharply than settings: each comes once in a block. Whether the best setting differs between planters is told best.".into(),
        ),
        Layout::IncompleteBlocks => said.push(
            "Two settings that never stand in one block are compared through others; the difference above is the mean over all pairs.".into(),
        ),
        Layout::CompleteBlocks => {}
    }
    let advised = next_trials.iter().find(|row| row.advised == Some(true) && row.response == *response);
    said.extend(advised.and_then(|row| row.reason.as_ref()).map(|reason| format!("What the review advised: {reason}")));
    said.extend(loss(response, *levels, blocks, next_trials));
    said
}

/// Expected loss before and after: of the trial considered that is nearest to this one, in one field and in more.
fn loss(response: &str, levels: usize, blocks: usize, next_trials: &[NextTrialRow]) -> Option<String> {
    let simulated = |row: &&NextTrialRow| row.expected_loss_after.is_some() && row.response == response;
    let distance = |row: &NextTrialRow| {
        let off = |own: Option<i64>, wanted: usize| own.unwrap_or(0).abs_diff(wanted as i64);
        (off(row.n_levels, levels), off(row.n_blocks, blocks))
    };
    let one =
        next_trials.iter().filter(simulated).filter(|row| row.n_fields == Some(1)).min_by_key(|row| distance(row))?;
    let (now, after) = (one.expected_loss_now?, one.expected_loss_after?);
    let more = next_trials
        .iter()
        .filter(simulated)
        .filter(|row| (row.n_levels, row.n_blocks, row.n_fields) == (one.n_levels, one.n_blocks, Some(3)))
        .find_map(|row| row.expected_loss_after);
    let like = if distance(one) == (0, 0) {
        "after this trial".to_owned()
    } else {
        format!("after a trial of {} settings in {} blocks", one.n_levels.unwrap_or(0), one.n_blocks.unwrap_or(0))
    };
    // Trials are played through with an error of their own: what is hardly less is not called less.
    let more = more.map_or(String::new(), |loss| {
        if loss < HARDLY_LESS * after {
            format!(", {} after the same in three fields", size(response, loss))
        } else {
            ", and hardly less after the same in three fields".into()
        }
    });
    let among = if one.step_half_width.is_some() { " among the settings tried" } else { "" };
    Some(format!(
        "As things stand the starting setting is expected to fall short of the true best{among} by {}; {} {like}{more}.",
        size(response, now),
        size(response, after)
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn laid_out(layout: Layout) -> Design {
        Design { layout, levels: 5, blocks: 4, per_block: 5, closers: 1 }
    }

    fn words<'a>(design: &'a Design, next_trials: &'a [NextTrialRow]) -> WorthWords<'a> {
        WorthWords {
            response: "on_time_share",
            design,
            detectable: 0.0613,
            difference: Some(0.02),
            needed: Some(14),
            alpha: 0.05,
            power: 0.8,
            levels: 5,
            next_trials,
        }
    }

    #[test]
    fn sizes_are_in_the_words_of_the_response() {
        assert_eq!(size("on_time_share", 0.0613), "6.1 points");
        assert_eq!(size("on_time_share", 0.02), "2 points");
        assert_eq!(size("spread_h", 13.7), "14 hours");
        assert_eq!(size("leaf_stage_sd", 0.104), "0.1");
    }

    #[test]
    fn the_plan_says_what_it_shows_what_more_needs_and_what_silence_means() {
        let said = sentences(&words(&laid_out(Layout::CompleteBlocks), &[]));
        assert_eq!(
            said[0],
            "With 4 blocks you would see a difference of 6.1 points between two settings four times in five."
        );
        assert_eq!(said[1], "2 points needs 14 blocks in a field like this, or several fields.");
        assert!(said[2].contains("does not mean that there is none"));
        let design = laid_out(Layout::CompleteBlocks);
        let out_of_reach = WorthWords { needed: None, ..words(&design, &[]) };
        assert!(sentences(&out_of_reach)[1].contains("out of reach"));
    }

    #[test]
    fn losses_are_those_of_the_nearest_trial_considered() {
        let row = |levels, blocks, fields, after| NextTrialRow {
            response: "on_time_share".into(),
            n_levels: Some(levels),
            n_blocks: Some(blocks),
            n_fields: Some(fields),
            expected_loss_now: Some(0.012),
            expected_loss_after: Some(after),
            ..NextTrialRow::default()
        };
        let rows = [row(5, 4, 1, 0.008), row(5, 4, 3, 0.004), row(3, 2, 1, 0.011)];
        let said = sentences(&words(&laid_out(Layout::CompleteBlocks), &rows)).pop().unwrap();
        assert_eq!(
            said,
            "As things stand the starting setting is expected to fall short of the true best by 1.2 points; 0.8 points after this trial, 0.4 points after the same in three fields."
        );
        let advised =
            NextTrialRow { advised: Some(true), reason: Some("No trial is needed.".into()), ..row(0, 0, 0, 0.012) };
        let design = laid_out(Layout::CompleteBlocks);
        assert_eq!(
            sentences(&words(&design, &[advised])).pop().unwrap(),
            "What the review advised: No trial is needed."
        );
        let fewer = [row(3, 2, 1, 0.011)];
        assert!(sentences(&words(&design, &fewer)).pop().unwrap().contains("after a trial of 3 settings in 2 blocks"));
    }
}
