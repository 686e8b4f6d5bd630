//! How sure a start is: in how many fields it is as good as the best, and how that stands to what *settled* asks for.

use evenstand_tables::rows::StartingPointRow;

use crate::results::Results;
use crate::words::answer::Evidence;
use crate::words::difference_seen::is_seen;
use crate::words::gauge::Gauge;
use crate::words::number::{self, NO_BREAK_SPACE};
use crate::words::response::Response;

/// *Settled* asks for this share of fields, reached with 90 % confidence,
const SETTLED_SHARE: f64 = 0.8;
/// and for trials in so many field-seasons.
const SETTLED_FIELD_SEASONS: i64 = 3;

/// The answer in sentences; none where no probability could be worked out.
pub(crate) fn says(results: &Results, point: &StartingPointRow, response: &Response, gauge: Gauge) -> Vec<String> {
    let Some(fields) = point.prob_near_best.and_then(number::fields_in_ten) else { return Vec::new() };
    let near = match point.tolerance.filter(|tolerance| *tolerance > 0.0) {
        Some(tolerance) => format!("within {} of the best setting", response.difference(tolerance, Some(tolerance))),
        None => "as good as the best setting".to_owned(),
    };
    let if_it_holds = if point.basis == "logs" { "If the pattern in the logs holds, " } else { "" };
    let start = point.start_n.filter(|start| start.is_finite());
    let mut says = vec![match (start, Evidence::of(&point.evidence)) {
        (Some(start), Evidence::Settled | Evidence::Leaning) => crate::words::response::capitalised(&format!(
            "{if_it_holds}{} is {near} in {fields} not yet seen.",
            gauge.text(start)
        )),
        _ => format!("The most likely setting would be {near} in {fields} not yet seen: too few to suggest it."),
    }];
    says.extend(point.near_best_share.and_then(|share| confident(point, share)));
    says.extend(other_starts(results, point));
    says
}

/// The share that is reached with confidence, and what *settled* asks for beyond it.
fn confident(point: &StartingPointRow, share: f64) -> Option<String> {
    let reached = match share {
        _ if !(0.0..=1.0).contains(&share) => return None,
        share if share < 0.01 => format!("With 90{NO_BREAK_SPACE}% confidence no share of fields can be promised"),
        share => format!("With 90{NO_BREAK_SPACE}% confidence that holds in at least {} of fields", at_least(share)),
    };
    let asks = format!("settled asks for 80{NO_BREAK_SPACE}% (four fields in five)");
    if Evidence::of(&point.evidence) == Evidence::Settled {
        return Some(format!("{reached}; {asks}."));
    }
    let fields = point.n_field_seasons.unwrap_or(0);
    let also = if point.basis != "trial" {
        " and for trials with the settings side by side".to_owned()
    } else if fields < SETTLED_FIELD_SEASONS {
        let there = if fields == 1 { "is 1".to_owned() } else { format!("are {fields}") };
        format!(" and for trials in three field-seasons; there {there}")
    } else if share >= SETTLED_SHARE && is_seen(point) != Some(true) {
        " and, where the start is not the default, for a difference between settings that can be seen".to_owned()
    } else {
        String::new()
    };
    Some(format!("{reached}; {asks}{also}."))
}

/// Whole percent, rounded down: what is promised is reached.
fn at_least(share: f64) -> String {
    number::with_unit(&number::whole((share * 100.0 + 1e-9).floor()), "%")
}

/// A planter whose default or knob differs has a start of its own.
fn other_starts(results: &Results, point: &StartingPointRow) -> Option<String> {
    let differs = results
        .settings
        .iter()
        .filter(|row| row.condition == point.condition && row.closer == point.closer && row.response == point.response)
        .filter(|row| point.planter_id.as_ref().is_none_or(|planter_id| *planter_id == row.planter_id))
        .any(|row| row.evidence != point.evidence);
    differs.then(|| {
        "A planter with another default or a coarser knob can be surer or less sure than this: see its card.".to_owned()
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::made_up;
    use crate::words::gauge::Unit;

    fn point(evidence: &str, share: f64) -> StartingPointRow {
        let mut point = made_up::point("dry, covered", "on_time_share", evidence);
        point.prob_near_best = Some(0.84);
        point.near_best_share = Some(share);
        point
    }

    fn said(point: &StartingPointRow) -> String {
        let response = Response::of(&point.response, &Results::default());
        says(&Results::default(), point, &response, Gauge::plain(Unit::Newton)).join(" ").replace(NO_BREAK_SPACE, " ")
    }

    #[test]
    fn a_settled_start_says_the_fields_and_the_number_that_was_reached() {
        assert_eq!(
            said(&point("settled", 0.85)),
            "338 N is within 2 points of the best setting in about 8 of 10 fields not yet seen. With 90 % confidence \
             that holds in at least 85 % of fields; settled asks for 80 % (four fields in five)."
        );
    }

    #[test]
    fn what_is_promised_is_rounded_down() {
        assert!(said(&point("leaning", 0.7999)).contains("at least 79 % of fields"), "79.99 % is not settled");
        assert!(said(&point("leaning", 0.57)).contains("at least 57 % of fields"));
        assert!(said(&point("leaning", 0.004)).contains("no share of fields can be promised"));
        assert!(said(&point("settled", 1.0)).contains("at least 100 % of fields"));
    }

    #[test]
    fn what_settled_asks_for_beyond_is_named() {
        let mut leaning = point("leaning", 0.9);
        leaning.n_field_seasons = Some(1);
        assert!(said(&leaning).contains("and for trials in three field-seasons; there is 1."), "{}", said(&leaning));
        leaning.n_field_seasons = Some(4);
        leaning.levels_p_value = Some(0.3);
        assert!(said(&leaning).contains("for a difference between settings that can be seen"), "{}", said(&leaning));
        leaning.basis = "logs".to_owned();
        let words = said(&leaning);
        assert!(words.starts_with("If the pattern in the logs holds, 338 N"), "{words}");
        assert!(words.contains("trials with the settings side by side"), "{words}");
    }

    #[test]
    fn an_open_answer_names_no_setting() {
        let mut open = point("open", 0.2);
        open.start_n = Some(338.0);
        open.prob_near_best = Some(0.42);
        let words = said(&open);
        assert!(words.contains("in about 4 of 10 fields not yet seen: too few to suggest it"), "{words}");
        assert!(!words.contains("338"), "{words}");
        open.prob_near_best = Some(f64::NAN);
        assert_eq!(said(&open), "");
    }

    #[test]
    fn a_planter_that_is_surer_is_pointed_to() {
        let mut results = made_up::review();
        let point = point("leaning", 0.6);
        let response = Response::of(&point.response, &results);
        let gauge = Gauge::plain(Unit::Newton);
        assert!(says(&results, &point, &response, gauge).join(" ").contains("see its card"));
        results.settings.clear();
        assert!(!says(&results, &point, &response, gauge).join(" ").contains("see its card"));
    }
}
