//! A sheet as rows.

use std::fmt;

use crate::{CellRange, SheetCell, column_letters};

/// Cells that [`Sheet::fill_merged`] may add to one sheet.
const MOST_FILLED: usize = 10_000_000;

/// A sheet that was read.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Sheet {
    /// Rows that hold something, top to bottom. Hidden rows are among them: a filter hides, it does not delete.
    pub rows: Vec<SheetRow>,
    /// Ranges of merged cells, in the order of the file. The value stands in the first cell of each.
    pub merged: Vec<CellRange>,
    /// What could not be told, cell by cell; the first thousand.
    pub notices: Vec<Notice>,
    /// Notices beyond the first thousand.
    pub notices_left_out: usize,
}

/// A row that holds something.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SheetRow {
    /// Its number as the spreadsheet shows it, from 1.
    pub number: u32,
    /// Its cells from column A on, without empty cells at the end.
    pub cells: Vec<SheetCell>,
}

/// Something about one cell that whoever keeps the sheet should know.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Notice {
    /// The row as the spreadsheet shows it, from 1.
    pub row: u32,
    /// The column as an index, from 0.
    pub column: usize,
    /// What it is.
    pub oddity: Oddity,
}

/// What may be odd about a cell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Oddity {
    /// A formula whose result was not saved; the cell is empty here.
    FormulaWithoutResult,
    /// The cell points to a text that the file does not hold; the cell is empty here.
    TextMissing,
    /// The cell has a date format, but its number is no day that ever was (1900-02-29, day 0) and is given as the text
    /// the spreadsheet shows, or is outside the years that dates have and is given as the number.
    NoSuchDay,
    /// The cell says it is a number, a date or a truth value, but cannot be read as one; its text is given.
    NotOfItsType,
}

impl fmt::Display for Notice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let cell = format!("{}{}", column_letters(self.column), self.row);
        match self.oddity {
            Oddity::FormulaWithoutResult => write!(f, "{cell}: a formula without a result"),
            Oddity::TextMissing => write!(f, "{cell}: a text that is missing from the file"),
            Oddity::NoSuchDay => write!(f, "{cell}: a date that never was"),
            Oddity::NotOfItsType => write!(f, "{cell}: not of the type it is said to be, read as text"),
        }
    }
}

impl Sheet {
    /// A cell by row (from 1) and column (from 0); empty where the sheet holds nothing.
    pub fn cell(&self, row: u32, column: usize) -> &SheetCell {
        const NOTHING: &SheetCell = &SheetCell::Empty;
        let found = self.rows.binary_search_by_key(&row, |row| row.number).ok();
        found.and_then(|at| self.rows.get(at)?.cells.get(column)).unwrap_or(NOTHING)
    }

    /// Number of columns, counted from A to the last that holds something.
    pub fn width(&self) -> usize {
        self.rows.iter().map(|row| row.cells.len()).max().unwrap_or(0)
    }

    /// Spreads the value of every merged range over its cells, in the rows and columns that hold something: a header of
    /// two rows needs it. Cells that hold something of their own keep it. Does nothing the second time.
    pub fn fill_merged(&mut self) {
        let width = self.width();
        // Ranges of a sound file do not overlap and stay well below both; a broken one ends here.
        let (mut may_visit, mut may_add) = (2 * MOST_FILLED, MOST_FILLED);
        for range in self.merged.clone() {
            let value = self.cell(range.first_row, range.first_column).clone();
            if value == SheetCell::Empty || range.first_column >= width {
                continue;
            }
            let (first, last) = (range.first_column, range.last_column.min(width - 1));
            let start = self.rows.partition_point(|row| row.number < range.first_row);
            for row in self.rows.iter_mut().skip(start).take_while(|row| row.number <= range.last_row) {
                let visits = may_visit.checked_sub(last + 1 - first);
                let adds = may_add.checked_sub((last + 1).saturating_sub(row.cells.len()));
                let Some(both) = visits.zip(adds) else { return };
                (may_visit, may_add) = both;
                if row.cells.len() <= last {
                    row.cells.resize(last + 1, SheetCell::Empty);
                }
                let covered = row.cells.iter_mut().take(last + 1).skip(first);
                covered.filter(|cell| **cell == SheetCell::Empty).for_each(|cell| *cell = value.clone());
            }
        }
    }
}
