//! Tables in `.dbf` files (dBASE III and its relatives; Library of Congress, format description fdd000325).
//!
//! Read here and not by a library, because the rows must stay in step with the shapes whatever one of them holds.

use crate::PlaceError;
use crate::encoding::Encoding;
use crate::properties::Property;
use crate::strip::{MOST_FEATURES, MOST_VALUES};

const FORMAT: &str = "a .dbf table";
const HEADER: usize = 32;
const DESCRIPTION: usize = 32;

/// One row, in the order of the file.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Row {
    /// Marked as deleted; its shape is still there.
    pub deleted: bool,
    /// Columns that have a value.
    pub properties: Vec<Property>,
}

/// The rows of a table and what was wrong with its text.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Table {
    pub rows: Vec<Row>,
    pub notices: Vec<String>,
}

struct Column {
    name: String,
    kind: u8,
    start: usize,
    length: usize,
}

/// Reads a table. `code_page` is the text of the `.cpg` file beside it.
pub(crate) fn read_table(bytes: &[u8], code_page: Option<&str>) -> Result<Table, PlaceError> {
    let damaged = |problem: &str| PlaceError::damaged(FORMAT, problem);
    let short = || damaged("it ends within its header; export it again");
    let stated_rows = u32_at(bytes, 4).ok_or_else(short)? as usize;
    let header = usize::from(u16_at(bytes, 8).ok_or_else(short)?);
    let row_length = usize::from(u16_at(bytes, 10).ok_or_else(short)?);
    let driver = *bytes.get(29).ok_or_else(short)?;
    let descriptions = bytes.get(HEADER..header).ok_or_else(short)?;
    if row_length == 0 {
        return Err(damaged("its header says that a row has no length; export it again"));
    }
    let rows = bytes.get(header..).unwrap_or_default();
    let mut notices = Vec::new();
    let encoding = encoding_of(code_page, driver, rows, &mut notices);
    let columns = columns_of(descriptions, row_length, encoding);
    let mut table = Table { rows: Vec::new(), notices };
    let (mut values, mut replaced) = (0, false);
    for row in rows.chunks_exact(row_length).take(stated_rows) {
        let mut properties = Vec::new();
        for column in &columns {
            let cell = row.get(column.start..column.start + column.length).unwrap_or_default();
            if let Some((value, bad)) = value_of(cell, column.kind, encoding) {
                replaced |= bad;
                properties.push((column.name.clone(), value));
            }
        }
        values += properties.len();
        if values > MOST_VALUES {
            return Err(PlaceError::TooMany { what: "values of properties", limit: MOST_VALUES });
        }
        if table.rows.len() >= MOST_FEATURES {
            return Err(PlaceError::TooMany { what: "rows", limit: MOST_FEATURES });
        }
        table.rows.push(Row { deleted: row.first() == Some(&b'*'), properties });
    }
    if replaced {
        table
            .notices
            .push("some letters of the .dbf are not UTF-8 and were replaced; export it with a .cpg file".into());
    }
    Ok(table)
}

fn u16_at(bytes: &[u8], place: usize) -> Option<u16> {
    bytes.get(place..)?.first_chunk().copied().map(u16::from_le_bytes)
}

fn u32_at(bytes: &[u8], place: usize) -> Option<u32> {
    bytes.get(place..)?.first_chunk().copied().map(u32::from_le_bytes)
}

/// What the `.cpg` says; else the language driver in the header, where it is one of these; else what the bytes look
/// like.
fn encoding_of(code_page: Option<&str>, driver: u8, rows: &[u8], notices: &mut Vec<String>) -> Encoding {
    if let Some(named) = code_page.and_then(Encoding::named) {
        return named;
    }
    if code_page.is_none() && matches!(driver, 0x03 | 0x57) {
        return Encoding::Windows1252;
    }
    if rows.is_ascii() {
        return Encoding::Latin1;
    }
    let why = match code_page {
        Some(name) => format!("the .cpg names the encoding `{}`, which is not known here", name.trim()),
        None => "there is no .cpg that names the encoding of the .dbf".to_owned(),
    };
    // Text in Latin-1 is hardly ever UTF-8 by chance: each letter above ASCII would need the right one after it.
    let (encoding, name) = match std::str::from_utf8(rows) {
        Ok(_) => (Encoding::Utf8, "UTF-8"),
        Err(_) => (Encoding::Latin1, "ISO-8859-1"),
    };
    notices.push(format!("{why}; it was read as {name}: look whether letters such as é or ß are right"));
    encoding
}

