//! Rows of `dig_window`.

use evenstand_tables::rows::DigWindowRow;

use super::placed::DugGroup;
use super::{DigWindow, Told};

/// How limits are worked out, for the table.
const METHOD: &str = "logistic curve with field-season random and places of a strip correlated, Firth's penalty, posterior draws; limit of the typical field";

/// What the table says of one limit.
#[derive(Default)]
struct Shown {
    limit_n: Option<f64>,
    low_n: Option<f64>,
    high_n: Option<f64>,
    field_low_n: Option<f64>,
    field_high_n: Option<f64>,
    expected_way: Option<f64>,
}

fn shown(told: &Told) -> Shown {
    match told {
        Told::Limit(limit) => {
            let (low_n, high_n) = limit.cut((limit.low, limit.high));
            let (field_low_n, field_high_n) = limit.cut(limit.fields);
            Shown {
                limit_n: limit.inside(),
                low_n,
                high_n,
                field_low_n,
                field_high_n,
                expected_way: Some(limit.expected_way),
            }
        }
        Told::Contradicted(probability) | Told::NoTrend(probability) => {
            Shown { expected_way: Some(*probability), ..Shown::default() }
        }
        Told::TooFew | Told::OneSetting | Told::NotJudged => Shown::default(),
    }
}

pub(super) fn window_row(group: &DugGroup, window: &DigWindow) -> DigWindowRow {
    let (open, firm) = (shown(&window.open), shown(&window.firm));
    let counts = &window.counts;
    let told = [&window.open, &window.firm].into_iter().any(|told| told.limit().is_some());
    let count = |count: usize| Some(count as i64);
    DigWindowRow {
        condition: group.key.condition.clone(),
        closer: group.key.closer.clone(),
        planter_id: group.key.planter(),
        open_limit_n: open.limit_n,
        firm_limit_n: firm.limit_n,
        open_limit_low_n: open.low_n,
        open_limit_high_n: open.high_n,
        open_limit_lies: Some(window.open.lies().name().to_owned()),
        open_field_low_n: open.field_low_n,
        open_field_high_n: open.field_high_n,
        open_slope_probability: open.expected_way,
        firm_limit_low_n: firm.low_n,
        firm_limit_high_n: firm.high_n,
        firm_limit_lies: Some(window.firm.lies().name().to_owned()),
        firm_field_low_n: firm.field_low_n,
        firm_field_high_n: firm.field_high_n,
        firm_slope_probability: firm.expected_way,
        window_probability: window.probability,
        dug_low_n: window.dug.map(|dug| dug.0),
        dug_high_n: window.dug.map(|dug| dug.1),
        n_field_seasons: count(counts.field_seasons),
        n_strips: count(counts.strips),
        n_levels: count(counts.levels),
        n_judged_open: count(counts.judged_open),
        n_judged_firm: count(counts.judged_firm),
        method: told.then(|| METHOD.to_owned()),
        n_digs: count(counts.digs),
        n_open: count(counts.open),
        n_firm: count(counts.firm),
        evidence: window.evidence.name().to_owned(),
        reason: Some(window.reason.clone()),
    }
}
