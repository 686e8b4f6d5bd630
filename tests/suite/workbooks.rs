//! Workbooks through the binary: which sheet, where the table, what a cell is.

use rust_xlsxwriter::{ExcelDateTime, Format, Workbook};

use crate::foreign::{balance, review_of};

/// What fills a sheet.
type Fill<'a> = &'a dyn Fn(&mut rust_xlsxwriter::Worksheet);

/// A workbook of one or more sheets, each filled by a function; numbers and names are invented.
pub fn workbook(sheets: &[(&str, Fill)]) -> Vec<u8> {
    let mut book = Workbook::new();
    for (name, fill) in sheets {
        fill(book.add_worksheet().set_name(*name).unwrap());
    }
    book.save_to_buffer().unwrap()
}

fn row(sheet: &mut rust_xlsxwriter::Worksheet, row: u32, cells: &[&str]) {
    for (column, cell) in cells.iter().enumerate() {
        match cell.parse::<f64>() {
            Ok(number) => sheet.write_number(row, column as u16, number).unwrap(),
            Err(_) => sheet.write_string(row, column as u16, *cell).unwrap(),
        };
    }
}

/// Two counts with our own names.
pub fn tidy(sheet: &mut rust_xlsxwriter::Worksheet) {
    row(sheet, 0, &["field_id", "season", "strip_id", "counted_at", "emerged"]);
    let day = Format::new().set_num_format("yyyy-mm-dd hh:mm");
    for (strip, emerged) in [(1, 70.0), (2, 65.0)] {
        row(sheet, strip, &["North", "2025", &strip.to_string()]);
        let at = ExcelDateTime::from_ymd(2025, 5, 8).unwrap().and_hms(7, 30, 0).unwrap();
        sheet.write_datetime_with_format(strip, 3, &at, &day).unwrap();
        sheet.write_number(strip, 4, emerged).unwrap();
    }
}

#[test]
fn a_tidy_sheet_is_read_as_a_tidy_csv_is() {
    let review =
        review_of(&[("stand_count.xlsx", &workbook(&[("Sheet1", &tidy)]))], "timezone = \"America/Chicago\"\n");
    let said = review.run("ingest", &["--json"]);
    assert_eq!(balance(&said.stdout), [2, 2, 0], "{}", said.stderr);
    let rows = review.kept("stand_count");
    let first = &rows[0];
    assert_eq!((first["strip_id"].as_str(), first["emerged"].as_str(), first["source_row"].as_str()), ("1", "70", "2"));
    assert_eq!(first["counted_at"], "2025-05-08T12:30:00Z");
    assert_eq!(first["source_file"], "stand_count.xlsx");
}

#[test]
fn of_several_sheets_the_one_called_like_the_table_is_read_and_otherwise_it_must_be_named() {
    let note = |sheet: &mut rust_xlsxwriter::Worksheet| row(sheet, 0, &["counted by two people"]);
    let named = workbook(&[("Notes", &note), ("stand_count", &tidy)]);
    let review = review_of(&[("stand_count.xlsx", &named)], "timezone = \"UTC\"\n");
    assert_eq!(balance(&review.run("ingest", &["--json"]).stdout), [2, 2, 0]);
    assert_eq!(review.kept("stand_count")[0]["source_file"], "stand_count.xlsx/stand_count");

    // Copies of a sheet have its columns and are read with it; what else is there is named.
    let copies = workbook(&[("stand_count", &tidy), ("Ridge", &tidy), ("Notes", &note)]);
    let review = review_of(&[("stand_count.xlsx", &copies)], "timezone = \"UTC\"\n");
    let said = review.run("ingest", &["--json"]);
    assert_eq!(balance(&said.stdout), [4, 4, 0], "{}", said.stderr);
    assert!(
        said.stderr.contains("sheets Notes were not read")
            && said.stderr.contains("all of its rows stand in stand_count.xlsx/stand_count"),
        "{}",
        said.stderr
    );

    let foreign = |sheet: &mut rust_xlsxwriter::Worksheet| {
        row(sheet, 0, &["Plot", "Plants"]);
        row(sheet, 1, &["1", "70"]);
    };
    let unnamed = workbook(&[("May", &foreign), ("June", &foreign)]);
    let review = review_of(&[("stand_count.xlsx", &unnamed)], "");
    let said = review.run("ingest", &[]);
    assert_eq!(said.status, 2);
    assert!(said.stderr.contains("May, June") && said.stderr.contains("sheet = "), "{}", said.stderr);
    let block = "[[source]]\nfile = \"stand_count.xlsx\"\nkind = \"stand_count\"\nsheet = \"M*\"\n\
                 constants = { field_id = \"A\", season = 2025 }\ncolumns = { strip_id = \"Plot\", emerged = \"Plants\" }\n";
    let review = review_of(&[("stand_count.xlsx", &unnamed)], block);
    assert_eq!(balance(&review.run("ingest", &["--json"]).stdout), [1, 1, 0]);
}

