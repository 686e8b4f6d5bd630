//! The cells of one ODS sheet.

use std::ops::Range;

use quick_xml::events::{BytesStart, Event};

use super::CONTENT;
use crate::address::{MAX_COLUMNS, MAX_ROWS};
use crate::builder::{SheetBuilder, too_large};
use crate::xml::{self, attributes, name};
use crate::{CellRange, Oddity, SheetCell, WorkbookError, serial};

/// Letters that a cell of a spreadsheet can show (a limit of the programs that write them).
const MOST_LETTERS: usize = 32_767;

/// Text of the paragraphs of a cell, blanks folded as OpenDocument 1.3 part 3 has it (white space in paragraphs); but a
/// blank at the end stays, for programs write it so where a person typed one.
#[derive(Default)]
struct Paragraphs {
    text: String,
    any: bool,
    /// A blank here folds into the one before, or into the start of the paragraph.
    folds: bool,
}

impl Paragraphs {
    fn start(&mut self) {
        if self.any {
            self.text.push('\n');
        }
        (self.any, self.folds) = (true, true);
    }

    fn push(&mut self, text: &str) {
        for letter in text.chars() {
            let blank = matches!(letter, ' ' | '\t' | '\n' | '\r');
            if !(blank && self.folds) {
                self.text.push(if blank { ' ' } else { letter });
            }
            self.folds = blank;
        }
    }

    /// Letters that stand as they are: blanks with a count, tabs, line breaks.
    fn push_firm(&mut self, letter: char, count: usize) {
        // More blanks than a cell can show are not meant, and a few bytes could state any number of them.
        let room = MOST_LETTERS.saturating_sub(self.text.len());
        self.text.extend(std::iter::repeat_n(letter, count.min(room)));
        self.folds = false;
    }
}

#[derive(Default)]
struct Open {
    repeats: u64,
    columns_spanned: u64,
    rows_spanned: u64,
    kind: String,
    value: Option<String>,
    is_error: bool,
    has_formula: bool,
    paragraphs: Paragraphs,
}

/// How often a row that holds something may say that it is repeated: nobody wrote a hundred pages of the same row, and a few letters
/// must not stand for millions of cells.
const MOST_REPEATS: u64 = 10_000;

/// Where the reader is in the sheet.
struct Place {
    /// Row, from 1.
    row: u64,
    row_repeats: u64,
    column: u64,
    /// Cells of the row that hold something, to be repeated with it: columns and value.
    cells: Vec<(Range<usize>, SheetCell)>,
    /// Bytes of text in them.
    text_bytes: usize,
}

