//! Text that a spreadsheet would run: names and notes come from people, and a table is opened by others.

use std::sync::Arc;

use arrow::array::{Array, ArrayRef, AsArray, RecordBatch, StringArray};
use arrow::datatypes::DataType;
use arrow::error::ArrowError;

/// A batch whose texts no spreadsheet takes for formulas: one that begins with `=`, `+`, `-`, `@`, a tab or a return, and is
/// no number, gets an apostrophe before it. For CSV alone; Parquet keeps texts as they are.
///
/// Source: OWASP, "CSV Injection".
pub(crate) fn without_formulas(batch: &RecordBatch) -> Result<RecordBatch, ArrowError> {
    let columns = batch.columns().iter().map(|column| match column.data_type() {
        DataType::Utf8 if column.as_string::<i32>().iter().flatten().any(is_formula) => {
            let texts = column.as_string::<i32>().iter();
            Arc::new(texts.map(|text| text.map(quoted)).collect::<StringArray>()) as ArrayRef
        }
        _ => column.clone(),
    });
    RecordBatch::try_new(batch.schema(), columns.collect())
}

fn is_formula(text: &str) -> bool {
    text.starts_with(['=', '+', '-', '@', '\t', '\r']) && text.parse::<f64>().is_err()
}

fn quoted(text: &str) -> String {
    if is_formula(text) { format!("'{text}") } else { text.to_owned() }
}

/// A text of a CSV file as it was before its apostrophe.
pub fn unquoted(text: &str) -> &str {
    text.strip_prefix('\'').filter(|rest| is_formula(rest)).unwrap_or(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_that_a_spreadsheet_would_run_is_quoted_and_numbers_are_not() {
        let texts =
            StringArray::from(vec![Some("=1+1"), Some("@SUM(A1)"), Some("-2.5"), Some("North"), None, Some("+cmd")]);
        let batch = RecordBatch::try_from_iter([("name", Arc::new(texts.clone()) as ArrayRef)]).unwrap();
        let safe = without_formulas(&batch).unwrap();
        let found: Vec<Option<&str>> = safe.column(0).as_string::<i32>().iter().collect();
        let back: Vec<Option<&str>> = found.iter().map(|text| text.map(unquoted)).collect();
        assert_eq!(back, texts.iter().collect::<Vec<_>>(), "and it comes back");
        assert_eq!(found, [Some("'=1+1"), Some("'@SUM(A1)"), Some("-2.5"), Some("North"), None, Some("'+cmd")]);
    }
}
