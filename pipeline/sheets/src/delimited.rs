//! The blank sheet as CSV.

use std::borrow::Cow;

use evenstand_tables::csv_cell;

use crate::column::SheetColumn;
use crate::example::Example;

/// Header and example row, as RFC 4180 has it.
pub(crate) fn blank(columns: &[SheetColumn]) -> String {
    let header: Vec<Cow<str>> = columns.iter().map(|column| csv_cell(&column.name)).collect();
    let example: Vec<Cow<str>> = columns
        .iter()
        .map(|column| match &column.example {
            None => "".into(),
            Some(Example::Text(text)) => Cow::Owned(csv_cell(text).into_owned()),
            Some(typed) => typed.text().into(),
        })
        .collect();
    format!("{}\r\n{}\r\n", header.join(","), example.join(","))
}
