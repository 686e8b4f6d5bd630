//! Many rows of a delimited file at once, so that a thread has something to do on its own.

use std::ops::Range;

use arrow::array::{Array, Float64Array, Int64Array, StringArray, TimestampMicrosecondArray};

use crate::column_rows::ColumnRows;
use crate::record::{Cell, Record, csv_line};
use crate::rules::LONGEST_CELL;

/// The next rows of a file, whole ones.
pub(crate) enum Block {
    /// Lines without a quote, not yet divided into cells.
    Lines(Lines),
    /// Rows whose cells were told apart already.
    Rows(Rows),
    /// Rows of a file that keeps its cells by column.
    Columns(ColumnRows),
}

impl Block {
    /// Its rows; those in which nothing stands are left out.
    pub fn rows(self) -> Box<dyn ManyRows> {
        match self {
            Block::Lines(lines) => Box::new(lines.divided()),
            Block::Rows(rows) => Box::new(rows),
            Block::Columns(rows) => Box::new(rows),
        }
    }
}

/// Rows of a block, whatever they were read from.
pub(crate) trait ManyRows {
    fn len(&self) -> usize;
    /// Number of a row in its file.
    fn number(&self, row: usize) -> i64;
    /// A row as other readers hand it over.
    fn record(&self, row: usize) -> Box<dyn Record + '_>;
    /// Whether a row has so many cells, none of them too long or with a line break that may have swallowed a row.
    fn is_even(&self, row: usize, columns: usize) -> bool;
    /// Whether the first cell holds something that begins with a letter or a digit.
    fn begins_plainly(&self, row: usize) -> bool;
    /// Bytes of the cells as text, where they are text throughout.
    fn text(&self) -> Option<&str>;
    /// The cells of a column of rows that are even; `text` is what [`text`](Self::text) gave.
    fn cells<'b>(&'b self, cell: usize, text: Option<&'b str>) -> Cells<'b>;
    /// Whole numbers of a column as text, where it is one of such.
    fn names(&self, _cell: usize) -> Option<TextCells<'_>> {
        None
    }
}

