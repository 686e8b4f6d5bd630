//! Why: for each condition the pooled chart, what its curve says in words, and whether other responses agree.

use evenstand_tables::rows::{KnobRow, StartingPointRow};
use serde::Serialize;

use crate::answer::{Evidence, deciding_points, plain_words};
use crate::charts::condition::ConditionChart;
use crate::charts::panel::CurvePoint;
use crate::gauge::Gauge;
use crate::number::{self, NO_BREAK_SPACE};
use crate::response::{Response, capitalised};
use crate::results::Results;
use crate::slug::slug;

/// A drawn chart as the page needs it.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Figure {
    pub svg: String,
    /// Name of the file below `charts/`, without its ending.
    pub file: String,
}

/// A table in words.
#[derive(Debug, Clone, Serialize, Default)]
pub(crate) struct WordTable {
    pub caption: String,
    pub head: Vec<String>,
    pub rows: Vec<Vec<String>>,
    /// What was left out, and where it can be found.
    pub rest: Option<String>,
}

/// The section of one condition.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Why {
    pub title: String,
    pub evidence: Evidence,
    pub reason: String,
    pub sentences: Vec<String>,
    pub finding: String,
    pub figure: Option<Figure>,
    pub curve: Option<WordTable>,
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
    fn of(condition: &str, closer: &str, planter_id: Option<&String>) -> Self {
        Self { condition: condition.to_owned(), closer: closer.to_owned(), planter_id: planter_id.cloned() }
    }
}

/// A chart of a condition with its file name and its finding in words.
pub(crate) struct PooledChart {
    pub pool: Pool,
    pub response: String,
    pub file: String,
    pub alt: String,
    pub chart: ConditionChart,
}

/// Every pool that has a starting point or a curve, in the order of the tables.
fn pools(results: &Results) -> Vec<Pool> {
    let mut pools: Vec<Pool> = Vec::new();
    let starting =
        results.starting_points.iter().map(|row| Pool::of(&row.condition, &row.closer, row.planter_id.as_ref()));
    let curves = results.curves.iter().map(|row| Pool::of(&row.condition, &row.closer, row.planter_id.as_ref()));
    for pool in starting.chain(curves) {
        if !pools.contains(&pool) {
            pools.push(pool);
        }
    }
    pools
}

/// Title of a pool: the condition, with closer and planter where the review has several.
fn title(results: &Results, pool: &Pool) -> String {
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
pub(crate) fn pooled_charts(results: &Results, names: &mut crate::slug::Names) -> Vec<PooledChart> {
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
            let Some(chart) = chart(results, &pool, &title, response) else { continue };
            let file = names.unique(&format!("condition-{}-{}", slug(&title), slug(response)));
            let alt = finding(&chart, &pool.condition);
            charts.push(PooledChart { pool: pool.clone(), response: response.to_owned(), file, alt, chart });
        }
    }
    charts
}

fn belongs(pool: &Pool, condition: &str, closer: &str, planter_id: Option<&String>) -> bool {
    pool.condition == condition && pool.closer == closer && pool.planter_id.as_ref() == planter_id
}

