//! Tables as CSV files, as RFC 4180 has it.

use std::borrow::Cow;

use evenstand_tables::csv_cell;

/// A header and rows of cells.
pub(crate) fn table(header: &[String], rows: &[Vec<String>]) -> String {
    let line = |cells: &[String]| {
        let cells: Vec<Cow<str>> = cells.iter().map(|text| csv_cell(text)).collect();
        cells.join(",") + "\r\n"
    };
    std::iter::once(line(header)).chain(rows.iter().map(|row| line(row))).collect()
}
