//! Blank record sheets, opened again by other readers.

#![allow(clippy::unwrap_used)]

mod cards;
mod drop_downs;
mod records;

use std::io::Cursor;

use calamine::{Data, Reader, Xlsx};
use evenstand_bundle::{Bundle, Limits};
use evenstand_settings::Settings;
use evenstand_sheets::{KnownField, KnownStrip, Options, Sheets, record_sheets};
use evenstand_tables::{Group, TableSchema, schemas};

const POSITIONS: &str = "[[planter]]\nid = \"=planter\"\n[planter.closing]\nkind = \"positions\"\n\
                         positions = [{ label = \"=1+1\" }, { label = \"3-4\" }]\n";

fn raw() -> impl Iterator<Item = &'static TableSchema> {
    schemas().iter().filter(|table| table.group == Group::Raw)
}

fn strip(field_id: &str, season: i64, strip_id: &str) -> KnownStrip {
    KnownStrip {
        field_id: field_id.into(),
        season,
        strip_id: strip_id.into(),
        block: Some("1".into()),
        treatment: Some("light <b>".into()),
    }
}

fn sheets(settings: &str, options: &Options) -> Sheets {
    let strips = [strip("=cmd()", 2026, "2"), strip("=cmd()", 2026, "10"), strip("old", 2024, "S1")];
    let fields = [
        KnownField { field_id: "=cmd()".into(), season: 2026, planter_id: Some("=planter".into()) },
        KnownField { field_id: "<script>alert(1)</script>".into(), season: 2026, planter_id: None },
    ];
    record_sheets(&Settings::parse(settings).unwrap(), &strips, &fields, options).unwrap()
}

fn bytes(sheets: &Sheets, name: &str) -> Vec<u8> {
    let file = sheets.files.iter().find(|file| file.name == name);
    file.unwrap_or_else(|| panic!("no file {name}")).bytes.clone()
}

fn text(sheets: &Sheets, name: &str) -> String {
    String::from_utf8(bytes(sheets, name)).unwrap()
}

/// A part of a workbook as it lies in the file.
fn part(sheets: &Sheets, file: &str, part: &str) -> String {
    let limits = Limits { file_bytes: 1 << 24, total_bytes: 1 << 26, files: 100 };
    let mut bundle = Bundle::of_bytes(bytes(sheets, file), limits).unwrap();
    String::from_utf8(bundle.read(part).unwrap()).unwrap()
}

/// Rows of a sheet as a second reader has them.
fn rows(sheets: &Sheets, file: &str, sheet: &str) -> Vec<Vec<Data>> {
    let mut book: Xlsx<_> = Xlsx::new(Cursor::new(bytes(sheets, file))).unwrap();
    book.worksheet_range(sheet).unwrap().rows().map(<[Data]>::to_vec).collect()
}

#[test]
fn there_is_a_csv_and_a_workbook_for_every_raw_table_and_four_cards_and_a_starter() {
    let made = sheets("", &Options::default());
    let names: Vec<&str> = made.files.iter().map(|file| file.name.as_str()).collect();
    for table in raw() {
        assert!(names.contains(&format!("{}.csv", table.name).as_str()), "{}", table.name);
        assert!(names.contains(&format!("{}.xlsx", table.name).as_str()), "{}", table.name);
    }
    for name in ["cab-card.html", "dig-card.html", "feel-card.html", "weigh-card.html", "evenstand.toml"] {
        assert!(names.contains(&name), "{name}");
    }
    assert_eq!(names.len(), 2 * raw().count() + 5);
}

#[test]
fn the_same_input_gives_the_same_bytes() {
    let once = sheets(POSITIONS, &Options::default());
    // The writer would note the second in which it was made.
    std::thread::sleep(std::time::Duration::from_millis(2100));
    assert_eq!(once, sheets(POSITIONS, &Options::default()));
}

#[test]
fn names_without_end_and_control_characters_are_left_out_and_thousands_of_strips_do_no_harm() {
    let mut strips: Vec<KnownStrip> = (0..12_000).map(|number| strip("big", 2026, &number.to_string())).collect();
    strips.push(strip(&"x".repeat(100_000), i64::MAX, "1"));
    strips.push(strip("bell\u{7}", i64::MIN, "1"));
    let made = record_sheets(&Settings::default(), &strips, &[], &Options::default()).unwrap();
    let notes = rows(&made, "stand_count.xlsx", "columns");
    let said = notes.iter().any(|row| row[0].to_string().starts_with("2002 strips or fields are not listed"));
    assert!(said);
    assert!(text(&made, "cab-card.html").contains("8000 further strips are not printed here."));
    let length = bytes(&made, "strip.xlsx").len();
    assert!(length < 2_000_000, "{length}");
}
