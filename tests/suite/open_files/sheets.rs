//! Workbooks: XLSX, XLS and ODS as people leave them.

use super::{Reading, block, check_all, kept_rows, reading};
use crate::support::{files_below, shared};

/// A block that makes soil notes of a sheet.
fn notes(file: &str, columns: &str, further: &str) -> String {
    block(file, "soil_note", columns, further)
}

/// A block that makes measures of a sheet.
fn measures(file: &str, columns: &str, further: &str) -> String {
    block(file, "measure", columns, &format!("constants.name = \"m\"\n{further}"))
}

/// Cells: the XML of the sheets with Python's zipfile and ElementTree (dates by counting days from 1899-12-30 or
/// 1904-01-01); XLS with xlrd 2.0.
#[rustfmt::skip]
fn readings() -> Vec<Reading> {
    let mut all = survey();
    all.extend(dates_and_types());
    all.extend(headers());
    all.extend(vec![
        // Seven formulas that failed, each another way.
        reading("calamine.errors.xlsx", notes("calamine.errors.xlsx", "note = \"A\"", "header_row = 0"))
            .balance(0, 7)
            .set_aside(1, "error_cell", "found \"#DIV/0!\"").set_aside(2, "error_cell", "found \"#NAME?\"")
            .set_aside(3, "error_cell", "found \"#VALUE!\"").set_aside(4, "error_cell", "found \"#NULL!\"")
            .set_aside(5, "error_cell", "found \"#REF!\"").set_aside(6, "error_cell", "found \"#NUM!\"")
            .set_aside(7, "error_cell", "found \"#N/A\"")
            .says(&["mend the formula of this cell"]),
        reading("calamine.empty_sheet.xlsx", notes("calamine.empty_sheet.xlsx", "note = \"A\"", "header_row = 0"))
            .says(&["calamine.empty_sheet.xlsx: no sheet of this workbook holds anything", "fill it, or remove it"]),
        // A sheet of its own for a chart, and two hidden sheets that are empty.
        reading("calamine.any_sheets.xlsx", notes("calamine.any*", "note = \"A\", block = \"B\"", "header_row = 0"))
            .balance(4, 0)
            .row(1, &[("note", "1"), ("block", "2")])
            .row(5, &[("note", "This workbook contains 4 sheets: Visible, Hidden, VeryHidden and Chart"), ("block", "")]),
        reading("calamine.any_sheets.xlsx", notes("calamine.any*", "note = \"A\", block = \"B\"",
            "header_row = 0\nrange = \"A1:B3\"")).balance(3, 0).row(3, &[("note", "5"), ("block", "6")]),
        reading("calamine.any_sheets.xlsx", notes("calamine.any*", "note = \"A\"", "header_row = 0\nskip_rows = [1, 5]"))
            .balance(2, 0).row(2, &[("note", "3")]).row(3, &[("note", "5")]),
        reading("calamine.any_sheets.xlsx", notes("calamine.any*", "note = \"A\"", "header_row = 0\nsheet = \"Hidden\""))
            .says(&["no sheet called \"Hidden\" that holds anything; found Visible", "sheet = "]),
        reading("calamine.any_sheets.xlsx", notes("calamine.any*", "note = \"A\"", "header_row = 0\nrange = \"A1-B3\""))
            .says(&["calamine.any_sheets.xlsx", "A1-B3", "correct range in the [[source]] block"]),
        reading("calamine.any_sheets.xlsx", notes("calamine.any*", "note = \"A\"", "header_row = 0\nrange = \"Z1:AA9\""))
            .says(&["nothing stands in Z1:AA9, the part that is read", "correct range in the [[source]] block"]),
        // The 72 degrees are Fahrenheit, as its label says.
        reading("calamine.temperature.xlsx", notes("calamine.temperature.xlsx", "note = \"label\", soil_temp_c = \"value\"", ""))
            .balance(1, 1).row(2, &[("note", "celsius"), ("soil_temp_c", "22.2222")])
            .set_aside(3, "out_of_range", "found \"72\", expected -30 to 70 °C"),
        reading("calamine.whitespace_trim.xlsx", ["inlineStr", "SharedStrings"].map(|sheet| notes("calamine.white*",
            "note = \"A\", block = \"B\", strip_id = \"D\"", &format!("header_row = 0\nsheet = \"{sheet}\""))).concat())
            .balance(6, 0)
            .row(1, &[("note", "trimmed value"), ("block", "value with tabs"), ("strip_id", "clean text")])
            .row(1, &[("note", "trimmed value"), ("block", "preserved value"), ("strip_id", "clean text")])
            .row(2, &[("note", "line1\nline2"), ("block", "line1\nline2"), ("strip_id", "")])
            .row(3, &[("note", "日期 时间"), ("source_file", "calamine.whitespace_trim.xlsx/inlineStr")]),
        // Line breaks and runs of blanks are elements of their own in the XML of ODS.
        reading("calamine.special_cells.ods", notes("*.ods", "note = \"A\"", "header_row = 0")).balance(5, 0)
            .row(1, &[("note", "Split\nLine")]).row(2, &[("note", "Value  With spaces")])
            .row(3, &[("note", "Value   With 3 spaces")])
            .row(4, &[("note", "Value   With spaces before and after")]),
        reading("hips_DateofCollection.xlsx",
            notes("hips*", "block = \"Location\", taken_at = \"Date\", note = \"time\"", "sheet = \"Sheet1\"")
            + &notes("hips*", "block = \"A\", taken_at = \"B\", note = \"D\"", "sheet = \"Sheet2\"\nheader_row = 0\nrange = \"A1:D12\""))
            .balance(9 + 12, 0)
            .row(2, &[("block", "Lincoln"), ("taken_at", "2023-07-15T00:00:00Z"), ("note", "TP2")])
            .row(10, &[("block", "Ames"), ("taken_at", "2023-08-30T00:00:00Z"), ("note", "TP3")])
            .row(1, &[("block", "Scottsbluff"), ("taken_at", "2022-07-04T00:00:00Z"), ("note", "4")])
            .row(6, &[("block", "Lincoln"), ("taken_at", "2022-09-03T00:00:00Z"), ("note", "-30")]),
        // A sheet without a header whose first row is not its widest: column I is there, and filled in two rows.
        reading("hips_DateofCollection.xlsx", notes("hips*", "block = \"A\", note = \"I\"", "sheet = \"Sheet2\"\nheader_row = 0"))
            .balance(24, 0)
            .row(14, &[("block", ""), ("note", "30")]).row(17, &[("block", "TP3"), ("note", "Lincoln")])
            .row(23, &[("block", "TP3"), ("note", "0.03")]),
        // Cells right of the last name: the rows are read all the same.
        reading("hips_DateofCollection.xlsx", notes("hips*", "note = \"TP1\", block = \"Lincoln\"", "sheet = \"Sheet2\"\nheader_row = 15"))
            .balance(10, 0).row(17, &[("note", "TP3"), ("block", "")]).row(21, &[("note", "TP1"), ("block", "0.66")])
            .says(&["3 rows hold cells right of the last named column, the first of them row 17", "if they are remarks"]),
    ]);
    all
}

