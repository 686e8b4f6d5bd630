//! The first rows of a file, whatever its format.

use std::fs::File;
use std::io::{Cursor, Read};

use evenstand_settings::Settings;
use evenstand_tables::{EXPLANATION_SHEET, Group, schema};
use evenstand_workbook::Workbook;

use super::table::{MOST_COLUMNS, Table};
use super::{Facts, Proposal, propose};
use crate::IngestError;
use crate::columnar::open_parquet;
use crate::columns_of_text::{ColumnsOfText, Cut};
use crate::delimited::{Delimited, decoded, evenest_delimiter};
use crate::header::{check_required, match_names, tidy};
use crate::record::{InMemory, OwnedCell, Record, TableReader};
use crate::workbook_file::{cells_in, tables_of};

/// Rows that are looked at.
const MOST_ROWS: usize = 200;
/// Bytes of a text file that are looked at.
const MOST_BYTES: u64 = 1 << 20;
/// Sheets of a workbook that are looked at.
const MOST_SHEETS: usize = 20;
/// Letters of a cell that are kept.
const MOST_LETTERS: usize = 1000;

/// The first rows of a table, and what its format says.
#[derive(Debug)]
pub struct FirstRows {
    rows: Vec<(i64, Vec<OwnedCell>)>,
    facts: Facts,
}

impl FirstRows {
    /// Takes the first rows of any table. Errors where they cannot be read.
    pub(crate) fn of(table: &mut dyn TableReader, facts: Facts) -> Result<Self, IngestError> {
        let mut rows = Vec::new();
        while rows.len() < MOST_ROWS
            && let Some((number, record)) = table.next()?
        {
            rows.push((number, cells(record)));
        }
        Ok(Self { rows, facts })
    }

    /// Proposes a `[[source]]` block. `file` is the path below `raw/`.
    pub fn propose(&self, file: &str) -> Proposal {
        propose(file, &self.rows, &self.facts)
    }

    /// Names of the columns, as far as they are found.
    fn names(&self) -> Vec<String> {
        let table = Table::of(&self.rows, self.facts.names_apart);
        table.columns.into_iter().map(|column| column.name).collect()
    }

    /// Whether the file can be read as this raw table as it is: by its own header and in an encoding that is understood
    /// unsaid. An empty file fits everything.
    pub fn fits(&self, kind: &str, settings: &Settings) -> bool {
        let (Some((_, first)), Ok(schema)) = (self.rows.first(), schema(Group::Raw, kind)) else { return true };
        let names: Vec<String> = (0..first.len()).map(|cell| tidy(&first.cell(cell).text())).collect();
        let layout = match_names(schema, &names, &settings.default_units);
        let usable = layout.and_then(|layout| check_required(schema, &layout, &names, &[])).is_ok();
        usable && self.facts.encoding.is_none()
    }
}

/// Takes the first rows of a text file. Bytes that are not UTF-8, and not UTF-16 either, are taken for Windows-1252.
///
/// Errors where the bytes cannot be read.
pub fn look_at_text(file: &str, bytes: impl Read) -> Result<FirstRows, IngestError> {
    let mut start = Vec::new();
    bytes.take(MOST_BYTES).read_to_end(&mut start).map_err(|error| IngestError::read(file, &error))?;
    let cut = start.len() as u64 == MOST_BYTES;
    if cut && let Some(end) = start.iter().rposition(|byte| matches!(byte, b'\n' | b'\r')) {
        start.truncate(end + 1);
    }
    let encoding = (!is_understood(&start)).then_some("windows-1252");
    let text = || {
        let declared = encoding.map(|_| encoding_rs::WINDOWS_1252);
        decoded(Cursor::new(start.as_slice()), declared).map_err(|error| IngestError::read(file, &error))
    };
    let delimiter = evenest_delimiter(&text()?.start);
    let said = match delimiter {
        b';' => Some(";"),
        b'\t' => Some("tab"),
        b'|' => Some("|"),
        _ => None,
    };
    let facts = Facts { delimiter: said, encoding, ..Facts::default() };
    let divided = FirstRows::of(&mut Delimited::new(file, text()?, Some(delimiter)), facts)?;
    if usual_cells(&divided.rows).is_some_and(|cells| cells > 1) {
        return Ok(divided);
    }
    let facts = Facts { delimiter: Some("blanks"), encoding, ..Facts::default() };
    let under_each_other = FirstRows::of(&mut ColumnsOfText::new(file, text()?, Cut::Blanks), facts)?;
    // Prose has lines of all lengths; a table has most of one.
    let columns = usual_cells(&under_each_other.rows).is_some_and(|cells| cells > 2);
    Ok(if columns { under_each_other } else { divided })
}

