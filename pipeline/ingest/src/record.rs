//! Rows as readers hand them over: cells that are text, or already typed.

use std::borrow::Cow;

use jiff::civil::{Date, DateTime, Time};

use crate::IngestError;
use crate::block::Block;

/// One cell. Text is trimmed and never empty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Cell<'a> {
    /// Nothing, or blanks.
    Empty,
    Text(&'a str),
    Number(f64),
    /// A percentage, as its share.
    Share(f64),
    Boolean(bool),
    Day(Date),
    /// A local time.
    Moment(DateTime),
    Clock(Time),
    /// Microseconds since 1970 UTC.
    Instant(i64),
    /// A spreadsheet's error, such as `#DIV/0!`.
    Fault(&'a str),
    /// Bytes that are not UTF-8.
    NotText(&'a [u8]),
}

impl<'a> Cell<'a> {
    /// A trimmed text, or nothing.
    pub fn of(text: &'a str) -> Self {
        match text.trim() {
            "" => Cell::Empty,
            text => Cell::Text(text),
        }
    }

    /// Bytes of a cell that is text; none of any other.
    pub fn text_bytes(self) -> usize {
        match self {
            Cell::Text(text) | Cell::Fault(text) => text.len(),
            Cell::NotText(bytes) => bytes.len(),
            _ => 0,
        }
    }

    /// How the cell reads as text.
    pub fn text(self) -> Cow<'a, str> {
        match self {
            Cell::Empty => Cow::Borrowed(""),
            Cell::Text(text) | Cell::Fault(text) => Cow::Borrowed(text),
            Cell::Number(number) => Cow::Owned(number.to_string()),
            Cell::Share(share) => Cow::Owned(format!("{}%", percent(share))),
            Cell::Boolean(yes) => Cow::Borrowed(if yes { "true" } else { "false" }),
            Cell::Day(day) => Cow::Owned(day.to_string()),
            Cell::Moment(moment) => Cow::Owned(moment.to_string()),
            Cell::Clock(time) => Cow::Owned(time.to_string()),
            Cell::Instant(microseconds) => {
                Cow::Owned(jiff::Timestamp::from_microsecond(microseconds).map(|at| at.to_string()).unwrap_or_default())
            }
            Cell::NotText(bytes) => String::from_utf8_lossy(bytes),
        }
    }
}

/// A share in per cent, without the last digits that the multiplication makes up.
fn percent(share: f64) -> f64 {
    (share * 1e14).round() / 1e12
}

/// A cell that keeps its own text.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum OwnedCell {
    Empty,
    Text(String),
    Number(f64),
    Share(f64),
    Boolean(bool),
    Day(Date),
    Moment(DateTime),
    Clock(Time),
    Instant(i64),
    Fault(String),
    NotText(Vec<u8>),
}

impl OwnedCell {
    /// A cell that outlives its row; of a text at most so many letters.
    pub fn of(cell: Cell, letters: usize) -> Self {
        match cell {
            Cell::Empty => OwnedCell::Empty,
            Cell::Text(text) => OwnedCell::Text(text.chars().take(letters).collect()),
            Cell::Number(number) => OwnedCell::Number(number),
            Cell::Share(share) => OwnedCell::Share(share),
            Cell::Boolean(yes) => OwnedCell::Boolean(yes),
            Cell::Day(day) => OwnedCell::Day(day),
            Cell::Moment(moment) => OwnedCell::Moment(moment),
            Cell::Clock(time) => OwnedCell::Clock(time),
            Cell::Instant(microseconds) => OwnedCell::Instant(microseconds),
            Cell::Fault(text) => OwnedCell::Fault(text.to_owned()),
            Cell::NotText(_) => OwnedCell::Text(cell.text().chars().take(letters).collect()),
        }
    }

