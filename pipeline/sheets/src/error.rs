//! What can go wrong while blank sheets are made.

/// Why blank sheets cannot be made.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SheetsError {
    /// A unit was asked for that the kind does not have, or for a kind that does not exist.
    #[error("unit of {key}: found {found}; expected {expected}")]
    Unit {
        /// Kind of unit, or column, that the unit was asked for.
        key: String,
        /// What was asked for.
        found: String,
        /// What there is.
        expected: String,
    },
    /// A workbook cannot be put together.
    #[error("{file} cannot be made: {source}")]
    Workbook {
        /// Name of the file.
        file: String,
        /// What the writer says.
        source: Box<rust_xlsxwriter::XlsxError>,
    },
    /// A printable page cannot be put together.
    #[error("{file} cannot be made: {source}")]
    Page {
        /// Name of the file.
        file: &'static str,
        /// What the template engine says.
        source: Box<minijinja::Error>,
    },
}
