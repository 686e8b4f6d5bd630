//! Many rows of a delimited file at once, so that a thread has something to do on its own.

use crate::record::{Cell, Record, csv_line};

/// The next rows of a file, whole ones.
pub(crate) enum Block {
    /// Lines without a quote, not yet divided into cells.
    Lines(Lines),
    /// Rows whose cells were told apart already.
    Rows(Rows),
}

impl Block {
    /// Its rows; those in which nothing stands are left out.
    pub fn rows(self) -> Rows {
        match self {
            Block::Lines(lines) => lines.divided(),
            Block::Rows(rows) => rows,
        }
    }
}

/// Whole lines in which every delimiter divides cells and every line break rows.
pub(crate) struct Lines {
    pub bytes: Vec<u8>,
    /// Where the first line begins.
    pub from: usize,
    pub delimiter: u8,
    /// Number of the first line.
    pub first: i64,
}

impl Lines {
    fn divided(self) -> Rows {
        let Lines { bytes, from, delimiter, first } = self;
        let (mut start, mut number, mut first_cell) = (from, first, 0);
        // Shorter cells and rows than these are rare; where they are not, the lists grow.
        let (mut ends, mut rows) = (Vec::with_capacity(bytes.len() / 6), Vec::with_capacity(bytes.len() / 40));
        for at in memchr::memchr2_iter(delimiter, b'\n', &bytes[from..]).map(|at| at + from) {
            if bytes[at] == delimiter {
                ends.push(at as u32);
                continue;
            }
            let end = if at > start && bytes[at - 1] == b'\r' { at - 1 } else { at };
            let blank = |byte: &u8| *byte == delimiter || byte.is_ascii_whitespace();
            if bytes[start..end].iter().all(blank) {
                ends.truncate(first_cell as usize);
            } else {
                ends.push(end as u32);
                rows.push(RowAt { number, start: start as u32, first_cell });
            }
            first_cell = ends.len() as u32;
            start = at + 1;
            number += 1;
        }
        Rows { bytes, gap: 1, delimiter, ends, rows }
    }
}

/// Where a row stands in its block.
struct RowAt {
    number: i64,
    start: u32,
    first_cell: u32,
}

/// Rows of a block, told apart into cells.
pub(crate) struct Rows {
    bytes: Vec<u8>,
    /// Bytes between two cells.
    gap: usize,
    delimiter: u8,
    /// Where each cell ends, row after row.
    ends: Vec<u32>,
    rows: Vec<RowAt>,
}

impl Rows {
    /// No rows yet.
    pub fn new(delimiter: u8) -> Self {
        Self { bytes: Vec::new(), gap: 0, delimiter, ends: Vec::new(), rows: Vec::new() }
    }

    /// Appends a row: its cells without anything between them, and where each one ends.
    pub fn push(&mut self, number: i64, text: &[u8], ends: &[usize]) {
        let start = self.bytes.len();
        self.rows.push(RowAt { number, start: start as u32, first_cell: self.ends.len() as u32 });
        self.ends.extend(ends.iter().map(|end| (start + end) as u32));
        self.bytes.extend_from_slice(text);
    }

    pub fn len(&self) -> usize {
        self.rows.len()
    }
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }
    pub fn number(&self, row: usize) -> i64 {
        self.rows[row].number
    }
    /// A row as other readers hand it over.
    pub fn row(&self, row: usize) -> BlockRow<'_> {
        let next = self.rows.get(row + 1).map_or(self.ends.len(), |next| next.first_cell as usize);
        let at = &self.rows[row];
        let ends = &self.ends[at.first_cell as usize..next];
        BlockRow { bytes: &self.bytes, gap: self.gap, delimiter: self.delimiter, start: at.start as usize, ends }
    }
}

/// One row of a block.
#[derive(Clone, Copy)]
pub(crate) struct BlockRow<'a> {
    bytes: &'a [u8],
    gap: usize,
    delimiter: u8,
    start: usize,
    ends: &'a [u32],
}

impl<'a> BlockRow<'a> {
    /// Where the cell stands in the bytes of its block; the cell must be there.
    pub fn range(&self, cell: usize) -> std::ops::Range<usize> {
        let start = if cell == 0 { self.start } else { self.ends[cell - 1] as usize + self.gap };
        start..self.ends[cell] as usize
    }
    /// Whether a cell may hold a line break.
    pub fn may_hold_breaks(&self) -> bool {
        self.gap == 0
    }
    /// The whole row.
    pub fn text(&self) -> &'a [u8] {
        &self.bytes[self.start..self.ends.last().map_or(self.start, |end| *end as usize)]
    }
}

impl DelimitedCells for BlockRow<'_> {
    fn cells(&self) -> usize {
        self.ends.len()
    }
    fn bytes(&self, cell: usize) -> Option<&[u8]> {
        (cell < self.ends.len()).then(|| &self.bytes[self.range(cell)])
    }
    fn delimiter(&self) -> u8 {
        self.delimiter
    }
}

/// A row whose cells are bytes between delimiters.
pub(crate) trait DelimitedCells {
    /// Number of cells.
    fn cells(&self) -> usize;
    /// The bytes of a cell; `None` beyond the last.
    fn bytes(&self, cell: usize) -> Option<&[u8]>;
    fn delimiter(&self) -> u8;
}

impl<Row: DelimitedCells> Record for Row {
    fn len(&self) -> usize {
        self.cells()
    }
    fn cell(&self, index: usize) -> Cell<'_> {
        let Some(bytes) = self.bytes(index) else { return Cell::Empty };
        std::str::from_utf8(bytes).map_or(Cell::NotText(bytes), Cell::of)
    }
    fn raw(&self) -> String {
        csv_line((0..self.cells()).filter_map(|index| self.bytes(index)), self.delimiter())
    }
    fn is_blank(&self) -> bool {
        (0..self.cells()).filter_map(|index| self.bytes(index)).all(|cell| cell.trim_ascii().is_empty())
    }
    /// Looks at the bytes first: every row is asked, and hardly one has such a cell.
    fn too_long(&self, limit: usize) -> Option<usize> {
        let long = |index: &usize| self.bytes(*index).is_some_and(|bytes| bytes.len() > limit);
        (0..self.cells()).filter(long).find(|index| self.cell(*index).text_bytes() > limit)
    }
    /// A cell that holds, behind a line break, a line with as many delimiters as a row: a quote was never closed. A note of
    /// several lines has fewer.
    fn swallowed(&self, columns: usize) -> Option<usize> {
        let delimiters = |line: &[u8]| line.iter().filter(|byte| **byte == self.delimiter()).count();
        (0..self.cells()).find(|index| {
            let lines = self.bytes(*index).unwrap_or_default().split(|byte| *byte == b'\n');
            columns > 1 && lines.skip(1).any(|line| delimiters(line) + 1 >= columns)
        })
    }
}