/// Field notes with three tables beside each other, a fourth below, and weights with their unit in the cell (CC BY 4.0, Data
/// Carpentry spreadsheet lesson).
#[rustfmt::skip]
fn survey() -> Vec<Reading> {
    const FILE: &str = "datacarpentry.survey_messy.xls";
    let table = |sheet: &str, range: &str| measures(FILE, "sample_id = \"Date Collected\", strip_id = \"Plot\", value = \"Weight\"",
        &format!("sheet = \"{sheet}\"\nrange = \"{range}\""));
    vec![
        reading(FILE, measures(FILE, "value = \"Weight\"", ""))
            .says(&["several filled sheets (2013, 2014, dates)", "sheet = "]),
        reading(FILE, measures(FILE, "value = \"Weight\"", "sheet = \"2013\""))
            .says(&["the sheet 2013 holds 3 tables: C6:F21 and H6:K19 and M6:P18", "such as range = \"C6:F21\"", "header_row"]),
        reading(FILE, measures(FILE, "value = \"Weight\"", "sheet = \"2014\""))
            .says(&["the sheet 2014 holds 4 tables: C6:F16 and H6:K26 and M6:P20 and C31:E42"]),
        // Three blocks, one for each table. 33g and the like are no numbers; three weights are missing.
        reading(FILE, ["C7:F21", "H7:K19", "M7:P18"].map(|range| table("2013", range)).concat())
            .balance(12 + 9, 2 + 1 + 11 + 2)
            .sum("value", 512.0 + 1061.0)
            .row(8, &[("sample_id", "2013-08-19"), ("strip_id", "8"), ("value", "52.0")])
            .row(18, &[("sample_id", "2013-11-13"), ("strip_id", "4"), ("value", "115.0")])
            .set_aside(9, "not_a_number", "value (\"Weight\"): found \"33g\", expected a number")
            .set_aside(14, "not_a_number", "found \"132 (scale not calibrated)\"")
            .set_aside(8, "missing_value", "value (\"Weight\"): the cell is empty"),
        // The table below the others, read as the range and the row of its names say.
        reading(FILE, notes(FILE, "note = \"species_sex\", taken_at = \"Date collected\", block = \"wgt\"",
            "sheet = \"2014\"\nrange = \"C31:E42\"\nheader_row = 32")).balance(10, 0)
            .row(33, &[("taken_at", "1978-01-08T00:00:00Z"), ("note", "DM_F"), ("block", "37")])
            .row(37, &[("note", "DM_M"), ("block", "")]).row(42, &[("note", "OL_M"), ("block", "35")]),
        // The species NA is a missing one.
        reading(FILE, measures(FILE, "sample_id = \"Date collected\", strip_id = \"Species\", value = \"Weight\"",
            "sheet = \"dates\"\nheader_row = 2")).balance(7, 6).sum("value", 139.0)
            .row(3, &[("sample_id", "2015-01-08"), ("strip_id", "PF"), ("value", "7.0")])
            .set_aside(6, "missing_value", "strip_id (\"Species\")"),
    ]
}