fn columns_of(descriptions: &[u8], row_length: usize, encoding: Encoding) -> Vec<Column> {
    let described = || descriptions.chunks_exact(DESCRIPTION).take_while(|column| column.first() != Some(&0x0D));
    // Long columns of text keep the upper byte of their length where numbers keep their decimals.
    let length_of = |column: &[u8], long: bool| {
        let byte = |place: usize| usize::from(column.get(place).copied().unwrap_or(0));
        if long && column.get(11) == Some(&b'C') { byte(16) + 256 * byte(17) } else { byte(16) }
    };
    let total = |long: bool| 1 + described().map(|column| length_of(column, long)).sum::<usize>();
    let long = total(false) != row_length && total(true) == row_length;
    let mut start = 1;
    let columns = described().map(|column| {
        let name = column.get(..11).unwrap_or_default().split(|byte| *byte == 0).next().unwrap_or_default();
        let length = length_of(column, long);
        let found = Column {
            name: encoding.decode(name).0.trim().to_owned(),
            kind: column.get(11).copied().unwrap_or(b'C'),
            start,
            length,
        };
        start += length;
        found
    });
    columns.collect()
}

/// The value as text and whether letters of it were replaced; nothing where the cell is empty.
fn value_of(cell: &[u8], kind: u8, encoding: Encoding) -> Option<(String, bool)> {
    if let (b'I', Some(bytes)) = (kind, cell.first_chunk()) {
        return Some((i32::from_le_bytes(*bytes).to_string(), false));
    }
    let (text, replaced) = encoding.decode(cell);
    let text = text.trim_matches(|letter: char| letter.is_whitespace() || letter == '\0');
    let filled = match kind {
        // A number that did not fit is written as stars, a yes or no that nobody gave as a question mark.
        b'N' | b'F' => !text.is_empty() && !text.bytes().all(|byte| byte == b'*'),
        b'L' => !text.is_empty() && text != "?",
        _ => !text.is_empty(),
    };
    let text = if matches!(kind, b'N' | b'F') { plain_number(text) } else { text };
    let is_day = text.len() == 8 && text.bytes().all(|byte| byte.is_ascii_digit());
    let value = match (kind, text, text.get(..4), text.get(4..6), text.get(6..)) {
        (b'D', _, Some(year), Some(month), Some(day)) if is_day => format!("{year}-{month}-{day}"),
        (b'L', "T" | "t" | "Y" | "y", ..) => "yes".to_owned(),
        (b'L', "F" | "f" | "N" | "n", ..) => "no".to_owned(),
        _ => text.to_owned(),
    };
    filled.then_some((value, replaced))
}

