//! Cells of CSV files, as RFC 4180 has it.

use std::borrow::Cow;

/// A text as a cell. A spreadsheet takes text that begins with `=`, `+`, `-`, `@`, a tab or the end of a line for a formula, or
/// for the part of one; behind an apostrophe it stays text.
pub(crate) fn cell(text: &str) -> Cow<'_, str> {
    let text: Cow<str> =
        if text.starts_with(['=', '+', '-', '@', '\t', '\r', '\n']) { format!("'{text}").into() } else { text.into() };
    if text.contains([',', '"', '\r', '\n']) || text.trim().len() != text.len() {
        return format!("\"{}\"", text.replace('"', "\"\"")).into();
    }
    text
}

/// A header and rows of cells.
pub(crate) fn table(header: &[String], rows: &[Vec<String>]) -> String {
    let line = |cells: &[String]| {
        let cells: Vec<Cow<str>> = cells.iter().map(|text| cell(text)).collect();
        cells.join(",") + "\r\n"
    };
    std::iter::once(line(header)).chain(rows.iter().map(|row| line(row))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_that_a_spreadsheet_would_calculate_stands_behind_an_apostrophe_and_commas_and_quotes_are_quoted() {
        for (text, expected) in [
            ("=cmd()", "'=cmd()"),
            ("@sum", "'@sum"),
            ("-1", "'-1"),
            ("a-b", "a-b"),
            ("a, \"b\"", "\"a, \"\"b\"\"\""),
            ("a\nb", "\"a\nb\""),
            (" a", "\" a\""),
        ] {
            assert_eq!(cell(text), expected);
        }
    }
}
