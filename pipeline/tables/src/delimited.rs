//! Text in CSV files that a spreadsheet would run, and text that would end its cell: one place for all files that are written.
//!
//! Names and notes come from people, and a table is opened by others. Source of the letters: OWASP, "CSV Injection".

use std::borrow::Cow;

/// Letters that a spreadsheet takes for the beginning of a formula, or of a part of one.
const FORMULA: [char; 7] = ['=', '+', '-', '@', '\t', '\r', '\n'];

/// Whether a spreadsheet would calculate a text. A number with its sign is none.
pub fn is_formula(text: &str) -> bool {
    text.starts_with(FORMULA) && !text.parse::<f64>().is_ok_and(f64::is_finite)
}

/// A text that stays text in a spreadsheet: behind an apostrophe where it would be calculated.
pub fn guarded(text: &str) -> Cow<'_, str> {
    if is_formula(text) { Cow::Owned(format!("'{text}")) } else { Cow::Borrowed(text) }
}

/// The text behind the apostrophe that keeps a spreadsheet from calculating it.
pub fn unguarded(cell: &str) -> &str {
    cell.strip_prefix('\'').filter(|text| text.starts_with(FORMULA)).unwrap_or(cell)
}

/// A name or a word as a cell of a CSV file (RFC 4180). A text that looks like a number with its sign stands behind an apostrophe too:
/// a spreadsheet would drop a plus. Quoted where a comma, a quote, an end of line or a blank at an end would be lost.
pub fn csv_cell(text: &str) -> Cow<'_, str> {
    let text: Cow<str> = if text.starts_with(FORMULA) { format!("'{text}").into() } else { text.into() };
    if text.contains([',', '"', '\r', '\n']) || text.trim().len() != text.len() {
        return format!("\"{}\"", text.replace('"', "\"\"")).into();
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_that_a_spreadsheet_would_run_is_guarded_and_comes_back_and_numbers_stay_bare() {
        for text in ["=1+1", "@SUM(A1)", "+cmd", "-x", "\t=1", "\r=1", "\n=1", "-inf", "+nan"] {
            assert_eq!(guarded(text), format!("'{text}"));
            assert_eq!(unguarded(&guarded(text)), text);
        }
        for text in ["-2.5", "+3e5", "North", "a-b", "", "'", "'n Acker"] {
            assert_eq!((guarded(text).as_ref(), unguarded(text)), (text, text));
        }
    }

    #[test]
    fn a_cell_keeps_commas_quotes_ends_of_lines_and_blanks_and_calculates_nothing() {
        for (text, cell) in [
            ("=cmd()", "'=cmd()"),
            ("+1", "'+1"),
            ("-1", "'-1"),
            ("@sum", "'@sum"),
            ("\t=1", "'\t=1"),
            ("\r=1", "\"'\r=1\""),
            ("north", "north"),
            ("a-b", "a-b"),
            ("a, \"b\"", "\"a, \"\"b\"\"\""),
            ("a\nb", "\"a\nb\""),
            (" a", "\" a\""),
        ] {
            assert_eq!(csv_cell(text), cell);
        }
    }
}
