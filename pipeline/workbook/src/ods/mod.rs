//! ODS: OpenDocument 1.2 and 1.3 part 3 (OASIS), as an archive or as a single XML file.
//!
//! Read here, event by event: merged ranges and hidden sheets are wanted, and a repeat that states ten thousand million
//! cells must cost nothing where they are empty and be refused where they are not.

mod cells;

use std::collections::BTreeSet;

use evenstand_bundle::Bundle;
use quick_xml::events::Event;

use crate::WorkbookError;
use crate::builder::SheetBuilder;
use crate::workbook::part;
use crate::xml::{self, attribute, name};

const CONTENT: &str = "content.xml";

pub(crate) struct Ods {
    content: String,
    /// Tables that are sheets: name, hidden, and where in the content it starts.
    sheets: Vec<(String, bool, usize)>,
}

impl Ods {
    /// Errors where it is protected by a password, has no content, or is damaged before its sheets can be listed.
    pub fn open(mut bundle: Bundle) -> Result<Self, WorkbookError> {
        if let Some(manifest) = part(&mut bundle, "META-INF/manifest.xml") {
            // The element that tells how a part was encrypted; its prefix is the writer's choice.
            if xml::decode(manifest?).contains("encryption-data") {
                return Err(WorkbookError::PasswordProtected);
            }
        }
        match part(&mut bundle, CONTENT) {
            Some(content) => Self::of_content(xml::decode(content?)),
            None => Err(WorkbookError::damaged(CONTENT, "it is missing")),
        }
    }

    /// From the XML that holds the sheets.
    pub fn of_content(content: String) -> Result<Self, WorkbookError> {
        let mut sheets = Vec::new();
        let mut hidden_styles: BTreeSet<String> = BTreeSet::new();
        let mut style = String::new();
        let mut found_spreadsheet = false;
        let mut depth = 0_usize;
        let mut reader = xml::reader(&content);
        loop {
            let start = usize::try_from(reader.buffer_position()).unwrap_or(usize::MAX);
            let event = match reader.read_event() {
                Ok(event) => event,
                // The sheets before the damage can be read; the one that holds it says so.
                Err(_) if !sheets.is_empty() => break,
                Err(error) => return Err(WorkbookError::damaged(CONTENT, error)),
            };
            match event {
                Event::Start(element) => match name(&element) {
                    "style" => style = attribute(&element, "name").unwrap_or_default(),
                    "table-properties" if attribute(&element, "display").as_deref() == Some("false") => {
                        hidden_styles.insert(style.clone());
                    }
                    "spreadsheet" => found_spreadsheet = true,
                    "table" => {
                        if depth == 0 && found_spreadsheet {
                            let hidden =
                                attribute(&element, "style-name").is_some_and(|style| hidden_styles.contains(&style));
                            sheets.push((attribute(&element, "name").unwrap_or_default(), hidden, start));
                        }
                        depth += 1;
                    }
                    // A copy of cells of another file, kept for its formulas; it is no sheet of this one.
                    "table-source" | "dde-source" if depth == 1 => drop(sheets.pop()),
                    _ => {}
                },
                Event::End(element) if element.local_name().into_inner() == "table" => depth = depth.saturating_sub(1),
                Event::Eof => break,
                _ => {}
            }
        }
        match found_spreadsheet {
            true => Ok(Self { content, sheets }),
            false => Err(WorkbookError::damaged(CONTENT, "no sheets are in it")),
        }
    }

    pub fn sheet_names(&self) -> Vec<(String, bool)> {
        self.sheets.iter().map(|(name, hidden, _)| (name.clone(), *hidden)).collect()
    }

    pub fn read(&mut self, place: usize, builder: &mut SheetBuilder) -> Result<(), WorkbookError> {
        let Some((name, _, start)) = self.sheets.get(place) else { return Ok(()) };
        cells::read(self.content.get(*start..).unwrap_or_default(), builder).map_err(|error| match error {
            WorkbookError::Damaged { problem, .. } => WorkbookError::damaged(format!("sheet \"{name}\""), problem),
            other => other,
        })
    }
}
