//! The parts of an XLSX that its sheets share: list of sheets, texts, number formats.

use std::collections::BTreeMap;

use evenstand_bundle::Bundle;
use quick_xml::events::Event;

use crate::builder::too_large;
use crate::format::NumberFormat;
use crate::serial::DateSystem;
use crate::workbook::part;
use crate::xml::{self, attribute, attributes, name};
use crate::{Limits, WorkbookError};

/// Formats that a workbook can have: 65,490 (a limit of the programs that write them); a few more are kept.
const MOST_FORMATS: usize = 1 << 17;

pub(crate) struct SheetEntry {
    pub name: String,
    pub hidden: bool,
    pub path: String,
    pub has_cells: bool,
}

pub(crate) struct Directory {
    pub sheets: Vec<SheetEntry>,
    pub system: DateSystem,
    pub texts: Option<String>,
    pub styles: Option<String>,
}

/// Path of the workbook's part. The list of content types names it; a writer that leaves it out keeps to `xl/`.
pub(crate) fn workbook_path(bundle: &mut Bundle) -> Result<Option<String>, WorkbookError> {
    const TYPES: &str = "[Content_Types].xml";
    let types = part(bundle, TYPES).transpose()?.map(xml::decode).unwrap_or_default();
    let mut reader = xml::reader(&types);
    loop {
        match reader.read_event().map_err(|error| WorkbookError::damaged(TYPES, error))? {
            Event::Start(element) if name(&element) == "Override" => {
                let kind = attribute(&element, "ContentType").unwrap_or_default();
                let is_sheet = kind.contains("spreadsheetml") || kind.contains("ms-excel.sheet.macro");
                if is_sheet && kind.ends_with("main+xml") && !kind.contains("binary") {
                    let path = attribute(&element, "PartName").unwrap_or_default();
                    return Ok(Some(path.trim_start_matches('/').to_owned()));
                }
            }
            Event::Eof => break,
            _ => {}
        }
    }
    Ok(bundle.find("workbook.xml").into_iter().next())
}

/// Sheets of a workbook with the paths of their parts, and the parts that they share.
pub(crate) fn directory(folder: &str, path: &str, workbook: &str, relations: &str) -> Result<Directory, WorkbookError> {
    let damaged = |error: quick_xml::Error| WorkbookError::damaged(path, error);
    let mut targets: BTreeMap<String, (String, String)> = BTreeMap::new();
    let (mut texts, mut styles) = (None, None);
    let mut reader = xml::reader(relations);
    loop {
        match reader.read_event().map_err(damaged)? {
            Event::Start(element) if name(&element) == "Relationship" => {
                let (mut id, mut kind, mut target) = (String::new(), String::new(), String::new());
                attributes(&element).for_each(|(name, value)| match name {
                    "Id" => id = value.into_owned(),
                    "Type" => kind = value.rsplit('/').next().unwrap_or_default().to_owned(),
                    "Target" => target = resolve(folder, &value),
                    _ => {}
                });
                match kind.as_str() {
                    "sharedStrings" => texts = Some(target.clone()),
                    "styles" => styles = Some(target.clone()),
                    _ => {}
                }
                targets.insert(id, (kind, target));
            }
            Event::Eof => break,
            _ => {}
        }
    }
    let (mut sheets, mut system) = (Vec::new(), DateSystem::From1900);
    let mut reader = xml::reader(workbook);
    loop {
        match reader.read_event().map_err(damaged)? {
            Event::Start(element) if name(&element) == "workbookPr" => {
                let since_1904 = attribute(&element, "date1904");
                if since_1904.is_some_and(|value| matches!(value.trim(), "1" | "true" | "on")) {
                    system = DateSystem::From1904;
                }
            }
            Event::Start(element) if name(&element) == "sheet" => {
                let mut sheet =
                    SheetEntry { name: String::new(), hidden: false, path: String::new(), has_cells: false };
                attributes(&element).for_each(|(name, value)| match name {
                    "name" => sheet.name = value.into_owned(),
                    "state" => sheet.hidden = value != "visible",
                    "id" => {
                        if let Some((kind, target)) = targets.get(value.as_ref()) {
                            sheet.has_cells = kind == "worksheet";
                            sheet.path.clone_from(target);
                        }
                    }
                    _ => {}
                });
                // A sheet that points nowhere is damaged when it is read, not passed over.
                sheet.has_cells |= sheet.path.is_empty();
                sheets.push(sheet);
            }
            Event::Eof => break,
            _ => {}
        }
    }
    Ok(Directory { sheets, system, texts, styles })
}

/// Path of a target as seen from a folder of the archive.
fn resolve(folder: &str, target: &str) -> String {
    let target = target.replace('\\', "/");
    let mut path: Vec<&str> = match target.starts_with('/') {
        true => Vec::new(),
        false => folder.split('/').filter(|part| !part.is_empty()).collect(),
    };
    for part in target.split('/') {
        match part {
            "" | "." => {}
            ".." => drop(path.pop()),
            part => path.push(part),
        }
    }
    path.join("/")
}

