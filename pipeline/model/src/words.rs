//! Reasons in words. Numbers with units stay in their columns, so that the report can give them in the person's units.

use crate::decision::{Choice, Evidence, HeldBack, Picture, Shape};
use crate::dig_window::{BoundBy, DigWindow};
use crate::groups::{Basis, Coverage};

/// Strips of every setting from which on they are their own replicates where there are no blocks.
const ENOUGH_UNBLOCKED: usize = 3;

/// Said where a knob is too coarse.
pub(crate) const NO_STEP: &str = " No step of this planter’s knob lies inside what digging allows and what was tried.";

/// Said where a default lies beyond the forces dug, and nothing was found wrong on that side.
pub(crate) const DEFAULT_NOT_DUG: &str = " Your default lies beyond the forces dug, and nothing on that side was found wrong: dig behind it before you change it.";

/// Said where digging keeps a start away from where the stand is best.
pub(crate) const DUG_AGAINST: &str = " The stand and the digging disagree: where the stand is best, digging finds the setting wrong. Try the settings at and inside the dig window beside the best one, and dig and count both.";

/// Said where digging found no force that does both.
pub(crate) const NO_DIG_WINDOW: &str = " Digging found no force that both shuts the trench and does not press too hard, so it does not bound this start: look at what else the trade adjusts.";

/// Said where a knob is too coarse for a window that only leans.
pub(crate) const STEP_BESIDE: &str =
    " No step of this planter’s knob lies inside what digging allows; this one misses it least, so dig behind it.";

/// Said where nobody named a default.
pub(crate) const NO_DEFAULT_GIVEN: &str =
    " No default is given for this planter, so the setting used most stands for it.";

/// Said where the best of a condition lies outside what was tried in it.
pub(crate) const BEST_NOT_TRIED: &str = "Not tested here: with what the other conditions show, the best of this one lies outside the forces that were tried in it. Try settings nearer to where the others found their best.";

/// "1 field-season", "3 field-seasons".
pub(crate) fn counted(count: usize, noun: &str) -> String {
    if count == 1 { format!("1 {noun}") } else { format!("{count} {noun}s") }
}

/// Why nothing can be said before anything is worked out; `None` where an answer may be sought.
pub(crate) fn nothing_to_compare(coverage: &Coverage, condition: &str) -> Option<String> {
    let strips = counted(coverage.strips, "strip");
    if condition == "mixed" {
        return Some("These strips lie in two conditions, so no condition can be named to use an answer in. Take soil notes by strip or block.".to_owned());
    }
    if coverage.level_forces.len() < 2 {
        return Some(format!(
            "There is one setting only ({strips}), so there is nothing to compare. Next season vary the setting between strips: one lighter and one heavier than the usual, in three or four blocks."
        ));
    }
    if coverage.basis == Basis::Logs && !coverage.varied_within_fields {
        return Some(format!(
            "The setting never varied inside a field ({}): it followed the field, so what it did cannot be told from what the field did; heavier settings may stand where the ground was harder. Lay out strips with different settings in one field.",
            counted(coverage.field_seasons, "field-season")
        ));
    }
    if coverage.basis == Basis::Trial && !coverage.repeated {
        return Some(format!(
            "Each setting stands in one strip only ({strips}), so a setting cannot be told from its strip: means are shown, and nothing is tested. Repeat every setting in at least three blocks."
        ));
    }
    // Without blocks, strips of one setting are each other's replicates.
    if coverage.basis == Basis::Trial && coverage.blocks < 2 && coverage.fewest_strips < ENOUGH_UNBLOCKED {
        return Some(format!(
            "The settings were tried in {} only, some of them in fewer than {ENOUGH_UNBLOCKED} strips, so differences between them cannot be told from differences between strips. Repeat them in at least three blocks.",
            counted(coverage.blocks, "block")
        ));
    }
    None
}

/// Why the start is what it is, or why the answer stays open.
pub(crate) fn reason(coverage: &Coverage, picture: &Picture, choice: &Choice, has_default: bool) -> String {
    let verdict = match (choice.stay, choice.as_good) {
        _ if choice.bound.is_some() => Verdict::Dug,
        (true, as_good) => Verdict::Stay { as_good },
        (false, _) => Verdict::Move { seen: picture.seen || coverage.basis == Basis::Logs },
    };
    let text = reason_of(coverage, picture.shape, choice.evidence, verdict, has_default);
    let text = with_held_back(text, choice.held_back, choice.evidence, "forces");
    let text = text + if coverage.allowed.none { NO_DIG_WINDOW } else { "" };
    // What was wanted is the best of the stand, or a default that the stand gives no reason to leave.
    let would_be = match choice.bound {
        Some((_, wanted_n)) if wanted_n != picture.best_n => "the default, which is ",
        _ => "",
    };
    text + &choice.bound.map_or(String::new(), |(by, _)| match by {
        BoundBy::Open => format!(
            " By the stand alone the start would be {would_be}lighter; digging found the trench not shut often enough there."
        ),
        BoundBy::Firm => {
            format!(" By the stand alone the start would be {would_be}heavier; digging found the soil pressed too hard there.")
        }
    })
}

