//! Why: for each condition the pooled chart, what its curve says in words, and whether other responses agree.

use std::collections::BTreeSet;

use evenstand_tables::rows::StartingPointRow;
use rayon::prelude::*;
use serde::Serialize;

use crate::ReportError;
use crate::charts::condition::ConditionChart;
use crate::charts::forest::{Forest, Kind};
use crate::charts::panel::CurvePoint;
use crate::picture::{Figure, Picture};
use crate::results::Results;
use crate::slug::slug;
use crate::words::answer::{Evidence, deciding_points, plain_words};
use crate::words::condition_tables::{comparisons, curve_table, responses};
use crate::words::dig_chart;
use crate::words::gauge::Gauge;
use crate::words::next_trial::{NextTrial, next_trial};
use crate::words::number;
use crate::words::response::{Response, capitalised};
use crate::words::scope::interval;
use crate::words::what_can_be_best::Sets;
use crate::words::{difference_seen, dig_numbers, dig_says, evidence_behind, how_sure, shape_seen, what_can_be_best};

/// A table in words.
#[derive(Debug, Clone, Serialize, Default)]
pub(crate) struct WordTable {
    pub caption: String,
    pub head: Vec<String>,
    pub rows: Vec<Vec<String>>,
    /// What was left out, and where it can be found.
    pub rest: Option<String>,
}

/// A question of a section with the sentences that answer it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct Asked {
    pub question: &'static str,
    pub says: Vec<String>,
}

/// The section of one condition.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Why {
    pub title: String,
    pub condition: String,
    pub planter: Option<String>,
    pub seasons: Vec<i64>,
    pub evidence: Evidence,
    pub reason: String,
    pub asked: Vec<Asked>,
    pub next_trial: Option<NextTrial>,
    pub finding: String,
    pub figure: Option<Figure>,
    /// What the marks of the figure mean.
    pub legend: String,
    pub curve: Option<WordTable>,
    /// What one setting gains over another, field by field.
    pub forest: Option<Figure>,
    pub effects: Option<WordTable>,
    /// Places dug, counted by setting.
    pub dug: Option<WordTable>,
    pub responses: Option<WordTable>,
    pub comparisons: Option<WordTable>,
}

/// What is pooled in one curve.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Pool {
    pub condition: String,
    pub closer: String,
    pub planter_id: Option<String>,
}

impl Pool {
    pub fn of(condition: &str, closer: &str, planter_id: Option<&String>) -> Self {
        Self { condition: condition.to_owned(), closer: closer.to_owned(), planter_id: planter_id.cloned() }
    }
}

impl Pool {
    /// The pool of a starting point.
    pub fn of_start(point: &StartingPointRow) -> Self {
        Self::of(&point.condition, &point.closer, point.planter_id.as_ref())
    }
}

/// A chart of a condition, with what it was sketched from.
pub(crate) struct PooledChart {
    pub pool: Pool,
    pub response: String,
    pub picture: Picture,
    pub chart: ConditionChart,
}

/// Every pool that has a starting point or a curve, in the order of the tables.
fn pools(results: &Results) -> Vec<Pool> {
    let mut pools: Vec<Pool> = Vec::new();
    let starting = results.starting_points.iter().map(Pool::of_start);
    let curves = results.curves.iter().map(|row| Pool::of(&row.condition, &row.closer, row.planter_id.as_ref()));
    for pool in starting.chain(curves) {
        if !pools.contains(&pool) {
            pools.push(pool);
        }
    }
    pools
}

/// Title of a pool: the condition, with closer and planter where the review has several.
pub(crate) fn title(results: &Results, pool: &Pool) -> String {
    let several_closers = pools(results).iter().any(|other| other.closer != pool.closer);
    let mut title = pool.condition.clone();
    if several_closers {
        title.push_str(&format!(" · {}", plain_words(&pool.closer)));
    }
    if let Some(planter_id) = &pool.planter_id {
        title.push_str(&format!(" · planter {planter_id}"));
    }
    title
}

