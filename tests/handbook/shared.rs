//! Reading the optional shared folder, and comparing numbers.

use std::path::Path;

/// Rows of a CSV file below the shared folder, with its header; `None`, after saying so, where the folder is absent.
pub fn shared_table(file: &str) -> Option<(csv::StringRecord, Vec<csv::StringRecord>)> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared").join(file);
    if !path.exists() {
        println!("skipped: {file} is not beside the repository");
        return None;
    }
    let mut reader = csv::Reader::from_path(&path).expect("a readable CSV file");
    let header = reader.headers().expect("a header row").clone();
    let rows = reader.records().collect::<Result<Vec<_>, _>>().expect("well-formed rows");
    assert!(!rows.is_empty(), "{file} has no rows");
    Some((header, rows))
}

/// The number in that column of a row.
pub fn number(row: &csv::StringRecord, column: usize) -> f64 {
    row[column].parse().unwrap_or_else(|_| panic!("{:?} is not a number", &row[column]))
}

/// Panics where `found` is further from `expected` than `tolerance`.
#[track_caller]
pub fn near(what: &str, found: Option<f64>, expected: f64, tolerance: f64) {
    let found = found.unwrap_or_else(|| panic!("{what} is missing, expected {expected}"));
    assert!((found - expected).abs() <= tolerance, "{what} is {found}, expected {expected} ± {tolerance}");
}

/// As [`near`], with a tolerance relative to the expected value.
#[track_caller]
pub fn relatively_near(what: &str, found: Option<f64>, expected: f64, tolerance: f64) {
    near(what, found, expected, tolerance * expected.abs());
}
