//! Files that mean harm: no panic, bounded memory, a clear refusal or as much as can be read.

use evenstand_workbook::{Limits, Workbook, WorkbookError};

use crate::support::{at, ods_of, open, shared, xlsx_of, zipped};
use crate::xls::{compound, record, sample, stream_of};

/// Opens, reads every sheet, fills and cuts it; gives the cells that were read, or says nothing of the refusal but that
/// it has words.
fn read_all(bytes: Vec<u8>) -> usize {
    let mut book = match Workbook::open(bytes) {
        Ok(book) => book,
        Err(error) => {
            assert!(error.to_string().len() > 20, "{error}");
            return 0;
        }
    };
    let names: Vec<String> = book.sheets().iter().map(|sheet| sheet.name.clone()).collect();
    let mut cells = 0;
    for name in names {
        match book.sheet(&name) {
            Ok(mut sheet) => {
                cells += sheet.rows.iter().map(|row| row.cells.len()).sum::<usize>();
                sheet.regions();
                sheet.fill_merged();
                sheet.rows.iter().flat_map(|row| &row.cells).for_each(|cell| drop(cell.text()));
            }
            Err(error) => assert!(error.to_string().len() > 20, "{error}"),
        }
    }
    cells
}

fn too_large(result: Result<Workbook, WorkbookError>, sheet: bool) -> bool {
    match (result, sheet) {
        (Err(WorkbookError::TooLarge { .. }), false) => true,
        (Ok(mut book), true) => matches!(book.sheet("Log"), Err(WorkbookError::TooLarge { .. })),
        _ => false,
    }
}

#[test]
fn what_unpacks_beyond_the_limits_is_refused() {
    let blanks = " ".repeat(3 << 20);
    let limits = Limits { unpacked_bytes: 1 << 20, ..Limits::default() };
    assert!(too_large(Workbook::open_within(xlsx_of(&format!("<sheetData>{blanks}</sheetData>"), ""), limits), true));
    assert!(too_large(Workbook::open_within(xlsx_of("<sheetData/>", &blanks), limits), false));
    assert!(too_large(Workbook::open_within(ods_of(&blanks), limits), false));
    let many: Vec<String> = (0..20_001).map(|number| format!("{number}.xml")).collect();
    let many: Vec<(&str, &str)> = many.iter().map(|name| (name.as_str(), "")).collect();
    assert!(too_large(Workbook::open(zipped(&many)), false));
}

#[test]
fn a_workbook_of_very_many_sheets_is_refused_before_it_is_looked_into() {
    let sheets = "<table:table/>".repeat(200_000);
    let content = format!("<a><office:spreadsheet>{sheets}</office:spreadsheet></a>");
    let bytes = zipped(&[("mimetype", "application/vnd.oasis.opendocument.spreadsheet"), ("content.xml", &content)]);
    assert!(too_large(Workbook::open(bytes), false));
}

#[test]
fn cells_rows_and_texts_beyond_the_limits_are_refused() {
    let far = "<c r=\"XFD1\"><v>1</v></c>".to_owned();
    let rows = |cell: &str| {
        (1..200)
            .map(|row| format!("<row r=\"{row}\">{}</row>", cell.replace('1', &row.to_string())))
            .collect::<String>()
    };
    let cells = format!("<sheetData>{}</sheetData>", rows(&far));
    let limits = Limits { cells: 100 * 16_384, ..Limits::default() };
    assert!(too_large(Workbook::open_within(xlsx_of(&cells, ""), limits), true));
    assert!(too_large(Workbook::open_within(xlsx_of(&cells, ""), Limits { rows: 198, ..Limits::default() }), true));
    // One long text that many cells point to.
    let long = format!("<si><t>{}</t></si>", "x".repeat(1 << 20));
    let pointing: String = (1..1000).map(|row| format!("<row r=\"{row}\"><c t=\"s\"><v>0</v></c></row>")).collect();
    assert!(too_large(Workbook::open(xlsx_of(&format!("<sheetData>{pointing}</sheetData>"), &long)), true));
    let texts = "<si/>".repeat(1001);
    let limits = Limits { cells: 1000, ..Limits::default() };
    assert!(too_large(Workbook::open_within(xlsx_of("<sheetData/>", &texts), limits), false));
}

