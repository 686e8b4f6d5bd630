//! Whole sheets, opened again by other readers.

use std::collections::BTreeMap;
use std::io::Cursor;

use calamine::{Data, DataType, Reader, Xlsx};
use evenstand_agronomy::Kind;
use evenstand_bundle::{Bundle, Limits};
use evenstand_settings::Settings;
use evenstand_tables::{ColumnType, Group, TableSchema, schemas};
use evenstand_workbook::{SheetCell, Workbook};

use crate::{KnownField, KnownStrip, Options, SheetFile, Sheets, UnitSystem, record_sheets};

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

/// The kept name of the column that a header cell feeds, by the rule of the data contract: the same name, or its stem and a
/// unit of its kind.
fn kept_name(table: &TableSchema, header: &str) -> Option<String> {
    let fits =
        |column: &&evenstand_tables::Column| match (&column.stem, column.unit_kind.as_deref().and_then(Kind::parse)) {
            (Some(stem), Some(kind)) => kind.suffixes().iter().any(|suffix| header == format!("{stem}_{suffix}")),
            _ => column.name == header,
        };
    table.columns.iter().find(fits).map(|column| column.name.clone())
}

#[test]
fn there_is_a_csv_and_a_workbook_for_every_raw_table_and_two_cards_and_a_starter() {
    let made = sheets("", &Options::default());
    let names: Vec<&str> = made.files.iter().map(|file| file.name.as_str()).collect();
    for table in raw() {
        assert!(names.contains(&format!("{}.csv", table.name).as_str()), "{}", table.name);
        assert!(names.contains(&format!("{}.xlsx", table.name).as_str()), "{}", table.name);
    }
    for name in ["cab-card.html", "dig-card.html", "evenstand.toml"] {
        assert!(names.contains(&name), "{name}");
    }
    assert_eq!(names.len(), 2 * raw().count() + 3);
}

#[test]
fn headers_are_the_schemas_names_with_a_unit_of_their_kind_and_nothing_needed_is_missing() {
    for system in [UnitSystem::Metric, UnitSystem::Us] {
        let made = sheets("", &Options { system: Some(system), ..Options::default() });
        for table in raw() {
            let csv = text(&made, &format!("{}.csv", table.name));
            let header: Vec<&str> = csv.lines().next().unwrap().split(',').collect();
            let kept: Vec<String> = header
                .iter()
                .map(|name| kept_name(table, name).unwrap_or_else(|| panic!("{} has no {name}", table.name)))
                .collect();
            let mut once = kept.clone();
            once.sort();
            once.dedup();
            assert_eq!(once.len(), kept.len(), "{}: {kept:?}", table.name);
            for column in table.columns.iter().filter(|column| column.required()) {
                assert!(kept.contains(&column.name), "{} lacks {}", table.name, column.name);
            }
            let book = rows(&made, &format!("{}.xlsx", table.name), &table.name);
            let in_book: Vec<String> = book[0].iter().map(ToString::to_string).collect();
            assert_eq!(in_book, header, "{}", table.name);
        }
    }
}

#[test]
fn units_in_the_header_are_those_of_the_person() {
    let metric = sheets("", &Options::default());
    assert!(text(&metric, "stand_count.csv").contains(",row_length_m,"));
    let us = sheets("[display]\nunits = \"us\"", &Options::default());
    assert!(text(&us, "stand_count.csv").contains(",row_length_ft,"));
    assert!(text(&us, "setting_log.csv").contains(",set_pressure_psi,"));
    let own = BTreeMap::from([("row_length".to_owned(), "in".to_owned())]);
    let inches = sheets("", &Options { units: own, ..Options::default() });
    assert!(text(&inches, "stand_count.csv").contains(",row_length_in,"));
}

#[test]
fn the_example_row_is_marked_and_is_the_only_row() {
    let made = sheets("", &Options::default());
    for table in raw() {
        let csv = text(&made, &format!("{}.csv", table.name));
        let lines: Vec<&str> = csv.lines().collect();
        assert_eq!(lines.len(), 2, "{}", table.name);
        assert!(lines[1].starts_with("(example),"), "{}", lines[1]);
        let book = rows(&made, &format!("{}.xlsx", table.name), &table.name);
        assert_eq!(book.len(), 2, "{}", table.name);
        assert_eq!(book[1][0], Data::String("(example)".into()), "{}", table.name);
    }
}

