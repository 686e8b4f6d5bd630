//! XLSX made here, by a writing library and by hand.

use evenstand_workbook::{CellRange, Oddity, SheetCell, Workbook, WorkbookError, column_letters};
use proptest::prelude::*;
use rust_xlsxwriter::{ExcelDateTime, Format, Workbook as Made};

use crate::support::{at, kind, open, print, shared, xlsx_of, zipped};

#[test]
fn what_a_writer_puts_into_a_sheet_is_read_back() {
    let mut made = Made::new();
    let sheet = made.add_worksheet().set_name("Stand counts 2025").unwrap();
    let (day, clock) = (Format::new().set_num_format("yyyy-mm-dd"), Format::new().set_num_format("hh:mm"));
    let moment = Format::new().set_num_format("dd.mm.yyyy hh:mm");
    let length = Format::new().set_num_format("[h]:mm");
    let centred = Format::new();
    sheet.merge_range(0, 1, 0, 3, "Row 1", &centred).unwrap();
    sheet.merge_range(0, 4, 0, 5, "Row 2", &centred).unwrap();
    sheet.merge_range(0, 0, 1, 0, "Strip", &centred).unwrap();
    for (column, text) in [(1, "May 9"), (2, "May 12"), (3, "May 15"), (4, "May 9"), (5, "May 12")] {
        sheet.write_string(1, column, text).unwrap();
    }
    let date = ExcelDateTime::from_ymd(2025, 5, 9).unwrap();
    sheet.write_datetime_with_format(2, 0, &date, &day).unwrap();
    sheet.write_datetime_with_format(2, 1, date.clone().and_hms(7, 30, 0).unwrap(), &moment).unwrap();
    sheet.write_datetime_with_format(2, 2, ExcelDateTime::from_hms(7, 30, 0).unwrap(), &clock).unwrap();
    sheet.write_number_with_format(2, 3, 1.25, &length).unwrap();
    sheet.write_number(2, 4, 45_786.0).unwrap();
    sheet.write_boolean(2, 5, true).unwrap();
    sheet.write_formula(3, 0, rust_xlsxwriter::Formula::new("=1/0").set_result("#DIV/0!")).unwrap();
    sheet.write_formula(3, 1, rust_xlsxwriter::Formula::new("=2*3").set_result("6")).unwrap();
    sheet.write_string(3, 2, "=HYPERLINK(\"http://example.org\")").unwrap();
    sheet.write_string(3, 3, "  two  blanks ").unwrap();
    sheet.set_row_hidden(3).unwrap();
    // Formats far below and far right hold nothing.
    sheet.write_blank(1_048_575, 16_383, &day).unwrap();
    made.add_worksheet().set_name("Notes").unwrap().set_hidden(true);
    let mut book = open(made.save_to_buffer().unwrap());
    let listed: Vec<_> = book.sheets().iter().map(|sheet| (&sheet.name[..], sheet.hidden, sheet.holds_cells)).collect();
    assert_eq!(listed, [("Stand counts 2025", false, true), ("Notes", true, false)]);
    let mut sheet = book.sheet("stand counts 2025 ").unwrap();
    assert_eq!(sheet.rows.iter().map(|row| row.number).collect::<Vec<_>>(), [1, 2, 3, 4]);
    for (address, wanted, text) in [
        ("A3", "day", "2025-05-09"),
        ("B3", "moment", "2025-05-09T07:30:00"),
        ("C3", "clock", "07:30:00"),
        ("D3", "duration", "30:00:00"),
        ("E3", "number", "45786"),
        ("F3", "boolean", "true"),
        ("A4", "fault", "#DIV/0!"),
        ("B4", "number", "6"),
        ("C4", "text", "=HYPERLINK(\"http://example.org\")"),
        ("D4", "text", "  two  blanks "),
        ("XFD1048576", "empty", ""),
    ] {
        assert_eq!((kind(at(&sheet, address)), at(&sheet, address).text().as_ref()), (wanted, text), "{address}");
    }
    assert_eq!(print(&sheet.merged), ["B1:D1", "E1:F1", "A1:A2"]);
    let before = sheet.clone();
    sheet.fill_merged();
    let header: Vec<String> =
        (0..6).map(|column| format!("{} {}", sheet.cell(1, column).text(), sheet.cell(2, column).text())).collect();
    assert_eq!(header, ["Strip Strip", "Row 1 May 9", "Row 1 May 12", "Row 1 May 15", "Row 2 May 9", "Row 2 May 12"]);
    assert_eq!(sheet.rows[2..], before.rows[2..]);
    let once = sheet.clone();
    sheet.fill_merged();
    assert_eq!(sheet, once);
}

