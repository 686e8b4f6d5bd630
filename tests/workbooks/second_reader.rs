//! Cell by cell against a second reader, where that reads the file.

use std::io::Cursor;

use calamine::{Data, Reader};
use evenstand_workbook::SheetCell;

use crate::support::{open, shared};

/// How the other reader's cell reads as text, without what only one of the two tells.
fn other_text(cell: &Data) -> String {
    match cell {
        Data::Int(number) => number.to_string(),
        Data::Float(number) => number.to_string(),
        Data::String(text) => text.trim().to_owned(),
        Data::Bool(truth) => truth.to_string(),
        Data::DateTime(date) if date.is_duration() => format!("{:.0} s", date.as_f64() * 86_400.0),
        Data::DateTime(date) => {
            let (year, month, day, hour, minute, second, milli) = date.to_ymd_hms_milli();
            assert!(milli == 0 || milli > 990, "{milli}");
            format!("{year:04}-{month:02}-{day:02} {hour:02}:{minute:02}:{second:02}")
        }
        Data::DateTimeIso(text) => text.replace('T', " "),
        Data::DurationIso(text) => text.clone(),
        Data::Error(error) => error.to_string(),
        Data::Empty => String::new(),
    }
}

fn our_text(cell: &SheetCell) -> String {
    match cell {
        SheetCell::Day(day) => format!("{day} 00:00:00"),
        SheetCell::Moment(moment) => moment.to_string().replace('T', " "),
        SheetCell::Duration(length) => format!("{} s", length.as_secs()),
        cell => cell.text().trim().replace('T', " "),
    }
}

#[test]
fn a_second_reader_finds_the_same_cells() {
    let Some(folder) = shared("data/sheets") else { return };
    let mut compared = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let bytes = std::fs::read(&path).unwrap();
        let mut other = calamine::open_workbook_auto_from_rs(Cursor::new(bytes.clone())).unwrap();
        let mut book = open(bytes);
        for name in book.sheets().iter().map(|sheet| sheet.name.clone()).collect::<Vec<_>>() {
            let Ok(range) = other.worksheet_range(&name) else { continue };
            let sheet = book.sheet(&name).unwrap();
            let start = range.start().unwrap_or((0, 0));
            for (row, column, cell) in range.used_cells() {
                let (row, column) = (start.0 + row as u32 + 1, start.1 as usize + column);
                let ours = sheet.cell(row, column);
                // The ISO spellings of ODS, and a time without a date, are told in another way there.
                let spelled = matches!(cell, Data::DateTimeIso(_) | Data::DurationIso(_));
                // 1900-02-29 never was; the other reader names it like this one.
                let timed = matches!(cell, Data::DateTime(date) if !date.is_duration() && date.as_f64() < 1.0);
                let with_blanks = matches!(cell, Data::String(_));
                if !spelled && !timed {
                    let (ours, other) = (our_text(ours), other_text(cell));
                    let (ours, other) = match with_blanks {
                        true => (ours, other.replace('T', " ")),
                        false => (ours, other),
                    };
                    assert_eq!(ours, other, "{}, {name}, row {row}, column {column}", path.display());
                }
                compared += 1;
            }
        }
    }
    assert!(compared > 2_000, "{compared} cells compared");
}
