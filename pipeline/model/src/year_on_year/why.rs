//! What changed since last season, and what stands behind it in words.

use evenstand_tables::rows::StartingPointRow;

use super::LastStart;

/// Starts nearer than this share of the tested range are the same.
const SAME: f64 = 0.03;

/// What became of a starting point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Change {
    Same,
    Heavier,
    Lighter,
    Surer,
    LessSure,
    New,
    Gone,
    FirstStart,
    StartWithdrawn,
}

impl Change {
    pub fn name(self) -> &'static str {
        match self {
            Change::Same => "same",
            Change::Heavier => "heavier",
            Change::Lighter => "lighter",
            Change::Surer => "surer",
            Change::LessSure => "less_sure",
            Change::New => "new",
            Change::Gone => "gone",
            Change::FirstStart => "first_start",
            Change::StartWithdrawn => "start_withdrawn",
        }
    }
}

fn rank(evidence: &str) -> u8 {
    match evidence {
        "settled" => 2,
        "leaning" => 1,
        _ => 0,
    }
}

/// What became of it.
pub(crate) fn change(point: &StartingPointRow, before: Option<&LastStart>) -> Change {
    let Some(before) = before else { return Change::New };
    let start = point.start_n.filter(|_| point.evidence != "open");
    match (before.start(), start) {
        (None, None) => Change::Same,
        (None, Some(_)) => Change::FirstStart,
        (Some(_), None) => Change::StartWithdrawn,
        (Some(last), Some(start)) => {
            // Two defaults, of two planters or of a planter that was set anew, are no move of the answer.
            let stayed = before.default_n.zip(point.default_n) == Some((last, start));
            let range = point.tested_high_n.zip(point.tested_low_n).map_or(0.0, |(high, low)| high - low);
            let moved = start - last;
            if moved.abs() > (SAME * range).max(1.0) && !stayed {
                if moved > 0.0 { Change::Heavier } else { Change::Lighter }
            } else {
                match rank(&point.evidence).cmp(&rank(&before.evidence)) {
                    std::cmp::Ordering::Greater => Change::Surer,
                    std::cmp::Ordering::Less => Change::LessSure,
                    std::cmp::Ordering::Equal => Change::Same,
                }
            }
        }
    }
}

/// What stands behind the change: how much was added, whether the default moved, and where last season's start lies now.
pub(crate) fn why(point: &StartingPointRow, before: Option<&LastStart>, change: Change, same_response: bool) -> String {
    let Some(before) = before else {
        return "Last season's table does not answer this condition.".to_owned();
    };
    let mut says = vec![added(point, before)];
    if !same_response {
        says.push(format!(
            "Then another response decided ({}), so the two are not quite the same question.",
            before.response.replace('_', " ")
        ));
    }
    if let (Some(then), Some(now)) = (before.default_n, point.default_n)
        && (then - now).abs() > 1.0
    {
        says.push("The default it is held against is another one: changed, or of another planter.".to_owned());
    }
    let inside = before.start().zip(point.window_low_n.zip(point.window_high_n));
    match (change, inside) {
        (Change::Heavier | Change::Lighter, Some((last, (low, high))))
            if (low - 1e-9..=high + 1e-9).contains(&last) =>
        {
            says.push("Last season's start is still as good as the best, as far as can be told.".to_owned());
        }
        (Change::Heavier | Change::Lighter, Some(_)) => {
            says.push("Last season's start is no longer among the settings that are as good as the best.".to_owned());
        }
        (Change::StartWithdrawn, _) => says.push(format!("There is no start now: {}", point.reason)),
        _ => {}
    }
    says.join(" ")
}

/// How many field-seasons and strips came or went.
fn added(point: &StartingPointRow, before: &LastStart) -> String {
    let came = |now: Option<i64>, then: Option<i64>, one: &str, more: &str| {
        let (now, then) = now.zip(then)?;
        let (count, word) = ((now - then).abs(), if now > then { "more" } else { "fewer" });
        (count > 0).then(|| format!("{count} {} {word}", if count == 1 { one } else { more }))
    };
    let parts: Vec<String> = [
        came(point.n_field_seasons, before.n_field_seasons, "field-season", "field-seasons"),
        came(point.n_strips, before.n_strips, "strip", "strips"),
    ]
    .into_iter()
    .flatten()
    .collect();
    match parts.as_slice() {
        [] => "As many field-seasons and strips as then.".to_owned(),
        _ => format!("{} than then.", parts.join(" and ")),
    }
}