fn chart(results: &Results, pool: &Pool, title: &str, response_name: &str) -> Option<ConditionChart> {
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
    let strips: Vec<(f64, f64)> = results
        .adjusted
        .iter()
        .filter(|row| {
            row.response == response_name && belongs(pool, &row.condition, &row.closer, row.planter_id.as_ref())
        })
        .filter_map(|row| Some((gauge.value(row.force_n?), response.axis_value(row.adjusted?))))
        .filter(|(x, y)| x.is_finite() && y.is_finite())
        .collect();
    if curve.is_empty() && strips.is_empty() {
        return None;
    }
    let point = starting_point(results, pool, response_name);
    let shown = |value: Option<f64>| value.filter(|value| value.is_finite()).map(|value| gauge.value(value));
    let open = point.is_none_or(|point| Evidence::of(&point.evidence) == Evidence::Open);
    Some(ConditionChart {
        title: format!("{}: {}", capitalised(title), response.in_text()),
        start: if open { None } else { shown(point.and_then(|point| point.start_n)) },
        default: shown(point.and_then(|point| point.default_n)),
        window: if open {
            None
        } else {
            shown(point.and_then(|point| point.window_low_n)).zip(shown(point.and_then(|point| point.window_high_n)))
        },
        response,
        gauge,
        curve,
        strips,
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
        let back =
            if chart.response.scale == crate::response::Scale::Share { point.estimate / 100.0 } else { point.estimate };
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
        words.push_str(&format!("As good from {ends}."));
    }
    words.trim_end().to_owned()
}

fn with_unit(gauge: Gauge, shown: f64) -> String {
    number::with_unit(&gauge.axis_number(shown), gauge.unit.symbol())
}

/// The sections of all conditions, with the charts that were painted for them.
pub(crate) fn sections(results: &Results, charts: &[PooledChart], painted: &[&str]) -> Vec<Why> {
    let deciding = deciding_points(results);
    deciding
        .into_iter()
        .map(|point| {
            let pool = Pool::of(&point.condition, &point.closer, point.planter_id.as_ref());
            let drawn = charts.iter().position(|chart| chart.pool == pool && chart.response == point.response);
            let response = Response::of(&point.response, results);
            let gauge = results.axis_gauge(point.planter_id.as_deref());
            Why {
                title: title(results, &pool),
                evidence: Evidence::of(&point.evidence),
                reason: point.reason.clone(),
                sentences: sentences(results, &pool, point, &response, gauge),
                finding: drawn.map_or_else(String::new, |index| charts[index].alt.clone()),
                figure: drawn.map(|index| Figure { svg: painted[index].to_owned(), file: charts[index].file.clone() }),
                curve: drawn.and_then(|index| curve_table(&charts[index].chart)),
                responses: responses(results, &pool, point, gauge),
                comparisons: comparisons(results, point, &response),
            }
        })
        .collect()
}

fn sentences(
    results: &Results,
    pool: &Pool,
    point: &StartingPointRow,
    response: &Response,
    gauge: Gauge,
) -> Vec<String> {
    let mut sentences = Vec::new();
    let counted = |value: Option<i64>, one: &str, many: &str| {
        value.map(|value| number::count(usize::try_from(value).unwrap_or(0), one, many))
    };
    let counts: Vec<String> = [
        counted(point.n_strips, "strip", "strips"),
        counted(point.n_field_seasons, "field-season", "field-seasons"),
        counted(point.n_levels, "setting", "settings"),
    ]
    .into_iter()
    .flatten()
    .collect();
    let basis = match point.basis.as_str() {
        "trial" => "settings varied inside fields, so strips are compared within their field",
        "logs" if point.n_levels.is_some_and(|levels| levels < 2) => "",
        "logs" => "settings differed only between fields, so anything else that differs between fields is mixed in",
        "digs" => "from digging alone",
        _ => "",
    };
    if !counts.is_empty() || !basis.is_empty() {
        let counts = counts.join(", ");
        let joint = if counts.is_empty() || basis.is_empty() { "" } else { "; " };
        sentences.push(capitalised(&format!("{counts}{joint}{basis}.")));
    }
    if let Some((low, high)) = point.tested_low_n.zip(point.tested_high_n).filter(|(low, high)| low < high) {
        sentences.push(format!("Tested from {}; nothing is said outside.", gauge.range(low, high)));
    }
    let largest = point.largest_difference.filter(|value| value.is_finite());
    sentences.push(
        match point.shape.as_deref() {
            Some("inside") => "The best setting lies inside the tested range: lighter and heavier are both worse.",
            Some("lighter") => {
                "Lighter was better all the way to the lightest setting tested. Whether still lighter is better was \
                 not tried."
            }
            Some("heavier") => {
                "Heavier was better all the way to the heaviest setting tested. Whether still heavier is better was \
                 not tried."
            }
            Some("plateau") => "The curve levels off: a wide range of settings does equally well.",
            Some("flat") => "No difference between settings can be seen.",
            _ => "What shape the curve has cannot be told from these strips.",
        }
        .to_owned(),
    );
    if let Some(p) = point.levels_p_value.filter(|p| p.is_finite()) {
        sentences.push(format!(
            "If settings made no difference, differences as large as those seen would still turn up by chance {} \
             (p{NO_BREAK_SPACE}{}).",
            chance_of(p),
            if p < 0.001 { number::p_value(p) } else { format!("={NO_BREAK_SPACE}{}", number::p_value(p)) }
        ));
    }
    // Where a difference was seen, its limits stand in the comparisons; what is excluded matters where none was.
    let unseen = matches!(point.shape.as_deref(), Some("flat" | "untold"));
    if let Some(largest) = largest.filter(|_| unseen) {
        sentences.push(format!(
            "Differences between settings of more than {} are excluded (90 %).",
            response.difference(largest, Some(largest / 4.0))
        ));
    }
    if let Some((low, high)) = point.best_low_n.zip(point.best_high_n) {
        sentences.push(format!(
            "In a field not yet seen, the best setting lies somewhere from {} (90 %).",
            gauge.range(low, high)
        ));
    }
    if let Some(borrowed) = point.borrowed_share.filter(|share| *share >= 0.05) {
        sentences.push(format!(
            "About {} of what is known about the spread between fields is borrowed from other conditions.",
            number::percent(borrowed)
        ));
    }
    sentences.extend(dig_sentences(results, pool, gauge));
    sentences
}

fn chance_of(p: f64) -> String {
    if p < 0.001 {
        return "less than once in 1000 such trials".to_owned();
    }
    let out_of = if p < 0.01 {
        1000.0
    } else if p < 0.095 {
        100.0
    } else {
        10.0
    };
    let times = (p * out_of).round();
    let word = if times == 1.0 { "time" } else { "times" };
    format!("about {} {word} in {} such trials", number::whole(times), number::whole(out_of))
}

fn dig_sentences(results: &Results, pool: &Pool, gauge: Gauge) -> Vec<String> {
    results
        .dig_window
        .iter()
        .filter(|row| belongs(pool, &row.condition, &row.closer, row.planter_id.as_ref()))
        .map(|row| {
            let places = row.n_digs.map_or_else(
                || "Digging".to_owned(),
                |digs| {
                    let places = number::count(usize::try_from(digs).unwrap_or(0), "place", "places");
                    format!("Digging ({places}, {})", Evidence::of(&row.evidence).word())
                },
            );
            let limits = match (row.open_limit_n, row.firm_limit_n) {
                (Some(open), Some(firm)) => format!(
                    "trenches shut often enough from {}; above {} the soil was firmed too much too often",
                    gauge.text(open),
                    gauge.text(firm)
                ),
                (Some(open), None) => format!("trenches shut often enough from {}", gauge.text(open)),
                (None, Some(firm)) => {
                    format!("above {} the soil was firmed too much too often", gauge.text(firm))
                }
                (None, None) => "no limit could be told".to_owned(),
            };
            let reason = row.reason.as_deref().map_or_else(String::new, |reason| format!(" {reason}"));
            format!("{places}: {limits}.{reason}")
        })
        .collect()
}

/// The curve at a dozen settings: the chart as numbers.
fn curve_table(chart: &ConditionChart) -> Option<WordTable> {
    const SHOWN: usize = 12;
    if chart.curve.is_empty() {
        return None;
    }
    let last = chart.curve.len() - 1;
    let mut picked: Vec<usize> = (0..SHOWN).map(|place| (place * last + (SHOWN - 1) / 2) / (SHOWN - 1)).collect();
    picked.dedup();
    let share = chart.response.scale == crate::response::Scale::Share;
    let rows = picked
        .into_iter()
        .map(|index| {
            let point = &chart.curve[index];
            let spread = point.low.zip(point.high).map(|(low, high)| (high - low) / 2.0);
            let shown = |value: Option<f64>| {
                value.map_or_else(
                    || "–".to_owned(),
                    |value| chart.response.value(if share { value / 100.0 } else { value }, spread),
                )
            };
            vec![chart.gauge.axis_number(point.x), shown(Some(point.estimate)), shown(point.low), shown(point.high)]
        })
        .collect();
    Some(WordTable {
        caption: "The curve in numbers".to_owned(),
        head: vec![chart.gauge.axis_title(), chart.response.label.clone(), "from".to_owned(), "to".to_owned()],
        rows,
        rest: Some("Every point is in results/curves.csv, every strip in results/adjusted.csv.".to_owned()),
    })
}

/// The row in the knob of its planter, of an answer that names positions by label.
fn by_label<'a>(results: &'a Results, point: &StartingPointRow) -> Option<&'a KnobRow> {
    let planter_id = point.planter_id.as_ref()?;
    results.settings.iter().find(|row| {
        row.planter_id == *planter_id
            && (&row.condition, &row.closer, &row.response) == (&point.condition, &point.closer, &point.response)
            && row.knob.as_deref() == Some("positions")
    })
}

