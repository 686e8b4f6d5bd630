//! The blank sheet as CSV.

use std::borrow::Cow;

use crate::column::SheetColumn;
use crate::example::Example;

/// Header and example row, as RFC 4180 has it.
pub(crate) fn blank(columns: &[SheetColumn]) -> String {
    let header: Vec<Cow<str>> = columns.iter().map(|column| text_cell(&column.name)).collect();
    let example: Vec<Cow<str>> = columns
        .iter()
        .map(|column| match &column.example {
            None => "".into(),
            Some(Example::Text(text)) => Cow::Owned(text_cell(text).into_owned()),
            Some(typed) => typed.text().into(),
        })
        .collect();
    format!("{}\r\n{}\r\n", header.join(","), example.join(","))
}

/// A text as a cell of a CSV file. A spreadsheet takes text that begins with `=`, `+`, `-`, `@`, a tab or the end of a
/// line for a formula, or for the part of one; behind an apostrophe it stays text.
fn text_cell(text: &str) -> Cow<'_, str> {
    let text: Cow<str> =
        if text.starts_with(['=', '+', '-', '@', '\t', '\r', '\n']) { format!("'{text}").into() } else { text.into() };
    if text.contains([',', '"', '\r', '\n']) || text.trim().len() != text.len() {
        return format!("\"{}\"", text.replace('"', "\"\"")).into();
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_that_a_spreadsheet_would_calculate_stands_behind_an_apostrophe() {
        for (text, cell) in [
            ("=cmd()", "'=cmd()"),
            ("+1", "'+1"),
            ("-1", "'-1"),
            ("@sum", "'@sum"),
            ("\t=1", "'\t=1"),
            ("\r=1", "\"'\r=1\""),
            ("north", "north"),
            ("a-b", "a-b"),
        ] {
            assert_eq!(text_cell(text), cell);
        }
    }

    #[test]
    fn commas_quotes_ends_of_lines_and_blanks_around_are_quoted() {
        assert_eq!(text_cell("a, \"b\""), "\"a, \"\"b\"\"\"");
        assert_eq!(text_cell("a\nb"), "\"a\nb\"");
        assert_eq!(text_cell(" a"), "\" a\"");
    }
}
