//! Types of cells, text that looks like a formula, notes.

use calamine::{Data, DataType};
use evenstand_book::BookUnits;
use evenstand_tables::rows::{FieldSeasonRow, FindingRow, RecordedRow, StripRow};
use evenstand_tables::{Day, Moment, Row};

use crate::{book, column, part, parts, rows, strip, unit};

/// 2025-04-28 07:30 UTC.
const MORNING: i64 = (20_206 * 86_400 + 7 * 3_600 + 1_800) * 1_000_000;

/// The number that a spreadsheet keeps for a time.
fn serial(cell: &Data) -> f64 {
    let Data::DateTime(time) = cell else { panic!("no time: {cell:?}") };
    time.as_f64()
}

#[test]
fn names_stand_above_units_and_cells_are_typed() {
    let strips = [
        StripRow {
            started_at: Some(Moment(MORNING)),
            emerged_share: Some(0.825),
            t50_h: Some(120.25),
            n_samples: Some(4),
            usable: Some(true),
            ..strip("S1")
        },
        StripRow { emerged_share: Some(f64::NAN), t50_h: Some(f64::INFINITY), ..strip("") },
    ];
    let book = book(&[StripRow::to_table(&strips).unwrap()], BookUnits::Metric);
    assert_eq!(column(&book, "strips", "Field")[0], Data::String("north".into()));
    assert_eq!(column(&book, "strips", "Season")[0], Data::Float(2025.0));
    assert_eq!(column(&book, "strips", "Emerged share"), [Data::Float(0.825), Data::Empty]);
    assert_eq!(column(&book, "strips", "Time to 50 %"), [Data::Float(120.25), Data::Empty]);
    assert_eq!(column(&book, "strips", "Usable"), [Data::Bool(true), Data::Empty]);
    assert_eq!(column(&book, "strips", "Strip")[1], Data::Empty);
    let started = column(&book, "strips", "Started at");
    // A number of days with the format of a date, as a spreadsheet keeps it: 45775 is 2025-04-28.
    assert!(started[0].is_datetime(), "{started:?}");
    assert_eq!(serial(&started[0]), 45_775.312_5);
    let units: Vec<String> = ["Emerged share", "Time to 50 %", "Started at", "Closing downforce"]
        .map(|name| unit(&book, "strips", name))
        .into();
    assert_eq!(units, ["%", "h", "UTC", "N"]);
}

#[test]
fn whole_numbers_are_written_without_a_decimal_point() {
    let strips = [StripRow { n_samples: Some(4), ..strip("S1") }];
    let book = book(&[StripRow::to_table(&strips).unwrap()], BookUnits::Metric);
    let names = parts(&book).into_iter().filter(|name| name.starts_with("xl/worksheets/sheet"));
    let cells: String = names.map(|name| part(&book, &name)).collect();
    assert!(cells.contains("<v>2025</v>") && cells.contains("<v>4</v>"), "readers take 4.0 for a measured number");
    assert!(!cells.contains(".0</v>"), "{cells}");
}

#[test]
fn days_are_days_and_those_no_spreadsheet_knows_are_written_out() {
    let recorded = |day| RecordedRow { day: Day(day), ..RecordedRow::default() };
    let days = [20_206, -25_509, 2_932_897].map(recorded);
    let book = book(&[RecordedRow::to_table(&days).unwrap()], BookUnits::Metric);
    let days = column(&book, "recorded", "Day");
    assert!(days[0].is_datetime(), "{days:?}");
    assert_eq!(serial(&days[0]), 45_775.0);
    assert_eq!(days[1..], [Data::String("1900-02-28".into()), Data::String("10000-01-01".into())]);
    let early = FieldSeasonRow { planted_at: Some(Moment(-4_000_000_000_000_000)), ..FieldSeasonRow::default() };
    let book = crate::book(&[FieldSeasonRow::to_table(&[early]).unwrap()], BookUnits::Metric);
    assert_eq!(column(&book, "field_seasons", "Planted at"), [Data::String("1843-03-31 16:53:20".into())]);
}

#[test]
fn text_is_never_a_formula_nor_a_link_and_comes_back_as_it_was() {
    let hostile = [
        "=1+1",
        "+44 12",
        "-cmd|' /C calc'!A0",
        "@SUM(A1)",
        "=HYPERLINK(\"http://x\")",
        "http://example.org/a?b=c",
        "_x0041_",
        "<b>&amp;</b>",
        "tab\tline\nend",
        "bell\u{7}",
        " spaces ",
        "𝄞 é",
    ];
    let findings = hostile.map(|text| FindingRow::new(evenstand_tables::Severity::Note, "code", text));
    let book = book(&[FindingRow::to_table(&findings).unwrap()], BookUnits::Metric);
    let said: Vec<String> = column(&book, "findings", "Message").iter().map(ToString::to_string).collect();
    assert_eq!(said, hostile);
    for name in parts(&book).iter().filter(|name| name.contains("worksheets/sheet")) {
        assert!(!part(&book, name).contains("<f>"), "{name} holds a formula");
    }
    assert!(!parts(&book).iter().any(|name| name.contains("externalLink")));
    let links = part(&book, "xl/worksheets/sheet3.xml");
    assert!(!links.contains("hyperlink"), "a text became a link");
    assert!(part(&book, "xl/styles.xml").contains("quotePrefix=\"1\""));
}

#[test]
fn a_giant_text_is_cut_and_the_workbook_opens() {
    let giant = "é".repeat(40_000);
    let findings = [FindingRow::new(evenstand_tables::Severity::Note, "code", giant)];
    let book = book(&[FindingRow::to_table(&findings).unwrap()], BookUnits::Metric);
    let said = column(&book, "findings", "Message")[0].to_string();
    assert_eq!(said.chars().count(), 32_767);
    assert!(said.ends_with("é…"));
}

#[test]
fn the_sentence_of_each_column_is_a_note_on_its_name() {
    let table = StripRow::to_table(&[strip("S1")]).unwrap();
    let columns = table.schema().columns.len();
    let book = book(&[table], BookUnits::Metric);
    let notes = part(&book, "xl/comments1.xml");
    assert_eq!(notes.matches("<comment ref=").count(), columns);
    assert!(notes.contains("force_source: Where force_n came from."), "{notes}");
}

#[test]
fn names_and_units_stay_in_sight_and_buttons_stand_below_them() {
    let book = book(&[StripRow::to_table(&[strip("S1"), strip("S2")]).unwrap()], BookUnits::Metric);
    let sheet = part(&book, "xl/worksheets/sheet3.xml");
    assert!(sheet.contains("ySplit=\"2\"") && sheet.contains("xSplit=\"3\""), "{}", &sheet[..600]);
    let last = rows(&book, "strips")[0].len();
    assert_eq!(last, 68, "BP is the 68th column");
    assert!(sheet.contains("<autoFilter ref=\"A2:BP4\""), "{}", sheet.split("autoFilter").nth(1).unwrap());
}
