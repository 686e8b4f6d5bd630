//! Words that several papers share.

use crate::{Layout, Pass, Plan, Strip};

use super::units::{Units, number};

/// How strips are laid out, in a sentence.
pub(crate) fn layout(plan: &Plan) -> &'static str {
    match plan.layout {
        Layout::CompleteBlocks => "Every setting stands once in every block, in an order drawn for each block.",
        Layout::IncompleteBlocks => {
            "A block holds fewer strips than there are settings. Which of them meet in a block is balanced as far as it can be."
        }
        Layout::SplitPlot => {
            "The closer changes seldom, the setting often: strips that lie side by side share a closer, and the settings are drawn \
             among them."
        }
        Layout::StripSplit => {
            "Two planters plant side by side, a pass each in every block, and the settings change along both passes at the same \
             distances."
        }
    }
}

/// "away" from the start line, or "back" to it.
pub(crate) fn direction(pass: &Pass) -> &'static str {
    if pass.outward { "away" } else { "back" }
}

/// The same as an arrow.
pub(crate) fn arrow(pass: &Pass) -> &'static str {
    if pass.outward { "↑" } else { "↓" }
}

/// A closer as people say it.
pub(crate) fn closer(name: &str) -> String {
    name.replace('_', " ")
}

/// The setting of a strip as people say it.
pub(crate) fn setting(plan: &Plan, units: &Units, strip: &Strip) -> String {
    let knob = plan.levels.get(strip.level).and_then(|level| level.knobs.get(strip.planter));
    knob.map(|knob| units.knob_in_words(plan, strip.planter, knob)).unwrap_or_default()
}

/// Name of what a strip is given: its setting, with the closer before it where closers differ.
pub(crate) fn treatment(plan: &Plan, units: &Units, strip: &Strip) -> String {
    let setting = setting(plan, units, strip);
    match plan.closers.get(strip.closer) {
        Some(name) if plan.closers.len() > 1 => format!("{}, {setting}", closer(name)),
        _ => setting,
    }
}

/// A response in words.
pub(crate) fn response(name: &str) -> String {
    match name {
        "on_time_share" => "share of plants up on time".into(),
        "emerged_share" => "share of seeds that came up".into(),
        other => other.trim_end_matches("_h").replace('_', " "),
    }
}

/// A difference in a response with its unit: points for shares, hours for times.
pub(crate) fn difference(response: &str, value: f64) -> String {
    if response.ends_with("_share") {
        format!("{} points", number(value * 100.0, 1))
    } else if response.ends_with("_h") {
        format!("{} h", number(value, 1))
    } else {
        number(value, 3)
    }
}

/// "1, 2 and 5".
pub(crate) fn list(numbers: &[u32]) -> String {
    let texts: Vec<String> = numbers.iter().map(u32::to_string).collect();
    match texts.split_last() {
        Some((last, [])) => last.clone(),
        Some((last, before)) => format!("{} and {last}", before.join(", ")),
        None => "none".into(),
    }
}

/// Strips of a pass in the order in which they are planted.
pub(crate) fn as_driven<'a>(plan: &'a Plan, pass: &Pass) -> Vec<&'a Strip> {
    let mut strips: Vec<&Strip> = pass.strips.iter().filter_map(|strip| plan.strips.get(*strip)).collect();
    strips.sort_by(|a, b| a.span_m.0.total_cmp(&b.span_m.0));
    if !pass.outward {
        strips.reverse();
    }
    strips
}
