//! The panel of digs of a condition, from the tables.

use evenstand_tables::rows::DigWindowRow;

use crate::charts::dig_panel::{DigCurve, DigPanel};
use crate::charts::lanes::{Lane, Look};
use crate::charts::panel::CurvePoint;
use crate::results::Results;
use crate::words::answer::Evidence;
use crate::words::dig_limit::{self, Limit};
use crate::words::gauge::Gauge;
use crate::words::why::{Pool, belongs};

/// The panel of a pool; `None` where nothing was dug at a known force.
pub(crate) fn panel(results: &Results, pool: &Pool, gauge: Gauge) -> Option<DigPanel> {
    let side = |question: &str, allowed: &str| {
        let curve = results
            .dig_curves
            .iter()
            .filter(|row| {
                row.question == question && belongs(pool, &row.condition, &row.closer, row.planter_id.as_ref())
            })
            .filter_map(|row| {
                let percent = |share: Option<f64>| share.filter(|share| share.is_finite()).map(|share| 100.0 * share);
                let estimate = percent(row.share)?;
                Some(CurvePoint {
                    x: gauge.value(row.force_n),
                    estimate,
                    low: percent(row.low),
                    high: percent(row.high),
                })
            })
            .collect();
        let counted = results
            .dig_levels
            .iter()
            .filter(|row| {
                row.question == question && belongs(pool, &row.condition, &row.closer, row.planter_id.as_ref())
            })
            .filter_map(|row| Some((gauge.value(row.force_n?), 100.0 * row.share?)))
            .collect();
        DigCurve { curve, counted, allowed: results.fact_number(allowed).map(|share| 100.0 * share) }
    };
    let row = results.dig_window.iter().find(|row| belongs(pool, &row.condition, &row.closer, row.planter_id.as_ref()));
    let panel = DigPanel {
        open: side("not_shut", "open_share"),
        firm: side("too_firm", "firm_share"),
        bars: row.map_or_else(Vec::new, |row| bars(row, gauge)),
        finding: finding(row, gauge),
    };
    (!panel.is_empty()).then_some(panel)
}

/// What digging allows, then what is too light and too heavy. A bar claims no more than was judged: where nobody noted one
/// side, its label speaks of the other alone.
fn bars(row: &DigWindowRow, gauge: Gauge) -> Vec<Lane> {
    let Some((lightest, heaviest)) = row.dug_low_n.zip(row.dug_high_n) else { return Vec::new() };
    let (open, firm) = (Limit::open(row), Limit::firm(row));
    let bar = |look: Look, label: &'static str, low: f64, high: f64| {
        (low <= high).then(|| Lane { look, label, ends: (gauge.value(low), gauge.value(high)) })
    };
    let low = match open {
        Limit::At(limit) => Some(limit),
        Limit::AllRight | Limit::Untold => Some(lightest),
        Limit::NoneRight => None,
    };
    let high = match firm {
        Limit::At(limit) => Some(limit),
        Limit::AllRight | Limit::Untold => Some(heaviest),
        Limit::NoneRight => None,
    };
    let label = match (open, firm) {
        (Limit::Untold, Limit::Untold) => None,
        (Limit::Untold, _) => Some("dug: not too firm"),
        (_, Limit::Untold) => Some("dug: shut"),
        _ => Some("dug: shut, not too firm"),
    };
    let allowed = match (label, low, high) {
        (Some(label), Some(low), Some(high)) if Evidence::of(&row.evidence) != Evidence::Open => {
            bar(Look::Hatched, label, low, high)
        }
        _ => None,
    };
    let too_light = match open {
        Limit::At(limit) => bar(Look::Outlined, "open below", lightest, limit),
        Limit::NoneRight => bar(Look::Outlined, "open at every force dug", lightest, heaviest),
        Limit::AllRight | Limit::Untold => None,
    };
    let too_heavy = match firm {
        Limit::At(limit) => bar(Look::Filled, "too firm above", limit, heaviest),
        Limit::NoneRight => bar(Look::Filled, "too firm at every force dug", lightest, heaviest),
        Limit::AllRight | Limit::Untold => None,
    };
    [allowed, too_light, too_heavy].into_iter().flatten().collect()
}

