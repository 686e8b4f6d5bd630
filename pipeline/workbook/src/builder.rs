//! Collects the cells of a sheet within limits, in whatever order a file has them.

use std::collections::BTreeMap;

use crate::address::{MAX_COLUMNS, MAX_ROWS};
use crate::{CellRange, Limits, Notice, Oddity, Sheet, SheetCell, SheetRow, WorkbookError};

const MOST_NOTICES: usize = 1_000;
const MOST_MERGED: usize = 1_000_000;

pub(crate) struct SheetBuilder {
    limits: Limits,
    rows: BTreeMap<u32, Vec<SheetCell>>,
    merged: Vec<CellRange>,
    notices: Vec<Notice>,
    notices_left_out: usize,
    /// Cells kept, with the empty ones before them.
    cells: usize,
    text_bytes: usize,
    /// Only whether there is anything is asked.
    probe: bool,
}

impl SheetBuilder {
    pub fn new(limits: Limits) -> Self {
        Self {
            limits,
            rows: BTreeMap::new(),
            merged: Vec::new(),
            notices: Vec::new(),
            notices_left_out: 0,
            cells: 0,
            text_bytes: 0,
            probe: false,
        }
    }

    /// A builder that is content with the first cell.
    pub fn probe(limits: Limits) -> Self {
        Self { probe: true, ..Self::new(limits) }
    }

    /// Whether the reader may stop here.
    pub fn is_content(&self) -> bool {
        self.probe && self.holds_cells()
    }

    /// Whether there is any cell, or one that should have held something.
    pub fn holds_cells(&self) -> bool {
        !self.rows.is_empty() || !self.notices.is_empty()
    }

    /// Puts a cell at `row` (from 1) and `column` (from 0); a cell that is there already is replaced. Errors beyond the
    /// limits.
    pub fn put(&mut self, row: u32, column: usize, cell: SheetCell) -> Result<(), WorkbookError> {
        match &cell {
            SheetCell::Empty => return Ok(()),
            SheetCell::Text(text) if text.is_empty() => return Ok(()),
            SheetCell::Text(text) | SheetCell::Fault(text) => {
                self.text_bytes = self.text_bytes.saturating_add(text.len());
            }
            _ => {}
        }
        if row == 0 || row > MAX_ROWS || column >= MAX_COLUMNS {
            return Err(too_large("a cell beyond XFD1048576".to_owned(), "cells up to there".to_owned()));
        }
        let cells = self.rows.entry(row).or_default();
        match cells.get_mut(column) {
            Some(there) => *there = cell,
            None => {
                let added = column + 1 - cells.len();
                self.cells = self.cells.saturating_add(added);
                if self.cells > self.limits.cells {
                    return Err(too_large("too many cells on one sheet".to_owned(), self.limits.cells.to_string()));
                }
                cells.reserve(added);
                cells.resize(column, SheetCell::Empty);
                cells.push(cell);
            }
        }
        if self.rows.len() > self.limits.rows {
            return Err(too_large("too many rows on one sheet".to_owned(), self.limits.rows.to_string()));
        }
        self.check_text(0)
    }

    /// Errors where `more` bytes of text would be beyond the limits.
    pub fn check_text(&self, more: usize) -> Result<(), WorkbookError> {
        match self.text_bytes.saturating_add(more) > self.limits.text_bytes {
            true => {
                let allowed = format!("{} MB", self.limits.text_bytes >> 20);
                Err(too_large("too much text on one sheet".to_owned(), allowed))
            }
            false => Ok(()),
        }
    }

    pub fn notice(&mut self, row: u32, column: usize, oddity: Oddity) {
        match self.notices.len() < MOST_NOTICES {
            true => self.notices.push(Notice { row, column, oddity }),
            false => self.notices_left_out = self.notices_left_out.saturating_add(1),
        }
    }

    pub fn merge(&mut self, range: CellRange) {
        let several = (range.first_row, range.first_column) != (range.last_row, range.last_column);
        if several && self.merged.len() < MOST_MERGED {
            self.merged.push(range);
        }
    }

    pub fn finish(self) -> Sheet {
        let rows = self.rows.into_iter().map(|(number, cells)| SheetRow { number, cells }).collect();
        Sheet { rows, merged: self.merged, notices: self.notices, notices_left_out: self.notices_left_out }
    }
}

pub(crate) fn too_large(found: String, allowed: String) -> WorkbookError {
    WorkbookError::TooLarge { found, allowed }
}
