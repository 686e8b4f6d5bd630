//! What digging says of a condition, in sentences.

use evenstand_tables::rows::{DigWindowRow, StartingPointRow};

use crate::results::Results;
use crate::words::answer::Evidence;
use crate::words::dig_limit::{self, Limit};
use crate::words::gauge::Gauge;
use crate::words::number::{self, NO_BREAK_SPACE};
use crate::words::why::{Pool, belongs};

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
    let intervals = [
        interval((row.open_limit_low_n, row.open_limit_high_n), gauge),
        interval((row.firm_limit_low_n, row.firm_limit_high_n), gauge),
    ];
    let limits = dig_limit::words(row, gauge, [&intervals[0], &intervals[1]]);
    let limits = limits.unwrap_or_else(|| "no limit could be told".to_owned());
    let mut says = vec![format!("{places}: {limits}.")];
    says.extend(of_fields(row, gauge));
    says.extend(row.reason.clone().filter(|reason| !reason.trim().is_empty()));
    if let Some(chance) = row.window_probability.and_then(number::chance) {
        says.push(format!(
            "A typical field has a force that shuts the trench without pressing too hard: {}.",
            chance.words
        ));
    }
    says
}

/// Where the limits of other fields lie; `None` where no limit is told.
fn of_fields(row: &DigWindowRow, gauge: Gauge) -> Option<String> {
    let side = |limit: Limit, ends: (Option<f64>, Option<f64>), what: &str| {
        matches!(limit, Limit::At(_)).then(|| match ends {
            (None, None) => format!("{what} anywhere among the forces dug or beyond"),
            ends => format!("{what} {}", ends_in_words(ends, gauge)),
        })
    };
    let sides: Vec<String> = [
        side(Limit::open(row), (row.open_field_low_n, row.open_field_high_n), "the first"),
        side(Limit::firm(row), (row.firm_field_low_n, row.firm_field_high_n), "the second"),
    ]
    .into_iter()
    .flatten()
    .collect();
    match sides.as_slice() {
        [] => None,
        [only] => {
            let only = only.trim_start_matches("the first ").trim_start_matches("the second ");
            Some(format!("Fields differ: in nine of ten this limit lies {only}."))
        }
        both => Some(format!("Fields differ: in nine of ten the limits lie {}.", both.join(", "))),
    }
}

/// The interval of a limit in brackets; nothing where it has none.
fn interval(ends: (Option<f64>, Option<f64>), gauge: Gauge) -> String {
    if ends == (None, None) {
        return String::new();
    }
    format!(" (90{NO_BREAK_SPACE}% interval: {})", ends_in_words(ends, gauge))
}

/// Two ends in words; an end that is empty lies beyond the forces dug.
fn ends_in_words(ends: (Option<f64>, Option<f64>), gauge: Gauge) -> String {
    match ends {
        (Some(low), Some(high)) => gauge.range(low, high),
        (Some(low), None) => format!("from {} to beyond the forces dug", gauge.text(low)),
        (None, Some(high)) => format!("from below the forces dug to {}", gauge.text(high)),
        (None, None) => "beyond the forces dug".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::made_up;
    use crate::words::gauge::Unit;

    fn said(change: impl Fn(&mut DigWindowRow), point: &StartingPointRow) -> String {
        let mut results = made_up::review();
        change(&mut results.dig_window[0]);
        let pool = Pool::of_start(point);
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
        assert!(
            beyond("lighter", "unknown").contains("at every force dug; from where the soil is too firm was not told")
        );
    }

    #[test]
    fn where_fields_have_their_limits_stands_behind_the_limit_of_a_typical_one() {
        let point = made_up::point("dry, covered", "on_time_share", "settled");
        let both = |row: &mut DigWindowRow| {
            (row.open_field_low_n, row.open_field_high_n) = (Some(150.0), Some(230.0));
            (row.firm_field_low_n, row.firm_field_high_n) = (None, Some(560.0));
        };
        let words =
            "in nine of ten the limits lie the first 150 to 230 N, the second from below the forces dug to 560 N.";
        assert!(said(both, &point).contains(words), "{}", said(both, &point));
        let one = |row: &mut DigWindowRow| {
            both(row);
            (row.firm_limit_n, row.firm_limit_lies) = (None, Some("heavier".to_owned()));
        };
        assert!(said(one, &point).contains("in nine of ten this limit lies 150 to 230 N."), "{}", said(one, &point));
        let none = |row: &mut DigWindowRow| (row.open_limit_n, row.firm_limit_n) = (None, None);
        assert!(!said(none, &point).contains("Fields differ"));
    }
}
