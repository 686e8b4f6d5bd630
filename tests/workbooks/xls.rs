//! XLS made by hand, record by record ([MS-XLS], [MS-CFB]).

use evenstand_workbook::{Workbook, WorkbookError};

use crate::support::{at, kind, open, print};

pub fn record(kind: u16, data: &[u8]) -> Vec<u8> {
    [&kind.to_le_bytes()[..], &(data.len() as u16).to_le_bytes(), data].concat()
}

/// A cell's head: row and column from 0, and its format.
fn head(row: u16, column: u16, format: u16) -> Vec<u8> {
    [row, column, format].into_iter().flat_map(u16::to_le_bytes).collect()
}

fn cell(kind: u16, row: u16, column: u16, format: u16, value: &[u8]) -> Vec<u8> {
    record(kind, &[&head(row, column, format), value].concat())
}

/// A text with its length in two bytes, one byte a letter.
fn text(letters: &str) -> Vec<u8> {
    [&(letters.len() as u16).to_le_bytes()[..], &[0], letters.as_bytes()].concat()
}

const BOF: [u8; 16] = [0, 6, 5, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0];

/// A workbook stream of one sheet. Format 1 is a date, 2 `yyyy-mm-dd hh:mm`.
pub fn stream_of(shared_texts: &[u8], cells: &[u8]) -> Vec<u8> {
    let xf = |format: u16| record(0x00E0, &[&[0, 0][..], &format.to_le_bytes(), &[0; 16]].concat());
    let format = record(0x041E, &[&164_u16.to_le_bytes()[..], &text("yyyy-mm-dd hh:mm")].concat());
    let mut globals = [record(0x0809, &BOF), format, xf(0), xf(14), xf(164), shared_texts.to_vec()].concat();
    let end = record(0x000A, &[]);
    let sheet_entry = |start: u32| record(0x0085, &[&start.to_le_bytes()[..], &[1, 0, 3, 0], b"Log"].concat());
    let start = globals.len() + sheet_entry(0).len() + end.len();
    globals.extend(sheet_entry(start as u32));
    [globals, end.clone(), record(0x0809, &BOF), cells.to_vec(), end].concat()
}

/// A compound file with one stream: of big sectors where it is filled up to 4096 bytes, else of small ones.
pub fn compound(name: &str, stream: &[u8], filled_up: bool) -> Vec<u8> {
    let mut stream = stream.to_vec();
    let length = if filled_up { stream.len().max(4096) } else { stream.len() };
    stream.resize(length.next_multiple_of(512), 0);
    let sectors = stream.len() / 512;
    // Sector 0 is the table, 1 the directory, 2 the table of small sectors, the stream follows.
    let mut table = vec![0xFFFF_FFFD_u32, 0xFFFF_FFFE, 0xFFFF_FFFE];
    table.extend((0..sectors as u32).map(|at| if at as usize + 1 == sectors { 0xFFFF_FFFE } else { at + 4 }));
    let small = (0..128_u32).map(|at| if (at as usize + 1) * 64 >= length { 0xFFFF_FFFE } else { at + 1 });
    let bytes = |numbers: Vec<u32>| {
        let mut bytes: Vec<u8> = numbers.into_iter().flat_map(u32::to_le_bytes).collect();
        bytes.resize(bytes.len().next_multiple_of(512), 0xFF);
        bytes
    };
    let entry = |name: &str, kind: u8, start: u32, length: usize| {
        let mut entry: Vec<u8> = name.encode_utf16().flat_map(u16::to_le_bytes).collect();
        entry.resize(66, 0);
        entry.push(kind);
        entry.resize(116, 0);
        [entry, start.to_le_bytes().to_vec(), (length as u64).to_le_bytes().to_vec()].concat()
    };
    let (root, file) = match length >= 4096 {
        true => (entry("Root Entry", 5, 0xFFFF_FFFE, 0), entry(name, 2, 3, length)),
        false => (entry("Root Entry", 5, 3, stream.len()), entry(name, 2, 0, length)),
    };
    let mut directory = [root, file].concat();
    directory.resize(512, 0);
    let mut header = b"\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1".to_vec();
    header.resize(24, 0);
    for part in [0x3E_u16, 3, 0xFFFE, 9, 6] {
        header.extend(part.to_le_bytes());
    }
    header.resize(44, 0);
    // One table; directory at 1; small streams below 4096 bytes, their table at 2; no further tables.
    for part in [1_u32, 1, 0, 4096, 2, 1, 0xFFFF_FFFE, 0, 0] {
        header.extend(part.to_le_bytes());
    }
    header.resize(512, 0xFF);
    [header, bytes(table), directory, bytes(small.collect()), stream].concat()
}

