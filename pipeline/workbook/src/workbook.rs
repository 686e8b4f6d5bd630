//! A workbook, whatever its format.

use std::collections::BTreeSet;

use evenstand_bundle::{self as bundle, Bundle};

use crate::builder::{SheetBuilder, too_large};
use crate::ods::Ods;
use crate::sniff::{self, Kind};
use crate::xls::Xls;
use crate::xlsx::Xlsx;
use crate::{Sheet, WorkbookError};

/// Most sheets of a workbook: each is looked into when it is opened.
const MOST_SHEETS: usize = 1_024;

/// How much is read from one workbook.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Bytes of one part of the archive, unpacked. Parts are unpacked one at a time, and pictures never; all that is
    /// unpacked together, each time that a sheet is read, may be sixteen times as much.
    pub unpacked_bytes: u64,
    /// Cells of one sheet, counted from column A to the last that holds something in each row.
    pub cells: usize,
    /// Rows of one sheet that hold something.
    pub rows: usize,
    /// Bytes of text on one sheet, counted each time that a cell repeats it.
    pub text_bytes: usize,
}

impl Default for Limits {
    /// 256 MiB a part, 10 million cells, 1,048,576 rows (all a sheet can have), 256 MiB of text.
    fn default() -> Self {
        Self { unpacked_bytes: 256 << 20, cells: 10_000_000, rows: 1_048_576, text_bytes: 256 << 20 }
    }
}

/// A sheet in the list of sheets.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SheetInfo {
    /// Its name.
    pub name: String,
    /// Whether the spreadsheet hides it.
    pub hidden: bool,
    /// Whether any cell holds something; a chart on a sheet of its own holds none. Also true where the sheet turns out
    /// to be damaged before a cell was found, so that nobody passes over it unread.
    pub holds_cells: bool,
}

/// An open workbook.
pub struct Workbook {
    sheets: Vec<SheetInfo>,
    limits: Limits,
    source: Source,
}

enum Source {
    Xlsx(Xlsx),
    Ods(Ods),
    Xls(Xls),
}

impl Workbook {
    /// Opens a workbook within the default [`Limits`]. The format is told from the content, whatever the file is
    /// called.
    ///
    /// Errors where it is protected by a password, damaged, too large, or no workbook; then with what it looks like.
    pub fn open(bytes: Vec<u8>) -> Result<Self, WorkbookError> {
        Self::open_within(bytes, Limits::default())
    }

    /// As [`Workbook::open`], within other limits.
    pub fn open_within(bytes: Vec<u8>, limits: Limits) -> Result<Self, WorkbookError> {
        let mut source = match sniff::kind_of(&bytes)? {
            Kind::Compound => Source::Xls(Xls::open(bytes)?),
            Kind::BareXls => Source::Xls(Xls::of_stream(bytes)?),
            Kind::FlatOds => Source::Ods(Ods::of_content(crate::xml::decode(bytes))?),
            Kind::Zip => of_archive(bytes, limits)?,
        };
        let listed = source.sheet_names();
        if listed.len() > MOST_SHEETS {
            return Err(too_large(format!("{} sheets", listed.len()), MOST_SHEETS.to_string()));
        }
        let mut taken = BTreeSet::new();
        let sheets = listed.into_iter().enumerate().map(|(place, (name, hidden))| {
            let name = own_name(name, &mut taken);
            let mut probe = SheetBuilder::probe(limits);
            let sound = source.read(place, &mut probe);
            SheetInfo { name, hidden, holds_cells: probe.holds_cells() || sound.is_err() }
        });
        let sheets = sheets.collect();
        Ok(Self { sheets, limits, source })
    }

    /// The sheets, in the order of the spreadsheet, hidden ones among them.
    pub fn sheets(&self) -> &[SheetInfo] {
        &self.sheets
    }

    /// Reads a sheet by its name as it is written, or else by its name whatever the case and the blanks around it.
    /// Errors where there is none of that name, or it is damaged or too large.
    pub fn sheet(&mut self, name: &str) -> Result<Sheet, WorkbookError> {
        let folded = name.trim().to_lowercase();
        let exact = self.sheets.iter().position(|sheet| sheet.name == name);
        let near = || self.sheets.iter().position(|sheet| sheet.name.trim().to_lowercase() == folded);
        let place = exact.or_else(near).ok_or_else(|| WorkbookError::NoSuchSheet {
            name: name.to_owned(),
            there: self.sheets.iter().map(|sheet| sheet.name.clone()).collect(),
        })?;
        let mut builder = SheetBuilder::new(self.limits);
        self.source.read(place, &mut builder)?;
        Ok(builder.finish())
    }
}

impl Source {
    /// Names and whether they are hidden.
    fn sheet_names(&self) -> Vec<(String, bool)> {
        match self {
            Self::Xlsx(xlsx) => xlsx.sheet_names(),
            Self::Ods(ods) => ods.sheet_names(),
            Self::Xls(xls) => xls.sheet_names(),
        }
    }

    fn read(&mut self, place: usize, builder: &mut SheetBuilder) -> Result<(), WorkbookError> {
        match self {
            Self::Xlsx(xlsx) => xlsx.read(place, builder),
            Self::Ods(ods) => ods.read(place, builder),
            Self::Xls(xls) => xls.read(place, builder),
        }
    }
}

/// A name that no sheet before has: spreadsheets see to that, other programs may not.
fn own_name(name: String, taken: &mut BTreeSet<String>) -> String {
    let numbered = (2_usize..).map(|number| format!("{name} ({number})"));
    let mut free = std::iter::once(name.clone()).chain(numbered).filter(|name| !taken.contains(name));
    let own = free.next().unwrap_or(name);
    taken.insert(own.clone());
    own
}

fn of_archive(bytes: Vec<u8>, limits: Limits) -> Result<Source, WorkbookError> {
    // A sheet is unpacked when the sheets are listed and again each time that it is asked for.
    let total_bytes = limits.unpacked_bytes.saturating_mul(16);
    let bounds = bundle::Limits { file_bytes: limits.unpacked_bytes, total_bytes, ..Default::default() };
    let mut bundle = Bundle::of_bytes(bytes, bounds).map_err(WorkbookError::of_bundle)?;
    let mimetype = match part(&mut bundle, "mimetype") {
        Some(read) => String::from_utf8_lossy(&read?).trim().to_owned(),
        None => String::new(),
    };
    if mimetype.contains("opendocument.spreadsheet") {
        return Ods::open(bundle).map(Source::Ods);
    }
    match Xlsx::open(&mut bundle, limits)? {
        Some(book) => Ok(Source::Xlsx(book.over(bundle))),
        None => Err(sniff::archive_without_workbook(bundle.names(), &mimetype)),
    }
}

/// A part of an archive by its path, whatever its case; `None` where there is none.
pub(crate) fn part(bundle: &mut Bundle, path: &str) -> Option<Result<Vec<u8>, WorkbookError>> {
    let names = bundle.names();
    let exact = names.iter().find(|name| name.as_str() == path);
    let name = exact.or_else(|| names.iter().find(|name| name.eq_ignore_ascii_case(path)))?.clone();
    Some(bundle.read(&name).map_err(WorkbookError::of_bundle))
}
