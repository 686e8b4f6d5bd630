//! Text that a spreadsheet would run: names and notes come from people, and a table is opened by others.

use std::sync::Arc;

use arrow::array::{Array, ArrayRef, AsArray, RecordBatch, StringArray};
use arrow::datatypes::DataType;
use arrow::error::ArrowError;
use evenstand_tables::{guarded, is_formula};

/// A batch whose texts no spreadsheet takes for formulas: each is [`guarded`]. For CSV alone; Parquet keeps texts as they are.
pub(crate) fn without_formulas(batch: &RecordBatch) -> Result<RecordBatch, ArrowError> {
    let columns = batch.columns().iter().map(|column| match column.data_type() {
        DataType::Utf8 if column.as_string::<i32>().iter().flatten().any(is_formula) => {
            let texts = column.as_string::<i32>().iter();
            Arc::new(texts.map(|text| text.map(guarded)).collect::<StringArray>()) as ArrayRef
        }
        _ => column.clone(),
    });
    RecordBatch::try_new(batch.schema(), columns.collect())
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
        let back: Vec<Option<&str>> = found.iter().map(|text| text.map(evenstand_tables::unguarded)).collect();
        assert_eq!(back, texts.iter().collect::<Vec<_>>(), "and it comes back");
        assert_eq!(found, [Some("'=1+1"), Some("'@SUM(A1)"), Some("-2.5"), Some("North"), None, Some("'+cmd")]);
    }
}