/// The charts of all pools and responses that have a curve or adjusted strips.
///
/// Strips say what they are where a chart decides, and in `all` others too: those are drawn as files of their own and shown on no page.
pub(crate) fn pooled_charts(results: &Results, names: &mut crate::slug::Names, all: bool) -> Vec<PooledChart> {
    let deciding = deciding_points(results);
    let mut charts = Vec::new();
    for pool in pools(results) {
        let title = title(results, &pool);
        let mut responses: Vec<&str> = Vec::new();
        let points = results
            .starting_points
            .iter()
            .filter(|row| belongs(&pool, &row.condition, &row.closer, row.planter_id.as_ref()));
        let curves =
            results.curves.iter().filter(|row| belongs(&pool, &row.condition, &row.closer, row.planter_id.as_ref()));
        for response in points.map(|row| row.response.as_str()).chain(curves.map(|row| row.response.as_str())) {
            if !responses.contains(&response) {
                responses.push(response);
            }
        }
        for response in responses {
            let decides = deciding.iter().any(|point| point.response == response && Pool::of_start(point) == pool);
            let Some(mut chart) = chart(results, &pool, &title, response, all || decides) else { continue };
            let file = names.unique(&format!("condition-{}-{}", slug(&title), slug(response)));
            let alt = finding(&chart, &pool.condition);
            let picture = Picture::new(file, alt, chart.sketch());
            // The sketch has what thousands of strips say; nobody asks the chart for it again.
            chart.says = Vec::new();
            charts.push(PooledChart { pool: pool.clone(), response: response.to_owned(), picture, chart });
        }
    }
    charts
}

/// Whether a row with these names is one of the pool.
pub(crate) fn belongs(pool: &Pool, condition: &str, closer: &str, planter_id: Option<&String>) -> bool {
    pool.condition == condition && pool.closer == closer && pool.planter_id.as_ref() == planter_id
}

/// `told` says whether strips say what they are.
fn chart(results: &Results, pool: &Pool, title: &str, response_name: &str, told: bool) -> Option<ConditionChart> {
    let response = Response::of(response_name, results);
    let gauge = results.axis_gauge(pool.planter_id.as_deref());
    let curve: Vec<CurvePoint> = results
        .curves
        .iter()
        .filter(|row| {
            row.response == response_name && belongs(pool, &row.condition, &row.closer, row.planter_id.as_ref())
        })
        .filter_map(|row| curve_point(&response, gauge, row.force_n, row.estimate, row.low, row.high))
        .collect();
    let adjusted = results.adjusted.having(&[
        ("response", Some(response_name)),
        ("condition", Some(&pool.condition)),
        ("closer", Some(&pool.closer)),
        ("planter_id", pool.planter_id.as_deref()),
    ]);
    let (strips, says): (Vec<(f64, f64)>, Vec<String>) = adjusted
        .into_iter()
        .filter_map(|row| {
            let (force_n, value) = (row.force_n?, row.adjusted?);
            let place = (gauge.value(force_n), response.axis_value(value));
            if !told {
                return (place.0.is_finite() && place.1.is_finite()).then_some((place, String::new()));
            }
            let files = crate::words::strip_says::files(results, (&row.field_id, row.season, &row.strip_id));
            let from = if files.is_empty() { String::new() } else { format!(". From {files}") };
            let says = format!(
                "{}, {}, strip {}: {}, {}; {} with field and block taken out{from}",
                row.field_id,
                row.season,
                row.strip_id,
                gauge.text(force_n),
                row.observed.map_or_else(|| "not counted".to_owned(), |observed| response.value(observed, None)),
                response.value(value, None),
            );
            (place.0.is_finite() && place.1.is_finite()).then_some((place, says))
        })
        .unzip();
    let point = starting_point(results, pool, response_name);
    let decides = point.is_some_and(|point| point.primary == Some(true));
    let digs = if decides { dig_chart::panel(results, pool, gauge) } else { None };
    if curve.is_empty() && strips.is_empty() && digs.is_none() {
        return None;
    }
    let shown = |value: Option<f64>| value.filter(|value| value.is_finite()).map(|value| gauge.value(value));
    let open = point.is_none_or(|point| Evidence::of(&point.evidence) == Evidence::Open);
    Some(ConditionChart {
        title: format!("{}: {}", capitalised(title), response.in_text()),
        start: if open { None } else { shown(point.and_then(|point| point.start_n)) },
        default: shown(point.and_then(|point| point.default_n)),
        window: if open || response_name == "dig_check" {
            None
        } else {
            shown(point.and_then(|point| point.window_low_n)).zip(shown(point.and_then(|point| point.window_high_n)))
        },
        sets: point.map_or_else(Sets::default, Sets::of),
        digs,
        response,
        gauge,
        curve,
        strips,
        says,
    })
}

