//! Text files whose cells are divided by a letter: CSV and its relatives, in any encoding.

use std::io::{BufReader, Cursor, Read};

use encoding_rs::{Encoding, UTF_16BE, UTF_16LE};
use encoding_rs_io::DecodeReaderBytesBuilder;

use crate::IngestError;
use crate::block::{Block, DelimitedCells, Lines, Rows};
use crate::record::{Record, TableReader};

/// Letters that are tried as delimiters, in this order.
const DELIMITERS: [u8; 4] = [b',', b';', b'\t', b'|'];
/// Lines that are looked at to find the delimiter.
const LINES_LOOKED_AT: usize = 30;

/// Bytes that are looked at before reading begins.
const BYTES_LOOKED_AT: u64 = 1 << 16;
/// Bytes that are read at a time where rows are taken one by one.
const BYTES_AT_A_TIME: usize = 1 << 16;
/// Most bytes and cells of one row: beyond them a file has no line ends, or is no table. Both are more than a block of plain lines can
/// hold, so that it does not matter how a row is read.
const LONGEST_ROW: usize = 16 << 20;
const MOST_CELLS: usize = 1 << 20;

/// Text as UTF-8, and its first bytes once more to look at.
pub(crate) struct Text<'a> {
    pub start: Vec<u8>,
    pub reader: BufReader<Box<dyn Read + 'a>>,
}

/// Decodes text. A byte order mark tells the encoding; without one it is the one declared, else UTF-16 where every other
/// byte at the start is zero, else UTF-8. Bytes that are not UTF-8 pass through, so that their row can be named.
pub(crate) fn decoded<'a>(mut bytes: impl Read + 'a, encoding: Option<&'static Encoding>) -> std::io::Result<Text<'a>> {
    let start = start_of(&mut bytes)?;
    let guessed = match start.as_slice() {
        [first, 0, second, 0, ..] if first.is_ascii() && second.is_ascii() && *first > 0 => Some(UTF_16LE),
        [0, first, 0, second, ..] if first.is_ascii() && second.is_ascii() && *first > 0 => Some(UTF_16BE),
        _ => None,
    };
    let mut reader = DecodeReaderBytesBuilder::new()
        .encoding(encoding.or(guessed).filter(|encoding| *encoding != encoding_rs::UTF_8))
        .bom_override(true)
        .strip_bom(true)
        .utf8_passthru(true)
        .build(Cursor::new(start).chain(bytes));
    let start = start_of(&mut reader)?;
    let whole: Box<dyn Read + 'a> = Box::new(Cursor::new(start.clone()).chain(reader));
    Ok(Text { start, reader: BufReader::with_capacity(1 << 16, whole) })
}

fn start_of(reader: &mut impl Read) -> std::io::Result<Vec<u8>> {
    let mut start = Vec::new();
    reader.take(BYTES_LOOKED_AT).read_to_end(&mut start)?;
    Ok(start)
}

/// A delimited text file.
pub(crate) struct Delimited<'a> {
    file: &'a str,
    input: BufReader<Box<dyn Read + 'a>>,
    /// Bytes that were read, and how many of them are used up.
    held: Vec<u8>,
    used: usize,
    ended: bool,
    /// Why no more could be read.
    failed: Option<std::io::Error>,
    /// The row, by its number, that no row of a table is as long as, and what was found there.
    endless: Option<String>,
    core: csv_core::Reader,
    row: DelimitedRow,
    breaks: Breaks,
    /// Line breaks inside cells of the rows before.
    inner: i64,
    number: i64,
}

/// How lines end, which decides what the line counter of the reader says after a row.
#[derive(Clone, Copy, PartialEq)]
enum Breaks {
    LineFeed,
    ReturnAndLineFeed,
    Return,
}

