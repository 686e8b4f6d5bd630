//! Text files whose columns stand under each other: divided by blanks, or of fixed widths.

use std::io::{BufRead, BufReader, Read};

use crate::IngestError;
use crate::delimited::Text;
use crate::record::{OwnedCell, Record, TableReader};

/// Longest line that is read; a longer one is no table of columns.
const LONGEST_LINE: u64 = 1 << 20;

/// How a line is cut.
pub(crate) enum Cut {
    /// At runs of blanks.
    Blanks,
    /// After so many letters each; the rest of the line is one more column.
    Widths(Vec<usize>),
}

/// A text file of columns.
pub(crate) struct ColumnsOfText<'a> {
    file: &'a str,
    text: BufReader<Box<dyn Read + 'a>>,
    cut: Cut,
    line: Vec<u8>,
    cells: Vec<OwnedCell>,
    number: i64,
}

impl<'a> ColumnsOfText<'a> {
    pub fn new(file: &'a str, text: Text<'a>, cut: Cut) -> Self {
        Self { file, text: text.reader, cut, line: Vec::new(), cells: Vec::new(), number: 0 }
    }
}

impl TableReader for ColumnsOfText<'_> {
    fn next(&mut self) -> Result<Option<(i64, &dyn Record)>, IngestError> {
        loop {
            self.line.clear();
            let read = self.text.by_ref().take(LONGEST_LINE).read_until(b'\n', &mut self.line);
            let length = read.map_err(|error| IngestError::read(self.file, &error))?;
            if length == 0 {
                return Ok(None);
            }
            self.number += 1;
            if length as u64 == LONGEST_LINE {
                let problem = format!(
                    "line {} has more than {} MB; perhaps its lines do not end",
                    self.number,
                    LONGEST_LINE >> 20
                );
                return Err(IngestError::read(self.file, &problem));
            }
            let line = String::from_utf8_lossy(&self.line);
            let line = line.trim_end_matches(['\r', '\n']);
            self.cells = match &self.cut {
                Cut::Blanks => line.split_whitespace().map(|cell| OwnedCell::Text(cell.to_owned())).collect(),
                Cut::Widths(widths) => by_width(line, widths),
            };
            // Which letters stood there is not known; the row is refused for it where the cell is wanted.
            if std::str::from_utf8(&self.line).is_err() {
                self.cells.iter_mut().for_each(mark_unread);
            }
            if !self.cells.is_blank() {
                return Ok(Some((self.number, &self.cells)));
            }
        }
    }
}

fn mark_unread(cell: &mut OwnedCell) {
    if let OwnedCell::Text(text) = cell
        && text.contains(char::REPLACEMENT_CHARACTER)
    {
        *cell = OwnedCell::NotText(std::mem::take(text).into_bytes());
    }
}

fn by_width(line: &str, widths: &[usize]) -> Vec<OwnedCell> {
    let mut letters = line.chars();
    let mut cells: Vec<OwnedCell> =
        widths.iter().map(|width| OwnedCell::Text(letters.by_ref().take(*width).collect())).collect();
    cells.push(OwnedCell::Text(letters.collect()));
    cells
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::delimited::decoded;
    use crate::record::Cell;

    fn rows(text: &str, cut: Cut) -> Vec<(i64, Vec<String>)> {
        let mut table = ColumnsOfText::new("a.txt", decoded(text.as_bytes(), None).unwrap(), cut);
        let mut rows = Vec::new();
        while let Some((number, record)) = table.next().unwrap() {
            rows.push((number, (0..record.len()).map(|index| record.cell(index).text().into_owned()).collect()));
        }
        rows
    }

    #[test]
    fn letters_of_an_unknown_encoding_are_not_replaced_in_silence() {
        let bytes: &[u8] = b"A N\xf6rd 3\n";
        for cut in [Cut::Blanks, Cut::Widths(vec![2, 5])] {
            let mut table = ColumnsOfText::new("a.txt", decoded(bytes, None).unwrap(), cut);
            let (_, record) = table.next().unwrap().unwrap();
            assert_eq!((record.cell(0), record.cell(2)), (Cell::Text("A"), Cell::Text("3")));
            assert!(matches!(record.cell(1), Cell::NotText(_)));
        }
    }

    #[test]
    fn lines_are_cut_at_blanks_or_after_letters() {
        assert_eq!(
            rows("54902  20200101   9.8\n\n", Cut::Blanks),
            [(1, vec!["54902".into(), "20200101".into(), "9.8".into()])]
        );
        let cut = rows("54902     \n54902 9.8é", Cut::Widths(vec![5, 4]));
        assert_eq!(cut[0].1[..2], ["54902".to_owned(), String::new()]);
        assert_eq!(cut[1], (2, vec!["54902".into(), "9.8".into(), "é".into()]));
    }
}
