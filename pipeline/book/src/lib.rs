//! The result tables of a review as one workbook, for people who go on in a spreadsheet.
//!
//! [`review_workbook`] takes result tables and gives the bytes of `review.xlsx`; it touches no disk and computes no
//! statistics. The first sheet, `About`, says what each sheet holds and links to it. `Charts` draws curves and
//! differences between settings as charts of the spreadsheet itself, which refer to the cells of the sheets. Then comes
//! one sheet a table, named as its file in `results/`: names of columns in plain words, units in the row below, typed cells,
//! and each column's sentence as a note on its name. Text is always written as text, so a name that begins with `=`
//! never becomes a formula.
//!
//! Under [`BookUnits::Us`] forces, pressures, lengths, speeds, temperatures and rain are converted once, by
//! `evenstand_agronomy`, and the row of units says so. Rows of planters without a calibration hold a pressure where
//! others hold a force; they are shown as pressures, and a column says which is which.
//!
//! ```
//! use evenstand_book::{BookFacts, BookUnits, review_workbook};
//! let facts = BookFacts { title: "Winter review".into(), invented: true, units: BookUnits::Metric };
//! let bytes = review_workbook(&[], &facts)?;
//! assert!(bytes.starts_with(b"PK"));
//! # Ok::<(), evenstand_book::BookError>(())
//! ```

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod about;
mod axis;
mod charts;
mod column;
mod error;
mod names;
mod pressure_rows;
mod sheet;
mod values;

use evenstand_tables::Table;
use rust_xlsxwriter::{DocProperties, ExcelDateTime, Workbook};

pub use error::BookError;

use crate::pressure_rows::PressureRows;
use crate::sheet::Sheet;

/// What the workbook says about the review.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BookFacts {
    /// Title of the review.
    pub title: String,
    /// Whether the data are invented; the first sheet then says so.
    pub invented: bool,
    /// Units of the cells.
    pub units: BookUnits,
}

/// A system of units.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum BookUnits {
    /// As the tables keep them: N, kPa, m, m/s, °C, mm.
    Metric,
    /// lbf, psi, ft and in, mph, °F, in of rain.
    Us,
}

/// Most rows of a sheet, the two of names and units among them. The file format holds 1,048,576, but a workbook is for reading and has to
/// open at once; whoever needs every row of a longer table has it as CSV and Parquet beside the workbook.
const ROWS_OF_A_SHEET: usize = 25_000;

/// How hard cells are packed, of 9: the writer's own 6 makes the file a seventh smaller and is slower.
const PACKING: u8 = 3;

/// The workbook of these tables, as bytes: the same tables and facts give the same bytes.
///
/// Tables stand in the order given; one without rows keeps its sheet. A sheet ends at 25,000 rows; `About` says where rows are
/// left out. Errors where a table does not follow its schema, or the writer of workbooks refuses a sheet.
pub fn review_workbook(tables: &[Table], facts: &BookFacts) -> Result<Vec<u8>, BookError> {
    with_rows(tables, facts, ROWS_OF_A_SHEET)
}

fn with_rows(tables: &[Table], facts: &BookFacts, rows: usize) -> Result<Vec<u8>, BookError> {
    let pressures = PressureRows::of(tables)?;
    let names = names::of_sheets(tables.iter().map(|table| table.schema().name.as_str()));
    let sheets = tables
        .iter()
        .zip(names)
        .map(|(table, name)| Sheet::of(table, name, &pressures, facts.units, rows))
        .collect::<Result<Vec<_>, _>>()?;
    let charts = charts::worksheet(tables, &sheets, &pressures, facts.units)?;

    let mut book = Workbook::new();
    // The time of making would make every file another one.
    let made = ExcelDateTime::from_ymd(2000, 1, 1).map_err(|source| BookError::sheet("About", source))?;
    book.set_properties(
        &DocProperties::new().set_title(sheet::cut_to(&facts.title, about::LONGEST_TITLE)).set_creation_datetime(&made),
    );
    book.push_worksheet(about::worksheet(tables, &sheets, facts)?);
    book.push_worksheet(charts);
    for sheet in &sheets {
        book.push_worksheet(sheet.worksheet()?);
    }
    book.set_zip_compression_level(PACKING);
    book.save_to_buffer().map_err(|source| BookError::sheet("review.xlsx", source))
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstand_tables::Row;
    use evenstand_tables::rows::SetAsideRow;

    #[test]
    fn rows_that_a_sheet_cannot_hold_are_left_out_and_the_first_sheet_says_so() {
        let row = |source_row| SetAsideRow { source_row, ..SetAsideRow::default() };
        let rows: Vec<SetAsideRow> = (1..=9).map(row).collect();
        let table = SetAsideRow::to_table(&rows).unwrap();
        let facts = BookFacts { title: "Long".into(), invented: false, units: BookUnits::Metric };
        let sheets = |most| {
            let pressures = PressureRows::of(&[]).unwrap();
            Sheet::of(&table, "set_aside".into(), &pressures, facts.units, most).unwrap()
        };
        assert_eq!((sheets(11).shown_rows(), sheets(11).left_out()), (9, 0));
        assert_eq!((sheets(8).shown_rows(), sheets(8).left_out()), (6, 3));
        let whole = with_rows(std::slice::from_ref(&table), &facts, 11).unwrap();
        let cut = with_rows(&[table], &facts, 8).unwrap();
        assert_ne!(whole, cut);
    }
}
