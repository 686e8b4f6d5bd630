//! Puts the rows of the tables into a workbook that has all but them.
//!
//! A workbook is an archive of parts (ECMA-376 part 2). Parts are copied as they are, save the sheets of tables, which get their rows, and
//! the texts, which are numbered anew because rows bring texts of their own.

use std::io::{self, Cursor, Read, Write};

use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipArchive, ZipWriter};

use crate::rows::{self, Styles};
use crate::sheet::{FIRST_ROW, Sheet};
use crate::skeleton::stand_ins;
use crate::strings::{Strings, written};
use crate::{BookError, PACKING};

/// Part that holds the texts.
const TEXTS: &str = "xl/sharedStrings.xml";

/// The workbook with its rows. `skeleton` is the workbook without them; its sheets are `first` others and then those of the tables.
pub(crate) fn filled(skeleton: Vec<u8>, first: usize, sheets: &[Sheet]) -> Result<Vec<u8>, BookError> {
    fill(skeleton, first, sheets).map_err(|error| BookError::Archive { problem: error.to_string() })
}

fn fill(skeleton: Vec<u8>, first: usize, sheets: &[Sheet]) -> io::Result<Vec<u8>> {
    let mut parts = ZipArchive::new(Cursor::new(skeleton))?;
    let texts = part(&mut parts, TEXTS)?;
    let texts = written(&texts);
    let mut strings = Strings::default();
    let mut book = ZipWriter::new_stream(Vec::new());
    let options = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Deflated)
        .compression_level(Some(i64::from(PACKING)))
        .unix_permissions(0o600)
        .last_modified_time(DateTime::default());
    for place in 0..parts.len() {
        let name = parts.by_index(place)?.name()?.into_owned();
        book.start_file(name.as_str(), options)?;
        if name == TEXTS {
            strings.part().iter().try_for_each(|piece| book.write_all(piece.as_bytes()))?;
            continue;
        }
        let text = part(&mut parts, &name)?;
        match number_of_sheet(&name) {
            None => book.write_all(text.as_bytes())?,
            Some(number) => match number.checked_sub(first + 1).and_then(|table| sheets.get(table)) {
                Some(sheet) => with_rows(&text, sheet, &texts, &mut strings, &mut book)?,
                None => book.write_all(renumbered(&text, &texts, &mut strings)?.as_bytes())?,
            },
        }
    }
    Ok(book.finish()?.into_inner())
}

fn part(parts: &mut ZipArchive<Cursor<Vec<u8>>>, name: &str) -> io::Result<String> {
    let mut text = String::new();
    parts.by_name(name)?.read_to_string(&mut text)?;
    Ok(text)
}

/// The number of a sheet, from 1, by the name of its part.
fn number_of_sheet(name: &str) -> Option<usize> {
    name.strip_prefix("xl/worksheets/sheet")?.strip_suffix(".xml")?.parse().ok()
}

/// Writes the sheet of a table: what stands before and after the rows as it is, and between them the rows instead of the stand-ins.
fn with_rows(
    text: &str,
    sheet: &Sheet,
    texts: &[&str],
    strings: &mut Strings,
    book: &mut impl Write,
) -> io::Result<()> {
    let (rows, after) = text.rsplit_once("</sheetData>").ok_or_else(|| odd("a sheet without rows"))?;
    let (head, below) = rows.split_at(rows.find(&format!("<row r=\"{}\"", FIRST_ROW + 1)).unwrap_or(rows.len()));
    let head = renumbered(head, texts, strings)?;
    let (before, rest) = head.split_once("<dimension ref=\"").ok_or_else(|| odd("a sheet without its size"))?;
    let (size, rest) = rest.split_once('"').ok_or_else(|| odd("a sheet without its size"))?;
    let (from, to) = size.split_once(':').unwrap_or((size, size));
    let last = to.trim_end_matches(|letter: char| letter.is_ascii_digit());
    let height = FIRST_ROW as usize + sheet.shown_rows();
    for piece in [before, "<dimension ref=\"", from, ":", last, &height.to_string(), "\"", rest] {
        book.write_all(piece.as_bytes())?;
    }
    rows::write(sheet, &styles(below, sheet), strings, book)?;
    book.write_all(b"</sheetData>")?;
    book.write_all(after.as_bytes())
}

/// The number of each look, by its stand-in.
fn styles(rows: &str, sheet: &Sheet) -> Vec<Styles> {
    let first = stand_ins(sheet) + 1;
    let style = |place: u16, row: u32| {
        let cell = format!("<c r=\"{}{row}\" s=\"", rust_xlsxwriter::column_number_to_name(place));
        rows.split_once(&cell)?.1.split_once('"')?.0.parse().ok()
    };
    let columns = (0_u16..).zip(sheet.columns());
    columns
        .map(|(place, column)| match column.one_format() {
            Some(_) => Styles { plain: style(place, first), others: Vec::new() },
            None => {
                let looks = (first..).zip(column.looks());
                Styles {
                    plain: None,
                    others: looks.filter_map(|(row, look)| Some((look, style(place, row)?))).collect(),
                }
            }
        })
        .collect()
}

/// Cells with the numbers that their texts have in the whole workbook. `texts` are those of the skeleton by the number they have there.
fn renumbered(cells: &str, texts: &[&str], strings: &mut Strings) -> io::Result<String> {
    const BEGIN: &str = " t=\"s\"><v>";
    let mut pieces = cells.split(BEGIN);
    let mut done = pieces.next().unwrap_or_default().to_owned();
    for piece in pieces {
        let (number, rest) = piece.split_once('<').ok_or_else(|| odd("a cell without end"))?;
        let text = number.parse().ok().and_then(|number: usize| texts.get(number));
        let text = text.ok_or_else(|| odd("a cell with a text that is not there"))?;
        done.push_str(BEGIN);
        done.push_str(&strings.number_of_written(text).to_string());
        done.push('<');
        done.push_str(rest);
    }
    Ok(done)
}

fn odd(what: &str) -> io::Error {
    io::Error::new(io::ErrorKind::InvalidData, format!("the writer of workbooks made {what}"))
}