impl<'a> Delimited<'a> {
    /// Starts reading. Without a delimiter it is the one of comma, semicolon, tab and bar that divides the first lines most
    /// evenly.
    pub fn new(file: &'a str, text: Text<'a>, delimiter: Option<u8>) -> Self {
        let start = text.start.as_slice();
        let delimiter = delimiter.unwrap_or_else(|| evenest_delimiter(start));
        let breaks = match start.iter().position(|byte| matches!(byte, b'\n' | b'\r')) {
            Some(at) if start[at] == b'\r' && start.get(at + 1) == Some(&b'\n') => Breaks::ReturnAndLineFeed,
            Some(at) if start[at] == b'\r' => Breaks::Return,
            _ => Breaks::LineFeed,
        };
        Self {
            file,
            input: text.reader,
            held: Vec::new(),
            used: 0,
            ended: false,
            failed: None,
            endless: None,
            core: csv_core::ReaderBuilder::new().delimiter(delimiter).build(),
            row: DelimitedRow { cells: Vec::new(), ends: Vec::new(), len: 0, delimiter },
            breaks,
            inner: 0,
            number: 0,
        }
    }

    /// Reads on until so many bytes are held, or there are no more.
    fn fill(&mut self, bytes: usize) {
        let held = self.held.len() - self.used;
        if held >= bytes || self.ended || self.failed.is_some() {
            return;
        }
        self.held.drain(..self.used);
        self.used = 0;
        self.held.reserve(bytes - held);
        match self.input.by_ref().take((bytes - held) as u64).read_to_end(&mut self.held) {
            Ok(_) => self.ended = self.held.len() < bytes,
            Err(error) => self.failed = Some(error),
        }
    }

    /// Takes the next row into `row`, and counts it; `false` at the end.
    fn advance(&mut self) -> Result<bool, IngestError> {
        use csv_core::ReadRecordResult::{End, InputEmpty, OutputEndsFull, OutputFull, Record};
        let (mut bytes, mut cells) = (0, 0);
        let begins = (self.core.line() as i64 - self.inner).max(self.number + 1);
        loop {
            if bytes > LONGEST_ROW || cells > MOST_CELLS {
                let found = match cells > MOST_CELLS {
                    true => format!("more than {MOST_CELLS} cells"),
                    false => format!("more than {} MB", LONGEST_ROW >> 20),
                };
                self.endless =
                    Some(format!("row {begins} has {found}; perhaps its lines do not end, or a quote is not closed"));
            }
            if let Some(problem) = &self.endless {
                return Err(IngestError::read(self.file, problem));
            }
            if self.used == self.held.len() {
                self.fill(BYTES_AT_A_TIME);
            }
            let input = &self.held[self.used..];
            if let (true, Some(error)) = (input.is_empty(), &self.failed) {
                return Err(IngestError::read(self.file, error));
            }
            let row = &mut self.row;
            let (result, read, written, ended) =
                self.core.read_record(input, &mut row.cells[bytes..], &mut row.ends[cells..]);
            self.used += read;
            bytes += written;
            cells += ended;
            match result {
                InputEmpty => {}
                OutputFull => row.cells.resize((2 * row.cells.len()).max(256), 0),
                OutputEndsFull => row.ends.resize((2 * row.ends.len()).max(32), 0),
                Record => {
                    row.len = cells;
                    self.count();
                    return Ok(true);
                }
                End => return Ok(false),
            }
        }
    }

    /// The number of the row just read, blank lines counted: what a spreadsheet shows beside it.
    fn count(&mut self) {
        let inner = memchr::memchr_iter(b'\n', self.row.text()).count() as i64;
        let line = self.core.line() as i64;
        let told = match self.breaks {
            // The reader stands behind the line feed, or before it where a return came first.
            Breaks::LineFeed => line - 1 - inner - self.inner,
            Breaks::ReturnAndLineFeed => line - inner - self.inner,
            Breaks::Return => 0,
        };
        self.inner += inner;
        self.number = told.max(self.number + 1);
    }