#[test]
fn cells_of_every_type_are_read_by_their_type() {
    let cells = r#"<sheetData><row r="2"><c r="A2" t="d"><v>2025-05-09T07:30:00</v></c><c r="B2" t="d"><v>2025-05-09</v></c>
        <c r="C2" t="e"><v>#SPILL!</v></c><c r="D2" t="b"><v>1</v></c><c r="E2" t="inlineStr"><is><r><t>a </t></r><r><t>b</t></r><rPh><t>no</t></rPh></is></c>
        <c r="F2" t="str"><f>A1</f><v>a&amp;b_x000D_</v></c><c r="G2" s="1"><v>60</v></c><c r="H2" s="2"><v>0.3125</v></c><c r="I2" s="9"><v>1e3</v></c>
        <c r="J2" t="s"><v>1</v></c><c r="K2" t="s"><v>7</v></c><c r="L2"><v>n/a</v></c><c r="M2" t="b"><v>maybe</v></c><c r="N2" t="new"><v>x</v></c><c r="O2"><v>1e999</v></c></row>
        <row><c><v>5</v></c><c t="str"><f>""</f><v></v></c><c><f>1+1</f></c><c><f>1+1</f><v/></c></row></sheetData>"#;
    let texts =
        "<si><t>zero</t></si><si><r><t xml:space=\"preserve\"> one</t></r><rPh><t>no</t></rPh><r><t> </t></r></si>";
    let sheet = open(xlsx_of(cells, texts)).sheet("Log").unwrap();
    for (address, wanted, text) in [
        ("A2", "moment", "2025-05-09T07:30:00"),
        ("B2", "day", "2025-05-09"),
        ("C2", "fault", "#SPILL!"),
        ("D2", "boolean", "true"),
        ("E2", "text", "a b"),
        ("F2", "text", "a&b\r"),
        ("G2", "text", "1900-02-29"),
        ("H2", "clock", "07:30:00"),
        ("I2", "number", "1000"),
        ("J2", "text", " one "),
        ("K2", "empty", ""),
        ("L2", "text", "n/a"),
        ("M2", "text", "maybe"),
        ("N2", "text", "x"),
        ("O2", "text", "1e999"),
        ("A3", "number", "5"),
        ("B3", "empty", ""),
    ] {
        assert_eq!((kind(at(&sheet, address)), at(&sheet, address).text().as_ref()), (wanted, text), "{address}");
    }
    assert_eq!(
        print(&sheet.notices),
        [
            "G2: a date that never was",
            "K2: a text that is missing from the file",
            "L2: not of the type it is said to be, read as text",
            "M2: not of the type it is said to be, read as text",
            "O2: not of the type it is said to be, read as text",
            "C3: a formula without a result",
            "D3: a formula without a result",
        ]
    );
    assert_eq!(sheet.notices[0].oddity, Oddity::NoSuchDay);
}

#[test]
fn a_sheet_of_formulas_without_results_counts_as_holding_cells() {
    let book = open(xlsx_of("<sheetData><row><c><f>1+1</f></c></row></sheetData>", ""));
    assert!(book.sheets()[0].holds_cells);
}