/// Reads the table that the content begins with. Errors where the XML is damaged, or beyond the limits of the builder.
pub(crate) fn read(content: &str, builder: &mut SheetBuilder) -> Result<(), WorkbookError> {
    let mut reader = xml::reader(content);
    // Tables that the reader is in, the sheet among them, and elements of a cell; a table in a cell is not read.
    let (mut tables, mut depth) = (0_usize, 0_usize);
    let mut place = Place { row: 0, row_repeats: 1, column: 0, cells: Vec::new(), text_bytes: 0 };
    let mut open: Option<Open> = None;
    let mut in_paragraph = false;
    loop {
        let event = reader.read_event().map_err(|error| WorkbookError::damaged(CONTENT, error))?;
        match event {
            Event::Eof => return Err(WorkbookError::damaged(CONTENT, "it ends before its end")),
            Event::Start(element) => match (name(&element), &mut open) {
                ("table", _) => tables += 1,
                _ if tables > 1 => {}
                ("table-row", None) => {
                    place.row = place.row.saturating_add(place.row_repeats);
                    (place.column, place.row_repeats) = (0, repeats(&element, "number-rows-repeated"));
                }
                ("table-cell" | "covered-table-cell", None) => (open, depth) = (Some(open_cell(&element)), 0),
                // Paragraphs further down belong to a note or a drawing at the cell, not to what it holds.
                ("p" | "h", Some(cell)) if depth == 0 => {
                    depth += 1;
                    in_paragraph = true;
                    cell.paragraphs.start();
                }
                (inner, Some(cell)) => {
                    depth += 1;
                    match inner {
                        "s" if in_paragraph => {
                            let count = attribute_number(&element, "c").unwrap_or(1);
                            cell.paragraphs.push_firm(' ', usize::try_from(count).unwrap_or(usize::MAX));
                        }
                        "tab" if in_paragraph => cell.paragraphs.push_firm('\t', 1),
                        "line-break" if in_paragraph => cell.paragraphs.push_firm('\n', 1),
                        _ => {}
                    }
                }
                _ => {}
            },
            Event::End(element) => match element.local_name().into_inner() {
                "table" if tables > 1 => tables -= 1,
                "table" => return Ok(()),
                _ if tables > 1 => {}
                "table-cell" | "covered-table-cell" if depth == 0 => {
                    if let Some(cell) = open.take() {
                        close_cell(cell, &mut place, builder)?;
                    }
                }
                "table-row" if open.is_none() => {
                    close_row(&mut place, builder)?;
                    if builder.is_content() {
                        return Ok(());
                    }
                }
                "p" | "h" if depth == 1 => {
                    depth = 0;
                    in_paragraph = false;
                }
                _ => depth = depth.saturating_sub(usize::from(open.is_some())),
            },
            Event::Text(text) if in_paragraph && tables == 1 => {
                open.iter_mut().for_each(|cell| cell.paragraphs.push(&text.xml10_content()));
            }
            Event::CData(text) if in_paragraph && tables == 1 => {
                open.iter_mut().for_each(|cell| cell.paragraphs.push(&text.xml10_content()));
            }
            Event::GeneralRef(entity) if in_paragraph && tables == 1 => {
                let mut letter = String::new();
                xml::push_entity(&entity, &mut letter);
                open.iter_mut().for_each(|cell| cell.paragraphs.push(&letter));
            }
            _ => {}
        }
    }
}

fn attribute_number(element: &BytesStart<'_>, wanted: &str) -> Option<u64> {
    xml::attribute(element, wanted)?.trim().parse().ok()
}

/// How often a row stands there; what is not a count is once.
fn repeats(element: &BytesStart<'_>, wanted: &str) -> u64 {
    attribute_number(element, wanted).unwrap_or(1).max(1)
}

fn open_cell(element: &BytesStart<'_>) -> Open {
    let mut cell = Open { repeats: 1, columns_spanned: 1, rows_spanned: 1, ..Open::default() };
    let count = |value: &str| value.trim().parse::<u64>().unwrap_or(1).max(1);
    for (name, value) in attributes(element) {
        match name {
            "number-columns-repeated" => cell.repeats = count(&value),
            "number-columns-spanned" => cell.columns_spanned = count(&value),
            "number-rows-spanned" => cell.rows_spanned = count(&value),
            "formula" => cell.has_formula = true,
            // Both `office:value-type` and the extension that tells errors.
            "value-type" if value == "error" => cell.is_error = true,
            "value-type" if cell.kind.is_empty() || cell.kind == "string" => cell.kind = value.into_owned(),
            "value" | "date-value" | "time-value" | "boolean-value" | "string-value" => {
                cell.value = Some(value.into_owned())
            }
            _ => {}
        }
    }
    cell
}