/// A row of a curve in the units of the axes; nothing where it has no estimate.
pub(crate) fn curve_point(
    response: &Response,
    gauge: Gauge,
    force_n: f64,
    estimate: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
) -> Option<CurvePoint> {
    let shown = |value: Option<f64>| value.filter(|value| value.is_finite()).map(|value| response.axis_value(value));
    force_n.is_finite().then_some(())?;
    Some(CurvePoint { x: gauge.value(force_n), estimate: shown(estimate)?, low: shown(low), high: shown(high) })
}

fn starting_point<'a>(results: &'a Results, pool: &Pool, response: &str) -> Option<&'a StartingPointRow> {
    results
        .starting_points
        .iter()
        .find(|row| row.response == response && belongs(pool, &row.condition, &row.closer, row.planter_id.as_ref()))
}

/// What a chart shows, in words: this is its alt text.
fn finding(chart: &ConditionChart, condition: &str) -> String {
    let gauge = chart.gauge;
    let at = |point: &CurvePoint| {
        let back = if chart.response.scale == crate::words::response::Scale::Share {
            point.estimate / 100.0
        } else {
            point.estimate
        };
        let spread = point.low.zip(point.high).map(|(low, high)| (high - low) / 2.0);
        format!("{} at {}", chart.response.value(back, spread), with_unit(gauge, point.x))
    };
    let mut words = format!("Chart of {} against {}, {condition}. ", chart.response.in_text(), gauge.quantity());
    match (chart.curve.first(), chart.curve.last()) {
        (Some(first), Some(last)) if chart.curve.len() > 1 => {
            words.push_str(&format!("The pooled curve runs from {}", at(first)));
            let inside = || chart.curve[1..chart.curve.len() - 1].iter();
            let top = inside().max_by(|a, b| a.estimate.total_cmp(&b.estimate));
            if let Some(top) = top.filter(|top| top.estimate > first.estimate.max(last.estimate)) {
                words.push_str(&format!(" up to {}", at(top)));
            }
            let bottom = inside().min_by(|a, b| a.estimate.total_cmp(&b.estimate));
            if let Some(bottom) = bottom.filter(|bottom| bottom.estimate < first.estimate.min(last.estimate)) {
                words.push_str(&format!(" down to {}", at(bottom)));
            }
            words.push_str(&format!(" and ends at {}. ", at(last)));
        }
        _ if chart.curve.is_empty() && chart.strips.is_empty() => {}
        _ => words.push_str("No curve could be fitted. "),
    }
    match (chart.start, chart.default) {
        (Some(start), Some(default)) => {
            words.push_str(&format!("Start {}, default {}. ", with_unit(gauge, start), with_unit(gauge, default)));
        }
        (Some(start), None) => words.push_str(&format!("Start {}. ", with_unit(gauge, start))),
        (None, _) => words.push_str("No starting point. "),
    }
    if let Some((low, high)) = chart.window {
        let ends = number::range(&gauge.axis_number(low), &with_unit(gauge, high));
        words.push_str(&format!("As good from {ends}. "));
    }
    if let Some(digs) = &chart.digs {
        words.push_str(&digs.finding);
    }
    if let Some((low, high)) = chart.sets.curve {
        words.push_str(&format!("The best lies from {} in a field not yet seen.", gauge.range(low, high)));
    }
    words.trim_end().to_owned()
}

fn with_unit(gauge: Gauge, shown: f64) -> String {
    number::with_unit(&gauge.axis_number(shown), gauge.unit.symbol())
}