#[test]
fn the_format_is_told_from_the_content_and_a_refusal_says_what_it_looks_like() {
    for (bytes, wanted) in [
        (&b""[..], "an empty file"),
        (b"<html><table><tr><td>1</td></tr></table></html>", "an HTML page"),
        (b"\xEF\xBB\xBF<!DOCTYPE html>", "an HTML page"),
        (b"strip,stand\n1,30\n", "plain text, such as CSV"),
        (b"%PDF-1.7", "a PDF document"),
        (b"\x89PNG\r\n\x1a\n", "a picture (PNG)"),
        (b"\x09\x04\x06\x00\x00\x00\x10\x00", "older than XLS 5"),
        (b"<?xml version=\"1.0\"?><Workbook xmlns=\"urn:schemas-microsoft-com:office:spreadsheet\"/>", "one XML file"),
        (b"MIME-Version: 1.0\nContent-Type: multipart/related", "a web archive"),
        (b"<?xml version=\"1.0\"?><ISO11783_TaskData/>", "an XML file"),
        (b"\x00\x01\x02\x03\x80\x81", "a file of an unknown kind"),
        (&zipped(&[("a.csv", "1,2")]), "a .zip archive without a workbook in it"),
        (&zipped(&[("2025/counts.XLSX", "")]), "a .zip archive with workbooks in it"),
        (&zipped(&[("xl/workbook.bin", "")]), "a binary workbook (.xlsb)"),
        (&zipped(&[("word/document.xml", "<x/>")]), "a text document"),
        (&zipped(&[("mimetype", "application/vnd.oasis.opendocument.text")]), "a text document"),
    ] {
        let error = Workbook::open(bytes.to_vec()).err().unwrap();
        assert!(
            matches!(&error, WorkbookError::NotASpreadsheet { looks_like, .. } if looks_like.contains(wanted)),
            "{error}"
        );
        assert!(error.to_string().contains(wanted), "{error}");
    }
}

#[test]
fn a_sheet_that_is_not_there_is_refused_with_the_names_there_are() {
    let mut book = open(xlsx_of("<sheetData/>", ""));
    let error = book.sheet("Counts").unwrap_err();
    assert_eq!(error.to_string(), "it has no sheet \"Counts\"; there are: \"Log\"");
}

#[test]
fn a_damaged_sheet_is_an_error_of_that_sheet_and_is_listed_as_holding_something() {
    for cells in ["<sheetData><row></sheetData>", "<sheetData><row><c r=\"ZZZ1\"><v>1</v></c></row></sheetData>"] {
        let mut book = open(xlsx_of(cells, ""));
        assert!(book.sheets()[0].holds_cells);
        let error = book.sheet("Log").unwrap_err();
        assert!(matches!(&error, WorkbookError::Damaged { part, .. } if part == "sheet \"Log\""), "{error}");
    }
}

#[test]
fn tables_on_a_sheet_are_told_apart_by_empty_rows_and_columns() {
    let row = |number: u32, columns: &[&str]| {
        let cells: String = columns.iter().map(|column| format!("<c r=\"{column}{number}\"><v>1</v></c>")).collect();
        format!("<row r=\"{number}\">{cells}</row>")
    };
    for (rows, wanted) in [
        (vec![row(1, &["A", "B"]), row(2, &["A", "B"])], vec!["A1:B2"]),
        (vec![row(1, &["A", "B", "D"]), row(2, &["A", "B", "D"])], vec!["A1:B2", "D1:D2"]),
        (vec![row(1, &["A"]), row(3, &["A", "B"]), row(4, &["B"])], vec!["A1", "A3:B4"]),
        // The cut between C and E shows only once row 1 is cut off.
        (
            vec![row(1, &["B", "C", "D", "E"]), row(3, &["B", "C", "E"]), row(4, &["C", "E"])],
            vec!["B1:E1", "B3:C4", "E3:E4"],
        ),
        (vec![row(5, &["C"]), row(6, &["D"])], vec!["C5:D6"]),
        (vec![], vec![]),
    ] {
        let mut book = open(xlsx_of(&format!("<sheetData>{}</sheetData>", rows.concat()), ""));
        assert_eq!(print(&book.sheet("Log").unwrap().regions()), wanted);
    }
}

#[test]
fn a_title_of_merged_cells_belongs_to_its_table_once_it_is_filled() {
    let Some(folder) = shared("data/sheets") else { return };
    let mut book = open(std::fs::read(folder.join("calamine.merged_range.xlsx")).unwrap());
    let mut sheet = book.sheet("Sheet1").unwrap();
    sheet.fill_merged();
    assert_eq!(*at(&sheet, "D1"), SheetCell::Text("C1".to_owned()));
    assert_eq!(*at(&sheet, "D4"), SheetCell::Text("C4".to_owned()));
    // Row 2 holds nothing of its own, so there is nothing to fill there.
    assert_eq!(print(&sheet.regions()), ["A1:H1", "A3:H4"]);
}