    /// Whole lines without a quote, each ended as the first line of the file is: cells stand between delimiters there, rows
    /// between line breaks, and a row is numbered by its line. `None` where the next lines are not like that.
    fn plain(&mut self) -> Option<Block> {
        if self.breaks == Breaks::ReturnAndLineFeed && self.held.get(self.used) == Some(&b'\n') {
            self.used += 1;
            self.core.set_line(self.core.line() + 1);
        }
        let held = &self.held[self.used..];
        let odd = match self.breaks {
            Breaks::LineFeed => memchr::memchr2(b'"', b'\r', held),
            Breaks::ReturnAndLineFeed => memchr::memchr(b'"', held),
            Breaks::Return => return None,
        };
        let end = memchr::memrchr(b'\n', &held[..odd.unwrap_or(held.len())])? + 1;
        // An odd line near the start: others follow, most likely, and rows that are read one by one cost less than a switch.
        if odd.is_some() && end < held.len() / 2 {
            return None;
        }
        let lines = memchr::memchr_iter(b'\n', &held[..end]).count();
        if self.breaks == Breaks::ReturnAndLineFeed {
            let returns = memchr::memchr_iter(b'\r', &held[..end]).count();
            let paired = |at: usize| at > 0 && held[at - 1] == b'\r';
            if returns != lines || !memchr::memchr_iter(b'\n', &held[..end]).all(paired) {
                return None;
            }
        }
        let first = self.core.line() as i64 - self.inner;
        if first <= self.number {
            return None;
        }
        self.core.set_line(self.core.line() + lines as u64);
        let breaks = held[..end].iter().rev().take_while(|byte| matches!(byte, b'\n' | b'\r'));
        let blank = breaks.filter(|byte| **byte == b'\n').count();
        if blank < lines {
            self.number = first + (lines - blank) as i64;
        }
        let behind = self.used + end;
        let mut bytes = Vec::with_capacity(self.held.capacity());
        bytes.extend_from_slice(&self.held[behind..]);
        std::mem::swap(&mut bytes, &mut self.held);
        bytes.truncate(behind);
        let from = std::mem::take(&mut self.used);
        Some(Block::Lines(Lines { bytes, from, delimiter: self.row.delimiter, first }))
    }
}

impl TableReader for Delimited<'_> {
    fn next(&mut self) -> Result<Option<(i64, &dyn Record)>, IngestError> {
        while self.advance()? {
            if !self.row.is_blank() {
                return Ok(Some((self.number, &self.row)));
            }
        }
        Ok(None)
    }

    fn has_blocks(&self) -> bool {
        true
    }

    fn block(&mut self, bytes: usize) -> Result<Option<Block>, IngestError> {
        // What stands behind a row that has no end is no rows.
        if let Some(problem) = &self.endless {
            return Err(IngestError::read(self.file, problem));
        }
        self.fill(bytes);
        if let Some(block) = self.plain() {
            return Ok(Some(block));
        }
        let mut block = Rows::new(self.row.delimiter);
        while block.bytes().len() < bytes {
            match self.advance() {
                Ok(true) if self.row.is_blank() => {}
                Ok(true) => block.push(self.number, self.row.text(), self.row.ends()),
                Ok(false) => break,
                // What came before is read first; the next call meets the error again.
                Err(_) if !block.is_empty() => break,
                Err(error) => return Err(error),
            }
        }
        Ok((!block.is_empty()).then_some(Block::Rows(block)))
    }
}

struct DelimitedRow {
    cells: Vec<u8>,
    ends: Vec<usize>,
    len: usize,
    delimiter: u8,
}

impl DelimitedRow {
    fn ends(&self) -> &[usize] {
        &self.ends[..self.len]
    }
    fn text(&self) -> &[u8] {
        &self.cells[..self.ends().last().copied().unwrap_or(0)]
    }
}

impl DelimitedCells for DelimitedRow {
    fn cells(&self) -> usize {
        self.len
    }
    fn bytes(&self, cell: usize) -> Option<&[u8]> {
        let end = *self.ends().get(cell)?;
        let start = if cell == 0 { 0 } else { self.ends[cell - 1] };
        Some(&self.cells[start..end])
    }
    fn delimiter(&self) -> u8 {
        self.delimiter
    }
}

/// The delimiter that stands equally often, and at least once, in most of the first lines; of equals the one that stands
/// there more often, then the first of the list.
pub(crate) fn evenest_delimiter(start: &[u8]) -> u8 {
    let lines = counts_by_line(start);
    let evenness = |candidate: usize| {
        let counts: Vec<usize> = lines.iter().map(|line| line[candidate]).filter(|count| *count > 0).collect();
        let same = |count: &usize| counts.iter().filter(|other| *other == count).count();
        counts.iter().map(|count| (same(count), *count)).max().unwrap_or((0, 0))
    };
    let best = (0..DELIMITERS.len()).rev().max_by_key(|candidate| evenness(*candidate)).unwrap_or(0);
    DELIMITERS[best]
}

