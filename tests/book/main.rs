//! The workbook of a review, opened again by another reader.

#![allow(clippy::unwrap_used)]

mod cells;
mod charts;
mod first_sheet;
mod units;

use std::io::{Cursor, Read};

use calamine::{Data, Reader, Xlsx};
use evenstand_book::{BookFacts, BookUnits, review_workbook};
use evenstand_tables::rows::{AdjustedRow, CurveRow, FieldEffectRow, PlanterRow, StartingPointRow, StripRow};
use evenstand_tables::{Group, Row, Table, schemas};

fn facts(units: BookUnits) -> BookFacts {
    BookFacts { title: "Winter review".into(), invented: true, units }
}

fn book(tables: &[Table], units: BookUnits) -> Vec<u8> {
    review_workbook(tables, &facts(units)).unwrap()
}

fn open(book: &[u8]) -> Xlsx<Cursor<Vec<u8>>> {
    Xlsx::new(Cursor::new(book.to_vec())).unwrap()
}

/// Rows of a sheet as the other reader has them, from the first cell on.
fn rows(book: &[u8], sheet: &str) -> Vec<Vec<Data>> {
    let range = open(book).worksheet_range(sheet).unwrap();
    let Some(end) = range.end() else { return Vec::new() };
    range.range((0, 0), end).rows().map(<[Data]>::to_vec).collect()
}

/// The cells of a column below the row of units, by what stands above it.
fn column(book: &[u8], sheet: &str, name: &str) -> Vec<Data> {
    let rows = rows(book, sheet);
    let position = rows[0].iter().position(|cell| *cell == Data::String(name.into()));
    let position = position.unwrap_or_else(|| panic!("{sheet} has no column {name}: {:?}", rows[0]));
    rows[2..].iter().map(|row| row[position].clone()).collect()
}

fn unit(book: &[u8], sheet: &str, name: &str) -> String {
    let rows = rows(book, sheet);
    let position = rows[0].iter().position(|cell| *cell == Data::String(name.into())).unwrap();
    rows[1][position].to_string()
}

/// All text of a sheet.
fn words(book: &[u8], sheet: &str) -> String {
    let rows = rows(book, sheet);
    rows.iter().flatten().map(ToString::to_string).filter(|text| !text.is_empty()).collect::<Vec<_>>().join("\n")
}

/// A part of the workbook as it lies in the file.
fn part(book: &[u8], name: &str) -> String {
    let mut archive = zip::ZipArchive::new(Cursor::new(book.to_vec())).unwrap();
    let mut text = String::new();
    archive.by_name(name).unwrap().read_to_string(&mut text).unwrap();
    text
}

fn parts(book: &[u8]) -> Vec<String> {
    let archive = zip::ZipArchive::new(Cursor::new(book.to_vec())).unwrap();
    archive.file_names().map(|name| name.unwrap().into_owned()).collect()
}

fn strip(strip_id: &str) -> StripRow {
    StripRow {
        field_id: "north".into(),
        season: 2025,
        strip_id: strip_id.into(),
        condition: "moist".into(),
        planter_id: Some("weighed-12".into()),
        force_source: Some("set_pressure".into()),
        ..StripRow::default()
    }
}

fn planter(planter_id: &str, calibrated: bool) -> PlanterRow {
    PlanterRow { planter_id: planter_id.into(), calibrated: Some(calibrated), ..PlanterRow::default() }
}

fn start(condition: &str, planter_id: Option<&str>, primary: bool) -> StartingPointRow {
    StartingPointRow {
        condition: condition.into(),
        closer: "discs_and_press_wheel".into(),
        planter_id: planter_id.map(str::to_owned),
        response: if primary { "on_time_share" } else { "t50_h" }.into(),
        primary: Some(primary),
        evidence: "leaning".into(),
        reason: "because".into(),
        basis: "trial".into(),
        start_n: Some(200.0),
        ..StartingPointRow::default()
    }
}

