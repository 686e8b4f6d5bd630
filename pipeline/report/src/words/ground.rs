//! What is known of a field-season's ground: the map of its strips, and telemetry along them.

use evenstand_tables::rows::{FieldSeasonRow, StripRow, TraceRow};

use crate::charts::along::{Along, Pass, Piece};
use crate::charts::sketch::Point;
use crate::charts::strip_map::{Ground, Plot, StripMap};
use crate::picture::Picture;
use crate::results::{Results, rows_of};
use crate::slug::{Names, slug};
use crate::words::field_chart::response_of;
use crate::words::fields::strips_of;
use crate::words::number;
use crate::words::response::{Response, Scale};
use crate::words::strip_says::strip_says;
use crate::words::units::System;

/// The map; nothing where fewer than two strips have a place.
pub(crate) fn map(results: &Results, field: &FieldSeasonRow, names: &mut Names) -> Option<Picture> {
    let strips = strips_of(results, field);
    let response = response_of(results, &strips);
    let gauge = results.field_gauge(&field.field_id, field.season);
    let value = |strip: &StripRow| results.strip_value(strip, &response.name).map(|value| response.axis_value(value));
    let classes = Classes::of(strips.iter().filter_map(|strip| value(strip)), &response);
    let traces = results.traces.of_field_season(&field.field_id, field.season);
    let plots: Vec<Plot> = strips
        .iter()
        .filter_map(|strip| {
            Some(Plot {
                ground: ground(results, &traces, strip)?,
                class: value(strip).map(|value| classes.class(value)),
                says: strip_says(results, strip, &response, gauge),
            })
        })
        .collect();
    if plots.len() < 2 {
        return None;
    }
    let counted = plots.iter().filter(|plot| plot.class.is_some()).count();
    let alt = format!(
        "Map of {}, {}: {}, {counted} of them shaded by {}, the darker the higher, in {}.",
        field.field_id,
        field.season,
        number::count(plots.len(), "strip", "strips"),
        response.in_text(),
        number::count(classes.names.len(), "class", "classes"),
    );
    let chart = StripMap {
        title: format!("{}, {}: where the strips lie", field.field_id, field.season),
        key_title: response.axis_title(),
        classes: classes.names,
        plots,
        unit: System::of(results).ground_length(),
    };
    let file = names.unique(&format!("map-{}-{}", slug(&field.field_id), field.season));
    Some(Picture::new(file, alt, chart.sketch()))
}

/// The outline of a strip, else the way that was driven, else its place.
/// `traces` are those of its field-season.
fn ground(results: &Results, traces: &[TraceRow], strip: &StripRow) -> Option<Ground> {
    let corners = results.outline_of(&strip.field_id, strip.season, &strip.strip_id);
    if !corners.is_empty() {
        let mut rings: Vec<(i64, Vec<Point>)> = Vec::new();
        for corner in corners {
            let Some(point) = corner.lon.zip(corner.lat) else { continue };
            match rings.last_mut() {
                Some((ring, points)) if *ring == corner.ring => points.push(point),
                _ => rings.push((corner.ring, vec![point])),
            }
        }
        return Some(Ground::Rings(rings.into_iter().map(|(_, points)| points).collect()));
    }
    let pieces = rows_of(traces, (&strip.field_id, strip.season, &strip.strip_id));
    let way: Vec<Point> = pieces.iter().filter_map(|piece| piece.lon.zip(piece.lat)).collect();
    if way.len() > 1 {
        return Some(Ground::Line(way));
    }
    Some(Ground::Line(vec![strip.lon.zip(strip.lat)?]))
}

/// Round classes of a response.
struct Classes {
    step: f64,
    first: f64,
    names: Vec<String>,
}

impl Classes {
    const MOST: usize = 5;

    fn of(values: impl Iterator<Item = f64>, response: &Response) -> Self {
        let ends = values.filter(|value| value.is_finite()).fold(None, |ends: Option<(f64, f64)>, value| {
            Some(ends.map_or((value, value), |(low, high)| (low.min(value), high.max(value))))
        });
        let Some((low, high)) = ends else { return Self { step: 1.0, first: 0.0, names: Vec::new() } };
        let (step, first, count) = Self::steps(low, high);
        let decimals = number::decimals_of_step(step);
        let shown = |place: usize| number::fixed(first + step * place as f64, decimals);
        let unit = if response.scale == Scale::Share { "%" } else { "" };
        let name = |class: usize| number::with_unit(&number::range(&shown(class), &shown(class + 1)), unit);
        Self { step, first, names: (0..count).map(name).collect() }
    }

