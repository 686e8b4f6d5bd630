//! The first sheet: what the workbook is, how to read it, and where everything stands.

use rust_xlsxwriter::{Color, Format, FormatAlign, FormatBorder, Url, Worksheet, XlsxError};

use crate::names::{ABOUT, CHARTS};
use crate::sheet::{Sheet, cut_to, header};
use crate::{BookError, BookFacts, BookUnits};

const CAUTIONS: [&str; 3] = [
    "Starting points, not commands: the operator's manual comes first. Stay inside its limits, dig behind the planter in every condition, and let the digging decide.",
    "Local rules and licensed advice come before anything here. Nothing here may steer a machine.",
    "Before anyone adjusts, weighs or clears a closing system: lower the machine or block it, engine off, brake on, key out, air vented to zero on the gauge, springs unloaded, hands out of pinch points.",
];

const HOW_TO_READ: [&str; 6] = [
    "Begin with starting_points (the answer, one row a condition) and settings (the same in each planter's own knob). Charts draws what they rest on.",
    "settled: shown in enough field-seasons to rely on as a start. leaning: more likely than not. open: the data cannot tell, and the reason says what is missing.",
    "On every sheet the first row names the columns and the second has their units; rest the pointer on a name to read what the column is. An empty cell is a value that is not known.",
    "Where a unit says \"as response\", the row's own response decides: shares are shown in per cent, times in hours or degree-days. A difference of shares in per cent is in points.",
    "Times are in UTC. Degree-days stay in °C·d. Sentences keep the units they were written in, whatever the cells are in.",
    "The same numbers, unrounded and complete, are in results/ as CSV and Parquet; a sheet is named as its file. Here numbers are only shown rounded.",
];

/// Longest title of a review, in UTF-16 units: properties of a file cannot be longer.
pub(crate) const LONGEST_TITLE: usize = 255;
/// Widths of the columns of the list.
const WIDTHS: [f64; 5] = [22.0, 34.0, 90.0, 10.0, 30.0];

/// The sheet `About`.
pub(crate) fn worksheet(sheets: &[Sheet], facts: &BookFacts) -> Result<Worksheet, BookError> {
    write(sheets, facts).map_err(|source| BookError::sheet(ABOUT, source))
}

fn write(sheets: &[Sheet], facts: &BookFacts) -> Result<Worksheet, XlsxError> {
    let mut sheet = Worksheet::new();
    sheet.set_name(ABOUT)?;
    sheet.set_landscape();
    sheet.set_print_fit_to_pages(1, 0);
    sheet.set_screen_gridlines(false);
    for (position, width) in (0_u16..).zip(WIDTHS) {
        sheet.set_column_width(position, width)?;
    }
    let bold = Format::new().set_bold();
    let mut row = 0;
    sheet.write_string_with_format(
        row,
        0,
        cut_to(&facts.title, LONGEST_TITLE),
        &Format::new().set_bold().set_font_size(16),
    )?;
    row += 1;
    if facts.invented {
        let boxed = Format::new().set_bold().set_border(FormatBorder::Medium);
        paragraph(
            &mut sheet,
            row,
            "Invented data: nothing in this workbook was measured. It shows what a review looks like.",
            &boxed,
        )?;
        row += 1;
    }
    for caution in CAUTIONS {
        paragraph(&mut sheet, row, caution, &bold)?;
        row += 1;
    }
    row += 1;
    sheet.write_string_with_format(row, 0, "How to read it", &bold)?;
    row += 1;
    let notes = HOW_TO_READ.into_iter().map(str::to_owned).chain(units(sheets, facts.units)).chain(left_out(sheets));
    for note in notes {
        paragraph(&mut sheet, row, &note, &Format::new())?;
        row += 1;
    }
    row += 1;
    let header = header();
    for (position, name) in (0_u16..).zip(["Sheet", "Table", "What it holds", "Rows", "Complete in"]) {
        sheet.write_string_with_format(row, position, name, &header)?;
    }
    row += 1;
    let top = Format::new().set_text_wrap().set_align(FormatAlign::Top);
    link(&mut sheet, row, CHARTS)?;
    sheet.write_string_with_format(row, 1, "Charts", &top)?;
    sheet.write_string_with_format(
        row,
        2,
        "Curves and differences by field, drawn from the cells of the sheets.",
        &top,
    )?;
    row += 1;
    for planned in sheets {
        let schema = planned.schema();
        // About 95 letters stand in a line of the third column.
        let lines = schema.description.chars().count().div_ceil(95).max(1);
        sheet.set_row_height(row, lines_high(lines))?;
        link(&mut sheet, row, planned.name())?;
        sheet.write_string_with_format(row, 1, &schema.title, &top)?;
        sheet.write_string_with_format(row, 2, &schema.description, &top)?;
        sheet.write_number_with_format(row, 3, planned.rows() as f64, &Format::new().set_align(FormatAlign::Top))?;
        sheet.write_string_with_format(row, 4, file(&schema.name), &top)?;
        row += 1;
    }
    Ok(sheet)
}

fn file(table: &str) -> String {
    format!("results/{table}.csv")
}

/// A paragraph over all columns, as high as its lines need.
fn paragraph(sheet: &mut Worksheet, row: u32, text: &str, format: &Format) -> Result<(), XlsxError> {
    let format = format.clone().set_text_wrap().set_align(FormatAlign::Top);
    sheet.merge_range(row, 0, row, 4, text, &format)?;
    let lines = text.chars().count().div_ceil(165).max(1);
    sheet.set_row_height(row, lines_high(lines))?;
    Ok(())
}

fn lines_high(lines: usize) -> f64 {
    15.5 * f64::from(u32::try_from(lines).unwrap_or(8))
}

fn link(sheet: &mut Worksheet, row: u32, name: &str) -> Result<(), XlsxError> {
    let blue =
        Format::new().set_font_color(Color::RGB(0x0005_63C1)).set_underline(rust_xlsxwriter::FormatUnderline::Single);
    let url = Url::new(format!("internal:'{}'!A1", name.replace('\'', "''"))).set_text(name);
    sheet.write_url_with_format(row, 0, url, &blue.set_align(FormatAlign::Top))?;
    Ok(())
}

/// Which units the cells are in, and where a force is a pressure.
fn units(sheets: &[Sheet], units: BookUnits) -> Vec<String> {
    let mut lines = Vec::new();
    let pressure = match units {
        BookUnits::Metric => "kPa",
        BookUnits::Us => {
            lines.push(
                "Units: lbf, psi, ft (in for depths and rain), mph and °F, converted from the metric tables in results/ (1 lbf = 4.4482216152605 N, 1 psi = 6.894757293168 kPa; NIST SP 811)."
                    .to_owned(),
            );
            "psi"
        }
    };
    let mixed: Vec<&str> = sheets.iter().filter(|sheet| sheet.tells_force_unit()).map(Sheet::name).collect();
    if !mixed.is_empty() {
        lines.push(format!(
            "Some planters were not weighed, so their force is not known: their rows hold the pressure of their own gauge in {pressure} where others hold a force. \
             The column \"Unit of force\" says which ({}).",
            mixed.join(", ")
        ));
    }
    lines
}

/// Which sheets lack rows.
fn left_out(sheets: &[Sheet]) -> impl Iterator<Item = String> {
    sheets.iter().filter(|sheet| sheet.left_out() > 0).map(|sheet| {
        format!(
            "{}: only the first {} of {} rows stand here, so that the workbook opens at once. All of them are in {}.",
            sheet.name(),
            sheet.shown_rows(),
            sheet.rows(),
            file(&sheet.schema().name),
        )
    })
}
