//! The result tables of a review as one workbook, for people who go on in a spreadsheet.
//!
//! [`ReviewBook`] takes result tables one after another and gives the bytes of `review.xlsx`; [`review_workbook`] takes them all at once.
//! Neither touches the disk or computes statistics. The first sheet, `About`, says what each sheet holds and links to it. `Charts` draws curves and
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
mod archive;
mod axis;
mod charts;
mod column;
mod error;
mod names;
mod pressure_rows;
mod rows;
mod sheet;
mod skeleton;
mod strings;
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

/// Sheets that are no table.
const OTHERS: usize = 2;

/// A workbook to which tables are added one after another. Of each it keeps the rows that it shows and no more, so a table can be let go as
/// soon as it is added.
#[derive(Debug)]
pub struct ReviewBook {
    facts: BookFacts,
    pressures: PressureRows,
    sheets: Vec<Sheet>,
    most_rows: usize,
}

impl ReviewBook {
    /// A workbook without tables. The tables `planters` and `strips` of the review, where it has them, say which forces are pressures; they
    /// are not added by this. Errors where one does not follow its schema.
    pub fn new(facts: BookFacts, planters: Option<&Table>, strips: Option<&Table>) -> Result<Self, BookError> {
        let pressures = PressureRows::of(planters, strips)?;
        Ok(Self { facts, pressures, sheets: Vec::new(), most_rows: ROWS_OF_A_SHEET })
    }

    /// Adds a table behind those that were added before; one without rows keeps its sheet. A sheet ends at 25,000 rows; `About` says where
    /// rows are left out. Errors where the table does not follow its schema.
    pub fn add(&mut self, table: &Table) -> Result<(), BookError> {
        self.add_first(table, table.len())
    }

    /// Adds a table of so many `rows`, of which `table` has the first: [`Self::rows_looked_at`] of them, or all. Errors as [`Self::add`].
    pub fn add_first(&mut self, table: &Table, rows: usize) -> Result<(), BookError> {
        self.sheets.push(Sheet::of(table, rows, &self.pressures, self.facts.units, self.most_rows)?);
        Ok(())
    }

    /// The first rows of a table that its sheet is made from, or more: of one that charts refer to, all.
    pub fn rows_looked_at(&self, table: &str) -> usize {
        if sheet::is_regrouped(table) { usize::MAX } else { self.most_rows }
    }

    /// The workbook as bytes: the same tables and facts give the same bytes. Errors where the writer of workbooks refuses a sheet.
    pub fn finish(self) -> Result<Vec<u8>, BookError> {
        let Self { facts, pressures, sheets, .. } = self;
        let names = names::of_sheets(sheets.iter().map(Sheet::name));
        let sheets: Vec<Sheet> = sheets.into_iter().zip(names).map(|(sheet, name)| sheet.named(name)).collect();
        let mut book = Workbook::new();
        // The time of making would make every file another one.
        let made = ExcelDateTime::from_ymd(2000, 1, 1).map_err(|source| BookError::sheet("About", source))?;
        let title = sheet::cut_to(&facts.title, about::LONGEST_TITLE);
        book.set_properties(&DocProperties::new().set_title(title).set_creation_datetime(&made));
        book.push_worksheet(about::worksheet(&sheets, &facts)?);
        book.push_worksheet(charts::worksheet(&sheets, &pressures, facts.units)?);
        for sheet in &sheets {
            book.push_worksheet(skeleton::worksheet(sheet)?);
        }
        let skeleton = book.save_to_buffer().map_err(|source| BookError::sheet("review.xlsx", source))?;
        drop(book);
        archive::filled(skeleton, OTHERS, &sheets)
    }
}

/// The workbook of these tables, in the order given, as bytes. Errors as [`ReviewBook`] does.
pub fn review_workbook(tables: &[Table], facts: &BookFacts) -> Result<Vec<u8>, BookError> {
    with_rows(tables, facts, ROWS_OF_A_SHEET)
}

fn with_rows(tables: &[Table], facts: &BookFacts, most_rows: usize) -> Result<Vec<u8>, BookError> {
    let named = |name: &str| tables.iter().find(|table| table.schema().name == name);
    let book = ReviewBook::new(facts.clone(), named("planters"), named("strips"))?;
    let mut book = ReviewBook { most_rows, ..book };
    tables.iter().try_for_each(|table| book.add(table))?;
    book.finish()
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
            let pressures = PressureRows::of(None, None).unwrap();
            Sheet::of(&table, table.len(), &pressures, facts.units, most).unwrap()
        };
        assert_eq!((sheets(11).shown_rows(), sheets(11).left_out()), (9, 0));
        assert_eq!((sheets(8).shown_rows(), sheets(8).left_out()), (6, 3));
        let whole = with_rows(std::slice::from_ref(&table), &facts, 11).unwrap();
        let cut = with_rows(&[table], &facts, 8).unwrap();
        assert_ne!(whole, cut);
    }
}
