//! Names of columns, cells and ranges.

use std::fmt;
use std::str::FromStr;

/// Most rows a sheet can have (a limit of the programs that write XLSX and ODS; from memory).
pub(crate) const MAX_ROWS: u32 = 1_048_576;
/// Most columns a sheet can have: the last one is XFD.
pub(crate) const MAX_COLUMNS: usize = 16_384;

/// Letters of a column as the spreadsheet shows them: 0 is `A`, 25 is `Z`, 27 is `AB`.
pub fn column_letters(index: usize) -> String {
    let mut letters = Vec::new();
    let mut left = index;
    loop {
        letters.push(char::from(b'A' + (left % 26) as u8));
        match left / 26 {
            0 => break,
            more => left = more - 1,
        }
    }
    letters.iter().rev().collect()
}

/// Reads `B7` or `$B$7`: row as shown (from 1) and column (from 0). `None` where it is no address on a sheet.
pub(crate) fn parse_cell(text: &str) -> Option<(u32, usize)> {
    let text = text.strip_prefix('$').unwrap_or(text);
    let digits = text.find(|letter: char| !letter.is_ascii_alphabetic())?;
    let (letters, number) = text.split_at_checked(digits)?;
    if letters.is_empty() || letters.len() > 3 {
        return None;
    }
    let column = letters.bytes().fold(0, |sum, letter| sum * 26 + usize::from(letter.to_ascii_uppercase() - b'A') + 1);
    let number = number.strip_prefix('$').unwrap_or(number);
    let row = number.bytes().all(|digit| digit.is_ascii_digit()).then(|| number.parse().ok())??;
    ((1..=MAX_ROWS).contains(&row) && column <= MAX_COLUMNS).then(|| (row, column - 1))
}

/// A rectangle of cells, both corners included. Prints and parses as `B3:F20`; one cell is `B3`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct CellRange {
    /// First row, as the spreadsheet shows it (from 1).
    pub first_row: u32,
    /// First column, as an index into the cells of a row (from 0).
    pub first_column: usize,
    /// Last row.
    pub last_row: u32,
    /// Last column.
    pub last_column: usize,
}

impl CellRange {
    /// Whether a cell lies in the range; `row` from 1, `column` from 0.
    pub fn holds(&self, row: u32, column: usize) -> bool {
        (self.first_row..=self.last_row).contains(&row) && (self.first_column..=self.last_column).contains(&column)
    }
}

impl fmt::Display for CellRange {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{}", column_letters(self.first_column), self.first_row)?;
        match (self.first_row, self.first_column) == (self.last_row, self.last_column) {
            true => Ok(()),
            false => write!(f, ":{}{}", column_letters(self.last_column), self.last_row),
        }
    }
}

/// A text that names no range of cells.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is not a range of cells; write it like B3:F20")]
pub struct RangeError(pub String);

impl FromStr for CellRange {
    type Err = RangeError;

    /// Corners may come in any order, with or without `$`. Errors where the text names no cells of a sheet.
    fn from_str(text: &str) -> Result<Self, RangeError> {
        let (from, to) = text.trim().split_once(':').unwrap_or((text.trim(), text.trim()));
        let corners = parse_cell(from).zip(parse_cell(to));
        let ((row_a, column_a), (row_b, column_b)) = corners.ok_or_else(|| RangeError(text.to_owned()))?;
        Ok(Self {
            first_row: row_a.min(row_b),
            first_column: column_a.min(column_b),
            last_row: row_a.max(row_b),
            last_column: column_a.max(column_b),
        })
    }
}
