//! The separate tables on a sheet.

use std::ops::Range;

use crate::{CellRange, Sheet, SheetRow};

/// How often blocks are cut again. Tables of a sheet fall apart in two or three rounds; a bound keeps sheets that are
/// made to be cut forever from being so.
const ROUNDS: usize = 8;

/// Rows by their place in the sheet, columns by index.
type Block = (Range<usize>, Range<usize>);

impl Sheet {
    /// The separate tables on the sheet: blocks of filled cells that wholly empty rows or columns divide, top to bottom
    /// and left to right, each as its smallest range. Cells of blanks only count as empty, and so do covered cells of a
    /// merged range before [`Sheet::fill_merged`].
    ///
    /// A sheet with one table gives one range, an empty sheet none. A table with an empty row in its midst gives two:
    /// who reads it decides whether they are one.
    pub fn regions(&self) -> Vec<CellRange> {
        let mut blocks = vec![(0..self.rows.len(), 0..self.width())];
        for _ in 0..ROUNDS {
            let by_rows: Vec<Block> = blocks.iter().flat_map(|block| self.cut_rows(block)).collect();
            let cut: Vec<Block> = by_rows.iter().flat_map(|block| self.cut_columns(block)).collect();
            if cut == blocks {
                break;
            }
            blocks = cut;
        }
        let mut found: Vec<CellRange> = blocks.iter().filter_map(|block| self.range_of(block)).collect();
        found.sort_by_key(|range| (range.first_row, range.first_column));
        found
    }

    fn rows_of(&self, rows: &Range<usize>) -> &[SheetRow] {
        self.rows.get(rows.clone()).unwrap_or_default()
    }

    /// Parts of a block between rows that are empty within its columns.
    fn cut_rows(&self, (rows, columns): &Block) -> Vec<Block> {
        let mut parts: Vec<Block> = Vec::new();
        let mut before: Option<u32> = None;
        for (place, row) in rows.clone().zip(self.rows_of(rows)) {
            let cells = row.cells.get(columns.start..columns.end.min(row.cells.len())).unwrap_or_default();
            if cells.iter().all(|cell| cell.is_blank()) {
                continue;
            }
            match parts.last_mut() {
                Some((part, _)) if before.is_some_and(|before| before + 1 == row.number) => part.end = place + 1,
                _ => parts.push((place..place + 1, columns.clone())),
            }
            before = Some(row.number);
        }
        parts
    }

    /// Parts of a block between columns that are empty within its rows.
    fn cut_columns(&self, (rows, columns): &Block) -> Vec<Block> {
        let mut filled = vec![false; columns.len()];
        for row in self.rows_of(rows) {
            let cells = row.cells.iter().skip(columns.start);
            filled.iter_mut().zip(cells).for_each(|(filled, cell)| *filled |= !cell.is_blank());
        }
        let mut parts: Vec<Block> = Vec::new();
        for (column, _) in columns.clone().zip(filled).filter(|(_, filled)| *filled) {
            match parts.last_mut() {
                Some((_, part)) if part.end == column => part.end = column + 1,
                _ => parts.push((rows.clone(), column..column + 1)),
            }
        }
        parts
    }

    fn range_of(&self, (rows, columns): &Block) -> Option<CellRange> {
        let numbers = self.rows_of(rows).first().zip(self.rows_of(rows).last());
        let (first, last) = numbers.filter(|_| !columns.is_empty())?;
        Some(CellRange {
            first_row: first.number,
            first_column: columns.start,
            last_row: last.number,
            last_column: columns.end - 1,
        })
    }
}
