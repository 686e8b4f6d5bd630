//! Reasons of the dig window in words. Numbers with units stay in their columns.

use evenstand_settings::Dig;

use super::{DigWindow, Lies, Told, VARIED_FIELDS};
use crate::decision::{ENOUGH_FIELD_SEASONS, Evidence};
use crate::words::counted;

/// What the trade does where no force is both heavy and light enough.
pub(super) const EMPTY_REMEDY: &str = "another closing force will not mend it; the trade then tries, in this order: the press wheel spring or the depth stop (this one only where soil or residue is thrown), another moisture (wait where it is wet), another closer (common practice)";
/// The same after other forces were tried.
pub(super) const TRADE_NEXT: &str = "the trade tries the press wheel spring or the depth stop (this one only where soil or residue is thrown), another moisture, another closer (common practice)";

/// Why the window is empty.
pub(super) fn why_empty(window: &DigWindow, limits: &Dig) -> String {
    let percent = |share: f64| format!("{:.0} %", 100.0 * share);
    let (open, firm) = (window.open.lies(), window.firm.lies());
    if open == Lies::Heavier {
        format!("at every force dug the trench is not shut at more than {} of the places", percent(limits.open_share))
    } else if firm == Lies::Lighter {
        format!("at every force dug more than {} of the places are too firm", percent(limits.firm_share))
    } else {
        "where the trench is shut often enough the soil is already pressed too hard, so digging leaves no window"
            .to_owned()
    }
}

/// Why the evidence is what it is.
pub(super) fn reason(window: &DigWindow, limits: &Dig) -> String {
    let counts = &window.counts;
    let mut text = format!(
        "{} dug in {}, {}: {} of {} not shut, {} of {} too firm.",
        counted(counts.digs, "place"),
        counted(counts.field_seasons, "field-season"),
        counted(counts.levels, "setting"),
        counts.open,
        counts.judged_open,
        counts.firm,
        counts.judged_firm,
    );
    text.push(' ');
    text.push_str(&verdict(window, limits));
    text
}

fn verdict(window: &DigWindow, limits: &Dig) -> String {
    let counts = &window.counts;
    if window.dug.is_none() && counts.nameless == counts.digs {
        return "The places dug name no strip, and the strips of their fields had several settings or none that is known, so no force can be given to them: write the strip beside each dig.".to_owned();
    }
    if window.dug.is_none() {
        return "The settings of the places dug have no force that is known, so digs are counted and no limit is worked out.".to_owned();
    }
    if matches!((&window.open, &window.firm), (Told::NotJudged, Told::NotJudged)) {
        return "Neither whether the trench was shut nor the dig effort was noted, so nothing can be told.".to_owned();
    }
    let sides = [(&window.open, "too light", "whether the trench was shut"), (&window.firm, "too heavy", "dig effort")];
    for (told, side, _) in sides {
        if let Told::Contradicted(_) = told {
            return format!(
                "The share that tells from where a force is {side} goes the other way than it should, so nothing is made of it."
            );
        }
    }
    let one_setting = |told: &Told| matches!(told, Told::OneSetting | Told::NotJudged);
    if sides.iter().all(|(told, ..)| one_setting(told)) {
        return "One setting only was dug, so no limit can be told: dig behind a lighter and a heavier one too."
            .to_owned();
    }
    if window.is_empty() {
        return format!("No window: {}.", why_empty(window, limits));
    }
    let mut parts: Vec<String> = Vec::new();
    for (told, side, what) in sides {
        parts.extend(match (told, told.lies(), side) {
            (Told::NotJudged, ..) => {
                Some(format!("Nobody noted {what}, so nothing tells from where a force is {side}."))
            }
            (Told::TooFew, ..) => Some(format!("Too few places were dug to tell from where a force is {side}.")),
            (Told::NoTrend(_), ..) => Some(format!(
                "The share does not go with force in these digs, so nothing tells from where a force is {side}."
            )),
            (Told::OneSetting, ..) => {
                Some(format!("It was noted at one setting only {what}, so nothing tells from where a force is {side}."))
            }
            (_, Lies::Lighter, "too light") => Some("Every force dug is heavy enough.".to_owned()),
            (_, Lies::Heavier, "too heavy") => Some("Every force dug is light enough.".to_owned()),
            _ => None,
        });
    }
    match window.evidence {
        Evidence::Settled => parts.insert(0, "Both limits leave a window, their uncertainty included.".to_owned()),
        Evidence::Leaning => {
            let both = window.open.limit().is_some() && window.firm.limit().is_some();
            if both && counts.field_seasons < ENOUGH_FIELD_SEASONS {
                parts.insert(0, "The limits leave a window.".to_owned());
                let more = ENOUGH_FIELD_SEASONS - counts.field_seasons;
                parts.push(format!("What would make it firmer: digs in {} more.", counted(more, "field-season")));
            } else if both && counts.varied < VARIED_FIELDS {
                parts.insert(0, "The limits leave a window.".to_owned());
                parts.push("Forces differed only between fields, so what they did cannot be told from what the fields did: dig several settings in one field.".to_owned());
            } else if both {
                parts.insert(0, "The limits leave a window, but with their uncertainty they may not.".to_owned());
                parts.push("What would make it firmer: more places, above all at settings near the limits.".to_owned());
            }
        }
        Evidence::Open => parts.push("Nothing can be told from these digs yet.".to_owned()),
    }
    parts.join(" ")
}