#[rustfmt::skip]
fn dates_and_types() -> Vec<Reading> {
    const TYPES: &str = "readxl.type-me.xlsx";
    const LEAP: &str = "readxl.dates-leap-year-1900-xlsx.xlsx";
    vec![
        // Days are counted from 1904, and column A, which is hidden, is read.
        reading("calamine.date_1904.xlsx", notes("calamine.date_1904.xlsx", "taken_at = \"A\", block = \"B\"", "header_row = 0"))
            .balance(2, 1)
            .row(1, &[("taken_at", "2021-01-01T00:00:00Z"), ("block", "15")])
            .row(2, &[("taken_at", "2021-01-02T00:00:00Z"), ("block", "16")])
            .set_aside(3, "bad_time", "found \"255:10:10\""),
        reading("calamine.date.ods", notes("*.ods", "taken_at = \"A\", note = \"B\"", "header_row = 0")).balance(2, 2)
            .row(1, &[("taken_at", "2021-01-01T00:00:00Z"), ("note", "15")])
            .row(2, &[("taken_at", "2021-01-01T10:10:10Z"), ("note", "16")])
            .set_aside(4, "bad_time", "found \"10:10:10\", expected a date"),
        // The 29th of February 1900, which spreadsheets know and the calendar does not. The days before it count one less.
        reading(LEAP, notes(LEAP, "taken_at = \"dttm\", note = \"dttm_string\", crust = \"expect_success\"", "sheet = \"for_testing\""))
            .balance(6, 1)
            .row(2, &[("taken_at", "1900-01-01T08:00:00Z"), ("note", "1900-01-01 08:00:00"), ("crust", "true")])
            .row(4, &[("taken_at", "1900-02-28T08:00:00Z"), ("note", "1900-02-28 08:00:00")])
            .row(6, &[("taken_at", "1900-03-01T08:00:00Z"), ("note", "1900-03-01 08:00:00")])
            .row(8, &[("taken_at", "1904-01-01T08:00:00Z"), ("note", "1904-01-01 08:00:00")])
            .set_aside(5, "bad_time", "found \"1900-02-29T08:00:00\", expected a day and time that exist")
            .says(&["correct the day or the time in this cell", "cell A5: a date that never was"]),
        reading(LEAP, notes(LEAP, "taken_at = \"dttm\", note = \"dttm_string\"", "sheet = \"for_human_eyes\"")).balance(9, 1)
            .row(2, &[("taken_at", "1899-12-29T08:00:00Z")]).row(11, &[("taken_at", "1904-01-01T08:00:00Z")])
            .set_aside(8, "bad_time", "1900-02-29"),
        reading("readxl.missing-values-xlsx.xlsx", notes("readxl.missing-v*", "note = \"x\", block = \"y\", strip_id = \"z\"", ""))
            .balance(3, 0)
            .row(2, &[("note", ""), ("block", ""), ("strip_id", "")]).row(4, &[("note", "2"), ("block", "2"), ("strip_id", "2")]),
        reading(TYPES, notes(TYPES, "note = \"description\", crust = \"maybe boolean?\"", "sheet = \"logical*\"")).balance(7, 3)
            .row(2, &[("note", "empty"), ("crust", "")]).row(3, &[("note", "0 (numeric)"), ("crust", "false")])
            .row(6, &[("note", "boolean true"), ("crust", "true")]).row(9, &[("note", "the string \"true\""), ("crust", "true")])
            .row(11, &[("note", "\"False\" preceded by single quote"), ("crust", "false")])
            .set_aside(5, "not_yes_or_no", "found \"2016-01-01\", expected yes, no")
            .set_aside(8, "not_yes_or_no", "found \"cabbage\"").set_aside(10, "not_yes_or_no", "found \"F\""),
        reading(TYPES, measures(TYPES, "sample_id = \"explanation\", value = \"maybe numeric?\"",
            "constants.strip_id = \"1\"\nsheet = \"numeric*\"")).balance(2, 5).sum("value", 246_912.0)
            .row(6, &[("sample_id", "the string \"123456\""), ("value", "123456.0")])
            .row(7, &[("sample_id", "the number 123456"), ("value", "123456.0")])
            .set_aside(3, "not_a_number", "found \"true\", expected a number")
            .set_aside(5, "not_a_number", "found \"2014-12-23\"").set_aside(8, "not_a_number", "found \"cabbage\""),
        reading(TYPES, notes(TYPES, "note = \"explanation\", taken_at = \"maybe a datetime?\"", "sheet = \"date*\"")).balance(3, 4)
            .row(3, &[("note", "date only format"), ("taken_at", "2016-05-23T00:00:00Z")])
            .row(4, &[("note", "date and time format"), ("taken_at", "2016-04-28T11:30:00Z")])
            .set_aside(5, "bad_time", "found \"true\"").set_aside(7, "bad_time", "found \"4.3\"")
            .set_aside(8, "bad_time", "found \"39448\"")
            .says(&["give the cells of this column the format of a date there"]),
        reading(TYPES, notes(TYPES, "block = \"explanation\", note = \"text\"", "sheet = \"text*\"")).balance(6, 0)
            .row(4, &[("block", "boolean true"), ("note", "true")]).row(5, &[("block", "numeric"), ("note", "1.3")])
            .row(6, &[("block", "datetime"), ("note", "2016-09-24")]).row(7, &[("note", "36436153")]),
    ]
}

