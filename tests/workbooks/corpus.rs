//! Every open workbook of the shared folder: sheets, some cells, faults, merged ranges, tables.
//!
//! Expected values: XLSX and ODS from the raw XML with Python's zipfile and ElementTree (dates by counting days from
//! 1899-12-30 or 1904-01-01 with datetime); XLS with xlrd 2.0; regions by a recursive cut over the set of filled cells,
//! in Python.

use evenstand_workbook::Workbook;

use crate::support::{at, kind, open, print, shared};

struct SheetCase {
    name: &'static str,
    hidden: bool,
    /// Rows and cells that hold something.
    size: (usize, usize),
    merged: &'static [&'static str],
    regions: &'static [&'static str],
    cells: &'static [(&'static str, &'static str, &'static str)],
}

const fn sheet(name: &'static str, rows: usize, cells: usize, regions: &'static [&'static str]) -> SheetCase {
    SheetCase { name, hidden: false, size: (rows, cells), merged: &[], regions, cells: &[] }
}

#[rustfmt::skip]
const CASES: &[(&str, &[SheetCase])] = &[
    ("calamine.any_sheets.xlsx", &[
        SheetCase { cells: &[("A1", "number", "1"), ("B3", "number", "6"), ("A4", "empty", "")],
            ..sheet("Visible", 4, 7, &["A1:B3", "A5"]) },
        SheetCase { hidden: true, ..sheet("Hidden", 0, 0, &[]) },
        SheetCase { hidden: true, ..sheet("VeryHidden", 0, 0, &[]) },
        sheet("Chart", 0, 0, &[]),
    ]),
    ("calamine.date.ods", &[SheetCase {
        cells: &[("A1", "day", "2021-01-01"), ("B1", "number", "15"), ("A2", "moment", "2021-01-01T10:10:10"),
            ("A3", "clock", "10:10:10"), ("A4", "clock", "10:10:10"), ("B4", "number", "18")],
        ..sheet("Sheet1", 4, 8, &["A1:B4"]) }]),
    ("calamine.date_1904.xlsx", &[SheetCase {
        cells: &[("A1", "day", "2021-01-01"), ("A2", "day", "2021-01-02"), ("A3", "duration", "255:10:10"),
            ("B1", "number", "15")],
        ..sheet("Sheet1", 3, 6, &["A1:B3"]) }]),
    ("calamine.empty_sheet.xlsx", &[sheet("Sheet1", 0, 0, &[])]),
    ("calamine.errors.xlsx", &[
        SheetCase { cells: &[("A1", "fault", "#DIV/0!"), ("A2", "fault", "#NAME?"), ("A3", "fault", "#VALUE!"),
            ("A4", "fault", "#NULL!"), ("A5", "fault", "#REF!"), ("A6", "fault", "#NUM!"), ("A7", "fault", "#N/A")],
            ..sheet("Feuil1", 7, 7, &["A1:A7"]) },
        sheet("Feuil2", 0, 0, &[]),
        sheet("Feuil3", 0, 0, &[]),
    ]),
    ("calamine.header-row.xlsx", &[SheetCase {
        cells: &[("C3", "text", "Note 1"), ("A9", "text", "Columns"), ("D10", "number", "3"), ("A3", "empty", "")],
        ..sheet("Sheet1", 3, 9, &["C3", "A9:D10"]) }]),
    ("calamine.merged_range.xlsx", &[
        SheetCase { merged: &["H1:H2", "A1:A2", "B1:B2", "C1:D2", "C3:D3", "C4:D4", "E1:E2", "F1:F2", "G1:G2"],
            cells: &[("C1", "text", "C1"), ("D1", "empty", ""), ("H4", "text", "H4")],
            ..sheet("Sheet1", 3, 21, &["A1:C1", "E1:H1", "A3:C4", "E3:H4"]) },
        SheetCase { merged: &["A1:A4", "C3:D4", "F1:H4", "B1:B2", "C1:D2", "E1:E2"],
            ..sheet("Sheet2", 3, 10, &["A1:C1", "E1:F1", "B3:C4", "E3:E4"]) },
    ]),
    ("calamine.special_cells.ods", &[SheetCase {
        cells: &[("A1", "text", "Split\nLine"), ("A2", "text", "Value  With spaces"),
            ("A3", "text", "Value   With 3 spaces"), ("A4", "text", " Value   With spaces before and after "),
            ("A5", "text", "  Value   With 2 spaces before and after  ")],
        ..sheet("sheet1", 5, 5, &["A1:A5"]) }]),
    ("calamine.temperature.xlsx", &[SheetCase {
        cells: &[("B2", "number", "22.2222"), ("B3", "number", "72"), ("A3", "text", "fahrenheit")],
        ..sheet("Sheet1", 3, 6, &["A1:B3"]) }]),
    ("calamine.whitespace_trim.xlsx", &[
        SheetCase { cells: &[("A1", "text", "  trimmed value  "), ("B1", "text", "\t\n value with tabs \n"),
            ("D1", "text", "clean text"), ("A3", "text", "日期 时间")],
            ..sheet("inlineStr", 3, 7, &["A1:B3", "D1"]) },
        SheetCase { cells: &[("B1", "text", "  preserved value  "), ("B2", "text", "  line1\nline2  ")],
            ..sheet("SharedStrings", 3, 7, &["A1:B3", "D1"]) },
    ]),
    ("datacarpentry.survey_messy.xls", &[
        SheetCase { cells: &[("C8", "day", "2013-07-16"), ("D8", "number", "2"), ("F9", "text", "33g"),
            ("P14", "text", "132 (scale not calibrated)"), ("H8", "day", "2013-08-19"), ("K8", "number", "52")],
            ..sheet("2013", 17, 161, &["C3", "C6:F21", "H6:K19", "M6:P18"]) },
        SheetCase { cells: &[("C2", "text", "Field season 2014"), ("M8", "day", "2015-01-08"),
            ("C8", "day", "2014-01-09"), ("F10", "number", "135")],
            ..sheet("2014", 34, 202, &["C2", "C6:F16", "H6:K26", "M6:P20", "C31:E42", "I31"]) },
        SheetCase { cells: &[("A1", "text", "Plot: 3"), ("A3", "day", "2015-01-08"), ("A4", "day", "2015-02-18"),
            ("D6", "number", "232")],
            ..sheet("dates", 15, 53, &["A1:D15"]) },
    ]),
    ("hips_DateofCollection.xlsx", &[
        SheetCase { cells: &[("A2", "text", "Lincoln"), ("B2", "day", "2023-07-15"), ("B10", "day", "2023-08-30"),
            ("D10", "text", "TP3")],
            ..sheet("Sheet1", 10, 40, &["A1:D10"]) },
        SheetCase { cells: &[("B1", "day", "2022-07-04"), ("C1", "day", "2022-07-08"), ("D1", "number", "4")],
            ..sheet("Sheet2", 24, 96, &["A1:D12", "F1", "A14:I18", "A20:I23", "A28:A30"]) },
    ]),
    ("readxl.dates-leap-year-1900-xlsx.xlsx", &[
        SheetCase { cells: &[("A2", "moment", "1900-01-01T08:00:00"), ("A4", "moment", "1900-02-28T08:00:00"),
            ("A5", "text", "1900-02-29T08:00:00"), ("A6", "moment", "1900-03-01T08:00:00"),
            ("A8", "moment", "1904-01-01T08:00:00"), ("C2", "boolean", "true"), ("C5", "boolean", "false")],
            ..sheet("for_testing", 8, 24, &["A1:C8"]) },
        SheetCase { cells: &[("A2", "text", "1899-12-29 08:00:00"), ("A10", "moment", "1903-12-31T08:00:00")],
            ..sheet("for_human_eyes", 11, 33, &["A1:C11"]) },
    ]),
    ("readxl.deaths.xlsx", &[
        SheetCase { merged: &["B4:E4"], cells: &[("A1", "text", "Lots of people"), ("A5", "text", "Name"),
            ("C6", "number", "69"), ("D6", "boolean", "true"), ("E6", "day", "1947-01-08"), ("F6", "day", "2016-01-10"),
            ("A14", "text", "Zsa Zsa Gábor"), ("F19", "text", "too!")],
            ..sheet("arts", 19, 82, &["A1:F19"]) },
        SheetCase { merged: &["B4:E4", "E19:F19"], ..sheet("other", 19, 81, &["A1:F19"]) },
    ]),
    ("readxl.missing-first-column.xlsx", &[
        SheetCase { cells: &[("A1", "empty", ""), ("B1", "number", "1"), ("B3", "number", "3")],
            ..sheet("Sheet1", 3, 3, &["B1:B3"]) },
        sheet("Sheet2", 0, 0, &[]),
        sheet("Sheet3", 0, 0, &[]),
    ]),
    ("readxl.missing-values-xlsx.xlsx", &[SheetCase {
        cells: &[("A2", "text", "NA"), ("B2", "text", "NA"), ("C2", "empty", ""), ("C4", "number", "2")],
        ..sheet("Sheet1", 4, 11, &["A1:C4"]) }]),
    ("readxl.names-need-repair-xlsx.xlsx", &[SheetCase {
        cells: &[("A1", "text", "a b"), ("C1", "empty", ""), ("D1", "text", "c%&$"), ("D2", "number", "1.1"),
            ("D3", "number", "2.2")],
        ..sheet("Sheet1", 3, 11, &["A1:D3"]) }]),
    ("readxl.type-me.xlsx", &[
        SheetCase { cells: &[("A2", "empty", ""), ("A3", "number", "0"), ("A5", "day", "2016-01-01"),
            ("A6", "boolean", "true"), ("A7", "boolean", "false"), ("A9", "text", "true"), ("A11", "text", "False")],
            ..sheet("logical_coercion", 11, 21, &["A1:B11"]) },
        SheetCase { cells: &[("A5", "day", "2014-12-23"), ("A6", "text", "123456"), ("A7", "number", "123456")],
            ..sheet("numeric_coercion", 8, 15, &["A1:B8"]) },
        SheetCase { cells: &[("A3", "day", "2016-05-23"), ("A4", "moment", "2016-04-28T11:30:00"),
            ("A7", "number", "4.3"), ("A8", "number", "39448")],
            ..sheet("date_coercion", 8, 15, &["A1:B8"]) },
        SheetCase { cells: &[("A5", "number", "1.3"), ("A6", "day", "2016-09-24"), ("A7", "number", "36436153")],
            ..sheet("text_coercion", 7, 13, &["A1:B7"]) },
    ]),
    ("unpivotr.purpose.xlsx", &[
        sheet("README", 11, 11, &["A1:A3", "A5:A12"]),
        SheetCase { merged: &["A25:A44", "B25:B29", "B30:B34", "B35:B39", "B40:B44", "A3:D3", "A5:A24", "B5:B9",
            "B10:B14", "B15:B19", "B20:B24"],
            cells: &[("A1", "fault", "#NAME?"), ("E3", "text", "0 - 6"), ("B48", "text", "Suppressed")],
            ..sheet("NZ.Stat export", 48, 146, &["A1:C48", "E3:F3", "E5:F44"]) },
        SheetCase { cells: &[("E3", "number", "37000"), ("B2", "text", "15 - 24")], ..sheet("Tidy", 80, 417, &["A1:F80"]) },
        sheet("Pivot", 13, 80, &["A3:H15"]),
        sheet("up-left left-up", 22, 103, &["B2:G23"]),
        sheet("up-right left-down", 22, 103, &["B2:G23"]),
        sheet("right-down down-right", 22, 103, &["D4:I25"]),
        sheet("right-up down-left", 22, 103, &["D4:I25"]),
        sheet("up-ish left-ish", 12, 75, &["B2:I13"]),
        sheet("right-ish down-ish", 12, 75, &["D4:K15"]),
        sheet("up-ish left-ish border", 12, 75, &["B2:I13"]),
        sheet("right-ish down-ish border", 12, 75, &["D4:K15"]),
        sheet("Small multiples", 12, 35, &["A1:B4", "D1:E4", "A6:B9", "D6:E9", "A11:B14"]),
    ]),
];

#[test]
fn every_open_workbook_is_read_as_its_raw_parts_say() {
    let Some(folder) = shared("data/sheets") else { return };
    for (file, sheets) in CASES {
        let mut book = open(std::fs::read(folder.join(file)).unwrap());
        let found: Vec<(String, bool, bool)> =
            book.sheets().iter().map(|sheet| (sheet.name.clone(), sheet.hidden, sheet.holds_cells)).collect();
        let wanted: Vec<(String, bool, bool)> =
            sheets.iter().map(|sheet| (sheet.name.to_owned(), sheet.hidden, sheet.size.1 > 0)).collect();
        assert_eq!(found, wanted, "{file}");
        for case in *sheets {
            let place = format!("{file}, {}", case.name);
            let sheet = book.sheet(case.name).unwrap();
            let cells = sheet.rows.iter().flat_map(|row| &row.cells).filter(|cell| kind(cell) != "empty").count();
            assert_eq!((sheet.rows.len(), cells), case.size, "{place}");
            assert_eq!(print(&sheet.merged), case.merged, "{place}");
            assert_eq!(print(&sheet.regions()), case.regions, "{place}");
            for (address, wanted_kind, text) in case.cells {
                let cell = at(&sheet, address);
                assert_eq!((kind(cell), cell.text().as_ref()), (*wanted_kind, *text), "{place}, {address}");
            }
            let odd = sheet.rows.iter().filter(|row| row.cells.last().is_none_or(|cell| kind(cell) == "empty")).count();
            assert_eq!(odd, 0, "{place}: rows end in something");
        }
    }
}

#[test]
fn every_file_of_the_folder_has_a_case() {
    let Some(folder) = shared("data/sheets") else { return };
    let mut files: Vec<String> =
        std::fs::read_dir(folder).unwrap().map(|file| file.unwrap().file_name().into_string().unwrap()).collect();
    files.sort();
    assert_eq!(files, CASES.iter().map(|(file, _)| *file).collect::<Vec<_>>());
}

#[test]
fn a_date_reads_as_the_text_beside_it() {
    let Some(folder) = shared("data/sheets") else { return };
    let bytes = std::fs::read(folder.join("readxl.dates-leap-year-1900-xlsx.xlsx")).unwrap();
    let sheet = Workbook::open(bytes).unwrap().sheet("for_testing").unwrap();
    assert_eq!(sheet.rows.len(), 8);
    for row in sheet.rows.iter().skip(1) {
        assert_eq!(row.cells[0].text().replace('T', " "), row.cells[1].text(), "row {}", row.number);
    }
    assert_eq!(print(&sheet.notices), ["A5: a date that never was"]);
}
