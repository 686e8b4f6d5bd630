//! What a file is, told from its content.

use crate::WorkbookError;

/// A kind of file that is looked into further.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// An archive: XLSX or ODS.
    Zip,
    /// A compound file: XLS, or anything encrypted.
    Compound,
    /// An XLS without a compound file around it.
    BareXls,
    /// An ODS in a single XML file.
    FlatOds,
}

const SAVE_AS: &str = "open it in a spreadsheet and save it as .xlsx, .ods or CSV";
const EXPORT: &str = "export the table from where it came as .xlsx, .ods or CSV";

/// First bytes that tell a kind of file, and what it is called.
const SIGNATURES: &[(&[u8], &str, &str)] = &[
    (b"%PDF", "a PDF document", EXPORT),
    (b"\x89PNG", "a picture (PNG)", EXPORT),
    (b"\xFF\xD8\xFF", "a picture (JPEG)", EXPORT),
    (b"GIF8", "a picture (GIF)", EXPORT),
    (b"II*\0", "a picture (TIFF)", EXPORT),
    (b"MM\0*", "a picture (TIFF)", EXPORT),
    (b"{\\rtf", "a text document (RTF)", EXPORT),
    (b"PAR1", "a Parquet file", EXPORT),
    (b"SQLite format 3\0", "an SQLite database", EXPORT),
    (b"\x1F\x8B", "a file packed with gzip", "unpack it first"),
    (b"7z\xBC\xAF\x27\x1C", "a .7z archive", "unpack it first"),
    (b"Rar!", "a .rar archive", "unpack it first"),
    // BIFF 2, 3 and 4 begin with a bare BOF record (0x0009, 0x0209, 0x0409).
    (b"\x09\x00\x04\x00", "a spreadsheet of a format older than XLS 5", SAVE_AS),
    (b"\x09\x02\x06\x00", "a spreadsheet of a format older than XLS 5", SAVE_AS),
    (b"\x09\x04\x06\x00", "a spreadsheet of a format older than XLS 5", SAVE_AS),
];

/// The kind of a file, or what it looks like where it is no workbook.
pub(crate) fn kind_of(bytes: &[u8]) -> Result<Kind, WorkbookError> {
    if bytes.starts_with(b"PK\x03\x04") || bytes.starts_with(b"PK\x05\x06") {
        return Ok(Kind::Zip);
    }
    if bytes.starts_with(b"\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1") {
        return Ok(Kind::Compound);
    }
    // BOF of version 5 or 8; its data begins with the version.
    if matches!(bytes, [0x09, 0x08, _, 0, 0, 5 | 6, ..]) {
        return Ok(Kind::BareXls);
    }
    if let Some((_, looks_like, remedy)) = SIGNATURES.iter().find(|(signature, ..)| bytes.starts_with(signature)) {
        return Err(not_a_spreadsheet(looks_like, remedy));
    }
    let start = crate::xml::decode(bytes.iter().take(4096).copied().collect());
    let lower = start.trim_start().to_ascii_lowercase();
    match lower {
        _ if bytes.is_empty() => Err(not_a_spreadsheet("an empty file", "copy it again from where it came")),
        _ if lower.starts_with("<?xml") && lower.contains("<office:document") => Ok(Kind::FlatOds),
        _ if lower.contains("urn:schemas-microsoft-com:office:spreadsheet") => {
            Err(not_a_spreadsheet("a workbook saved as one XML file", SAVE_AS))
        }
        _ if ["<html", "<!doctype html", "<table", "<head", "<body", "<meta"].iter().any(|tag| lower.contains(tag)) => {
            Err(not_a_spreadsheet("an HTML page", SAVE_AS))
        }
        _ if lower.starts_with("mime-version:") => Err(not_a_spreadsheet("a web archive", SAVE_AS)),
        _ if lower.starts_with('<') => Err(not_a_spreadsheet("an XML file", EXPORT)),
        _ if is_text(&start) => Err(not_a_spreadsheet("plain text, such as CSV", "give it the ending .csv")),
        _ => Err(not_a_spreadsheet("a file of an unknown kind", EXPORT)),
    }
}

pub(crate) fn not_a_spreadsheet(looks_like: &str, remedy: &'static str) -> WorkbookError {
    WorkbookError::NotASpreadsheet { looks_like: looks_like.to_owned(), remedy }
}

/// What an archive looks like that holds no workbook that is read here.
pub(crate) fn archive_without_workbook(names: &[String], mimetype: &str) -> WorkbookError {
    let has = |start: &str| names.iter().any(|name| name.to_ascii_lowercase().starts_with(start));
    match () {
        () if has("xl/workbook.bin") => not_a_spreadsheet("a binary workbook (.xlsb)", SAVE_AS),
        () if has("word/") || mimetype.contains("opendocument.text") => not_a_spreadsheet("a text document", EXPORT),
        () if has("ppt/") || mimetype.contains("opendocument.presentation") => {
            not_a_spreadsheet("a set of slides", EXPORT)
        }
        () if names
            .iter()
            .any(|name| [".xlsx", ".xls", ".ods"].iter().any(|ending| name.to_ascii_lowercase().ends_with(ending))) =>
        {
            not_a_spreadsheet("a .zip archive with workbooks in it", "unpack it and give the workbooks")
        }
        () if has("index/") => not_a_spreadsheet("a package of another office program", SAVE_AS),
        () => not_a_spreadsheet("a .zip archive without a workbook in it", "unpack it and give the files in it"),
    }
}

/// Whether nearly all letters can be printed; a cut through a letter at the end does not matter.
fn is_text(start: &str) -> bool {
    let odd = start.chars().filter(|letter| letter.is_control() && !letter.is_whitespace()).count();
    let unknown = start.chars().filter(|letter| *letter == char::REPLACEMENT_CHARACTER).count();
    odd == 0 && unknown * 20 <= start.len()
}