fn close_cell(cell: Open, place: &mut Place, builder: &mut SheetBuilder) -> Result<(), WorkbookError> {
    let (row, column) = (place.row, place.column);
    place.column = column.saturating_add(cell.repeats);
    let address = u32::try_from(row).ok().zip(usize::try_from(column).ok());
    let Some((row_number, column_index)) = address.filter(|(row, column)| *row <= MAX_ROWS && *column < MAX_COLUMNS)
    else {
        return match has_something(&cell) {
            true => Err(too_large("a cell beyond XFD1048576".to_owned(), "cells up to there".to_owned())),
            false => Ok(()),
        };
    };
    if cell.columns_spanned > 1 || cell.rows_spanned > 1 {
        builder.merge(CellRange {
            first_row: row_number,
            first_column: column_index,
            last_row: row.saturating_add(cell.rows_spanned - 1).min(MAX_ROWS.into()) as u32,
            last_column: column.saturating_add(cell.columns_spanned - 1).min(MAX_COLUMNS as u64 - 1) as usize,
        });
    }
    if !has_something(&cell) {
        if cell.has_formula {
            builder.notice(row_number, column_index, Oddity::FormulaWithoutResult);
        }
        return Ok(());
    }
    let repeats = cell.repeats;
    let (value, oddity) = value_of(cell);
    if let Some(oddity) = oddity {
        builder.notice(row_number, column_index, oddity);
    }
    if matches!(&value, SheetCell::Text(text) if text.is_empty()) {
        return Ok(());
    }
    if repeats > (MAX_COLUMNS - column_index) as u64 {
        let found = format!("a cell that is repeated {repeats} times in row {row_number}");
        return Err(too_large(found, format!("{MAX_COLUMNS} columns")));
    }
    if let SheetCell::Text(text) | SheetCell::Fault(text) = &value {
        place.text_bytes = place.text_bytes.saturating_add(text.len());
        builder.check_text(place.text_bytes)?;
    }
    place.cells.push((column_index..column_index + repeats as usize, value));
    Ok(())
}

fn close_row(place: &mut Place, builder: &mut SheetBuilder) -> Result<(), WorkbookError> {
    let cells = std::mem::take(&mut place.cells);
    place.text_bytes = 0;
    if cells.is_empty() {
        return Ok(());
    }
    let last = place.row.saturating_add(place.row_repeats - 1);
    if last > MAX_ROWS.into() || place.row_repeats > MOST_REPEATS {
        let found = format!("row {} that is repeated {} times", place.row, place.row_repeats);
        return Err(too_large(found, format!("{MOST_REPEATS} times and {MAX_ROWS} rows")));
    }
    for row in place.row..=last {
        for (columns, cell) in &cells {
            for column in columns.clone() {
                builder.put(row as u32, column, cell.clone())?;
            }
        }
        if builder.is_content() {
            break;
        }
    }
    Ok(())
}

fn has_something(cell: &Open) -> bool {
    cell.value.is_some() || !cell.kind.is_empty() || !cell.paragraphs.text.is_empty()
}

/// The value of a cell by its type. What does not fit its type is kept as the text that the cell shows.
fn value_of(cell: Open) -> (SheetCell, Option<Oddity>) {
    let shown = cell.paragraphs.text;
    if cell.is_error || (cell.has_formula && is_error(&shown)) {
        return (SheetCell::Fault(shown), None);
    }
    let stated = cell.value.as_deref().unwrap_or(&shown).trim();
    let value = match cell.kind.as_str() {
        "percentage" => stated.parse().ok().filter(|number: &f64| number.is_finite()).map(SheetCell::Share),
        "float" | "currency" => stated.parse().ok().filter(|number: &f64| number.is_finite()).map(SheetCell::Number),
        "date" => serial::cell_of_iso(stated),
        "time" => serial::cell_of_iso_duration(stated),
        "boolean" => match stated {
            "true" => Some(SheetCell::Boolean(true)),
            "false" => Some(SheetCell::Boolean(false)),
            _ => None,
        },
        // The paragraphs are what is shown; a string value stands in for them where there are none.
        _ if cell.paragraphs.any => return (SheetCell::Text(shown), None),
        _ => return (SheetCell::Text(cell.value.unwrap_or_default()), None),
    };
    match value {
        Some(value) => (value, None),
        None => {
            let text = if shown.is_empty() { cell.value.unwrap_or_default() } else { shown };
            (SheetCell::Text(text), Some(Oddity::NotOfItsType))
        }
    }
}

/// Whether the text of a formula's result is an error, as spreadsheets that write ODS show it (names of errors from
/// OpenFormula, OpenDocument 1.3 part 4, and `Err:502`, both from memory).
fn is_error(shown: &str) -> bool {
    const ERRORS: &[&str] = &["#DIV/0!", "#N/A", "#NAME?", "#NULL!", "#NUM!", "#REF!", "#VALUE!"];
    let code = shown.strip_prefix("Err:").is_some_and(|code| code.parse::<u16>().is_ok());
    code || ERRORS.contains(&shown)
}
