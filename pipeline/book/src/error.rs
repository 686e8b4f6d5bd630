//! What can go wrong while the workbook is made.

use evenstand_tables::TablesError;
use rust_xlsxwriter::XlsxError;

/// Why a workbook cannot be made. Both are faults of the program or of a damaged results folder.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum BookError {
    /// A table does not follow its schema.
    #[error("review.xlsx: {0}\n  run the review again, so that its results are written anew")]
    Table(#[from] TablesError),
    /// The writer of workbooks refuses something.
    #[error("review.xlsx, sheet {sheet}: {source}\n  the tables in results/ are not touched by this")]
    Sheet {
        /// Sheet at fault.
        sheet: String,
        /// What the writer says.
        source: Box<XlsxError>,
    },
    /// The rows cannot be put into the workbook.
    #[error("review.xlsx: {problem}\n  the tables in results/ are not touched by this")]
    Archive {
        /// What was found.
        problem: String,
    },
}

impl BookError {
    pub(crate) fn sheet(sheet: &str, source: XlsxError) -> Self {
        Self::Sheet { sheet: sheet.to_owned(), source: Box::new(source) }
    }
}
