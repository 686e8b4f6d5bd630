//! The workbook without its cells: everything but the rows of the tables, made by the library that knows the file format.
//!
//! The library keeps every cell of a workbook in memory, and every sheet as text beside that. Of a review of thousands of fields that is more
//! than all else together, so each sheet of a table is given to it with names, units, notes and one stand-in for every look of a cell, and
//! with the few cells that charts refer to. The rows themselves are put in by [`crate::archive`].

use std::collections::BTreeMap;

use rust_xlsxwriter::{Color, Format, FormatBorder, Note, Worksheet, XlsxError};

use crate::BookError;
use crate::charts::referred;
use crate::sheet::{FIRST_ROW, Look, NAMES, Sheet, UNITS, cut, header};
use crate::values::Content;

/// Row of a sheet's first stand-in, from 0; those of further looks of a column stand below it.
pub(crate) fn stand_ins(sheet: &Sheet) -> u32 {
    let charted = if referred(&sheet.schema().name).is_empty() { 0 } else { sheet.shown_rows() };
    FIRST_ROW + u32::try_from(charted).unwrap_or(0)
}

/// The sheet of a table without its rows.
pub(crate) fn worksheet(sheet: &Sheet) -> Result<Worksheet, BookError> {
    write(sheet).map_err(|source| BookError::sheet(sheet.name(), source))
}

fn write(from: &Sheet) -> Result<Worksheet, XlsxError> {
    let mut sheet = Worksheet::new();
    sheet.set_name(from.name())?;
    let header = header().set_text_wrap();
    let unit = Format::new().set_italic().set_font_color(Color::RGB(0x0050_5050)).set_border_bottom(FormatBorder::Thin);
    let mut formats = Formats::default();
    let mut lines = 1;
    for (position, column) in (0_u16..).zip(from.columns()) {
        sheet.write_string_with_format(NAMES, position, &column.label, &header)?;
        sheet.write_string_with_format(UNITS, position, &column.unit, &unit)?;
        sheet.insert_note(NAMES, position, &note(&column.note))?;
        let width = column.width();
        lines = lines.max(column.label.chars().count().div_ceil(width.saturating_sub(2).max(1)));
        sheet.set_column_width(position, f64::from(u32::try_from(width).unwrap_or(60)))?;
        let row = stand_ins(from);
        if let Some(format) = column.one_format() {
            sheet.set_column_format(position, formats.of(format))?;
            sheet.write_number(row, position, 0.0)?;
        }
        for (row, look) in (row..).zip(column.looks()) {
            match look {
                Look::Plain => {}
                Look::Format(format) => {
                    sheet.write_number_with_format(row, position, 0.0, formats.of(format))?;
                }
                Look::Quoted => {
                    sheet.write_number_with_format(row, position, 0.0, &formats.quoted)?;
                }
            }
        }
    }
    for name in referred(&from.schema().name) {
        let Some((position, column)) =
            from.position(name).and_then(|at| Some((at, from.columns().get(usize::from(at))?)))
        else {
            continue;
        };
        let Some(cells) = column.cells() else { continue };
        for (row, number) in (FIRST_ROW..).zip(0..from.shown_rows()) {
            match column.shown(cells, number) {
                Some((Content::Text(text), _)) => sheet.write_string(row, position, cut(&text))?,
                Some((Content::Number(number), _)) => sheet.write_number(row, position, number)?,
                _ => continue,
            };
        }
    }
    sheet.set_row_height(NAMES, 15.5 * f64::from(u32::try_from(lines.min(4)).unwrap_or(4)))?;
    sheet.set_freeze_panes(FIRST_ROW, from.keys())?;
    if let (true, Some(last)) = (from.shown_rows() > 0, from.columns().len().checked_sub(1)) {
        // Buttons stand in the row of units, so that sorting leaves it where it is.
        let last_row = UNITS + u32::try_from(from.shown_rows()).unwrap_or(0);
        sheet.autofilter(UNITS, 0, last_row, u16::try_from(last).unwrap_or(0))?;
    }
    sheet.set_landscape();
    sheet.set_repeat_rows(NAMES, UNITS)?;
    sheet.set_print_fit_to_pages(1, 0);
    Ok(sheet)
}

/// The formats of cells, made once each.
struct Formats {
    by_number: BTreeMap<&'static str, Format>,
    quoted: Format,
}

impl Default for Formats {
    fn default() -> Self {
        Self { by_number: BTreeMap::new(), quoted: Format::new().set_quote_prefix() }
    }
}

impl Formats {
    fn of(&mut self, format: &'static str) -> &Format {
        self.by_number.entry(format).or_insert_with(|| Format::new().set_num_format(format))
    }
}

fn note(text: &str) -> Note {
    // About 38 letters stand in a line of 240 pixels.
    let lines = u32::try_from(text.chars().count() / 38 + 2).unwrap_or(20).min(20);
    Note::new(text).set_author("evenstand").add_author_prefix(false).set_width(240).set_height(16 * lines)
}
