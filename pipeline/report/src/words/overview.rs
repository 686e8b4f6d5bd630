//! The charts that hold conditions and field-seasons side by side: all conditions on one scale, and a forest a condition.

use evenstand_tables::rows::{FieldEffectRow, StartingPointRow};

use crate::charts::forest::{Effect, Forest, Kind};
use crate::charts::multiples::{Multiples, Small};
use crate::charts::panel::CurvePoint;
use crate::picture::Picture;
use crate::results::Results;
use crate::slug::{Names, slug};
use crate::words::answer::deciding_points;
use crate::words::gauge::Gauge;
use crate::words::number;
use crate::words::response::{Response, Scale, capitalised};
use crate::words::why::{Pool, PooledChart, belongs};

/// Conditions side by side, a chart a response and force axis; a condition alone needs none.
pub(crate) fn side_by_side(results: &Results, pooled: &[PooledChart], names: &mut Names) -> Vec<Picture> {
    let mut charts: Vec<Multiples> = Vec::new();
    for point in deciding_points(results) {
        let pool = Pool::of_start(point);
        let Some(drawn) = pooled.iter().find(|chart| chart.pool == pool && chart.response == point.response) else {
            continue;
        };
        let chart = &drawn.chart;
        if chart.curve.is_empty() {
            continue;
        }
        let small = Small {
            title: capitalised(&crate::words::why::title(results, &pool)),
            curve: chart.curve.clone(),
            strips: chart.strips.clone(),
            start: chart.start,
            default: chart.default,
        };
        match charts.iter_mut().find(|other| other.response == chart.response && other.gauge == chart.gauge) {
            Some(other) => other.panels.push(small),
            None => charts.push(Multiples {
                title: format!("All conditions on one scale: {}", chart.response.in_text()),
                response: chart.response.clone(),
                gauge: chart.gauge,
                panels: vec![small],
            }),
        }
    }
    charts
        .into_iter()
        .filter(|chart| chart.panels.len() > 1)
        .map(|chart| {
            let file = names.unique(&format!("conditions-{}", slug(&chart.response.name)));
            Picture::new(file, side_by_side_finding(&chart), chart.sketch())
        })
        .collect()
}

/// Where each curve is highest (or lowest), in words.
fn side_by_side_finding(chart: &Multiples) -> String {
    let share = chart.response.scale == Scale::Share;
    let value = |shown: f64| chart.response.value(if share { shown / 100.0 } else { shown }, None);
    let panels: Vec<String> = chart
        .panels
        .iter()
        .filter_map(|panel| {
            let best = panel.curve.iter().copied().reduce(|best: CurvePoint, point| {
                let better = if chart.response.lower_is_better() {
                    point.estimate < best.estimate
                } else {
                    point.estimate > best.estimate
                };
                if better { point } else { best }
            })?;
            let place = number::with_unit(&chart.gauge.axis_number(best.x), chart.gauge.unit.symbol());
            Some(format!("{}, best of the curve {} at {place}", panel.title, value(best.estimate)))
        })
        .collect();
    format!(
        "Chart of {} against {}, a panel a condition on one scale. {}.",
        chart.response.in_text(),
        chart.gauge.quantity(),
        panels.join("; ")
    )
}

/// The forest of a starting point; nothing where there are fewer than two field-seasons to hold side by side.
pub(crate) fn forest(results: &Results, point: &StartingPointRow, names: &mut Names) -> Option<(Picture, Forest)> {
    let pool = Pool::of_start(point);
    let rows: Vec<&FieldEffectRow> = results
        .field_effects
        .iter()
        .filter(|row| {
            row.response == point.response && belongs(&pool, &row.condition, &row.closer, row.planter_id.as_ref())
        })
        .collect();
    if rows.iter().filter(|row| row.scope == "field").count() < 2 {
        return None;
    }
    let response = Response::of(&point.response, results);
    let gauge = results.axis_gauge(point.planter_id.as_deref());
    let effects: Vec<Effect> = rows.iter().filter_map(|row| effect(row, &response)).collect();
    let (to, from) = rows.iter().find_map(|row| row.to_n.zip(row.from_n))?;
    let contrast = rows.first().map_or("", |row| row.contrast.as_str());
    let chart = Forest {
        title: format!("{}: field by field", capitalised(&crate::words::why::title(results, &pool))),
        subtitle: subtitle(contrast, to, from, gauge),
        axis_title: format!("Difference in {} ({})", response.in_text(), response.difference_unit()),
        effects,
    };
    let alt = forest_finding(&chart, &response);
    let file =
        names.unique(&format!("fields-{}-{}", slug(&crate::words::why::title(results, &pool)), slug(&response.name)));
    Some((Picture::new(file, alt, chart.sketch()), chart))
}

fn subtitle(contrast: &str, to: f64, from: f64, gauge: Gauge) -> String {
    let [to, from] = [to, from].map(|force| gauge.text(force));
    match contrast {
        "best_default" => format!("The best setting, {to}, against the default, {from}"),
        _ => format!("The heaviest setting tried, {to}, against the lightest, {from}"),
    }
}

fn effect(row: &FieldEffectRow, response: &Response) -> Option<Effect> {
    let finite = |value: Option<f64>| value.filter(|value| value.is_finite());
    let (difference, low, high) = (finite(row.difference)?, finite(row.low)?, finite(row.high)?);
    let spread = Some((high - low) / 2.0);
    let [at, from, to] = [difference, low, high].map(|value| response.fine_number(value, spread));
    let (label, kind) = match row.scope.as_str() {
        "typical" => ("a typical field".to_owned(), Kind::Typical),
        "new_field" => ("a field not yet seen".to_owned(), Kind::Unseen),
        _ => (
            format!("{}, {}", row.field_id.as_deref().unwrap_or("–"), row.season.unwrap_or_default()),
            if row.covers == Some(false) { Kind::PartOfIt } else { Kind::Field },
        ),
    };
    let shown = [difference, low, high].map(|value| response.axis_value(value));
    Some(Effect {
        label,
        kind,
        difference: shown[0],
        low: shown[1],
        high: shown[2],
        words: format!("{at} ({})", number::range(&from, &to)),
    })
}

fn forest_finding(chart: &Forest, response: &Response) -> String {
    let fields: Vec<&Effect> =
        chart.effects.iter().filter(|effect| matches!(effect.kind, Kind::Field | Kind::PartOfIt)).collect();
    let ups = fields.iter().filter(|effect| effect.difference > 0.0).count();
    let of = |kind: Kind| chart.effects.iter().find(|effect| effect.kind == kind);
    let mut words = format!(
        "Forest of field-seasons. {}. {}: above nothing in {ups} of {}.",
        chart.subtitle,
        chart.axis_title,
        number::count(fields.len(), "field-season", "field-seasons")
    );
    if let Some(typical) = of(Kind::Typical) {
        words.push_str(&format!(" In a typical field {}.", typical.words));
    }
    if let Some(unseen) = of(Kind::Unseen) {
        words.push_str(&format!(
            " In a field not yet seen {}, 90 % interval, in {}.",
            unseen.words,
            response.difference_unit()
        ));
    }
    words
}