/// Five points of a curve and three strips for each of these conditions and two responses, and the effects in two fields.
fn review(conditions: &[(&str, Option<&str>)]) -> Vec<Table> {
    let (mut starts, mut curves, mut adjusted, mut effects) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for (condition, planter_id) in conditions {
        for primary in [true, false] {
            let start = start(condition, *planter_id, primary);
            let (closer, response) = (start.closer.clone(), start.response.clone());
            let (condition, planter_id) = (start.condition.clone(), start.planter_id.clone());
            let level = |force: f64| if primary { 0.6 + force / 4000.0 } else { 120.0 - force / 40.0 };
            for force in [100.0, 150.0, 200.0, 250.0, 300.0] {
                curves.push(CurveRow {
                    condition: condition.clone(),
                    closer: closer.clone(),
                    planter_id: planter_id.clone(),
                    response: response.clone(),
                    force_n: force,
                    estimate: Some(level(force)),
                    low: Some(level(force) - 0.02),
                    high: Some(level(force) + 0.02),
                });
            }
            for (strip_id, force) in [("1", 100.0), ("2", 200.0), ("3", 300.0)] {
                adjusted.push(AdjustedRow {
                    condition: condition.clone(),
                    closer: closer.clone(),
                    planter_id: planter_id.clone(),
                    response: response.clone(),
                    field_id: "north".into(),
                    season: 2025,
                    strip_id: strip_id.into(),
                    force_n: Some(force),
                    adjusted: Some(level(force) + 0.01),
                    ..AdjustedRow::default()
                });
            }
            for (scope, field, difference) in [
                ("field", Some("north"), 0.03),
                ("field", Some("south"), -0.01),
                ("typical", None, 0.01),
                ("new_field", None, 0.01),
            ] {
                effects.push(FieldEffectRow {
                    condition: condition.clone(),
                    closer: closer.clone(),
                    planter_id: planter_id.clone(),
                    response: response.clone(),
                    scope: scope.into(),
                    field_id: field.map(str::to_owned),
                    season: field.map(|_| 2025),
                    contrast: "best_default".into(),
                    to_n: Some(250.0),
                    from_n: Some(200.0),
                    difference: Some(difference),
                    low: Some(difference - 0.02),
                    high: Some(difference + 0.02),
                    ..FieldEffectRow::default()
                });
            }
            starts.push(start);
        }
    }
    vec![
        StartingPointRow::to_table(&starts).unwrap(),
        CurveRow::to_table(&curves).unwrap(),
        AdjustedRow::to_table(&adjusted).unwrap(),
        FieldEffectRow::to_table(&effects).unwrap(),
        PlanterRow::to_table(&[planter("weighed-12", true), planter("air-8", false)]).unwrap(),
    ]
}

/// Every result table that there is, without rows.
fn all_empty() -> Vec<Table> {
    schemas().iter().filter(|schema| schema.group == Group::Results).map(Table::empty).collect()
}

#[test]
fn the_same_tables_give_the_same_bytes() {
    let tables = review(&[("moist", None), ("dry", Some("air-8"))]);
    for units in [BookUnits::Metric, BookUnits::Us] {
        assert_eq!(book(&tables, units), book(&tables, units));
    }
    assert_ne!(book(&tables, BookUnits::Metric), book(&tables, BookUnits::Us));
}

#[test]
fn every_table_has_a_sheet_even_without_rows() {
    let tables = all_empty();
    let book = book(&tables, BookUnits::Us);
    let names = open(&book).sheet_names();
    assert_eq!(names[..2], ["About", "Charts"]);
    let expected: Vec<&str> = tables.iter().map(|table| table.schema().name.as_str()).collect();
    assert_eq!(names[2..], expected);
    for table in &tables {
        let rows = rows(&book, &table.schema().name);
        // A reader leaves a row of units out that has none.
        assert!(matches!(rows.len(), 1 | 2), "{}", table.schema().name);
        let added = usize::from(table.schema().name == "field_effects");
        assert_eq!(rows[0].len(), table.schema().columns.len() + added, "{}", table.schema().name);
    }
    assert!(words(&book, "Charts").contains("nothing to draw"), "{}", words(&book, "Charts"));
}