/// How often each candidate stands in each of the first lines, outside quotes.
fn counts_by_line(start: &[u8]) -> Vec<[usize; 4]> {
    let (mut lines, mut quoted) = (vec![[0; 4]], false);
    for byte in start {
        match byte {
            b'"' => quoted = !quoted,
            b'\n' | b'\r' if !quoted => {
                if lines.len() == LINES_LOOKED_AT {
                    break;
                }
                lines.push([0; 4]);
            }
            _ if quoted => {}
            _ => {
                if let (Some(at), Some(line)) =
                    (DELIMITERS.iter().position(|candidate| candidate == byte), lines.last_mut())
                {
                    line[at] += 1;
                }
            }
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::Cell;

    fn rows(bytes: &[u8], encoding: Option<&'static Encoding>, delimiter: Option<u8>) -> Vec<(i64, Vec<String>)> {
        let text = decoded(bytes, encoding).unwrap();
        let mut table = Delimited::new("a.csv", text, delimiter);
        let mut rows = Vec::new();
        while let Some((number, record)) = table.next().unwrap() {
            rows.push((number, (0..record.len()).map(|index| record.cell(index).text().into_owned()).collect()));
        }
        rows
    }

    fn numbers(text: &str) -> Vec<i64> {
        rows(text.as_bytes(), None, None).into_iter().map(|(number, _)| number).collect()
    }

    #[test]
    fn rows_are_counted_as_a_spreadsheet_counts_them() {
        assert_eq!(numbers("a,b\n1,2\n\n\n3,4\n\"x\ny\",5\n6,7"), [1, 2, 5, 6, 7]);
        assert_eq!(numbers("a,b\r\n1,2\r\n\r\n\r\n3,4\r\n\"x\r\ny\",5\r\n6,7\r\n"), [1, 2, 5, 6, 7]);
        assert_eq!(numbers("\n\na,b\n , \n1,2\n"), [3, 5]);
        assert_eq!(numbers("a,b\r1,2\r3,4\r"), [1, 2, 3]);
    }

    #[test]
    fn the_delimiter_is_the_one_that_divides_lines_evenly() {
        for (text, delimiter) in [
            ("a,b\n1,2\n", b','),
            ("field;length;note\nA;5,3;x, y\nB;4,1;\n", b';'),
            ("a\tb, c\n1\t2\n", b'\t'),
            ("Counts of May, north of the road\n\nfield|plants\nA|3\nB|4\n", b'|'),
            ("\"a;b;c\",d\n1,2\n", b','),
            ("alone\n", b','),
        ] {
            assert_eq!(evenest_delimiter(text.as_bytes()) as char, delimiter as char, "{text}");
        }
    }

    #[test]
    fn marks_and_declared_encodings_give_the_same_text() {
        let text = "field,note\nNörd,é\n";
        let expected = rows(text.as_bytes(), None, None);
        let with_mark: Vec<u8> = [&[0xef, 0xbb, 0xbf], text.as_bytes()].concat();
        assert_eq!(rows(&with_mark, None, None), expected);
        let little: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
        assert_eq!(rows(&little, None, None), expected, "UTF-16 without a mark");
        assert_eq!(rows(&[&[0xff, 0xfe], little.as_slice()].concat(), None, None), expected);
        let big: Vec<u8> = text.encode_utf16().flat_map(u16::to_be_bytes).collect();
        assert_eq!(rows(&[&[0xfe, 0xff], big.as_slice()].concat(), None, None), expected);
        let latin: Vec<u8> = text.chars().map(|letter| letter as u32 as u8).collect();
        assert_eq!(rows(&latin, Encoding::for_label(b"latin1"), None), expected);
        let table = decoded(latin.as_slice(), None).unwrap();
        let mut table = Delimited::new("a.csv", table, None);
        table.next().unwrap();
        let (_, record) = table.next().unwrap().unwrap();
        assert!(matches!(record.cell(0), Cell::NotText(_)), "undeclared Latin-1 is not guessed");
    }
}