/// What the panel shows, in words.
fn finding(row: Option<&DigWindowRow>, gauge: Gauge) -> String {
    let Some((row, limits)) = row.and_then(|row| Some((row, dig_limit::words(row, gauge, ["", ""])?))) else {
        return "Places dug are shown below; they tell no limit. ".to_owned();
    };
    let (open, firm) = (Limit::open(row), Limit::firm(row));
    let crossed = matches!((open, firm), (Limit::At(open), Limit::At(firm)) if open > firm);
    let empty = crossed || open == Limit::NoneRight || firm == Limit::NoneRight;
    format!("By digging, {limits}.{} ", if empty { " No force dug does both." } else { "" })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::gauge::Unit;
    use crate::words::number;

    fn row(open: (Option<f64>, &str), firm: (Option<f64>, &str), evidence: &str) -> DigWindowRow {
        DigWindowRow {
            open_limit_n: open.0,
            open_limit_lies: Some(open.1.to_owned()),
            firm_limit_n: firm.0,
            firm_limit_lies: Some(firm.1.to_owned()),
            dug_low_n: Some(100.0),
            dug_high_n: Some(600.0),
            evidence: evidence.to_owned(),
            ..DigWindowRow::default()
        }
    }

    fn drawn(row: &DigWindowRow) -> Vec<(&'static str, (f64, f64))> {
        bars(row, Gauge::plain(Unit::Newton)).into_iter().map(|bar| (bar.label, bar.ends)).collect()
    }

    fn told(row: &DigWindowRow) -> String {
        finding(Some(row), Gauge::plain(Unit::Newton)).replace(number::NO_BREAK_SPACE, " ")
    }

    #[test]
    fn a_window_lies_between_its_limits() {
        let row = row((Some(180.0), "inside"), (Some(430.0), "inside"), "settled");
        let bars = [
            ("dug: shut, not too firm", (180.0, 430.0)),
            ("open below", (100.0, 180.0)),
            ("too firm above", (430.0, 600.0)),
        ];
        assert_eq!(drawn(&row), bars);
        assert_eq!(
            told(&row),
            "By digging, the trench is shut often enough from 180 N on; above 430 N the soil is too firm too often. "
        );
    }

    #[test]
    fn a_side_that_nobody_noted_is_not_claimed() {
        let open_alone = row((Some(180.0), "inside"), (None, "unknown"), "leaning");
        assert_eq!(drawn(&open_alone), [("dug: shut", (180.0, 600.0)), ("open below", (100.0, 180.0))]);
        assert!(told(&open_alone).contains("from where the soil is too firm was not told"), "{}", told(&open_alone));
        let firm_alone = row((None, "unknown"), (Some(430.0), "inside"), "leaning");
        assert_eq!(drawn(&firm_alone)[0], ("dug: not too firm", (100.0, 430.0)));
        let neither = row((None, "unknown"), (None, "unknown"), "open");
        assert!(drawn(&neither).is_empty());
        assert_eq!(told(&neither), "Places dug are shown below; they tell no limit. ");
    }

    #[test]
    fn limits_beyond_the_forces_dug_reach_to_their_ends() {
        let all_right = row((None, "lighter"), (None, "heavier"), "leaning");
        assert_eq!(drawn(&all_right), [("dug: shut, not too firm", (100.0, 600.0))]);
        let never_shut = row((None, "heavier"), (Some(430.0), "inside"), "open");
        assert_eq!(
            drawn(&never_shut),
            [("open at every force dug", (100.0, 600.0)), ("too firm above", (430.0, 600.0))]
        );
        assert!(told(&never_shut).ends_with("No force dug does both. "), "{}", told(&never_shut));
        let never_loose = row((None, "lighter"), (None, "lighter"), "open");
        assert_eq!(drawn(&never_loose), [("too firm at every force dug", (100.0, 600.0))]);
    }

    #[test]
    fn limits_that_cross_leave_no_window() {
        let row = row((Some(430.0), "inside"), (Some(300.0), "inside"), "open");
        assert_eq!(drawn(&row), [("open below", (100.0, 430.0)), ("too firm above", (300.0, 600.0))]);
        assert!(told(&row).ends_with("No force dug does both. "), "{}", told(&row));
    }

    #[test]
    fn an_open_answer_allows_nothing_though_its_limits_are_shown() {
        let row = row((Some(180.0), "inside"), (None, "unknown"), "open");
        assert_eq!(drawn(&row), [("open below", (100.0, 180.0))]);
    }
}