#[test]
fn a_header_of_two_rows_with_merged_cells_reads_wide_counts() {
    let wide = |sheet: &mut rust_xlsxwriter::Worksheet| {
        let plain = Format::new();
        row(sheet, 0, &["Emergence counts, invented"]);
        row(sheet, 2, &["Strip"]);
        sheet.merge_range(2, 1, 2, 2, "Plants up", &plain).unwrap();
        row(sheet, 3, &["", "2025-05-08", "2025-05-12"]);
        row(sheet, 4, &["1", "30", "70"]);
        row(sheet, 5, &["2", "25", "65"]);
        // A format far below the data is no row.
        sheet.set_row_format(9000, &Format::new().set_bold()).unwrap();
    };
    let block = "timezone = \"UTC\"\n[[source]]\nfile = \"counts.xlsx\"\nkind = \"stand_count\"\nheader_row = [3, 4]\n\
                 constants = { field_id = \"North\", season = 2025 }\ncolumns.strip_id = \"Strip\"\n\
                 [source.wide]\ncolumns = \"Plants up*\"\nname_to = \"counted_at\"\nvalue_to = \"emerged\"\n\
                 names = { \"Plants up / 2025-05-08\" = \"2025-05-08\", \"Plants up / 2025-05-12\" = \"2025-05-12\" }\n";
    let review = review_of(&[("counts.xlsx", &workbook(&[("Sheet1", &wide)]))], block);
    let said = review.run("ingest", &["--json"]);
    assert_eq!(balance(&said.stdout), [2, 2, 0], "{}", said.stderr);
    let counts: Vec<String> = review
        .kept("stand_count")
        .iter()
        .map(|row| format!("{} {} {}", row["strip_id"], &row["counted_at"][..10], row["emerged"]))
        .collect();
    assert_eq!(counts, ["1 2025-05-08 30", "1 2025-05-12 70", "2 2025-05-08 25", "2 2025-05-12 65"]);
}

#[test]
fn several_tables_on_a_sheet_are_refused_with_their_ranges_and_read_by_range() {
    let two = |sheet: &mut rust_xlsxwriter::Worksheet| {
        tidy(sheet);
        for (at, cells) in [["strip_id", "soil"], ["1", "wet"], ["2", "dry"]].iter().enumerate() {
            for (column, cell) in cells.iter().enumerate() {
                sheet.write_string(at as u32, 7 + column as u16, *cell).unwrap();
            }
        }
    };
    let bytes = workbook(&[("Sheet1", &two)]);
    let review = review_of(&[("stand_count.xlsx", &bytes)], "");
    let said = review.run("ingest", &[]);
    assert_eq!(said.status, 2);
    assert!(said.stderr.contains("2 tables: A1:E3 and H1:I3"), "{}", said.stderr);
    let block = "timezone = \"UTC\"\n[[source]]\nfile = \"stand_count.xlsx\"\nkind = \"stand_count\"\nrange = \"A1:E3\"\n\
                 [[source]]\nfile = \"stand_count.xlsx\"\nkind = \"soil_note\"\nrange = \"H1:I3\"\n\
                 constants = { field_id = \"North\", season = 2025 }\ncolumns.moisture_feel = \"soil\"\n";
    let review = review_of(&[("stand_count.xlsx", &bytes)], block);
    let said = review.run("ingest", &["--json"]);
    assert_eq!(balance(&said.stdout), [4, 4, 0], "{}", said.stderr);
    assert_eq!(review.kept("soil_note")[0]["moisture_feel"], "wet");
}

#[test]
fn error_cells_set_their_row_aside_and_a_formula_gives_its_value() {
    let faulty = |sheet: &mut rust_xlsxwriter::Worksheet| {
        tidy(sheet);
        sheet.write_formula(1, 4, rust_xlsxwriter::Formula::new("=1/0").set_result("#DIV/0!")).unwrap();
        sheet.write_formula(2, 4, rust_xlsxwriter::Formula::new("=60+5").set_result("65")).unwrap();
    };
    let review = review_of(&[("stand_count.xlsx", &workbook(&[("Sheet1", &faulty)]))], "timezone = \"UTC\"\n");
    let said = review.run("ingest", &["--json"]);
    assert_eq!(balance(&said.stdout), [2, 1, 1], "{}", said.stderr);
    assert!(
        said.stderr.contains("row 2") && said.stderr.contains("#DIV/0!") && said.stderr.contains("formula"),
        "{}",
        said.stderr
    );
    assert_eq!(review.kept("stand_count")[0]["emerged"], "65");
}