/// Takes the first rows of a Parquet file. Errors where it is none, damaged or protected.
pub fn look_at_parquet(file: &str, parquet: File) -> Result<FirstRows, IngestError> {
    let mut table = open_parquet(file, parquet, MOST_ROWS)?;
    FirstRows::of(&mut table, Facts { names_apart: true, ..Facts::default() })
}

/// Takes the first rows of every table of a workbook: of each filled sheet, and of each table on it where there are several.
/// Errors where the workbook cannot be read.
pub fn look_at_workbook(file: &str, bytes: Vec<u8>) -> Result<Vec<FirstRows>, IngestError> {
    let broken = |error: &dyn std::fmt::Display| IngestError::read(file, error);
    let mut book = Workbook::open(bytes).map_err(|error| broken(&error))?;
    let filled: Vec<String> = book
        .sheets()
        .iter()
        .filter(|sheet| sheet.holds_cells && !sheet.name.eq_ignore_ascii_case(EXPLANATION_SHEET))
        .map(|sheet| sheet.name.clone())
        .collect();
    let mut tables = Vec::new();
    for name in filled.iter().take(MOST_SHEETS) {
        let mut sheet = book.sheet(name).map_err(|error| broken(&error))?;
        sheet.fill_merged();
        let facts = Facts { sheet: (filled.len() > 1).then(|| name.clone()), ..Facts::default() };
        let ranges = match tables_of(&sheet, None) {
            several if several.len() > 1 => several.into_iter().map(Some).collect(),
            _ => vec![None],
        };
        for range in ranges {
            let rows = sheet.rows.iter().filter_map(|row| cells_in(row, range)).take(MOST_ROWS).collect();
            let facts = Facts { range: range.map(|range| range.to_string()), ..facts.clone() };
            tables.push(FirstRows::of(&mut InMemory::new(rows), facts)?);
        }
    }
    let names: Vec<Vec<String>> = tables.iter().map(FirstRows::names).collect();
    for (table, own) in tables.iter_mut().zip(&names) {
        table.facts.alike = !own.is_empty() && names.iter().filter(|other| *other == own).count() > 1;
    }
    Ok(tables)
}

/// UTF-8, or UTF-16 by its mark or its zeros.
fn is_understood(start: &[u8]) -> bool {
    let marked = matches!(start, [0xff, 0xfe, ..] | [0xfe, 0xff, ..]);
    let zeros = matches!(start, [_, 0, _, 0, ..] | [0, _, 0, _, ..]);
    marked || zeros || std::str::from_utf8(start).is_ok()
}

/// The number of cells of at least two rows of three; `None` where no number is so frequent.
fn usual_cells(rows: &[(i64, Vec<OwnedCell>)]) -> Option<usize> {
    let same = |length: usize| rows.iter().filter(|(_, row)| row.len() == length).count();
    let most = rows.iter().map(|(_, row)| row.len()).max_by_key(|length| same(*length))?;
    (3 * same(most) >= 2 * rows.len()).then_some(most)
}

fn cells(record: &dyn Record) -> Vec<OwnedCell> {
    (0..record.len().min(MOST_COLUMNS)).map(|index| OwnedCell::of(record.cell(index), MOST_LETTERS)).collect()
}