/// A number without the zeros that fill its decimals: 30.500 is 30.5, and 3.000 is 3.
fn plain_number(text: &str) -> &str {
    let digits = |byte: u8| byte.is_ascii_digit() || matches!(byte, b'.' | b'-' | b'+');
    if text.contains('.') && text.bytes().all(digits) { text.trim_end_matches('0').trim_end_matches('.') } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A table of text columns, written by hand; names and lengths, then rows with their mark.
    fn table(columns: &[(&str, u8, u16)], rows: &[(&str, &[u8])]) -> Vec<u8> {
        let mut bytes = vec![3, 0, 0, 0];
        bytes.extend((rows.len() as u32).to_le_bytes());
        bytes.extend((33 + 32 * columns.len() as u16).to_le_bytes());
        bytes.extend((1 + columns.iter().map(|column| column.2).sum::<u16>()).to_le_bytes());
        bytes.resize(32, 0);
        for (name, kind, length) in columns {
            let start = bytes.len();
            bytes.extend(name.as_bytes());
            bytes.resize(start + 11, 0);
            bytes.push(*kind);
            bytes.resize(start + 16, 0);
            bytes.extend(length.to_le_bytes());
            bytes.resize(start + 32, 0);
        }
        bytes.push(0x0D);
        for (mark, cells) in rows {
            bytes.extend(mark.as_bytes());
            bytes.extend(*cells);
        }
        bytes.push(0x1A);
        bytes
    }

    fn pairs(row: &Row) -> Vec<(&str, &str)> {
        row.properties.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect()
    }

    #[test]
    fn a_date_of_zeros_in_the_header_and_rows_marked_as_deleted_do_not_matter() {
        let bytes =
            table(&[("STRIP_ID", b'C', 4), ("DAY", b'D', 8)], &[(" ", b"a1  20250501"), ("*", b"b   ********")]);
        let table = read_table(&bytes, None).unwrap();
        assert_eq!(pairs(&table.rows[0]), [("STRIP_ID", "a1"), ("DAY", "2025-05-01")]);
        assert!(!table.rows[0].deleted && table.rows[1].deleted);
        assert!(table.notices.is_empty());
    }

    #[test]
    fn numbers_that_did_not_fit_and_blanks_are_missing() {
        let bytes =
            table(&[("A", b'N', 3), ("B", b'N', 3), ("C", b'L', 1), ("D", b'I', 4)], &[(" ", b"***  7?\x05\0\0\0")]);
        assert_eq!(pairs(&read_table(&bytes, None).unwrap().rows[0]), [("B", "7"), ("D", "5")]);
    }

    #[test]
    fn numbers_lose_the_zeros_that_fill_them_and_letters_of_yes_and_no_become_words() {
        let columns = [("A", b'N', 6), ("B", b'F', 5), ("C", b'N', 3), ("D", b'L', 1), ("E", b'C', 4), ("F", b'N', 6)];
        let rows: [(&str, &[u8]); 1] = [(" ", b"30.500 3.00100T3.00-0.250")];
        let table = read_table(&table(&columns, &rows), None).unwrap();
        let expected = [("A", "30.5"), ("B", "3"), ("C", "100"), ("D", "yes"), ("E", "3.00"), ("F", "-0.25")];
        assert_eq!(pairs(&table.rows[0]), expected);
    }

    #[test]
    fn a_long_column_of_text_uses_both_bytes_of_its_length() {
        let cells = [b"x".repeat(300), b"y ".to_vec()].concat();
        let table = read_table(&table(&[("LONG", b'C', 300), ("Y", b'C', 2)], &[(" ", &cells)]), None).unwrap();
        assert_eq!(table.rows[0].properties[0].1.len(), 300);
        assert_eq!(table.rows[0].properties[1].1, "y");
    }

    #[test]
    fn text_is_read_as_the_cpg_says_else_with_a_notice() {
        let read = |cells: &[u8], cpg: Option<&str>| {
            let table = read_table(&table(&[("T", b'C', 8)], &[(" ", cells)]), cpg).unwrap();
            (table.rows[0].properties[0].1.clone(), table.notices.join("\n"))
        };
        assert_eq!(read(b"Kr\xFCger  ", Some("1252")), ("Krüger".into(), String::new()));
        assert_eq!(read("Krüger ".as_bytes(), Some("UTF-8")), ("Krüger".into(), String::new()));
        let (text, notice) = read(b"Kr\xFCger  ", None);
        assert!(text == "Krüger" && notice.contains("ISO-8859-1"), "{notice}");
        let (text, notice) = read("Krüger ".as_bytes(), None);
        assert!(text == "Krüger" && notice.contains("UTF-8"), "{notice}");
        let (_, notice) = read(b"Kr\xFCger  ", Some("Big5"));
        assert!(notice.contains("`Big5`"), "{notice}");
        let (_, notice) = read(b"Kr\xFCger  ", Some("UTF-8"));
        assert!(notice.contains("replaced"), "{notice}");
    }

    #[test]
    fn a_header_that_promises_more_than_there_is_gives_what_there_is() {
        let mut bytes = table(&[("A", b'C', 2)], &[(" ", b"x ")]);
        bytes[4..8].copy_from_slice(&u32::MAX.to_le_bytes());
        assert_eq!(read_table(&bytes, None).unwrap().rows.len(), 1);
        bytes[10..12].copy_from_slice(&0_u16.to_le_bytes());
        assert!(read_table(&bytes, None).is_err());
        assert!(read_table(&bytes[..20], None).is_err());
    }
}