/// The other responses of a pool, and whether they agree with the one that decides.
fn responses(results: &Results, pool: &Pool, deciding: &StartingPointRow, gauge: Gauge) -> Option<WordTable> {
    let rows: Vec<Vec<String>> = results
        .starting_points
        .iter()
        .filter(|row| belongs(pool, &row.condition, &row.closer, row.planter_id.as_ref()))
        .filter(|row| row.response != deciding.response)
        .map(|row| {
            let response = Response::of(&row.response, results);
            let window = row.window_low_n.zip(row.window_high_n);
            let label = by_label(results, row).and_then(|knob| knob.start_position.as_ref());
            let deciding_label = by_label(results, deciding).and_then(|knob| knob.start_position.as_ref());
            let agrees = match (deciding.start_n, window) {
                _ if row.shape.as_deref() == Some("flat") => "no difference seen",
                _ if label.is_some() && label == deciding_label => "yes",
                _ if label.is_some() && deciding_label.is_some() => "no: another start",
                (Some(start), Some((low, high))) if start >= low && start <= high => "yes",
                (Some(_), Some((low, _))) if deciding.start_n < Some(low) => "no: heavier here",
                (Some(_), Some(_)) => "no: lighter here",
                _ => "cannot be told",
            };
            vec![
                response.label,
                Evidence::of(&row.evidence).word().to_owned(),
                row.shape.clone().unwrap_or_else(|| "–".to_owned()),
                window
                    .map(|(low, high)| gauge.range(low, high))
                    .or_else(|| {
                        let knob = by_label(results, row)?;
                        Some(number::range(knob.window_low_position.as_ref()?, knob.window_high_position.as_ref()?))
                    })
                    .unwrap_or_else(|| "–".to_owned()),
                row.levels_p_value.map_or_else(|| "–".to_owned(), number::p_value),
                agrees.to_owned(),
            ]
        })
        .collect();
    if rows.is_empty() {
        return None;
    }
    Some(WordTable {
        caption: "Do other responses agree?".to_owned(),
        head: ["Response", "How sure", "Shape", "As good", "p", "Agrees with the start"].map(str::to_owned).to_vec(),
        rows,
        rest: None,
    })
}

