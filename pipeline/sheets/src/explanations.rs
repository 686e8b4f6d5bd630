//! The sheet `columns`: what goes into every column, and the lists behind the drop-downs.

use evenstand_tables::{EXPLANATION_SHEET, TableSchema};
use rust_xlsxwriter::{Format, FormatAlign, Worksheet, XlsxError, utility::column_number_to_name};

use crate::column::{List, Rule, SheetColumn};
use crate::known::{Known, KnownStrip};
use crate::workbook::header_format;

/// Headings, and widths in letters.
const HEADINGS: [(&str, f64); 6] = [
    ("column", 26.0),
    ("what goes there", 60.0),
    ("unit", 24.0),
    ("needed", 9.0),
    ("what may stand there", 60.0),
    ("example", 20.0),
];
/// First column of the lists: an empty one stands before them.
const FIRST_LIST: u16 = 7;

/// Where the lists stand.
pub(crate) struct Explained {
    ranges: Vec<(List, String)>,
}

impl Explained {
    /// The cells of a list as a drop-down names them; nothing where the list is empty.
    pub fn range(&self, list: List) -> Option<&str> {
        self.ranges.iter().find(|(of, _)| *of == list).map(|(_, range)| range.as_str())
    }
}

/// Fills the sheet and says where its lists stand.
pub(crate) fn explain(
    sheet: &mut Worksheet,
    table: &TableSchema,
    columns: &[SheetColumn],
    known: &Known,
) -> Result<Explained, XlsxError> {
    sheet.set_name(EXPLANATION_SHEET)?;
    sheet.set_freeze_panes(1, 1)?;
    let header = header_format();
    let wrapped = Format::new().set_text_wrap().set_align(FormatAlign::Top);
    for (position, (heading, width)) in (0_u16..).zip(HEADINGS) {
        sheet.write_string_with_format(0, position, heading, &header)?;
        sheet.set_column_width(position, width)?;
    }
    let mut row = 1;
    for column in columns {
        let needed = if column.needed() { "yes" } else { "no" };
        let example = column.example.as_ref().map(|example| example.text()).unwrap_or_default();
        let allowed = column.allowed_in_words();
        let cells = [&column.name, &column.column.description, &column.unit, needed, &allowed, &example];
        for (position, text) in (0_u16..).zip(cells) {
            sheet.write_string_with_format(row, position, text, &wrapped)?;
        }
        row += 1;
    }
    row += 1;
    for sentence in advice(table, columns, known) {
        sheet.write_string(row, 0, sentence)?;
        row += 1;
    }
    let mut next = FIRST_LIST;
    let ranges = write_lists(sheet, columns, known, &mut next)?;
    write_strips(sheet, columns, known, next)?;
    Ok(Explained { ranges })
}

fn advice(table: &TableSchema, columns: &[SheetColumn], known: &Known) -> Vec<String> {
    let mut sentences = vec![
        format!("{}: {}", table.title, table.description),
        "Fill in the first sheet, one row below the other, from row 3 on. The grey row 2 is an example and is passed over.".into(),
        "Leave a cell empty where nothing is known. Columns that you do not use may be deleted.".into(),
        format!("Put the filled-in file into raw/ under a name that begins with {}: it is known by that name.", table.name),
    ];
    if lists_strips(columns, known) {
        sentences.push("Strips that are known stand to the right; copy the rows you need into the first sheet.".into());
    }
    if known.left_out > 0 {
        sentences.push(format!(
            "{} strips or fields are not listed, because their names are too long or the list is.",
            known.left_out
        ));
    }
    sentences
}

/// Writes the list of every column that has one, each under its heading.
fn write_lists(
    sheet: &mut Worksheet,
    columns: &[SheetColumn],
    known: &Known,
    next: &mut u16,
) -> Result<Vec<(List, String)>, XlsxError> {
    let mut ranges = Vec::new();
    for column in columns {
        let Rule::Known(list) = column.rule else { continue };
        sheet.write_string_with_format(0, *next, format!("known {}", column.name), &header_format())?;
        sheet.set_column_width(*next, 22)?;
        let names = match list {
            List::Fields => &known.fields,
            List::Strips => &known.strip_ids,
            List::Planters => &known.planters,
            List::Positions => &known.positions,
            List::Seasons => &Vec::new(),
        };
        for (row, name) in (1_u32..).zip(names) {
            sheet.write_string(row, *next, name)?;
        }
        if list == List::Seasons {
            for (row, season) in (1_u32..).zip(&known.seasons) {
                // Years are far below the whole numbers that a cell holds exactly.
                sheet.write_number(row, *next, *season as f64)?;
            }
        }
        let letters = column_number_to_name(*next);
        ranges.push((list, format!("={EXPLANATION_SHEET}!${letters}$2:${letters}${}", list.length(known) + 1)));
        *next += 1;
    }
    // An empty column before the strips.
    *next += 1;
    Ok(ranges)
}

/// Whether the sheet is about strips, and some are known.
fn lists_strips(columns: &[SheetColumn], known: &Known) -> bool {
    !known.strips.is_empty() && columns.iter().any(|column| column.column.name == "strip_id")
}

/// Writes the strips in the order of the first columns of the sheet, so that they can be copied as they stand.
fn write_strips(sheet: &mut Worksheet, columns: &[SheetColumn], known: &Known, first: u16) -> Result<(), XlsxError> {
    if !lists_strips(columns, known) {
        return Ok(());
    }
    let keys = columns.iter().map(|column| column.column.name.as_str());
    let keys = keys.take_while(|name| matches!(*name, "field_id" | "season" | "strip_id" | "block" | "treatment"));
    for (position, name) in (first..).zip(keys) {
        sheet.write_string_with_format(0, position, format!("to copy: {name}"), &header_format())?;
        sheet.set_column_width(position, 22)?;
        for (row, strip) in (1_u32..).zip(&known.strips) {
            match text_of(strip, name) {
                Some(text) => sheet.write_string(row, position, text)?,
                None if name == "season" => sheet.write_number(row, position, strip.season as f64)?,
                None => sheet,
            };
        }
    }
    Ok(())
}

fn text_of<'a>(strip: &'a KnownStrip, column: &str) -> Option<&'a str> {
    match column {
        "field_id" => Some(&strip.field_id),
        "strip_id" => Some(&strip.strip_id),
        "block" => strip.block.as_deref(),
        "treatment" => strip.treatment.as_deref(),
        _ => None,
    }
}
