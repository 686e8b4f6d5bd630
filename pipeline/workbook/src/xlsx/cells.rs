//! The cells of one XLSX sheet.

use quick_xml::events::{BytesStart, Event};

use super::Book;
use super::parts::unescape;
use crate::address::{MAX_COLUMNS, MAX_ROWS, parse_cell};
use crate::builder::SheetBuilder;
use crate::xml::{self, attribute, attributes, name};
use crate::{Oddity, SheetCell, WorkbookError, serial};

/// The cell that is being read.
#[derive(Default)]
struct Open {
    row: u32,
    column: usize,
    kind: String,
    style: usize,
    text: String,
    has_formula: bool,
    has_value: bool,
}

/// Reads all cells and merged ranges of a sheet. Errors where the XML is damaged or the sheet ends too soon, or beyond
/// the limits of the builder.
pub(crate) fn read(part: &str, book: &Book, builder: &mut SheetBuilder) -> Result<(), WorkbookError> {
    let mut reader = xml::reader(part);
    let (mut row, mut column) = (0_u32, 0_usize);
    let mut open: Option<Open> = None;
    let (mut collecting, mut phonetic, mut seen_data, mut seen_end) = (false, false, false, false);
    loop {
        match reader.read_event().map_err(|error| WorkbookError::damaged("sheet", error))? {
            Event::Start(element) => match name(&element) {
                "sheetData" => seen_data = true,
                "row" => {
                    // Row and cell may leave their address out: then they follow the one before.
                    let stated = attribute(&element, "r").and_then(|number| number.trim().parse().ok());
                    row = stated.unwrap_or(row.saturating_add(1));
                    column = 0;
                }
                "c" if seen_data => {
                    let cell = open_cell(&element, row, column)?;
                    column = cell.column.saturating_add(1);
                    open = Some(cell);
                }
                "f" => open.iter_mut().for_each(|cell| cell.has_formula = true),
                "v" | "t" if !phonetic => {
                    collecting = open.is_some();
                    open.iter_mut().for_each(|cell| cell.has_value = true);
                }
                "rPh" => phonetic = true,
                "mergeCell" => {
                    if let Some(range) = attribute(&element, "ref").and_then(|range| range.parse().ok()) {
                        builder.merge(range);
                    }
                }
                _ => {}
            },
            Event::End(element) => match element.local_name().into_inner() {
                "v" | "t" => collecting = false,
                "rPh" => phonetic = false,
                "c" => {
                    if let Some(cell) = open.take() {
                        put(cell, book, builder)?;
                    }
                    if builder.is_content() {
                        return Ok(());
                    }
                }
                "worksheet" => seen_end = true,
                _ => {}
            },
            Event::Text(text) if collecting => push(&mut open, &text.xml10_content()),
            Event::CData(text) if collecting => push(&mut open, &text.xml10_content()),
            Event::GeneralRef(entity) if collecting => {
                open.iter_mut().for_each(|cell| xml::push_entity(&entity, &mut cell.text));
            }
            Event::Eof if seen_end => return Ok(()),
            Event::Eof => return Err(WorkbookError::damaged("sheet", "it ends before its end")),
            _ => {}
        }
    }
}

fn push(open: &mut Option<Open>, text: &str) {
    open.iter_mut().for_each(|cell| cell.text.push_str(text));
}

fn open_cell(element: &BytesStart<'_>, row: u32, column: usize) -> Result<Open, WorkbookError> {
    let mut cell = Open { row, column, ..Open::default() };
    let mut address = None;
    attributes(element).for_each(|(name, value)| match name {
        "r" => address = Some(value),
        "t" => cell.kind = value.into_owned(),
        "s" => cell.style = value.trim().parse().unwrap_or(0),
        _ => {}
    });
    if let Some(address) = address {
        (cell.row, cell.column) = parse_cell(address.trim())
            .ok_or_else(|| WorkbookError::damaged("sheet", format!("a cell has the address \"{address}\"")))?;
    }
    match (1..=MAX_ROWS).contains(&cell.row) && cell.column < MAX_COLUMNS {
        true => Ok(cell),
        false => Err(WorkbookError::damaged("sheet", format!("a cell stands in row {}", cell.row))),
    }
}

/// Reads the value of a cell by its type (ECMA-376 part 1, 18.18.11). What does not fit its type is kept as text.
fn put(cell: Open, book: &Book, builder: &mut SheetBuilder) -> Result<(), WorkbookError> {
    let Open { row, column, kind, style, text, has_formula, has_value } = cell;
    let trimmed = text.trim();
    // An empty text is a result, `=""`; an empty number is none.
    let has_result = if kind == "str" { has_value } else { !trimmed.is_empty() };
    if has_formula && !has_result && !matches!(kind.as_str(), "s" | "inlineStr") {
        builder.notice(row, column, Oddity::FormulaWithoutResult);
        return Ok(());
    }
    let mut odd = None;
    let value = match kind.as_str() {
        "s" | "b" | "e" | "d" | "n" | "" if trimmed.is_empty() => SheetCell::Empty,
        "s" => match trimmed.parse().ok().and_then(|place: usize| book.texts.get(place)) {
            Some(text) => SheetCell::Text(text.to_string()),
            None => {
                odd = Some(Oddity::TextMissing);
                SheetCell::Empty
            }
        },
        "b" if matches!(trimmed, "1" | "0" | "true" | "false" | "TRUE" | "FALSE") => {
            SheetCell::Boolean(matches!(trimmed, "1" | "true" | "TRUE"))
        }
        "e" => SheetCell::Fault(trimmed.to_owned()),
        "n" | "" => match trimmed.parse::<f64>().ok().filter(|number| number.is_finite()) {
            Some(number) => {
                let format = book.formats.get(style).copied().unwrap_or_default();
                let (value, oddity) = serial::cell_of(number, format, book.system);
                odd = oddity;
                value
            }
            None => {
                odd = Some(Oddity::NotOfItsType);
                SheetCell::Text(text)
            }
        },
        "d" => serial::cell_of_iso(trimmed).unwrap_or_else(|| {
            odd = Some(Oddity::NotOfItsType);
            SheetCell::Text(text.clone())
        }),
        "b" => {
            odd = Some(Oddity::NotOfItsType);
            SheetCell::Text(text)
        }
        _ => SheetCell::Text(unescape(&text)),
    };
    if let Some(oddity) = odd {
        builder.notice(row, column, oddity);
    }
    builder.put(row, column, value)
}