#[test]
fn examples_obey_the_limits_and_words_of_their_columns() {
    for system in [UnitSystem::Metric, UnitSystem::Us] {
        let made = sheets("", &Options { system: Some(system), ..Options::default() });
        for table in raw() {
            let mut book = Workbook::open(bytes(&made, &format!("{}.xlsx", table.name))).unwrap();
            let sheet = book.sheet(&table.name).unwrap();
            assert!(sheet.notices.is_empty(), "{}: {:?}", table.name, sheet.notices);
            let given: Vec<String> = (0..sheet.width())
                .filter(|c| !sheet.cell(2, *c).is_blank())
                .map(|c| sheet.cell(1, c).text().into())
                .collect();
            for column in table.columns.iter().filter(|column| column.required()) {
                let there = given.iter().any(|name| kept_name(table, name).as_ref() == Some(&column.name));
                assert!(there, "{} shows no {}", table.name, column.name);
            }
            for position in 0..sheet.width() {
                let header = sheet.cell(1, position).text();
                let column = table.column(&kept_name(table, &header).unwrap()).unwrap();
                let cell = sheet.cell(2, position);
                let place = format!("{}.{header}: {cell:?}", table.name);
                match (column.column_type, cell) {
                    (_, SheetCell::Empty) => {}
                    (ColumnType::String, SheetCell::Text(word)) => {
                        assert!(column.allowed().is_empty() || column.allowed().contains(word), "{place}");
                    }
                    (ColumnType::Boolean, SheetCell::Text(word)) => assert!(word == "yes" || word == "no", "{place}"),
                    (ColumnType::Number | ColumnType::Integer, SheetCell::Number(number)) => {
                        let kind = column.unit_kind.as_deref().and_then(Kind::parse);
                        let kept =
                            match kind.and_then(|kind| kind.split_column(&header).map(|found| (kind, found.suffix))) {
                                Some((kind, suffix)) => kind.to_kept(suffix, *number).unwrap(),
                                None => *number,
                            };
                        assert!(column.minimum().is_none_or(|low| kept >= low), "{place}");
                        assert!(column.maximum().is_none_or(|high| kept <= high), "{place}");
                        assert!(column.column_type == ColumnType::Number || number.fract() == 0.0, "{place}");
                    }
                    // A real date, so that dates typed below it come back as dates.
                    (ColumnType::Date, SheetCell::Day(_)) => {}
                    (ColumnType::Datetime, SheetCell::Moment(_)) => {}
                    _ => panic!("{place}"),
                }
            }
        }
    }
}

#[test]
fn words_and_known_names_are_drop_downs_and_numbers_have_limits() {
    let made = sheets(POSITIONS, &Options { system: Some(UnitSystem::Us), ..Options::default() });
    let dig = part(&made, "dig_check.xlsx", "xl/worksheets/sheet1.xml");
    assert!(dig.contains("<formula1>\"yes,partly,no\"</formula1>"));
    assert!(dig.contains("<formula1>\"yes,no\"</formula1>"));
    assert!(dig.contains("type=\"whole\"") && dig.contains("<formula1>1</formula1><formula2>5</formula2>"));
    // 0.3 m in inches, rounded to the inside.
    assert!(dig.contains("<formula1>0</formula1><formula2>11.81</formula2>"));
    assert!(dig.contains("type=\"date\""));
    let log = part(&made, "setting_log.xlsx", "xl/worksheets/sheet1.xml");
    let columns = rows(&made, "setting_log.xlsx", "columns");
    for (name, names) in [
        ("field_id", vec!["=cmd()", "<script>alert(1)</script>", "old"]),
        ("season", vec!["2026", "2024"]),
        ("strip_id", vec!["2", "10", "S1"]),
        ("planter_id", vec!["=planter"]),
        ("closing_position", vec!["=1+1", "3-4"]),
    ] {
        let heading = format!("known {name}");
        let place = columns[0].iter().position(|cell| cell.to_string() == heading).unwrap();
        let listed: Vec<String> =
            columns[1..].iter().map(|row| row[place].to_string()).take_while(|name| !name.is_empty()).collect();
        assert_eq!(listed, names);
        let letter = char::from(b'A' + u8::try_from(place).unwrap());
        let range = format!("<formula1>columns!${letter}$2:${letter}${}</formula1>", names.len() + 1);
        assert!(log.contains(&range), "{range}");
    }
}

