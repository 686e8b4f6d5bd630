//! What a blank record sheet and its reader agree on.

/// First cell of the example row of a sheet; such a row is passed over.
pub const EXAMPLE_ROW: &str = "(example)";
/// Name of the sheet of a workbook that explains the columns; it is not read.
pub const EXPLANATION_SHEET: &str = "columns";
