//! The blank sheet as XLSX: rows to fill in, with drop-downs, limits and a word about every column.

use evenstand_tables::{ColumnType, TableSchema};
use rust_xlsxwriter::{
    Color, DataValidation, DataValidationErrorStyle, DataValidationRule, DocProperties, ExcelDateTime, Format,
    FormatAlign, FormatBorder, Workbook, Worksheet, XlsxError,
};

use crate::column::{Rule, SheetColumn};
use crate::example::Example;
use crate::explanations::{Explained, explain};
use crate::known::Known;

/// First row below the example, and last row with drop-downs and limits, counted from 0.
const FIRST_BLANK: u32 = 2;
const LAST_BLANK: u32 = 2000;
/// Longest message that a spreadsheet shows beside a cell, and longest title above it.
const MESSAGE: usize = 255;
const TITLE: usize = 32;

/// The workbook of a table, as bytes.
pub(crate) fn blank(table: &TableSchema, columns: &[SheetColumn], known: &Known) -> Result<Vec<u8>, XlsxError> {
    let mut book = Workbook::new();
    // The time of making would make every file another one.
    let made = ExcelDateTime::from_ymd(2000, 1, 1)?;
    book.set_properties(&DocProperties::new().set_title(&table.title).set_creation_datetime(&made));
    let mut sheet = Worksheet::new();
    sheet.set_name(&table.name)?;
    let mut columns_sheet = Worksheet::new();
    let explained = explain(&mut columns_sheet, table, columns, known)?;
    fill(&mut sheet, columns, &explained)?;
    book.push_worksheet(sheet);
    book.push_worksheet(columns_sheet);
    book.save_to_buffer()
}

/// How the names of columns look, here and on the sheet that explains them.
pub(crate) fn header_format() -> Format {
    Format::new()
        .set_bold()
        .set_background_color(Color::RGB(0x00E6_E6E6))
        .set_border_bottom(FormatBorder::Thin)
        .set_align(FormatAlign::Top)
}

fn fill(sheet: &mut Worksheet, columns: &[SheetColumn], explained: &Explained) -> Result<(), XlsxError> {
    let header = header_format();
    for (position, column) in (0_u16..).zip(columns) {
        let format = cell_format(column);
        sheet.set_column_format(position, &format)?;
        sheet.set_column_width(position, width(column))?;
        sheet.write_string_with_format(0, position, &column.name, &header)?;
        let about = with_message(DataValidation::new().allow_any_value(), column)?;
        sheet.add_data_validation(0, position, 0, position, &about)?;
        if let Some(example) = &column.example {
            let grey = format.set_font_color(Color::RGB(0x0080_8080)).set_italic();
            write_example(sheet, position, example, &grey)?;
        }
        let rule = with_message(validation(column, explained)?, column)?;
        sheet.add_data_validation(FIRST_BLANK, position, LAST_BLANK, position, &rule)?;
    }
    // Names stay in sight downwards, the strip sideways.
    let keys = columns.iter().take_while(|column| is_key(&column.column.name)).count();
    sheet.set_freeze_panes(1, u16::try_from(keys).unwrap_or(1))?;
    sheet.set_landscape();
    sheet.set_repeat_rows(0, 0)?;
    sheet.set_print_fit_to_pages(1, 0);
    Ok(())
}

fn is_key(name: &str) -> bool {
    matches!(name, "field_id" | "season" | "strip_id")
}

/// Names are text, so that the strip 3-4 does not become a day in March and the block 01 keeps its nought. A per cent has
/// a format of its own: in a cell without one, a spreadsheet takes a typed 30% for 0.3 and shows it as if it were right
/// (from memory).
fn cell_format(column: &SheetColumn) -> Format {
    Format::new().set_num_format(match column.column.column_type {
        ColumnType::String => "@",
        ColumnType::Date => "yyyy-mm-dd",
        ColumnType::Datetime => "yyyy-mm-dd hh:mm",
        ColumnType::Number if column.name.ends_with("_pct") => "0.0",
        ColumnType::Number | ColumnType::Integer | ColumnType::Boolean => "General",
    })
}

