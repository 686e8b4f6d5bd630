//! XLSX: ECMA-376 part 1, SpreadsheetML, in the transitional and the strict flavour.
//!
//! Read here, event by event, and not by a general reader: a cell with an error code of a later version, or one bad
//! style, must not cost the sheet, and the counts that a file states (`count`, `dimension`) must not reserve memory.

mod cells;
mod parts;

use evenstand_bundle::Bundle;

use crate::builder::SheetBuilder;
use crate::format::NumberFormat;
use crate::serial::DateSystem;
use crate::workbook::part;
use crate::{Limits, WorkbookError, xml};
use parts::{Directory, SheetEntry};

/// What cells refer to.
#[derive(Default)]
pub(crate) struct Book {
    sheets: Vec<SheetEntry>,
    texts: Vec<Box<str>>,
    formats: Vec<NumberFormat>,
    system: DateSystem,
}

pub(crate) struct Xlsx {
    book: Book,
    bundle: Bundle,
}

impl Xlsx {
    /// Reads what all sheets share. `None` where the archive holds no XLSX workbook.
    pub fn open(bundle: &mut Bundle, limits: Limits) -> Result<Option<Book>, WorkbookError> {
        let Some(path) = parts::workbook_path(bundle)? else { return Ok(None) };
        let Some(workbook) = part(bundle, &path) else { return Ok(None) };
        let workbook = xml::decode(workbook?);
        let (folder, file) = path.rsplit_once('/').unwrap_or(("", &path));
        let relations = match part(bundle, format!("{folder}/_rels/{file}.rels").trim_start_matches('/')) {
            Some(relations) => xml::decode(relations?),
            None => return Err(WorkbookError::damaged(path, "the list of its sheets' files is missing")),
        };
        let Directory { sheets, system, texts, styles } = parts::directory(folder, &path, &workbook, &relations)?;
        let mut book = Book { sheets, system, ..Book::default() };
        if let Some((path, texts)) = texts.and_then(|path| part(bundle, &path).map(|texts| (path, texts))) {
            book.texts = parts::texts(&path, &xml::decode(texts?), limits)?;
        }
        if let Some((path, styles)) = styles.and_then(|path| part(bundle, &path).map(|styles| (path, styles))) {
            book.formats = parts::formats(&path, &xml::decode(styles?))?;
        }
        Ok(Some(book))
    }

    pub fn sheet_names(&self) -> Vec<(String, bool)> {
        self.book.sheets.iter().map(|sheet| (sheet.name.clone(), sheet.hidden)).collect()
    }

    pub fn read(&mut self, place: usize, builder: &mut SheetBuilder) -> Result<(), WorkbookError> {
        // A chart, a dialogue or a macro on a sheet of its own has no cells.
        let Some(SheetEntry { path, has_cells: true, name, .. }) = self.book.sheets.get(place) else { return Ok(()) };
        let text = match part(&mut self.bundle, path) {
            Some(bytes) => xml::decode(bytes?),
            None => {
                return Err(WorkbookError::damaged(format!("sheet \"{name}\""), format!("its file {path} is missing")));
            }
        };
        cells::read(&text, &self.book, builder).map_err(|error| match error {
            WorkbookError::Damaged { problem, .. } => WorkbookError::damaged(format!("sheet \"{name}\""), problem),
            other => other,
        })
    }
}

impl Book {
    /// The workbook over the archive that its sheets are in.
    pub fn over(self, bundle: Bundle) -> Xlsx {
        Xlsx { book: self, bundle }
    }
}
