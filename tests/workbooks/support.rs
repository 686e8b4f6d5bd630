//! Small workbooks by hand, and cells by address.

use std::io::{Cursor, Write};
use std::path::PathBuf;

use evenstand_workbook::{CellRange, Sheet, SheetCell, Workbook};
use zip::write::SimpleFileOptions;

/// A file of the shared folder; `None`, with a line of print, where it is not there.
pub fn shared(path: &str) -> Option<PathBuf> {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../../shared").join(path);
    if !path.exists() {
        println!("skipped: ../shared is not there");
        return None;
    }
    Some(path)
}

pub fn open(bytes: Vec<u8>) -> Workbook {
    Workbook::open(bytes).unwrap_or_else(|error| panic!("{error}"))
}

/// A cell by its address, such as `B7`.
pub fn at<'a>(sheet: &'a Sheet, address: &str) -> &'a SheetCell {
    let range: CellRange = address.parse().unwrap();
    sheet.cell(range.first_row, range.first_column)
}

/// What a cell is called in the tables of these tests.
pub fn kind(cell: &SheetCell) -> &'static str {
    match cell {
        SheetCell::Empty => "empty",
        SheetCell::Text(_) => "text",
        SheetCell::Number(_) | SheetCell::Share(_) => "number",
        SheetCell::Boolean(_) => "boolean",
        SheetCell::Moment(_) => "moment",
        SheetCell::Day(_) => "day",
        SheetCell::Clock(_) => "clock",
        SheetCell::Duration(_) => "duration",
        SheetCell::Fault(_) => "fault",
    }
}

pub fn print<T: ToString>(items: &[T]) -> Vec<String> {
    items.iter().map(T::to_string).collect()
}

pub fn zipped(files: &[(&str, &str)]) -> Vec<u8> {
    let mut writer = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, text) in files {
        writer.start_file(*name, SimpleFileOptions::default()).unwrap();
        writer.write_all(text.as_bytes()).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

/// An XLSX of one sheet "Log" with the given XML between `<worksheet>` and its end, and texts to point to. Style 1 is a
/// date, 2 a time, 3 both, 4 a duration.
pub fn xlsx_of(sheet: &str, texts: &str) -> Vec<u8> {
    let sheet = format!("<worksheet>{sheet}</worksheet>");
    let texts = format!("<sst>{texts}</sst>");
    zipped(&[
        (
            "[Content_Types].xml",
            r#"<Types><Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/></Types>"#,
        ),
        ("xl/workbook.xml", r#"<workbook><sheets><sheet name="Log" sheetId="1" r:id="rId1"/></sheets></workbook>"#),
        (
            "xl/_rels/workbook.xml.rels",
            r#"<Relationships><Relationship Id="rId1" Type="x/worksheet" Target="worksheets/sheet1.xml"/><Relationship Id="rId2" Type="x/sharedStrings" Target="/xl/sharedStrings.xml"/><Relationship Id="rId3" Type="x/styles" Target="styles.xml"/></Relationships>"#,
        ),
        ("xl/worksheets/sheet1.xml", &sheet),
        ("xl/sharedStrings.xml", &texts),
        (
            "xl/styles.xml",
            r#"<styleSheet><numFmts><numFmt numFmtId="164" formatCode="[h]:mm"/></numFmts><cellStyleXfs><xf numFmtId="14"/></cellStyleXfs><cellXfs><xf numFmtId="0"/><xf numFmtId="14"/><xf numFmtId="20"/><xf numFmtId="22"/><xf numFmtId="164"/></cellXfs></styleSheet>"#,
        ),
    ])
}

/// An ODS of one sheet "Log" with the given rows.
pub fn ods_of(rows: &str) -> Vec<u8> {
    let content = format!(
        r#"<office:document-content><office:body><office:spreadsheet><table:table table:name="Log">{rows}</table:table></office:spreadsheet></office:body></office:document-content>"#
    );
    zipped(&[("mimetype", "application/vnd.oasis.opendocument.spreadsheet"), ("content.xml", &content)])
}
