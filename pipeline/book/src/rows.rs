//! The rows of a sheet as the file has them (ECMA-376 part 1, 18.3.1): written as they come, so that no sheet stands in memory.

use std::io::{self, Write};

use rust_xlsxwriter::column_number_to_name;

use crate::sheet::{FIRST_ROW, Look, Sheet, SheetColumn, cut};
use crate::strings::Strings;
use crate::values::{Cells, Content};

/// Rows that share a note of the columns they reach over.
const BLOCK: usize = 16;

/// The numbers that the file gives to the looks of a column's cells.
#[derive(Debug, Clone, Default)]
pub(crate) struct Styles {
    pub plain: Option<u32>,
    pub others: Vec<(Look, u32)>,
}

/// A column on its way into the file.
struct Writer<'a> {
    column: &'a SheetColumn,
    cells: Cells<'a>,
    name: String,
    styles: &'a Styles,
    /// The text met last and its number: many rows say what the one above them says.
    last: Option<(&'a str, u32)>,
}

/// Writes the rows of a sheet below the row of units. `styles` has an entry a column.
pub(crate) fn write(sheet: &Sheet, styles: &[Styles], strings: &mut Strings, to: &mut impl Write) -> io::Result<()> {
    let width = sheet.columns().len();
    let places = (0_u16..).zip(sheet.columns()).zip(styles);
    let mut columns: Vec<Option<Writer>> = places
        .map(|((place, column), styles)| {
            let name = column_number_to_name(place);
            Some(Writer { column, cells: column.cells()?, name, styles, last: None })
        })
        .collect();
    let first = FIRST_ROW as usize;
    let rows = sheet.shown_rows();
    let mut line = Vec::new();
    let mut block = 0;
    while block < first + rows {
        let within = block.max(first) - first..(block + BLOCK - first).min(rows);
        let spans = match block {
            // The names reach over all columns.
            0 => Some((0, width.saturating_sub(1))),
            _ => reach(&columns, within.clone()),
        };
        block += BLOCK;
        let Some((low, high)) = spans else { continue };
        for row in within {
            line.clear();
            let number = first + row + 1;
            write!(line, "<row r=\"{number}\" spans=\"{}:{}\">", low + 1, high + 1)?;
            let before = line.len();
            for column in columns.iter_mut().flatten() {
                column.write(row, number, strings, &mut line)?;
            }
            if line.len() > before {
                line.extend_from_slice(b"</row>");
                to.write_all(&line)?;
            }
        }
    }
    Ok(())
}

/// First and last column of these rows that hold anything.
fn reach(columns: &[Option<Writer>], rows: std::ops::Range<usize>) -> Option<(usize, usize)> {
    let holds = |place: &usize| {
        let column = columns.get(*place).and_then(|column| column.as_ref());
        column.is_some_and(|column| rows.clone().any(|row| !column.column.is_empty(column.cells, row)))
    };
    let low = (0..columns.len()).find(holds)?;
    let high = (0..columns.len()).rev().find(holds)?;
    Some((low, high))
}

impl Writer<'_> {
    fn write(&mut self, row: usize, number: usize, strings: &mut Strings, line: &mut Vec<u8>) -> io::Result<()> {
        let Some((content, look)) = self.column.shown(self.cells, row) else { return Ok(()) };
        line.extend_from_slice(b"<c r=\"");
        line.extend_from_slice(self.name.as_bytes());
        write!(line, "{number}\"")?;
        let style = match look {
            Look::Plain => self.styles.plain,
            look => self.styles.others.iter().find(|(known, _)| *known == look).map(|(_, style)| *style),
        };
        if let Some(style) = style {
            write!(line, " s=\"{style}\"")?;
        }
        match content {
            Content::Number(number) | Content::Time(number) => write!(line, "><v>{number}</v></c>"),
            Content::Flag(flag) => write!(line, " t=\"b\"><v>{}</v></c>", u8::from(flag)),
            Content::Text(text) => {
                let number = self.text(&text, row, strings);
                write!(line, " t=\"s\"><v>{number}</v></c>")
            }
        }
    }

    fn text(&mut self, text: &str, row: usize, strings: &mut Strings) -> u32 {
        if let Some((_, number)) = self.last.filter(|(last, _)| *last == text) {
            strings.again();
            return number;
        }
        let number = strings.number(&cut(text));
        if let Cells::Text(texts) = self.cells {
            self.last = Some((texts.value(row), number));
        }
        number
    }
}