#[test]
fn columns_are_lettered_as_spreadsheets_do() {
    for (index, letters) in [(0, "A"), (25, "Z"), (26, "AA"), (27, "AB"), (701, "ZZ"), (702, "AAA"), (16_383, "XFD")] {
        assert_eq!(column_letters(index), letters);
    }
    for text in
        ["", "3", "B", "B0", "XFE1", "A1048577", "B3:", "B3:F20:G1", "B-3", "B3 F20", "É3", "B+3", "$", "A99999999999"]
    {
        assert!(text.parse::<CellRange>().is_err(), "{text}");
    }
    assert_eq!("$f$20:b3".parse::<CellRange>().unwrap().to_string(), "B3:F20");
    assert!("B3:F20".parse::<CellRange>().unwrap().holds(20, 5));
}

#[test]
fn a_covered_cell_with_a_value_of_its_own_keeps_it() {
    let cells = "<row><c><v>1</v></c><c><v>2</v></c><c/><c><v>4</v></c></row>";
    let xml = format!("<sheetData>{cells}</sheetData><mergeCells><mergeCell ref=\"A1:C1\"/></mergeCells>");
    let mut sheet = open(xlsx_of(&xml, "")).sheet("Log").unwrap();
    sheet.fill_merged();
    assert_eq!(sheet.rows[0].cells, [1.0, 2.0, 1.0, 4.0].map(SheetCell::Number));
}

#[test]
fn every_range_of_a_wide_header_is_filled() {
    let cells: String =
        (0..20).map(|group| format!("<c r=\"{}1\"><v>{group}</v></c>", column_letters(3 * group))).collect();
    let merged: String = (0..20)
        .map(|group| format!("<mergeCell ref=\"{}1:{}1\"/>", column_letters(3 * group), column_letters(3 * group + 2)))
        .collect();
    let below: String = (0..60).map(|_| "<c><v>1</v></c>").collect();
    let xml = format!("<sheetData><row>{cells}</row><row>{below}</row></sheetData><mergeCells>{merged}</mergeCells>");
    let mut sheet = open(xlsx_of(&xml, "")).sheet("Log").unwrap();
    sheet.fill_merged();
    let filled: Vec<String> = sheet.rows[0].cells.iter().map(|cell| cell.text().into_owned()).collect();
    assert_eq!(filled, (0..60).map(|column| (column / 3).to_string()).collect::<Vec<_>>());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn texts_and_numbers_come_back_as_they_were_written(
        text in "[ -~äß€日\\n\\t]{1,40}",
        number in proptest::num::f64::NORMAL,
        row in 0_u32..2000,
        column in 0_u16..300,
    ) {
        let mut made = Made::new();
        let sheet = made.add_worksheet();
        sheet.write_string(row, column, text.as_str()).unwrap();
        sheet.write_number(row + 1, column, number).unwrap();
        let sheet = open(made.save_to_buffer().unwrap()).sheet("Sheet1").unwrap();
        prop_assert_eq!(sheet.cell(row + 1, usize::from(column)), &SheetCell::Text(text));
        // The writer keeps as many digits as spreadsheets do, sixteen or seventeen.
        let SheetCell::Number(read) = sheet.cell(row + 2, usize::from(column)) else { panic!("not a number") };
        prop_assert!((read / number - 1.0).abs() < 1e-14, "{} {}", read, number);
    }

    #[test]
    fn a_range_reads_as_it_prints(rows in (1_u32..=1_048_576, 1_u32..=1_048_576), columns in (0_usize..16_384, 0_usize..16_384)) {
        let range = CellRange {
            first_row: rows.0.min(rows.1),
            first_column: columns.0.min(columns.1),
            last_row: rows.0.max(rows.1),
            last_column: columns.0.max(columns.1),
        };
        prop_assert_eq!(range.to_string().parse::<CellRange>(), Ok(range));
    }
}