/// The sections of all conditions; `forests` stand in the order of the deciding starting points.
pub(crate) fn sections(
    results: &Results,
    charts: &[PooledChart],
    forests: &[Option<(Picture, Forest)>],
) -> Result<Vec<Why>, ReportError> {
    let interval = interval(results);
    deciding_points(results)
        .into_par_iter()
        .zip(forests)
        .map(|(point, forest)| {
            let pool = Pool::of_start(point);
            let drawn = charts.iter().find(|chart| chart.pool == pool && chart.response == point.response);
            let response = Response::of(&point.response, results);
            let gauge = results.axis_gauge(point.planter_id.as_deref());
            Ok(Why {
                title: title(results, &pool),
                condition: point.condition.clone(),
                planter: point.planter_id.clone(),
                seasons: seasons(results, point),
                evidence: Evidence::of(&point.evidence),
                reason: point.reason.clone(),
                asked: asked(results, &pool, point, &response, gauge),
                next_trial: next_trial(results, point, &response, gauge),
                finding: drawn.map_or_else(String::new, |drawn| drawn.picture.alt.clone()),
                figure: drawn.map(|drawn| drawn.picture.figure()).transpose()?,
                legend: drawn.map_or_else(String::new, |drawn| drawn.chart.legend(&interval)),
                curve: drawn.and_then(|drawn| curve_table(&drawn.chart)),
                forest: forest.as_ref().map(|(picture, _)| picture.figure()).transpose()?,
                effects: forest.as_ref().map(|(_, forest)| effects_table(forest)),
                dug: dig_numbers::counted(results, &pool, gauge),
                responses: responses(results, &pool, point, gauge),
                comparisons: comparisons(results, point, &response),
            })
        })
        .collect()
}

/// Seasons in which strips of an answer were planted.
fn seasons(results: &Results, point: &StartingPointRow) -> Vec<i64> {
    let strips = results.strips.iter().filter(|strip| {
        strip.condition == point.condition
            && strip.closer.as_ref().is_none_or(|closer| *closer == point.closer)
            && (point.planter_id.is_none() || strip.planter_id == point.planter_id)
    });
    let seasons: BTreeSet<i64> = strips.map(|strip| strip.season).collect();
    seasons.into_iter().collect()
}

/// The forest as numbers.
fn effects_table(forest: &Forest) -> WordTable {
    WordTable {
        caption: format!("{}; 90 % interval in brackets", forest.subtitle),
        head: vec!["Field-season".to_owned(), forest.axis_title.clone(), "Tried both".to_owned()],
        rows: forest
            .effects
            .iter()
            .map(|effect| {
                let tried = match effect.kind {
                    Kind::Field => "yes",
                    Kind::PartOfIt => "part of the way",
                    Kind::Typical | Kind::Unseen => "–",
                };
                vec![effect.label.clone(), effect.words.clone(), tried.to_owned()]
            })
            .collect(),
        rest: Some("The same rows for every response are in results/field_effects.csv.".to_owned()),
    }
}

/// What to test next, a row a condition; nothing where no trial was considered.
pub(crate) fn next_table(sections: &[Why]) -> Option<WordTable> {
    let rows: Vec<Vec<String>> = sections
        .iter()
        .filter_map(|section| {
            let trial = section.next_trial.as_ref()?;
            Some(vec![section.title.clone(), trial.advice.clone(), trial.says.first().cloned().unwrap_or_default()])
        })
        .collect();
    (!rows.is_empty()).then(|| WordTable {
        caption: "Trials that would help next season".to_owned(),
        head: ["Condition", "What to lay out", "Why"].map(str::to_owned).to_vec(),
        rows,
        rest: Some("Every trial that was considered is in results/next_trials.csv.".to_owned()),
    })
}

/// The questions of a section in the order a reader asks them; one without an answer is left out.
fn asked(results: &Results, pool: &Pool, point: &StartingPointRow, response: &Response, gauge: Gauge) -> Vec<Asked> {
    [
        ("Can any difference be seen?", difference_seen::says(point, response)),
        ("What can still be the best?", what_can_be_best::says(point, gauge)),
        ("How sure is the start?", how_sure::says(results, point, response, gauge)),
        ("What shape does it have?", shape_seen::says(results, point, gauge)),
        ("What stands behind it?", evidence_behind::says(point, gauge)),
        ("What did digging show?", dig_says::says(results, pool, point, gauge)),
    ]
    .into_iter()
    .filter(|(_, says)| !says.is_empty())
    .map(|(question, says)| Asked { question, says })
    .collect()
}