/// Cells of a column of a block.
pub(crate) enum Cells<'b> {
    Text(TextCells<'b>),
    Numbers(&'b Float64Array),
    Whole(&'b Int64Array),
    Instants(&'b TimestampMicrosecondArray),
    /// Of another type: they are read row by row.
    Other,
}

/// Cells that are text.
pub(crate) struct TextCells<'b> {
    pub bytes: &'b [u8],
    text: Option<&'b str>,
    places: Places<'b>,
}

/// Where cells stand in the bytes.
enum Places<'b> {
    OfRows(&'b Rows, usize),
    OfColumn(&'b StringArray),
}

impl<'b> TextCells<'b> {
    /// Cells of a column of text; one that is missing is empty.
    pub fn of(column: &'b StringArray) -> Self {
        let bytes = column.value_data();
        TextCells { bytes, text: std::str::from_utf8(bytes).ok(), places: Places::OfColumn(column) }
    }
    /// Where the cell of a row stands in the bytes.
    pub fn range(&self, row: usize) -> Range<usize> {
        match self.places {
            Places::OfRows(rows, cell) => rows.range(row, cell),
            Places::OfColumn(column) if column.is_null(row) => 0..0,
            Places::OfColumn(column) => column.value_offsets()[row] as usize..column.value_offsets()[row + 1] as usize,
        }
    }
    /// The cell at a place, as other readers hand it over; `None` where it is not text.
    pub fn cell(&self, range: Range<usize>) -> Option<Cell<'b>> {
        Some(Cell::of(self.text?.get(range)?))
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
        for at in Either::new(&bytes, from, [delimiter, b'\n']) {
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

/// Where either of two bytes stands, from some place on. They stand so close that eight bytes are looked at in one step, and
/// not more.
struct Either<'a> {
    bytes: &'a [u8],
    wanted: [u64; 2],
    /// Where the next word begins.
    next: usize,
    /// The word before, with the highest bit of each byte set that was found and not yet handed out.
    found: u64,
}

impl<'a> Either<'a> {
    fn new(bytes: &'a [u8], from: usize, wanted: [u8; 2]) -> Self {
        Self { bytes, wanted: wanted.map(|byte| u64::from(byte) * 0x0101_0101_0101_0101), next: from, found: 0 }
    }
}

impl Iterator for Either<'_> {
    type Item = usize;

    fn next(&mut self) -> Option<usize> {
        const LOW: u64 = 0x7f7f_7f7f_7f7f_7f7f;
        while self.found == 0 {
            let rest = self.bytes.get(self.next..).filter(|rest| !rest.is_empty())?;
            let (word, known) = match rest.first_chunk::<8>() {
                Some(word) => (u64::from_le_bytes(*word), u64::MAX),
                None => {
                    let word = rest.iter().rev().fold(0, |word, byte| word << 8 | u64::from(*byte));
                    (word, (1 << (8 * rest.len())) - 1)
                }
            };
            // The highest bit of a byte stays clear only where the byte is zero: no carry goes from one to the next.
            let is_zero = |word: u64| !(((word & LOW) + LOW) | word | LOW);
            self.found = (is_zero(word ^ self.wanted[0]) | is_zero(word ^ self.wanted[1])) & known;
            self.next += 8;
        }
        let at = self.next - 8 + self.found.trailing_zeros() as usize / 8;
        self.found &= self.found - 1;
        Some(at)
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

    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }
    /// Where a cell of a row stands in the bytes; the row must have that many.
    fn range(&self, row: usize, cell: usize) -> Range<usize> {
        let row = &self.rows[row];
        let at = row.first_cell as usize + cell;
        let start = if cell == 0 { row.start as usize } else { self.ends[at - 1] as usize + self.gap };
        start..self.ends[at] as usize
    }
    fn row(&self, row: usize) -> BlockRow<'_> {
        let next = self.rows.get(row + 1).map_or(self.ends.len(), |next| next.first_cell as usize);
        let at = &self.rows[row];
        let ends = &self.ends[at.first_cell as usize..next];
        BlockRow { bytes: &self.bytes, gap: self.gap, delimiter: self.delimiter, start: at.start as usize, ends }
    }
}

impl ManyRows for Rows {
    fn len(&self) -> usize {
        self.rows.len()
    }
    fn number(&self, row: usize) -> i64 {
        self.rows[row].number
    }
    fn record(&self, row: usize) -> Box<dyn Record + '_> {
        Box::new(self.row(row))
    }
    fn is_even(&self, row: usize, columns: usize) -> bool {
        let row = self.row(row);
        let text = row.text();
        // Where delimiters stand between cells, line breaks stand between rows.
        row.cells() == columns && text.len() <= LONGEST_CELL && !(self.gap == 0 && text.contains(&b'\n'))
    }
    fn begins_plainly(&self, row: usize) -> bool {
        self.bytes.get(self.rows[row].start as usize).is_some_and(u8::is_ascii_alphanumeric)
    }
    fn text(&self) -> Option<&str> {
        std::str::from_utf8(&self.bytes).ok()
    }
    fn cells<'b>(&'b self, cell: usize, text: Option<&'b str>) -> Cells<'b> {
        Cells::Text(TextCells { bytes: &self.bytes, text, places: Places::OfRows(self, cell) })
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
        let end = *self.ends.get(cell)? as usize;
        let start = if cell == 0 { self.start } else { self.ends[cell - 1] as usize + self.gap };
        Some(&self.bytes[start..end])
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn either_byte_is_found_wherever_it_stands() {
        let bytes: Vec<u8> = (0..2000_u32).map(|at| (at * at * 7 % 251) as u8).collect();
        for (from, to) in
            (0..20).flat_map(|from| [(from, 2000), (from, from), (from, from + 5), (from, 1990 + from % 9)])
        {
            for wanted in [[b',', b'\n'], [0, 0x80], [0xff, 1]] {
                let found: Vec<usize> = Either::new(&bytes[..to], from, wanted).collect();
                let expected: Vec<usize> = (from..to).filter(|at| wanted.contains(&bytes[*at])).collect();
                assert_eq!(found, expected, "{from}..{to}, {wanted:?}");
            }
        }
    }
}