/// A reason, and what holds the answer back; `what` is the plural of what was tried.
pub(crate) fn with_held_back(mut text: String, held_back: Option<HeldBack>, evidence: Evidence, what: &str) -> String {
    if held_back.is_some() && evidence == Evidence::Open {
        // It is not for want of strips.
        let kept = text.find(NO_SUGGESTION).map_or(text.len(), |at| at + NO_SUGGESTION.len());
        text.truncate(kept);
        text.push('.');
    }
    match held_back {
        Some(HeldBack::DefaultBeyond) => text.push_str(
            " Your default lies beyond the settings tried, on the side where the best may be: keep it, and try it beside the others.",
        ),
        Some(HeldBack::DefaultUntried) => {
            text.push_str(" Your default was not among the settings tried, so the start cannot be held against it: try it beside the others.");
        }
        Some(HeldBack::TriedApart(around, all)) => text.push_str(&format!(
            " Field-seasons tried different {what}: only {around} of {all} tried settings around this start, and elsewhere a setting and its field are one. Try the same settings in every field."
        )),
        Some(HeldBack::DugElsewhere) => text.push_str(
            " Digging allows none of the forces at which plants were counted: try settings inside the dig window.",
        ),
        Some(HeldBack::DugAgainst) => text.push_str(DUG_AGAINST),
        None => {}
    }
    text
}

/// The reason of an answer from digging alone; `at_edge` where the start is a limit of the window.
pub(crate) fn from_digs(window: &DigWindow, default_given: bool, at_edge: bool) -> String {
    let mut text = format!("No stand was counted here. {}", window.reason);
    if window.evidence != Evidence::Open {
        text.push_str(" The start is the force in the window nearest the default. Count the stand there to know what it is worth.");
        if at_edge {
            text.push_str(" It lies at the edge of the window, and the limit itself may lie a little beyond it: dig behind it before you rely on it.");
        }
        if !default_given {
            text.push_str(NO_DEFAULT_GIVEN);
        }
    }
    text
}

const NO_SUGGESTION: &str = "There is no suggestion yet";

/// Whether to stay at the default.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Verdict {
    /// Stay: the default is as good as the best within tolerance, or nothing is shown to be better.
    Stay { as_good: bool },
    /// Move; whether any setting could be told from another.
    Move { seen: bool },
    /// Move because of what digging showed.
    Dug,
}

/// The same from its parts: the shape seen, how far the start can be trusted, and whether it is the default.
pub(crate) fn reason_of(
    coverage: &Coverage,
    shape: Shape,
    evidence: Evidence,
    verdict: Verdict,
    has_default: bool,
) -> String {
    let basis = match coverage.basis {
        Basis::Trial => format!(
            "{} of trials, {}",
            counted(coverage.field_seasons, "field-season"),
            counted(coverage.strips, "strip")
        ),
        Basis::Logs => format!(
            "A pattern in logs, to be tested: settings varied only between the seasons of a field ({}), and logs never settle a setting, because it follows the ground: heavier settings are used where and when the ground is harder",
            counted(coverage.field_seasons, "field-season")
        ),
    };
    let seen = !matches!(shape, Shape::Flat | Shape::Untold);
    let shape = match shape {
        Shape::Inside => "the best lies inside the tested range, and both lighter and heavier are worse",
        Shape::Lighter => "lighter was better throughout; the best may lie below the lightest setting tried",
        Shape::Heavier => "heavier was better throughout; the best may lie above the heaviest setting tried",
        Shape::Plateau => "one end of the tested range is worse, and beyond that a wide range is about as good",
        Shape::Flat => {
            "no setting could be told from another, and differences that matter are excluded: any setting tried will do"
        }
        Shape::Untold => "no setting could be told from another, and differences that matter are not excluded either",
    };
    let verdict = match (evidence, verdict) {
        (Evidence::Open, _) => format!("{NO_SUGGESTION}: {}", missing(coverage, seen)),
        (_, Verdict::Stay { as_good: true }) => {
            "Stay at the default: it is as good as the best, within the tolerance.".to_owned()
        }
        (_, Verdict::Stay { as_good: false }) => "Stay at the default: moving is not shown to pay.".to_owned(),
        (_, Verdict::Dug) => "The dig window decides where the start is.".to_owned(),
        (_, Verdict::Move { seen: false }) if has_default => {
            "All of them together make moving from the default more likely to pay than not.".to_owned()
        }
        (_, Verdict::Move { .. }) if has_default => "Moving from the default is likely to pay.".to_owned(),
        (_, Verdict::Move { .. }) => "The default itself was not among the settings tried.".to_owned(),
    };
    let caution = if evidence == Evidence::Leaning && coverage.basis == Basis::Trial {
        format!(" What would make it firmer: {}", missing(coverage, seen))
    } else {
        String::new()
    };
    format!("{basis}: {shape}. {verdict}{caution}")
}

/// Why no curve could be fitted; what the solver said stands in the model table.
pub(crate) fn not_fitted(alike: bool) -> String {
    if alike {
        "Every strip has the same value, so no setting could be told from another: stay at the default, and check that the counts were not copied."
    } else {
        "The strips are too few, or too much alike, for a curve. More blocks or field-seasons are needed."
    }
    .to_owned()
}

/// What would settle it.
fn missing(coverage: &Coverage, seen: bool) -> String {
    match coverage.basis {
        Basis::Logs => "a strip trial with the settings side by side in one field.".to_owned(),
        Basis::Trial if coverage.field_seasons < 3 => format!(
            "trials in {} more in this condition, because fields differ and {} cannot show by how much.",
            counted(3 - coverage.field_seasons, "field-season"),
            counted(coverage.field_seasons, "field-season")
        ),
        Basis::Trial if seen => "more field-seasons, or more blocks and counted places in each, until it is certain enough that the start serves four fields in five.".to_owned(),
        Basis::Trial => "more field-seasons, or more blocks and counted places in each, because fields and strips still differ more than settings do.".to_owned(),
    }
}
