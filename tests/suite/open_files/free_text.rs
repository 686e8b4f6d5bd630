//! Every cell of every delimited file, read column by column as free text, is what stands in the file.

use std::fs;

use super::{Row, kept_rows};
use crate::support::{TestReview, files_below, shared};

/// A table as it must come out: names, and rows of cells.
struct Grid {
    names: Vec<String>,
    rows: Vec<Vec<String>>,
}

/// One block a column: its cells become notes, and its name the block of the note.
fn blocks(file: &str, names: &[String], further: &str) -> String {
    let block = |name: &String| {
        format!(
            "[[source]]\nfile = \"{file}\"\nkind = \"soil_note\"\nconstants = {{ field_id = \"A\", season = 2020, block = {name:?} }}\n\
             columns.note = {name:?}\nignore = \"*\"\n{further}\n"
        )
    };
    names.iter().map(block).collect()
}

fn check(file: &str, bytes: &[u8], expected: &Grid, further: &str) {
    let review = TestReview::new(&[("evenstand.toml", &blocks(file, &expected.names, further))]);
    fs::write(review.path().join("raw").join(file), bytes).unwrap();
    let said = review.run("ingest", &["--json"]);
    assert_eq!(said.status, 0, "{file}: {}", said.stderr);
    let rows = kept_rows(&review);
    assert_eq!(rows.len(), expected.rows.len() * expected.names.len(), "{file}: {}", said.stdout);
    for (place, name) in expected.names.iter().enumerate() {
        let mut notes: Vec<(i64, &str)> = rows.iter().filter(|row| row["block"] == *name).map(note).collect();
        notes.sort_unstable();
        let notes: Vec<&str> = notes.into_iter().map(|(_, note)| note).collect();
        let cells: Vec<&str> = expected.rows.iter().map(|row| trimmed(&row[place])).collect();
        assert_eq!(notes, cells, "{file}, column {name}");
    }
}

fn note(row: &Row) -> (i64, &str) {
    (row["source_row"].parse().unwrap(), &row["note"])
}

/// Cells are kept without the blanks around them, and missing ones empty.
fn trimmed(cell: &str) -> &str {
    match cell.trim() {
        "NA" | "-" => "",
        cell => cell,
    }
}

/// Files that torture readers of CSV, each with the answer in JSON beside it (max-mapper/csv-spectrum, BSD-2-Clause).
#[test]
fn quotes_line_breaks_and_letters_come_out_as_the_answers_beside_the_files_say() {
    let Some(folder) = shared("data/csv/csv-spectrum") else { return };
    let files = files_below(&folder);
    let mut compared = 0;
    for name in files.keys().filter(|name| name.ends_with(".csv")) {
        let answer = &files[&name.replace(".csv", ".json")];
        let answer: serde_json::Value = match serde_json::from_slice(answer) {
            // Its answer holds another telephone number than the file, and letters that are not UTF-8: what the file holds
            // was read with Python's csv.
            _ if name == "location_coordinates.csv" => serde_json::json!([{
                "Contact Phone Number": "2095257564", "Location Coordinates": "37\u{fffd}36'37.8\"N 121\u{fffd}2'17.9\"W",
                "Cities": "Modesto", "Counties": "Stanislaus" }]),
            answer => answer.unwrap(),
        };
        let rows = answer.as_array().unwrap();
        let names: Vec<String> = rows[0].as_object().unwrap().keys().cloned().collect();
        let cells = |row: &serde_json::Value| names.iter().map(|name| row[name].as_str().unwrap().to_owned()).collect();
        let grid = Grid { rows: rows.iter().map(cells).collect(), names };
        // On the way here lines that ended in a return and a line feed lost the return; it is put back.
        let bytes = match String::from_utf8(files[name].clone()).unwrap() {
            text if name.contains("crlf") && !text.contains('\r') => text.replace('\n', "\r\n"),
            text => text,
        };
        check(name, bytes.as_bytes(), &grid, "");
        compared += 1;
    }
    assert_eq!(compared, 12);
}

/// The other files have neither a delimiter nor a line break inside a cell (Python's csv gives the same cells), so that
/// cutting their lines is a second reading of them.
#[test]
fn every_cell_of_every_other_delimited_file_comes_out() {
    let mut compared = 0;
    for folder in ["csv", "emergence", "weather_soil"] {
        let Some(folder) = shared(&format!("data/{folder}")) else { return };
        for (name, bytes) in files_below(&folder).into_iter().filter(|(name, _)| !name.contains('/')) {
            let (delimiter, further) = match name.as_str() {
                "rustcsv.smallpop-colon.csv" => (':', "delimiter = \":\""),
                "rustcsv.uspop-latin1.csv" => (',', "encoding = \"latin1\""),
                _ => (',', ""),
            };
            // Latin-1 numbers its letters as Unicode does.
            let text =
                String::from_utf8(bytes.clone()).unwrap_or_else(|_| bytes.iter().copied().map(char::from).collect());
            let cut = |line: &str| line.split(delimiter).map(|cell| cell.trim_matches('"').to_owned()).collect();
            let mut lines = text.lines().map(cut);
            let names = lines.next().unwrap();
            check(&name, &bytes, &Grid { names, rows: lines.collect() }, further);
            compared += 1;
        }
    }
    assert_eq!(compared, 19);
}

#[test]
fn letters_of_an_undeclared_encoding_are_named_and_the_other_rows_kept() {
    let Some(path) = shared("data/csv/rustcsv.uspop-latin1.csv") else { return };
    let review = TestReview::new(&[("evenstand.toml", &blocks("us*.csv", &["City".to_owned()], ""))]);
    fs::copy(path, review.path().join("raw/us.csv")).unwrap();
    let said = review.run("ingest", &[]);
    assert_eq!(said.status, 1);
    // Line 4 is the only one with a byte above 127 (Python).
    assert_eq!(kept_rows(&review).len(), 99);
    for words in ["us.csv, row 4", "not UTF-8", "encoding = \"windows-1252\""] {
        assert!(said.stderr.contains(words), "{words}: {}", said.stderr);
    }
}