/// The texts that cells point to by number.
pub(crate) fn texts(path: &str, part: &str, limits: Limits) -> Result<Vec<Box<str>>, WorkbookError> {
    let mut texts: Vec<Box<str>> = Vec::new();
    let (mut text, mut in_text, mut phonetic) = (String::new(), false, false);
    let mut reader = xml::reader(part);
    loop {
        match reader.read_event().map_err(|error| WorkbookError::damaged(path, error))? {
            Event::Start(element) => match name(&element) {
                "si" => text.clear(),
                "rPh" => phonetic = true,
                "t" => in_text = !phonetic,
                _ => {}
            },
            Event::End(element) => match element.local_name().into_inner() {
                // An empty one counts too: cells point to texts by their place.
                "si" if texts.len() >= limits.cells => {
                    return Err(too_large("too many texts in one workbook".to_owned(), limits.cells.to_string()));
                }
                "si" => texts.push(unescape(&text).into_boxed_str()),
                "rPh" => phonetic = false,
                "t" => in_text = false,
                _ => {}
            },
            Event::Text(part) if in_text => text.push_str(&part.xml10_content()),
            Event::CData(part) if in_text => text.push_str(&part.xml10_content()),
            Event::GeneralRef(entity) if in_text => xml::push_entity(&entity, &mut text),
            Event::Eof => return Ok(texts),
            _ => {}
        }
    }
}

/// Formats of cells by the number that a cell's `s` states.
pub(crate) fn formats(path: &str, part: &str) -> Result<Vec<NumberFormat>, WorkbookError> {
    let mut codes: BTreeMap<u32, NumberFormat> = BTreeMap::new();
    let mut formats = Vec::new();
    let mut in_cells = false;
    let mut reader = xml::reader(part);
    loop {
        match reader.read_event().map_err(|error| WorkbookError::damaged(path, error))? {
            Event::Start(element) => match name(&element) {
                "numFmt" => {
                    let id = attribute(&element, "numFmtId").and_then(|id| id.trim().parse().ok());
                    if let Some((id, code)) = id.zip(attribute(&element, "formatCode")) {
                        codes.insert(id, NumberFormat::of_code(&code));
                    }
                }
                "cellXfs" => in_cells = true,
                "xf" if in_cells && formats.len() < MOST_FORMATS => {
                    let id = attribute(&element, "numFmtId").and_then(|id| id.trim().parse().ok()).unwrap_or(0);
                    formats.push(codes.get(&id).copied().unwrap_or_else(|| NumberFormat::built_in(id)));
                }
                _ => {}
            },
            Event::End(element) if element.local_name().into_inner() == "cellXfs" => in_cells = false,
            Event::Eof => return Ok(formats),
            _ => {}
        }
    }
}

/// Replaces `_x000D_` and the like, letters that XML cannot hold, by the letters they stand for (ECMA-376 part 1,
/// 22.9.2.19).
pub(crate) fn unescape(text: &str) -> String {
    let Some((before, mut rest)) = text.split_once("_x") else { return text.to_owned() };
    // Code units, for a letter outside the first plane is two of them.
    let mut units: Vec<u16> = before.encode_utf16().collect();
    loop {
        let digits = rest.get(..4).filter(|digits| digits.bytes().all(|digit| digit.is_ascii_hexdigit()));
        let unit = digits.and_then(|digits| u16::from_str_radix(digits, 16).ok());
        match unit.zip(rest.get(4..).and_then(|after| after.strip_prefix('_'))) {
            Some((unit, after)) => {
                units.push(unit);
                rest = after;
            }
            None => units.extend("_x".encode_utf16()),
        }
        match rest.split_once("_x") {
            Some((between, after)) => {
                units.extend(between.encode_utf16());
                rest = after;
            }
            None => {
                units.extend(rest.encode_utf16());
                return String::from_utf16_lossy(&units);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_that_xml_cannot_hold_are_read_back() {
        for (written, read) in [
            ("plain", "plain"),
            ("a_x000D_b", "a\rb"),
            ("_x005F_x000D_", "_x000D_"),
            ("_xD83D__xDE00_", "\u{1F600}"),
            ("a_xb", "a_xb"),
            ("a_x00", "a_x00"),
            ("_x00é0_", "_x00é0_"),
            ("seed_x000", "seed_x000"),
        ] {
            assert_eq!(unescape(written), read, "{written}");
        }
    }

    #[test]
    fn targets_are_resolved_from_the_folder_of_the_workbook() {
        assert_eq!(resolve("xl", "worksheets/sheet1.xml"), "xl/worksheets/sheet1.xml");
        assert_eq!(resolve("xl", "/xl/worksheets/sheet1.xml"), "xl/worksheets/sheet1.xml");
        assert_eq!(resolve("xl/book", "../worksheets/./sheet1.xml"), "xl/worksheets/sheet1.xml");
        assert_eq!(resolve("", "../../sheet1.xml"), "sheet1.xml");
    }
}
