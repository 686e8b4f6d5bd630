//! XLS: the Binary Interchange File Format, versions 5 and 8, in a compound file ([MS-XLS], [MS-CFB]).
//!
//! Read here, record by record, so that one far cell does not ask for every cell before it. Formulas are not read, only
//! the results that are saved with them.

mod compound;
mod records;
mod sheet;
mod strings;

use crate::WorkbookError;
use crate::builder::SheetBuilder;
use crate::format::NumberFormat;
use crate::serial::DateSystem;
use crate::sniff::not_a_spreadsheet;
use compound::Compound;
use records::{Record, Records, at_u16};
use strings::{Chars, Coding};

pub(crate) struct Xls {
    stream: Vec<u8>,
    globals: Globals,
}

/// What all sheets share.
struct Globals {
    sheets: Vec<SheetEntry>,
    texts: Vec<String>,
    formats: Vec<NumberFormat>,
    system: DateSystem,
    coding: Coding,
}

struct SheetEntry {
    name: String,
    hidden: bool,
    has_cells: bool,
    start: usize,
}

impl Xls {
    /// Errors where the file is protected by a password, damaged, or a compound file of another kind.
    pub fn open(bytes: Vec<u8>) -> Result<Self, WorkbookError> {
        let compound = Compound::open(bytes)?;
        if compound.names().any(|name| name == "EncryptedPackage") {
            return Err(WorkbookError::PasswordProtected);
        }
        let stream = ["Workbook", "Book"].into_iter().find_map(|name| compound.stream(name));
        let stream = stream.ok_or_else(|| match compound.names().any(|name| name == "WordDocument") {
            true => not_a_spreadsheet("a text document (.doc)", "export the table from it as .xlsx, .ods or CSV"),
            false => not_a_spreadsheet("a compound file without a workbook in it", "export the table as .xlsx or CSV"),
        })??;
        Self::of_stream(stream)
    }

    /// From the stream of records itself.
    pub fn of_stream(stream: Vec<u8>) -> Result<Self, WorkbookError> {
        let globals = Globals::read(&stream)?;
        Ok(Self { stream, globals })
    }

    pub fn sheet_names(&self) -> Vec<(String, bool)> {
        self.globals.sheets.iter().map(|sheet| (sheet.name.clone(), sheet.hidden)).collect()
    }

    pub fn read(&mut self, place: usize, builder: &mut SheetBuilder) -> Result<(), WorkbookError> {
        let Some(SheetEntry { name, has_cells: true, start, .. }) = self.globals.sheets.get(place) else {
            return Ok(());
        };
        let stream = self.stream.get(*start..).unwrap_or_default();
        sheet::read(stream, &self.globals, builder).map_err(|error| match error {
            WorkbookError::Damaged { problem, .. } => WorkbookError::damaged(format!("sheet \"{name}\""), problem),
            other => other,
        })
    }
}

impl Globals {
    /// Reads the records before the first sheet. Numbers of records are those of [MS-XLS].
    fn read(stream: &[u8]) -> Result<Self, WorkbookError> {
        let mut globals = Self {
            sheets: Vec::new(),
            texts: Vec::new(),
            formats: Vec::new(),
            system: DateSystem::From1900,
            coding: Coding::Unicode,
        };
        let mut codes = std::collections::BTreeMap::new();
        let mut formats_of_cells: Vec<u16> = Vec::new();
        let mut code_page = 1252;
        for record in Records::of(stream, "workbook") {
            let record = record?;
            let data = record.data;
            match record.kind {
                // FilePass
                0x002F => return Err(WorkbookError::PasswordProtected),
                // BOF: the version; strings are Unicode from version 8 on.
                0x0809 => {
                    if matches!(at_u16(data, 0), Some(0x0500)) {
                        globals.coding = Coding::Bytes { code_page };
                    }
                }
                // CodePage
                0x0042 => {
                    code_page = at_u16(data, 0).unwrap_or(code_page);
                    if let Coding::Bytes { code_page: known } = &mut globals.coding {
                        *known = code_page;
                    }
                }
                // Date1904
                0x0022 if at_u16(data, 0) == Some(1) => globals.system = DateSystem::From1904,
                // Format
                0x041E => {
                    let code = Chars::of(&record, 2).short_or_long(globals.coding, globals.coding == Coding::Unicode);
                    if let Some((id, code)) = at_u16(data, 0).zip(code) {
                        codes.insert(id, NumberFormat::of_code(&code));
                    }
                }
                // XF
                0x00E0 => formats_of_cells.push(at_u16(data, 2).unwrap_or(0)),
                // BoundSheet8
                0x0085 => globals.sheets.push(entry(&record, globals.coding)?),
                // SST
                0x00FC => globals.texts = Chars::of(&record, 8).table(),
                // EOF
                0x000A => break,
                _ => {}
            }
        }
        let format = |id: &u16| codes.get(id).copied().unwrap_or_else(|| NumberFormat::built_in(u32::from(*id)));
        globals.formats = formats_of_cells.iter().map(format).collect();
        Ok(globals)
    }
}

fn entry(record: &Record<'_>, coding: Coding) -> Result<SheetEntry, WorkbookError> {
    let start = records::at_u32(record.data, 0);
    let [state, kind] = [4, 5].map(|place| record.data.get(place).copied());
    let name = Chars::of(record, 6).short_or_long(coding, false);
    match (start, state, kind, name) {
        (Some(start), Some(state), Some(kind), Some(name)) => Ok(SheetEntry {
            name: name.replace('\0', ""),
            hidden: state & 0x3F != 0,
            has_cells: kind == 0,
            start: usize::try_from(start).unwrap_or(usize::MAX),
        }),
        _ => Err(WorkbookError::damaged("workbook", "the list of its sheets is broken")),
    }
}