#[rustfmt::skip]
fn headers() -> Vec<Reading> {
    const MERGED: &str = "calamine.merged_range.xlsx";
    const REPAIR: &str = "readxl.names-need-repair-xlsx.xlsx";
    const PURPOSE: &str = "unpivotr.purpose.xlsx";
    let below = |row: &str| notes("calamine.header*", "note = \"Columns\", block = \"Column C\"", row);
    let deaths = "note = \"Name\", taken_at = \"Date of birth\", block = \"Age\", crust = \"Has kids\"";
    let of_purpose = |columns: &str, further: &str| measures(PURPOSE, columns, further);
    vec![
        reading("calamine.header-row.xlsx", below("header_row = 9")).balance(1, 0)
            .row(10, &[("note", "put data here"), ("block", "3")]),
        reading("calamine.header-row.xlsx", below("")).balance(0, 2)
            .set_aside(10, "missing_column", "the header of the file cannot be used")
            .says(&["row 3", "takes block from \"Column C\", which is not in the header; found Note 1", "header_row = "]),
        reading("calamine.header-row.xlsx", below("header_row = 4")).balance(0, 2)
            .says(&["row 4 is empty or outside the range", "correct header_row in the block"]),
        reading("calamine.header-row.xlsx", below("header_row = 40")).balance(0, 0)
            .says(&["the file ends before row 40, where its header should stand"]),
        // Remarks above and below, in two sheets of one form.
        reading("readxl.deaths.xlsx", notes("readxl.deaths.xlsx", deaths, "sheet = \"*\"\nrange = \"A5:F15\"")).balance(20, 0)
            .row(6, &[("note", "David Bowie"), ("taken_at", "1947-01-08T00:00:00Z"), ("block", "69"), ("crust", "true")])
            .row(14, &[("note", "Zsa Zsa Gábor"), ("taken_at", "1917-02-06T00:00:00Z"), ("block", "99")])
            .row(15, &[("note", "Pat Summit"), ("source_file", "readxl.deaths.xlsx/other"), ("crust", "true")]),
        // With the row of the header alone, the remarks below are rows; a column that must be filled sets them aside.
        reading("readxl.deaths.xlsx", measures("readxl.deaths.xlsx", "strip_id = \"Name\", value = \"Age\"",
            "sheet = \"arts\"\nheader_row = 5")).balance(10, 4).sum("value", 729.0)
            .set_aside(16, "missing_value", "value (\"Age\")").set_aside(17, "missing_value", "strip_id (\"Name\")").set_aside(18, "not_a_number", "found \"at the\"")
            .says(&["skip_rows"]),
        reading("readxl.missing-first-column.xlsx", notes("readxl.missing-f*", "note = \"B\"", "header_row = 0")).balance(3, 0)
            .row(1, &[("note", "1")]).row(3, &[("note", "3")]),
        reading("readxl.missing-first-column.xlsx", notes("readxl.missing-f*", "note = \"C\"", "header_row = 0")).balance(0, 3)
            .set_aside(1, "missing_column", "takes note from \"C\", which is not in the header; found A, B"),
        reading(REPAIR, notes(REPAIR, "note = \"a b\"", "")).balance(0, 2)
            .says(&["the header has \"a b\" 2 times", "\"a b#1\" is the first"]),
        reading(REPAIR, notes(REPAIR, "note = \"a b#2\", block = \"c%&$\"", "")).balance(2, 0)
            .row(3, &[("note", "b"), ("block", "2.2")]),
        // Names merged over two rows and two columns.
        reading(MERGED, notes(MERGED, "note = \"C1#2\", block = \"H1\"", "sheet = \"Sheet1\"\nheader_row = [1, 2]")).balance(2, 0)
            .row(3, &[("note", "C3"), ("block", "H3")]).row(4, &[("note", "C4"), ("block", "H4")]),
        reading(MERGED, notes(MERGED, "note = \"D\", block = \"A\", strip_id = \"F\"", "sheet = \"Sheet2\"\nheader_row = 0"))
            .balance(3, 0)
            .row(1, &[("note", "C1"), ("block", "A1"), ("strip_id", "F1")]).row(4, &[("note", "C3"), ("block", "A1"), ("strip_id", "F1")]),
        // A table of a statistics office (MIT): a title, a header of two rows, row names merged downwards, .. for no figure.
        reading(PURPOSE, of_purpose("strip_id = [\"Sense of purpose / Sex\", \"Sense of purpose / Age group (Life-stages)\"], \
            sample_id = \"Sense of purpose / Highest qualification\", value = \"0 - 6\"",
            "sheet = \"NZ*\"\nheader_row = [3, 4]\nmissing = \"..\"\nrange = \"A1:F44\"")).balance(33, 7).sum("value", 432_000.0)
            .row(5, &[("strip_id", "Male-15 - 24"), ("sample_id", "No Qualification"), ("value", "12000.0")])
            .row(42, &[("strip_id", "Female-65+"), ("sample_id", "Diploma"), ("value", "5000.0")])
            .set_aside(8, "missing_value", "value (\"0 - 6\")"),
        reading(PURPOSE, of_purpose("value = \"Male / 7 - 10\"", "constants.strip_id = \"1\"\nsheet = \"up-left*\"\nheader_row = [2, 3]"))
            .balance(19, 1).sum("value", 1_416_000.0).row(4, &[("value", "13000.0")]).set_aside(20, "missing_value", "Male / 7 - 10"),
        two_of_five_tables()
            .balance(4, 0).sum("value", 171_000.0 + 159_000.0 + 732_000.0 + 807_000.0)
            .row(3, &[("strip_id", "Female"), ("value", "171000.0")]).row(9, &[("strip_id", "Male"), ("value", "807000.0")]),
        reading(PURPOSE, of_purpose("strip_id = \"Sex\", value = \"Value\"", "sheet = \"Small multiples\""))
            .says(&["holds 5 tables: A1:B4 and D1:E4 and A6:B9 and D6:E9 and A11:B14"]),
        reading(PURPOSE, of_purpose("strip_id = \"Sex\", value = \"Value\"", "sheet = \"Tidy\"")).balance(72, 7)
            .row(2, &[("strip_id", "Male"), ("value", "12000.0")]),
        reading(PURPOSE, of_purpose("value = \"Value\"", "")).says(&["several filled sheets (README, NZ.Stat export, Tidy,"]),
    ]
}

/// Small multiples, five on one sheet: two of them, by two blocks about the same sheet.
fn two_of_five_tables() -> Reading {
    let table = |range: &str| {
        let further = format!("sheet = \"Small multiples\"\nrange = \"{range}\"");
        measures("unpivotr.purpose.xlsx", "strip_id = \"Sex\", value = \"Value\"", &further)
    };
    reading("unpivotr.purpose.xlsx", ["A2:B4", "D7:E9"].map(table).concat())
}

#[test]
fn two_blocks_about_one_sheet_keep_the_rows_of_both_and_the_same_bytes_every_time() {
    let Some(folder) = shared("data/sheets") else { return };
    let (_, review) = two_of_five_tables().run(&folder);
    assert_eq!(kept_rows(&review).len(), 4);
    let once = files_below(&review.path().join("store"));
    assert_eq!(review.run("ingest", &[]).status, 0);
    assert_eq!(files_below(&review.path().join("store")), once);
    assert_ne!(review.run("model", &[]).status, 2);
}

#[test]
fn every_workbook_is_read_through_blocks_or_refused_with_what_to_do() {
    check_all("data/sheets", &readings());
}