    pub fn as_cell(&self) -> Cell<'_> {
        match self {
            OwnedCell::Empty => Cell::Empty,
            OwnedCell::Text(text) => Cell::of(text),
            OwnedCell::Number(number) => Cell::Number(*number),
            OwnedCell::Share(share) => Cell::Share(*share),
            OwnedCell::Boolean(yes) => Cell::Boolean(*yes),
            OwnedCell::Day(day) => Cell::Day(*day),
            OwnedCell::Moment(moment) => Cell::Moment(*moment),
            OwnedCell::Clock(time) => Cell::Clock(*time),
            OwnedCell::Instant(microseconds) => Cell::Instant(*microseconds),
            OwnedCell::Fault(text) => Cell::Fault(text),
            OwnedCell::NotText(bytes) => Cell::NotText(bytes),
        }
    }
}

/// A row of a table.
pub(crate) trait Record {
    /// Number of cells.
    fn len(&self) -> usize;
    /// The cell at a position; `Empty` beyond the last.
    fn cell(&self, index: usize) -> Cell<'_>;
    /// The row as a person can read it.
    fn raw(&self) -> String {
        csv_line((0..self.len()).map(|index| self.cell(index).text().into_owned()), b',')
    }
    /// Whether nothing stands in it.
    fn is_blank(&self) -> bool {
        (0..self.len()).all(|index| self.cell(index) == Cell::Empty)
    }
    /// Position of a text of more bytes than `limit`.
    fn too_long(&self, limit: usize) -> Option<usize> {
        (0..self.len()).find(|index| self.cell(*index).text_bytes() > limit)
    }
    /// Position of a cell that holds rows a quote has swallowed, where the header has that many columns.
    fn swallowed(&self, _columns: usize) -> Option<usize> {
        None
    }
}

impl Record for Vec<OwnedCell> {
    fn len(&self) -> usize {
        Vec::len(self)
    }
    fn cell(&self, index: usize) -> Cell<'_> {
        self.get(index).map_or(Cell::Empty, OwnedCell::as_cell)
    }
}

/// Cells as one line of a CSV file, without its line break.
pub(crate) fn csv_line(cells: impl Iterator<Item = impl AsRef<[u8]>>, delimiter: u8) -> String {
    let mut writer = csv::WriterBuilder::new().delimiter(delimiter).from_writer(Vec::new());
    let written = writer.write_record(cells).ok().and_then(|()| writer.into_inner().ok()).unwrap_or_default();
    String::from_utf8_lossy(&written).trim_end_matches(['\r', '\n']).to_owned()
}

/// A table, row by row, the header among them.
pub(crate) trait TableReader {
    /// The next row that holds anything, with its number as the file counts rows, from 1. `None` at the end.
    fn next(&mut self) -> Result<Option<(i64, &dyn Record)>, IngestError>;
    /// Number of columns where every cell has a place of its own, as in a workbook. `None` where cells are only told apart
    /// by what divides them, so that one too many moves all behind it.
    fn width(&self) -> Option<usize> {
        None
    }
    /// Whether rows are to be had in blocks, too.
    fn has_blocks(&self) -> bool {
        false
    }
    /// The next rows, of about so many bytes of the file. `None` at the end.
    fn block(&mut self, _bytes: usize) -> Result<Option<Block>, IngestError> {
        Ok(None)
    }
}

/// Rows that are in memory.
pub(crate) struct InMemory {
    rows: std::vec::IntoIter<(i64, Vec<OwnedCell>)>,
    width: usize,
    current: Vec<OwnedCell>,
}

impl InMemory {
    pub fn new(rows: Vec<(i64, Vec<OwnedCell>)>) -> Self {
        let width = rows.iter().map(|(_, cells)| cells.len()).max().unwrap_or(0);
        Self { rows: rows.into_iter(), width, current: Vec::new() }
    }
}

impl TableReader for InMemory {
    fn next(&mut self) -> Result<Option<(i64, &dyn Record)>, IngestError> {
        let Some((number, cells)) = self.rows.next() else { return Ok(None) };
        self.current = cells;
        Ok(Some((number, &self.current)))
    }
    fn width(&self) -> Option<usize> {
        Some(self.width)
    }
}
