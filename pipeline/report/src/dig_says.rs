//! What digging says of a condition, in sentences.

use evenstand_tables::rows::{DigWindowRow, StartingPointRow};

use crate::answer::Evidence;
use crate::gauge::Gauge;
use crate::number::{self, NO_BREAK_SPACE};
use crate::results::Results;
use crate::why::{Pool, belongs};

/// The answer in sentences; none where nothing was dug.
pub(crate) fn says(results: &Results, pool: &Pool, point: &StartingPointRow, gauge: Gauge) -> Vec<String> {
    let mut says: Vec<String> = results
        .dig_window
        .iter()
        .filter(|row| belongs(pool, &row.condition, &row.closer, row.planter_id.as_ref()))
        .flat_map(|row| of_window(row, gauge))
        .collect();
    if let (Some(by), Some(before)) = (point.bound_by.as_deref(), point.start_before_digs_n) {
        let why =
            if by == "open_limit" { "trenches were found open there" } else { "the soil was found too firm there" };
        says.push(format!("By the stand alone the start would be {}; {why} too often.", gauge.text(before)));
    }
    says
}

fn of_window(row: &DigWindowRow, gauge: Gauge) -> Vec<String> {
    let places = row.n_digs.map_or_else(
        || "Digging".to_owned(),
        |digs| {
            let places = number::count(usize::try_from(digs).unwrap_or(0), "place", "places");
            format!("Digging ({places}, {})", Evidence::of(&row.evidence).word())
        },
    );
    let limits: Vec<String> = [open(row, gauge), firm(row, gauge)].into_iter().flatten().collect();
    let limits = if limits.is_empty() { "no limit could be told".to_owned() } else { limits.join("; ") };
    let mut says = vec![format!("{places}: {limits}.")];
    says.extend(row.reason.clone().filter(|reason| !reason.trim().is_empty()));
    if let Some(chance) = row.window_probability.and_then(number::chance) {
        says.push(format!("A typical field has a force that does both: {}.", chance.words));
    }
    says
}

fn open(row: &DigWindowRow, gauge: Gauge) -> Option<String> {
    match (row.open_limit_n, row.open_limit_lies.as_deref()) {
        (Some(limit), _) => {
            let interval = interval((row.open_limit_low_n, row.open_limit_high_n), gauge);
            Some(format!("the trench is shut often enough from {} on{interval}", gauge.text(limit)))
        }
        (None, Some("lighter")) => Some("the trench is shut often enough at every force dug".to_owned()),
        (None, Some("heavier")) => Some("at no force dug is the trench shut often enough".to_owned()),
        _ => None,
    }
}

fn firm(row: &DigWindowRow, gauge: Gauge) -> Option<String> {
    match (row.firm_limit_n, row.firm_limit_lies.as_deref()) {
        (Some(limit), _) => {
            let interval = interval((row.firm_limit_low_n, row.firm_limit_high_n), gauge);
            Some(format!("above {} the soil is too firm too often{interval}", gauge.text(limit)))
        }
        (None, Some("heavier")) => Some("at no force dug is the soil too firm too often".to_owned()),
        (None, Some("lighter")) => Some("at every force dug the soil is too firm too often".to_owned()),
        _ => None,
    }
}

/// The interval of a limit; an end that is empty lies beyond the forces dug.
fn interval(ends: (Option<f64>, Option<f64>), gauge: Gauge) -> String {
    let words = match ends {
        (Some(low), Some(high)) => gauge.range(low, high),
        (Some(low), None) => format!("from {} to beyond the forces dug", gauge.text(low)),
        (None, Some(high)) => format!("from below the forces dug to {}", gauge.text(high)),
        (None, None) => return String::new(),
    };
    format!(" (90{NO_BREAK_SPACE}% interval: {words})")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::gauge::Unit;
    use crate::made_up;

    fn said(change: impl Fn(&mut DigWindowRow), point: &StartingPointRow) -> String {
        let mut results = made_up::review();
        change(&mut results.dig_window[0]);
        let pool = Pool::of(&point.condition, &point.closer, point.planter_id.as_ref());
        says(&results, &pool, point, Gauge::plain(Unit::Newton)).join(" ").replace(NO_BREAK_SPACE, " ")
    }

    #[test]
    fn limits_are_told_with_their_intervals_and_what_moved_the_start() {
        let mut point = made_up::point("dry, covered", "on_time_share", "settled");
        let words = said(|_| {}, &point);
        for part in [
            "Digging (60 places, settled): the trench is shut often enough from 182 N on (90 % interval: 160 to 205 N)",
            "above 430 N the soil is too firm too often (90 % interval: from 395 N to beyond the forces dug)",
        ] {
            assert!(words.contains(part), "{part}\n{words}");
        }
        assert!(!words.contains("By the stand alone"));
        (point.bound_by, point.start_before_digs_n) = (Some("open_limit".to_owned()), Some(150.0));
        assert!(said(|_| {}, &point).contains("the start would be 150 N; trenches were found open there"));
    }

    #[test]
    fn a_limit_outside_the_forces_dug_is_told_by_its_side() {
        let point = made_up::point("dry, covered", "on_time_share", "settled");
        let beyond = |open: &'static str, firm: &'static str| {
            said(
                move |row| {
                    (row.open_limit_n, row.firm_limit_n) = (None, None);
                    row.open_limit_lies = Some(open.to_owned());
                    row.firm_limit_lies = Some(firm.to_owned());
                },
                &point,
            )
        };
        assert!(beyond("lighter", "heavier").contains("shut often enough at every force dug; at no force dug"));
        assert!(beyond("heavier", "lighter").contains("at no force dug is the trench shut"));
        assert!(beyond("unknown", "unknown").contains("no limit could be told"));
    }
}
