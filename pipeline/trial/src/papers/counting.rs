//! Count sheets: a page or more a visit, places in walking order, and where to dig.

use serde::Serialize;

use super::page::{STYLE, render};
use super::records::{Stop, walk};
use super::units::{Units, number};
use super::words;
use crate::{Plan, Strip, TrialError};

const FILE: &str = "count-sheets.html";
const TEMPLATE: &str = include_str!("../../templates/count-sheets.html");

/// Rows of one of the two tables that stand side by side on a page.
const ROWS: usize = 24;

#[derive(Serialize)]
struct Page<'a> {
    style: &'a str,
    field_id: &'a str,
    season: i64,
    length: &'static str,
    row_length: String,
    seeds: Option<String>,
    row_units: String,
    not_counted: Option<String>,
    visits: Vec<VisitPages<'a>>,
    /// Pages of places to dig.
    digs: Vec<Sheet>,
}

#[derive(Serialize)]
struct VisitPages<'a> {
    number: usize,
    of: usize,
    day: u32,
    date: Option<&'a str>,
    reason: &'a str,
    sheets: Vec<Sheet>,
}

/// A page: two tables, read down the left one first.
#[derive(Serialize)]
struct Sheet {
    tables: Vec<Vec<Line>>,
}

#[derive(Serialize, Clone)]
struct Line {
    strip_id: String,
    pass: usize,
    row_unit: u32,
    /// The row counted from the left of the pass, looking away from the start line.
    from_left: u32,
    at: String,
}

/// The sheets.
pub(crate) fn count_sheets(plan: &Plan, units: &Units) -> Result<String, TrialError> {
    let counting = &plan.counting;
    let lines: Vec<Line> = walk(plan).iter().map(|stop| line(plan, units, stop)).collect();
    let visits = plan.visits.visits.iter().enumerate().map(|(position, visit)| VisitPages {
        number: position + 1,
        of: plan.visits.visits.len(),
        day: visit.day,
        date: visit.date.as_deref(),
        reason: &visit.reason,
        sheets: sheets(&lines),
    });
    let border =
        (!counting.border_rows.is_empty()).then(|| format!("outer rows {}", words::list(&counting.border_rows)));
    let wheel =
        (!counting.wheel_rows.is_empty()).then(|| format!("rows behind wheels {}", words::list(&counting.wheel_rows)));
    let not_counted: Vec<String> = [border, wheel].into_iter().flatten().collect();
    let page = Page {
        style: STYLE,
        field_id: &plan.field_id,
        season: plan.season,
        length: units.length_suffix(),
        row_length: format!("{} {}", units.taped(counting.row_length_m), units.length_suffix()),
        seeds: counting.seeds.map(|seeds| number(seeds, 0)),
        row_units: words::list(&counting.row_units),
        not_counted: (!not_counted.is_empty()).then(|| not_counted.join("; ")),
        visits: visits.collect(),
        digs: sheets(&digs(plan, units)),
    };
    render(FILE, TEMPLATE, &page)
}

fn line(plan: &Plan, units: &Units, stop: &Stop) -> Line {
    let rows = plan.planters.get(stop.pass.planter).map_or(0, |planter| planter.rows);
    Line {
        strip_id: stop.strip.strip_id.clone(),
        pass: stop.pass.number,
        row_unit: stop.place.row_unit,
        from_left: from_left(stop.place.row_unit, rows, stop.pass.outward),
        at: units.along(stop.place.at_m),
    }
}

fn from_left(row_unit: u32, rows: u32, outward: bool) -> u32 {
    if outward { row_unit } else { (rows + 1).saturating_sub(row_unit) }
}

fn sheets(lines: &[Line]) -> Vec<Sheet> {
    let page = |lines: &[Line]| Sheet { tables: lines.chunks(ROWS).map(<[Line]>::to_vec).collect() };
    lines.chunks(2 * ROWS).map(page).collect()
}

/// A place to dig in every strip, in planting order: on a counted row unit, where the longest piece of it is not counted.
fn digs(plan: &Plan, units: &Units) -> Vec<Line> {
    let mut dug = vec![false; plan.strips.len()];
    let mut lines = Vec::new();
    for pass in &plan.passes {
        for strip in words::as_driven(plan, pass) {
            let Some(position) = plan.strips.iter().position(|other| std::ptr::eq(other, strip)) else { continue };
            if std::mem::replace(&mut dug[position], true) {
                continue;
            }
            let Some(row_unit) = plan.counting.row_units.first().copied() else { continue };
            let rows = plan.planters.get(pass.planter).map_or(0, |planter| planter.rows);
            lines.push(Line {
                strip_id: strip.strip_id.clone(),
                pass: pass.number,
                row_unit,
                from_left: from_left(row_unit, rows, pass.outward),
                at: units.along(dig_at(strip, plan.counting.row_length_m)),
            });
        }
    }
    lines
}

/// The middle of the longest piece of a strip in which no place is counted, on whatever row.
fn dig_at(strip: &Strip, row_length_m: f64) -> f64 {
    let mut places: Vec<f64> = strip.places.iter().map(|place| place.at_m).collect();
    places.sort_by(f64::total_cmp);
    let ends = places.iter().copied().chain([strip.counted_m.1]);
    let starts = [strip.counted_m.0].into_iter().chain(places.iter().map(|place| place + row_length_m));
    let mut longest = (strip.counted_m.0, strip.counted_m.0);
    for (from, to) in starts.zip(ends) {
        if to - from > longest.1 - longest.0 {
            longest = (from, to);
        }
    }
    (longest.0 + longest.1) / 2.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Place;

    #[test]
    fn the_place_to_dig_is_in_the_middle_of_what_is_not_counted() {
        let place = |at_m: f64| Place { sample_id: "a".into(), row_unit: 1, at_m };
        let strip = |places: Vec<Place>| Strip {
            strip_id: "S01".into(),
            block: 1,
            pass: 0,
            planter: 0,
            closer: 0,
            level: 0,
            span_m: (0.0, 100.0),
            counted_m: (10.0, 90.0),
            places,
        };
        assert_eq!(dig_at(&strip(Vec::new()), 5.0), 50.0);
        // Pieces of 10 to 20, 25 to 60 and 65 to 90 m are free.
        assert_eq!(dig_at(&strip(vec![place(60.0), place(20.0)]), 5.0), 42.5);
        assert_eq!([from_left(3, 12, true), from_left(3, 12, false)], [3, 10]);
    }
}