#[test]
fn names_stay_in_sight_and_every_header_cell_says_what_goes_there() {
    let made = sheets("", &Options::default());
    for table in raw() {
        let file = format!("{}.xlsx", table.name);
        let sheet = part(&made, &file, "xl/worksheets/sheet1.xml");
        assert!(sheet.contains("<pane ") && sheet.contains("ySplit=\"1\"") && sheet.contains("state=\"frozen\""));
        let columns = rows(&made, &file, &table.name)[0].len();
        // One message for the header and one for the cells below it.
        assert_eq!(sheet.matches(" prompt=\"").count(), 2 * columns, "{}", table.name);
        let explained = rows(&made, &file, "columns");
        for (position, header) in rows(&made, &file, &table.name)[0].iter().enumerate() {
            assert_eq!(&explained[position + 1][0], header);
            assert!(!explained[position + 1][1].is_empty());
        }
    }
    let fields = part(&made, "field.xlsx", "xl/worksheets/sheet1.xml");
    assert!(fields.contains("Distance between rows. Unit: cm."));
    assert!(fields.contains("one of: no_till, strip_till, reduced, full"));
}

#[test]
fn nothing_is_a_formula_whatever_names_people_give() {
    let made = sheets(POSITIONS, &Options::default());
    for table in raw() {
        for number in [1, 2] {
            let sheet = part(&made, &format!("{}.xlsx", table.name), &format!("xl/worksheets/sheet{number}.xml"));
            assert!(!sheet.contains("<f>") && !sheet.contains("<f "), "{}", table.name);
        }
    }
    let csv = text(&made, "setting_log.csv");
    assert!(csv.contains(",'=planter,") && csv.contains(",'=1+1,"), "{csv}");
    assert_eq!(rows(&made, "setting_log.xlsx", "setting_log")[1][4], Data::String("=planter".into()));
}

#[test]
fn known_strips_can_be_copied_in_the_order_of_the_first_columns() {
    let made = sheets("", &Options::default());
    let columns = rows(&made, "strip.xlsx", "columns");
    let first = columns[0].iter().position(|cell| cell.to_string() == "to copy: field_id").unwrap();
    let copied: Vec<String> = columns[1][first..first + 5].iter().map(ToString::to_string).collect();
    assert_eq!(copied, ["=cmd()", "2026", "2", "1", "light <b>"]);
    let header: Vec<String> = rows(&made, "strip.xlsx", "strip")[0][..5].iter().map(ToString::to_string).collect();
    assert_eq!(header, ["field_id", "season", "strip_id", "block", "treatment"]);
}

#[test]
fn cards_escape_names_and_print_the_strips_of_the_season() {
    let made = sheets(POSITIONS, &Options::default());
    let cab = text(&made, "cab-card.html");
    assert!(cab.contains("&lt;script&gt;") && !cab.contains("<script") && cab.contains("light &lt;b&gt;"));
    assert!(cab.contains("position: =1+1, 3-4"), "the knob of the planter that the field names");
    assert!(cab.contains("<td>10<small>") && !cab.contains(">S1<"), "strips of 2026 and not of 2024");
    assert_eq!(cab.matches("<section>").count(), 2, "a page a field");
    let earlier = sheets("", &Options { season: Some(2024), ..Options::default() });
    assert!(text(&earlier, "cab-card.html").contains(">S1<"));
    let nothing = record_sheets(&Settings::default(), &[], &[], &Options::default()).unwrap();
    assert_eq!(text(&nothing, "cab-card.html").matches("<section>").count(), 1);
}

#[test]
fn the_dig_card_asks_for_every_column_of_a_dig_in_the_order_of_its_sheet() {
    let made = sheets("", &Options { system: Some(UnitSystem::Us), ..Options::default() });
    let card = text(&made, "dig-card.html");
    let asked: Vec<&str> = card.split("<code>").skip(1).filter_map(|rest| rest.split("</code>").next()).collect();
    let csv = text(&made, "dig_check.csv");
    let mut header = csv.lines().next().unwrap().split(',');
    assert_eq!((header.next(), header.next()), (Some("field_id"), Some("season")));
    let of_a_place: Vec<&str> = header.take_while(|name| *name != "lat").collect();
    // The last word of code says which table the answers go to.
    assert_eq!(asked, [of_a_place, vec!["dig_check"]].concat());
    assert!(card.contains("5 needs a tool"));
}

#[test]
fn pages_need_nothing_from_elsewhere_and_carry_the_cautions() {
    let made = sheets("", &Options::default());
    for name in ["cab-card.html", "dig-card.html"] {
        let page = text(&made, name);
        assert!(
            !page.contains("<script") && !page.contains("http") && !page.contains("src=") && !page.contains("url(")
        );
        assert!(page.contains("Stop the engine") && page.contains("Let the pressure off"), "{name}");
        assert!(page.ends_with("</html>\n"), "{name}");
    }
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
    let SheetFile { bytes, .. } = made.files.iter().find(|file| file.name == "strip.xlsx").unwrap();
    assert!(bytes.len() < 2_000_000, "{}", bytes.len());
}