    /// The finest round step that gives at most five classes, the first class, and how many there are.
    fn steps(low: f64, high: f64) -> (f64, f64, usize) {
        let finest = ((high - low) / Self::MOST as f64).max(1e-9 * high.abs()).max(1e-9);
        let power = 10f64.powf(finest.log10().floor());
        for factor in [1.0, 2.0, 5.0, 10.0, 20.0, 50.0] {
            let step = factor * power;
            let first = (low / step + 1e-9).floor() * step;
            let count = (((high - first) / step - 1e-9).floor() as usize) + 1;
            if step >= finest * 0.999 && count <= Self::MOST {
                return (step, first, count);
            }
        }
        (high - low, low, 1)
    }

    fn class(&self, value: f64) -> usize {
        let class = ((value - self.first) / self.step + 1e-9).floor().max(0.0) as usize;
        class.min(self.names.len().saturating_sub(1))
    }
}

/// Strips of which the telemetry is drawn: more would be too small to read.
const MOST_PASSES: usize = 24;

/// Set against actual along each strip; nothing where no telemetry measured.
pub(crate) fn along(results: &Results, field: &FieldSeasonRow, names: &mut Names) -> Option<Picture> {
    let gauge = results.field_gauge(&field.field_id, field.season);
    let (size, unit) = System::of(results).ground_length();
    let strips = strips_of(results, field);
    let traces = results.traces.of_field_season(&field.field_id, field.season);
    let traced: Vec<(&str, &[TraceRow])> = strips
        .iter()
        .map(|strip| {
            let strip_id = strip.strip_id.as_str();
            (strip_id, rows_of(&traces, (&field.field_id, field.season, strip_id)))
        })
        .filter(|(_, pieces)| pieces.iter().any(|piece| piece.actual_n.is_some()))
        .collect();
    // Where the speed of some strip is not known, time stands in for the way in all.
    let by_way = traced.iter().all(|(_, pieces)| pieces.iter().all(|piece| piece.along_m.is_some()));
    let place = |piece: &TraceRow| {
        if by_way { Some(piece.along_m? / size) } else { Some((piece.from_s? + piece.to_s?) / 2.0) }
    };
    let shown = |value: Option<f64>| value.filter(|value| value.is_finite()).map(|value| gauge.value(value));
    let passes: Vec<Pass> = traced
        .iter()
        .take(MOST_PASSES)
        .map(|(strip_id, pieces)| Pass {
            label: format!("strip {strip_id}"),
            pieces: pieces
                .iter()
                .filter_map(|piece| {
                    Some(Piece {
                        x: place(piece).filter(|place| place.is_finite())?,
                        set: shown(piece.set_n),
                        actual: shown(piece.actual_n),
                        low: shown(piece.actual_low_n),
                        high: shown(piece.actual_high_n),
                    })
                })
                .collect(),
        })
        .filter(|pass| !pass.pieces.is_empty())
        .collect();
    if passes.is_empty() {
        return None;
    }
    let left = traced.len().saturating_sub(passes.len());
    let alt = format!(
        "Chart of set and measured {} along {} of {}, {}.{}",
        gauge.quantity(),
        number::count(passes.len(), "strip", "strips"),
        field.field_id,
        field.season,
        if left > 0 { format!(" {left} more are in results/traces.csv.") } else { String::new() }
    );
    let chart = Along {
        title: format!("{}, {}: set and measured along the pass", field.field_id, field.season),
        y_title: format!("{}: dashed as set, solid as measured, shaded its range", gauge.axis_title()),
        x_title: if by_way {
            format!("Way along the strip ({unit})")
        } else {
            "Seconds from the start of the strip".to_owned()
        },
        passes,
    };
    let file = names.unique(&format!("pass-{}-{}", slug(&field.field_id), field.season));
    Some(Picture::new(file, alt, chart.sketch()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn classes_are_round_and_hold_every_value() {
        let response = Response::of("on_time_share", &Results::default());
        let classes = Classes::of([52.3, 78.9, 66.0].into_iter(), &response);
        let names: Vec<String> = classes.names.iter().map(|name| name.replace('\u{a0}', " ")).collect();
        assert_eq!(names, ["50 to 60 %", "60 to 70 %", "70 to 80 %"]);
        assert_eq!([52.3, 60.0, 78.9].map(|value| classes.class(value)), [0, 1, 2]);
        for (low, high) in [(70.0, 70.0), (0.0, 100.0), (0.0, 0.0), (98.2, 99.9), (12.0, 340.0)] {
            let classes = Classes::of([low, high].into_iter(), &response);
            assert!((1..=Classes::MOST).contains(&classes.names.len()), "{low} to {high}: {:?}", classes.names);
            assert!(classes.class(low) < classes.names.len() && classes.class(high) < classes.names.len());
        }
    }
}