#[test]
fn blanks_that_are_counted_do_not_fill_memory() {
    let blanks = "<text:s text:c=\"99999999999\"/>".repeat(1000);
    let cell = format!("<table:table-cell office:value-type=\"string\"><text:p>a{blanks}b</text:p></table:table-cell>");
    let sheet = open(ods_of(&format!("<table:table-row>{cell}</table:table-row>"))).sheet("Log").unwrap();
    assert_eq!(at(&sheet, "A1").text().len(), 32_768);
    let row = format!("<table:table-row table:number-rows-repeated=\"9000\">{}</table:table-row>", cell.repeat(200));
    let limits = Limits { text_bytes: 1 << 20, ..Limits::default() };
    assert!(too_large(Workbook::open_within(ods_of(&row), limits), true));
}

#[test]
fn what_a_file_states_about_its_size_reserves_nothing() {
    let cells = r#"<dimension ref="A1:XFD1048576"/><sheetData><row r="1"><c r="A1" t="s"><v>0</v></c></row><row r="1048576"><c r="XFD1048576" s="1"/><c r="A1048576" t="s"><v>1</v></c></row></sheetData><mergeCells count="4000000000"><mergeCell ref="A1:XFD1048576"/></mergeCells>"#;
    let bytes = xlsx_of(cells, r#"<si><t>only</t></si><si><t></t></si>"#);
    let mut sheet = open(bytes).sheet("Log").unwrap();
    assert_eq!((sheet.rows.len(), sheet.rows[0].cells.len()), (1, 1));
    sheet.fill_merged();
    assert_eq!((sheet.rows.len(), sheet.rows[0].cells.len()), (1, 1));
    let stated = r#"<sst count="9999999999999" uniqueCount="9999999999999"><si><t>only</t></si></sst>"#;
    let stated = stated.strip_prefix("<sst").unwrap().strip_suffix("</sst>").unwrap();
    // The shared texts begin with a second, nested list that states its size.
    let sheet = open(xlsx_of(cells, &format!("<sst{stated}</sst>"))).sheet("Log").unwrap();
    assert_eq!(at(&sheet, "A1").text(), "only");
}

#[test]
fn a_merged_range_over_the_whole_sheet_fills_no_more_than_the_limit() {
    let rows: String = (2..2000).map(|row| format!("<row r=\"{row}\"><c><v>1</v></c></row>")).collect();
    let merged = "<mergeCell ref=\"A1:XFD1048576\"/>".repeat(200);
    let cells =
        format!("<sheetData><row r=\"1\"><c><v>1</v></c><c r=\"XFD1\"><v>1</v></c></row>{rows}</sheetData>{merged}");
    let mut sheet = open(xlsx_of(&cells, "")).sheet("Log").unwrap();
    sheet.fill_merged();
    let filled: usize = sheet.rows.iter().map(|row| row.cells.len()).sum();
    assert!((9_000_000..11_000_000).contains(&filled), "{filled}");
}

#[test]
fn entities_do_not_grow_and_nesting_does_not_overflow() {
    let bomb: String = (1..10).map(|n| format!("<!ENTITY l{n} \"{}\">", format!("&l{};", n - 1).repeat(10))).collect();
    let texts = format!("<!DOCTYPE sst [<!ENTITY l0 \"ha\">{bomb}]><si><t>&l9;</t></si>");
    let sheet = open(xlsx_of("<sheetData><row><c t=\"s\"><v>0</v></c></row></sheetData>", &texts)).sheet("Log");
    assert_eq!(at(&sheet.unwrap(), "A1").text(), "&l9;");
    let deep = format!("{}{}", "<a>".repeat(500_000), "</a>".repeat(500_000));
    assert_eq!(read_all(xlsx_of(&format!("{deep}<sheetData><row><c><v>1</v>{deep}</c></row></sheetData>"), "")), 1);
    let cell = format!(
        "<table:table-row><table:table-cell office:value-type=\"float\" office:value=\"1\">{deep}</table:table-cell></table:table-row>"
    );
    assert_eq!(read_all(ods_of(&cell)), 1);
    let tables = format!("{}{}", "<table:table>".repeat(100_000), "</table:table>".repeat(100_000));
    assert_eq!(read_all(ods_of(&tables)), 0);
}

#[test]
fn a_sheet_made_to_be_cut_forever_is_cut_a_few_times() {
    // Each cut lays bare the next: a corner, its row, its column, and so on.
    let mut cells = std::collections::BTreeMap::<u32, std::collections::BTreeSet<usize>>::new();
    for step in 0..150_u32 {
        let place = 2 * step as usize;
        cells.entry(2 * step + 1).or_default().extend(place..300);
        (2 * step + 3..300).for_each(|row| cells.entry(row).or_default().extend([place]));
    }
    let rows: String = cells
        .iter()
        .map(|(row, columns)| {
            let cells: String = columns
                .iter()
                .map(|column| format!("<c r=\"{}{row}\"><v>1</v></c>", evenstand_workbook::column_letters(*column)))
                .collect();
            format!("<row r=\"{row}\">{cells}</row>")
        })
        .collect();
    let sheet = open(xlsx_of(&format!("<sheetData>{rows}</sheetData>"), "")).sheet("Log").unwrap();
    let regions = sheet.regions();
    for row in &sheet.rows {
        for (column, _) in row.cells.iter().enumerate().filter(|(_, cell)| !cell.is_blank()) {
            assert_eq!(regions.iter().filter(|range| range.holds(row.number, column)).count(), 1);
        }
    }
}

#[test]
fn compound_files_that_bite_their_tail_end() {
    let sound = compound("Workbook", &sample(), true);
    for (place, number) in [(512 + 3 * 4, 3_u32), (512 + 4, 1), (512 + 8, 2), (68, 0), (48, 0), (60, 7), (76, 5)] {
        let mut bytes = sound.clone();
        bytes[place..place + 4].copy_from_slice(&number.to_le_bytes());
        read_all(bytes);
    }
    // Twenty thousand columns in a row of few bytes, and texts that state more letters than there are.
    let cells = record(0x00BD, &[0, 0, 0xF0, 0xFF, 0, 0, 0, 0, 0, 0, 0, 0, 0xFF, 0xFF]);
    let texts = record(0x00FC, &[0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0x0D, 0xFF, 0xFF]);
    assert_eq!(read_all(compound("Workbook", &stream_of(&texts, &cells), true)), 0);
}

/// Numbers that look random and are the same every time (Marsaglia 2003, xorshift64).
struct Dice(u64);

impl Dice {
    fn below(&mut self, limit: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % limit.max(1) as u64) as usize
    }

    /// Flips, overwrites, cuts, doubles or swaps a few bytes.
    fn mutate(&mut self, bytes: &mut Vec<u8>) {
        for _ in 0..=self.below(6) {
            let (place, length) = (self.below(bytes.len()), self.below(40));
            let end = (place + length).min(bytes.len());
            match self.below(7) {
                0 if !bytes.is_empty() => bytes[place] ^= 1 << self.below(8),
                1 if !bytes.is_empty() => bytes[place] = [0, 0xFF, b'<', b'>', b'"', b'9', b'&', b'/'][self.below(8)],
                2 => bytes.truncate(place),
                3 => drop(bytes.drain(place..end)),
                4 => bytes.extend_from_within(place..end),
                5 => {
                    let part = bytes[place..end].to_vec();
                    let there = self.below(bytes.len());
                    bytes.splice(there..there, part);
                }
                _ => bytes[place..end].fill(self.below(256) as u8),
            }
        }
    }
}