pub fn sample() -> Vec<u8> {
    let texts =
        record(0x00FC, &[&2_u32.to_le_bytes()[..], &2_u32.to_le_bytes(), &text("strip"), &[4, 0, 0], b"st"].concat());
    // The second text goes on in the next record, there in wide letters.
    let more = record(0x003C, &[1, b'a', 0, 0xE9, 0]);
    let date = 45786.3125_f64.to_le_bytes();
    let cells = [
        record(0x0200, &[0, 0, 0, 0, 0xFF, 0xFF, 0xFF, 0xFF, 0, 0, 0xFF, 0xFF, 0, 0]),
        cell(0x00FD, 0, 0, 0, &0_u32.to_le_bytes()),
        cell(0x00FD, 0, 1, 0, &1_u32.to_le_bytes()),
        cell(0x00FD, 0, 2, 0, &9_u32.to_le_bytes()),
        cell(0x0203, 1, 0, 2, &date),
        cell(0x027E, 1, 1, 1, &(45_786_u32 << 2 | 2).to_le_bytes()),
        cell(
            0x00BD,
            1,
            2,
            0,
            &[&(300_u32 << 2 | 3).to_le_bytes()[..], &[1, 0], &(60_u32 << 2 | 2).to_le_bytes(), &[3, 0]].concat(),
        ),
        cell(0x0205, 2, 0, 0, &[1, 0]),
        cell(0x0205, 2, 1, 0, &[0x07, 1]),
        cell(0x0006, 2, 2, 0, &[&6.5_f64.to_le_bytes()[..], &[0; 8]].concat()),
        cell(0x0006, 2, 3, 0, &[&[0, 0, 0, 0, 0, 0, 0xFF, 0xFF][..], &[0; 8]].concat()),
        record(0x0207, &text("of a formula")),
        cell(0x0006, 2, 4, 0, &[&[2, 0, 0x2A, 0, 0, 0, 0xFF, 0xFF][..], &[0; 8]].concat()),
        cell(0x0006, 2, 5, 0, &[&[0, 0, 0, 0, 0, 0, 0xFF, 0xFF][..], &[0; 8]].concat()),
        // A chart on the sheet has numbers of its own.
        record(0x0809, &BOF),
        cell(0x0203, 3, 0, 0, &date),
        record(0x000A, &[]),
        cell(0x0204, 65_535, 255, 0, &text("far")),
        record(0x00E5, &[1, 0, 0, 0, 1, 0, 3, 0, 4, 0]),
    ];
    stream_of(&[texts, more].concat(), &cells.concat())
}

#[test]
fn records_of_every_kind_are_read_and_one_far_cell_costs_one_row() {
    for filled_up in [true, false] {
        let mut book = open(compound("Workbook", &sample(), filled_up));
        assert_eq!((book.sheets()[0].hidden, book.sheets()[0].holds_cells), (true, true));
        let sheet = book.sheet("Log").unwrap();
        for (address, wanted, text) in [
            ("A1", "text", "strip"),
            ("B1", "text", "staé"),
            ("C1", "empty", ""),
            ("A2", "moment", "2025-05-09T07:30:00"),
            ("B2", "day", "2025-05-09"),
            ("C2", "number", "3"),
            ("D2", "text", "1900-02-29"),
            ("A3", "boolean", "true"),
            ("B3", "fault", "#DIV/0!"),
            ("C3", "number", "6.5"),
            ("D3", "text", "of a formula"),
            ("E3", "fault", "#N/A"),
            ("A4", "empty", ""),
            ("IV65536", "text", "far"),
        ] {
            assert_eq!((kind(at(&sheet, address)), at(&sheet, address).text().as_ref()), (wanted, text), "{address}");
        }
        assert_eq!(sheet.rows.len(), 4);
        assert_eq!(print(&sheet.merged), ["D1:E2"]);
        assert_eq!(
            print(&sheet.notices),
            ["C1: a text that is missing from the file", "D2: a date that never was", "F3: a formula without a result"]
        );
    }
}

#[test]
fn the_older_version_is_read_with_its_letters() {
    let bof = record(0x0809, &[0, 5, 5, 0]);
    let end = record(0x000A, &[]);
    let mut stream = [bof.clone(), record(0x0042, &1252_u16.to_le_bytes())].concat();
    let start = stream.len() + 4 + 10 + 4;
    stream.extend(record(0x0085, &[&(start as u32).to_le_bytes()[..], &[0, 0, 3], b"Log"].concat()));
    stream.extend([end.clone(), bof, cell(0x0204, 0, 0, 0, b"\x05\x00f\xFCr \x80"), end].concat());
    // Some programs leave out the compound file around the stream.
    for bytes in [compound("Book", &stream, true), stream] {
        let sheet = open(bytes).sheet("Log").unwrap();
        assert_eq!(at(&sheet, "A1").text(), "für €");
    }
}

#[test]
fn a_password_is_named_as_such_and_other_compound_files_by_what_they_are() {
    let locked = [record(0x0809, &BOF), record(0x002F, &[1, 0])].concat();
    for bytes in [compound("Workbook", &locked, true), compound("EncryptedPackage", b"secret", true)] {
        assert_eq!(Workbook::open(bytes).err(), Some(WorkbookError::PasswordProtected));
    }
    let error = Workbook::open(compound("WordDocument", b"text", true)).err().unwrap();
    assert!(error.to_string().contains("text document"), "{error}");
    let error = Workbook::open(compound("Other", b"text", true)).err().unwrap();
    assert!(error.to_string().contains("without a workbook"), "{error}");
}