fn comparisons(results: &Results, point: &StartingPointRow, response: &Response) -> Option<WordTable> {
    const SHOWN: usize = 30;
    let of_pool: Vec<_> = results
        .comparisons
        .iter()
        .filter(|row| row.field_id.is_none() && row.condition == point.condition && row.response == point.response)
        .filter(|row| row.closer.as_ref().is_none_or(|closer| *closer == point.closer))
        .filter(|row| row.planter_id == point.planter_id)
        .collect();
    // A difference without a standard error is one of fields as much as of settings: it is left to the table of results.
    let all: Vec<_> = of_pool.iter().filter(|row| row.std_error.is_some()).collect();
    if all.is_empty() {
        return None;
    }
    let untold = of_pool.len() - all.len();
    let word = if by_label(results, point).is_some() { "position " } else { "" };
    let rows = all
        .iter()
        .take(SHOWN)
        .map(|row| {
            let spread = row.low.zip(row.high).map(|(low, high)| (high - low) / 2.0);
            let shown = |value: Option<f64>| {
                value.map_or_else(|| "–".to_owned(), |value| response.bare_difference(value, spread))
            };
            let interval = match (row.low, row.high) {
                (Some(_), Some(_)) => number::range(&shown(row.low), &shown(row.high)),
                _ => "–".to_owned(),
            };
            vec![
                format!("{word}{} − {word}{}", row.treatment_a, row.treatment_b),
                shown(row.difference),
                interval,
                row.p_adjusted.map_or_else(|| "–".to_owned(), number::p_value),
            ]
        })
        .collect();
    let left = all.len().saturating_sub(SHOWN);
    let unit = match &response.scale {
        crate::response::Scale::Share => "points".to_owned(),
        crate::response::Scale::Hours => "hours".to_owned(),
        crate::response::Scale::DegreeDays => "°C·d".to_owned(),
        crate::response::Scale::Plain { unit } => unit.clone(),
    };
    let difference = if unit.is_empty() { "Difference".to_owned() } else { format!("Difference ({unit})") };
    Some(WordTable {
        caption: format!("Settings compared in pairs, {}", response.in_text()),
        head: vec![
            "Pair".to_owned(),
            difference,
            "95 % interval".to_owned(),
            "p, adjusted for the number of pairs".to_owned(),
        ],
        rows,
        rest: rest_of_pairs(left, untold),
    })
}

/// What the table of pairs leaves out, in words.
fn rest_of_pairs(left: usize, untold: usize) -> Option<String> {
    let more = (left > 0).then(|| format!("{left} more pairs are in results/comparisons.csv."));
    let apart = (untold > 0).then(|| {
        let pairs = number::count(untold, "pair is", "pairs are");
        format!("{pairs} not compared: these settings were never tried side by side in one field, or without repeats.")
    });
    let parts: Vec<String> = more.into_iter().chain(apart).collect();
    (!parts.is_empty()).then(|| parts.join(" "))
}