/// Parts of an archive, to be changed behind the back of its checksums.
fn parts_of(bytes: &[u8]) -> Vec<(String, Vec<u8>)> {
    let mut archive = zip::ZipArchive::new(std::io::Cursor::new(bytes)).unwrap();
    (0..archive.len())
        .map(|index| {
            let mut part = archive.by_index(index).unwrap();
            let mut bytes = Vec::new();
            std::io::Read::read_to_end(&mut part, &mut bytes).unwrap();
            (part.name().unwrap().to_string(), bytes)
        })
        .filter(|(name, _)| name.ends_with(".xml") || name.ends_with(".rels") || name == "mimetype")
        .collect()
}

fn packed(parts: &[(String, Vec<u8>)]) -> Vec<u8> {
    let mut writer = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    let stored = zip::write::SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    for (name, bytes) in parts {
        writer.start_file(name.as_str(), stored).unwrap();
        std::io::Write::write_all(&mut writer, bytes).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

fn seeds() -> Vec<Vec<u8>> {
    let cells = r#"<dimension ref="A1:D2"/><sheetData><row r="1"><c r="A1" t="s"><v>0</v></c><c r="B1" t="inlineStr"><is><t>set</t></is></c><c r="C1" s="3"><v>45786.3125</v></c><c r="D1"><f>1+1</f></c></row><row r="2"><c r="A2" t="e"><v>#N/A</v></c><c r="B2" t="b"><v>1</v></c><c r="C2" s="4"><v>1.5</v></c></row></sheetData><mergeCells><mergeCell ref="A1:B2"/></mergeCells>"#;
    let rows = r#"<table:table-row table:number-rows-repeated="3"><table:table-cell table:number-columns-repeated="2" office:value-type="date" office:date-value="2025-05-09"><text:p>x<text:s text:c="2"/></text:p></table:table-cell><table:table-cell table:number-columns-spanned="2" office:value-type="time" office:time-value="PT07H30M00S"/></table:table-row>"#;
    let mut seeds = vec![
        xlsx_of(cells, "<si><t>strip_x000D_ &amp;</t></si>"),
        ods_of(rows),
        compound("Workbook", &sample(), true),
        compound("Workbook", &sample(), false),
    ];
    if let Some(folder) = shared("data/sheets") {
        let files =
            ["calamine.errors.xlsx", "calamine.date.ods", "readxl.deaths.xlsx", "datacarpentry.survey_messy.xls"];
        seeds.extend(files.map(|file| std::fs::read(folder.join(file)).unwrap()));
    }
    seeds
}

#[test]
fn thousands_of_mutated_workbooks_are_read_or_refused() {
    let mut dice = Dice(0x5EED_0FC0_8A11_0001);
    let (mut inputs, mut cells) = (0, 0);
    for seed in seeds() {
        let parts = seed.starts_with(b"PK").then(|| parts_of(&seed));
        for round in 0..1_000 {
            let bytes = match &parts {
                // Most of a changed archive is refused by its checksums, so most changes are made before it is packed.
                Some(parts) if round % 4 != 0 => {
                    let mut parts = parts.clone();
                    let which = dice.below(parts.len());
                    dice.mutate(&mut parts[which].1);
                    packed(&parts)
                }
                _ => {
                    let mut bytes = seed.clone();
                    dice.mutate(&mut bytes);
                    bytes
                }
            };
            inputs += 1;
            cells += read_all(bytes);
        }
    }
    assert!(inputs >= 4_000, "{inputs}");
    // Changes so coarse that nothing could be read would test nothing.
    assert!(cells > inputs, "{cells} cells from {inputs} inputs");
    // Linux tells the most memory that this process ever held, other tests of this file with it.
    if let Ok(status) = std::fs::read_to_string("/proc/self/status") {
        let peak = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).unwrap_or("0 kB");
        let kilobytes: u64 = peak.trim().trim_end_matches(" kB").parse().unwrap();
        assert!(kilobytes < 2 << 20, "{kilobytes} kB at most");
    }
}

#[test]
fn workbooks_cut_short_anywhere_are_read_or_refused() {
    for seed in seeds() {
        assert!(read_all(seed.clone()) > 0);
        for part in 0..60 {
            read_all(seed[..seed.len() * part / 60].to_vec());
        }
    }
}

#[test]
fn random_bytes_behind_every_signature_are_refused() {
    let mut dice = Dice(7);
    for signature in
        [&b"PK\x03\x04"[..], b"\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1", b"<?xml version=\"1.0\"?><office:document>", b""]
    {
        for _ in 0..100 {
            let mut bytes = signature.to_vec();
            bytes.extend((0..2000).map(|_| dice.below(256) as u8));
            assert_eq!(read_all(bytes), 0);
        }
    }
}
