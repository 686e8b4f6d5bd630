//! The panel of digs of a condition, from the tables.

use crate::charts::dig_panel::{DigCurve, DigPanel};
use crate::charts::panel::CurvePoint;
use crate::gauge::Gauge;
use crate::number;
use crate::results::Results;
use crate::why::{Pool, belongs};

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
    let mut panel =
        DigPanel { open: side("not_shut", "open_share"), firm: side("too_firm", "firm_share"), window: None };
    if panel.is_empty() {
        return None;
    }
    let window = results
        .dig_window
        .iter()
        .find(|row| belongs(pool, &row.condition, &row.closer, row.planter_id.as_ref()) && row.evidence != "open");
    panel.window = window.and_then(|row| {
        let low = row.open_limit_n.or(row.dug_low_n)?;
        let high = row.firm_limit_n.or(row.dug_high_n)?;
        (low <= high).then(|| (gauge.value(low), gauge.value(high)))
    });
    Some(panel)
}

/// What the panel shows, in words.
pub(crate) fn finding(panel: &DigPanel, gauge: Gauge) -> String {
    match panel.window {
        Some((low, high)) => {
            let high = number::with_unit(&gauge.axis_number(high), gauge.unit.symbol());
            format!("By digging, shut and not too firm from {}. ", number::range(&gauge.axis_number(low), &high))
        }
        None => "Places dug are shown below; they tell no window. ".to_owned(),
    }
}