fn width(column: &SheetColumn) -> f64 {
    let example = column.example.as_ref().map_or(0, |example| example.text().chars().count());
    let letters = column.name.chars().count().max(example).clamp(8, 40);
    // Bold letters are a little wider, and a drop-down has an arrow.
    f64::from(u32::try_from(letters).unwrap_or(40)) * 1.1 + 2.0
}

fn write_example(sheet: &mut Worksheet, position: u16, example: &Example, format: &Format) -> Result<(), XlsxError> {
    match example {
        // As text, whatever it begins with: nothing here is ever a formula.
        Example::Text(text) => sheet.write_string_with_format(1, position, text, format)?,
        Example::Number(number) => sheet.write_number_with_format(1, position, *number, format)?,
        Example::Day(year, month, day) => {
            sheet.write_datetime_with_format(1, position, ExcelDateTime::from_ymd(*year, *month, *day)?, format)?
        }
        Example::Moment(year, month, day, hour, minute) => {
            let moment = ExcelDateTime::from_ymd(*year, *month, *day)?.and_hms(u16::from(*hour), *minute, 0)?;
            sheet.write_datetime_with_format(1, position, moment, format)?
        }
    };
    Ok(())
}

fn with_message(validation: DataValidation, column: &SheetColumn) -> Result<DataValidation, XlsxError> {
    let title: String = column.name.chars().take(TITLE).collect();
    validation.set_input_title(title)?.set_input_message(column.message(MESSAGE))
}

/// What the spreadsheet takes in a cell of the column. What a reader would refuse is refused; a new name is asked about.
fn validation(column: &SheetColumn, explained: &Explained) -> Result<DataValidation, XlsxError> {
    let refuse = |validation: DataValidation| -> Result<DataValidation, XlsxError> {
        let message = clipped(&format!("Please write {}.", column.allowed_in_words()));
        validation.set_error_title("This does not fit")?.set_error_message(message)
    };
    let ask = |validation: DataValidation, message: &str| -> Result<DataValidation, XlsxError> {
        let validation = validation.set_error_style(DataValidationErrorStyle::Warning);
        validation.set_error_title("Is this meant?")?.set_error_message(message)
    };
    let new = DataValidation::new();
    match &column.rule {
        Rule::Free => Ok(new.allow_any_value()),
        Rule::Words(words) => refuse(new.allow_list_strings(words)?),
        Rule::Known(list) => match explained.range(*list) {
            Some(range) => {
                ask(new.allow_list_formula(range.into()), "This is not in the list yet. Keep it if it is new.")
            }
            None => Ok(new.allow_any_value()),
        },
        Rule::Whole(low, high) => refuse(new.allow_whole_number(DataValidationRule::Between(*low, *high))),
        Rule::Number(low, high) => refuse(new.allow_decimal_number(match (low, high) {
            (Some(low), Some(high)) => DataValidationRule::Between(*low, *high),
            (Some(low), None) => DataValidationRule::GreaterThanOrEqualTo(*low),
            (None, Some(high)) => DataValidationRule::LessThanOrEqualTo(*high),
            (None, None) => DataValidationRule::Between(-1e12, 1e12),
        })),
        Rule::Day | Rule::Moment => ask(
            new.allow_date(DataValidationRule::GreaterThanOrEqualTo(&ExcelDateTime::from_ymd(1900, 3, 1)?)),
            "The spreadsheet does not take this for a date. A date such as 2025-04-28 07:30 is safe.",
        ),
    }
}

fn clipped(message: &str) -> String {
    if message.encode_utf16().count() <= MESSAGE {
        return message.to_owned();
    }
    let mut short: String = message.chars().take(MESSAGE / 2).collect();
    short.push('…');
    short
}
