//! Starting points from digging alone, where no stand was counted.

use std::collections::BTreeMap;

use evenstand_tables::rows::{KnobRow, StartingPointRow};

use crate::decision::Evidence;
use crate::dial::Dial;
use crate::dig_window::{Allowed, DigWindow};
use crate::group_answer::{DIG_CHECK, GroupAnswer, Members, Outlook};
use crate::groups::{Basis, Coverage, GroupKey};
use crate::knob::{Reference, beside, fill_step, fill_window, stay};
use crate::words;

/// Groups that were dug but have no stand counts.
pub(crate) fn dug_groups(windows: &BTreeMap<GroupKey, DigWindow>, members: &Members) -> Vec<GroupAnswer> {
    windows
        .iter()
        .filter(|(key, window)| {
            let strips = members.get(key).map_or(&[][..], Vec::as_slice);
            // Strips of two conditions tell nobody where to start.
            key.condition != "mixed"
                && window.dug.is_some()
                && !strips.is_empty()
                && strips.iter().all(|strip| strip.emerged.is_none())
        })
        .map(|(key, window)| GroupAnswer {
            key: key.clone(),
            response: DIG_CHECK.to_owned(),
            primary: false,
            tolerance: 0.0,
            coverage: coverage(window),
            finding: Outlook::Dug(Box::new(window.clone())),
        })
        .collect()
}

fn coverage(window: &DigWindow) -> Coverage {
    let counts = &window.counts;
    Coverage {
        basis: if counts.varied > 0 { Basis::Trial } else { Basis::Logs },
        field_seasons: counts.field_seasons,
        strips: counts.strips,
        level_forces: Vec::new(),
        tested: window.dug.unwrap_or((f64::NAN, f64::NAN)),
        varied_within_fields: counts.varied > 0,
        blocks: 0,
        repeated: false,
        fewest_strips: 0,
        spans: Vec::new(),
        allowed: window.allowed(),
    }
}

/// The force in the window nearest the default; the middle of the window where there is no default.
fn start(window: &DigWindow, default_n: Option<f64>) -> Option<f64> {
    let (low, high) = window.window()?;
    Some(default_n.map_or((low + high) / 2.0, |default| default.clamp(low, high)))
}

/// Whether a default lies beyond the forces dug, on a side where nothing was found wrong.
fn default_beyond(window: &DigWindow, default_n: Option<f64>) -> bool {
    let (Some(default), Some((low, high))) = (default_n, window.dug) else { return false };
    let slack = 0.01 * (high - low);
    let allowed = window.allowed();
    (default > high + slack && allowed.high.is_none()) || (default < low - slack && allowed.low.is_none())
}

/// How far an answer against a default can be trusted.
fn evidence(window: &DigWindow, default_n: Option<f64>) -> Evidence {
    if default_beyond(window, default_n) { window.evidence.min(Evidence::Leaning) } else { window.evidence }
}

/// The reason of an answer against a default.
pub(crate) fn reason(window: &DigWindow, default: Reference) -> String {
    let edges = window.allowed();
    let start = start(window, default.force_n);
    let at_edge = start.is_some_and(|start| Some(start) == edges.low || Some(start) == edges.high);
    let mut reason = words::from_digs(window, default.given, at_edge);
    if window.evidence != Evidence::Open && default_beyond(window, default.force_n) {
        reason.push_str(words::DEFAULT_NOT_DUG);
    }
    reason
}

/// Fills what digging alone says into a row of starting points.
pub(crate) fn fill_starting_point(row: &mut StartingPointRow, window: &DigWindow, why: String) {
    row.evidence = evidence(window, row.default_n).name().to_owned();
    row.reason = why;
    row.n_levels = Some(window.counts.levels as i64);
    row.shape = Some("untold".to_owned());
    row.tolerance = None;
    (row.window_low_n, row.window_high_n) = window.window().unzip();
    row.start_n = start(window, row.default_n);
}

/// Fills what digging alone says into the row of a planter's knob. `default_n` is its default on the axis of the group.
pub(crate) fn fill_knob(row: &mut KnobRow, dial: &Dial, window: &DigWindow, default_n: Option<f64>, calibrated: bool) {
    row.evidence = evidence(window, default_n).name().to_owned();
    row.shape = Some("untold".to_owned());
    let (Some(wanted), Some(inside)) = (start(window, default_n), window.window()) else { return };
    fill_window(row, dial, inside, calibrated);
    let stays = default_n.is_some_and(|default| default == wanted);
    let settled = window.evidence == Evidence::Settled;
    let allowed = Allowed { low: Some(inside.0), high: Some(inside.1), settled, none: false };
    let step = if stays { Some(stay(row, dial, wanted)) } else { dial.in_window(wanted, &allowed, |_| true) };
    let reason = row.reason.get_or_insert_default();
    let Some(step) = step else {
        row.evidence = Evidence::Open.name().to_owned();
        reason.push_str(words::NO_STEP);
        return;
    };
    reason.push_str(beside(stays, &step, &allowed));
    fill_step(row, &step, stays, default_n, calibrated);
}
