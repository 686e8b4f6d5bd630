//! What can go wrong while a report is made.

use evenstand_tables::{Table, TablesError};

/// The problem of a chart where the drawing library does not take the font.
pub(crate) const NO_FONT: &str = "the font could not be registered";

/// Why the rows of a table cannot be put in order by one of its columns.
pub(crate) fn no_order(table: &Table, column: &str) -> TablesError {
    TablesError::Mismatch {
        table: table.schema().name.clone(),
        problem: format!("column {column} is not there, or holds neither text nor whole numbers"),
    }
}

/// Why a report could not be made.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ReportError {
    /// A file of the report could not be written.
    #[error("{file} could not be written: {source}")]
    Write {
        /// Name of the file inside the report.
        file: String,
        /// What the writer said.
        source: std::io::Error,
    },
    /// A page could not be put together. This is a fault of the templates, not of the data.
    #[error("the page could not be put together: {0}")]
    Page(#[from] minijinja::Error),
    /// The workbook could not be made. This is a fault of ours, not of the data.
    #[error("review.xlsx could not be made: {0}")]
    Workbook(#[from] evenstand_book::BookError),
    /// The cards could not be made. This is a fault of ours, not of the data.
    #[error("cards.pdf could not be made: {0}")]
    Paper(#[from] evenstand_paper::PaperError),
    /// A table could not be read.
    #[error(transparent)]
    Read(Box<dyn std::error::Error + Send + Sync>),
    /// Rows do not follow the schema of their table.
    #[error(transparent)]
    Tables(#[from] TablesError),
    /// A chart could not be drawn. This is a fault of the drawing, not of the data.
    #[error("the chart {chart} could not be drawn: {problem}")]
    Chart {
        /// Title of the chart.
        chart: String,
        /// What the drawing library said.
        problem: String,
    },
}
