//! Workbooks as people have them: XLSX, XLS and ODS sheets as rows of typed cells.
//!
//! [`Workbook::open`] tells the format from the content, lists the sheets, and reads a sheet as the rows that hold
//! something, each with its number as the spreadsheet shows it. A cell is what the spreadsheet says it is: a number is
//! a date only where its format says so, an error stays an error, a text keeps its blanks. What had to be left out or
//! could not be told is in the [`Notice`]s of the sheet.
//!
//! Every reader walks over its file once and keeps only cells that hold something, so a format or a used range that
//! reaches the last row costs nothing. Counts that a file states about itself are never trusted; [`Limits`] bound what
//! is kept.
//!
//! ```no_run
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! use evenstand_workbook::Workbook;
//!
//! let mut book = Workbook::open(std::fs::read("stand counts.xlsx")?)?;
//! for info in book.sheets().to_vec().iter().filter(|info| info.holds_cells) {
//!     let mut sheet = book.sheet(&info.name)?;
//!     sheet.fill_merged();
//!     for table in sheet.regions() {
//!         println!("{} {table}: {}", info.name, sheet.cell(table.first_row, table.first_column).text());
//!     }
//!     for notice in &sheet.notices {
//!         println!("{} {notice}", info.name);
//!     }
//! }
//! # Ok(())
//! # }
//! ```

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod address;
mod builder;
mod cell;
mod error;
mod format;
mod ods;
mod regions;
mod serial;
mod sheet;
mod sniff;
mod workbook;
mod xls;
mod xlsx;
mod xml;

pub use address::{CellRange, RangeError, column_letters};
pub use cell::SheetCell;
pub use error::WorkbookError;
pub use sheet::{Notice, Oddity, Sheet, SheetRow};
pub use workbook::{Limits, SheetInfo, Workbook};
