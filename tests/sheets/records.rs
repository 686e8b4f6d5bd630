//! Headers and examples of every sheet, against the schemas.

use std::collections::BTreeMap;

use calamine::Data;
use evenstand_agronomy::Kind;
use evenstand_sheets::{Options, UnitSystem};
use evenstand_tables::{ColumnType, TableSchema};
use evenstand_workbook::{SheetCell, Workbook};

use crate::{bytes, raw, rows, sheets, text};

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
