//! Sheets of workbooks: XLSX, XLS and ODS.

use evenstand_settings::Settings;
use evenstand_tables::{EXPLANATION_SHEET, Finding, Group, schema};
use evenstand_workbook::{CellRange, Notice, Sheet, SheetCell, SheetRow, Workbook};

use crate::IngestError;
use crate::file_report::{FileReport, Source, Surroundings};
use crate::header::{check_required, match_names, tidy};
use crate::mapping::{Mapping, name_fits};
use crate::record::{InMemory, OwnedCell};
use crate::table_file::read_table;

/// Reads the sheets of a workbook that a `[[source]]` block names; without one the sheet that is called like the table,
/// else the only one that holds anything. Errors where none or several could be meant, a sheet holds several tables, the
/// workbook cannot be read, or the sink fails.
pub fn read_workbook(source: &Source, bytes: Vec<u8>, around: Surroundings) -> Result<FileReport, IngestError> {
    let refused = |problem: String, remedy: &str| IngestError::Format {
        file: source.file.clone(),
        problem,
        remedy: remedy.to_owned(),
    };
    let broken = |error: &dyn std::fmt::Display| {
        refused(error.to_string(), "open it in a spreadsheet and save it again as .xlsx or CSV")
    };
    let mut book = Workbook::open(bytes).map_err(|error| broken(&error))?;
    let filled: Vec<String> =
        book.sheets().iter().filter(|sheet| sheet.holds_cells).map(|sheet| sheet.name.clone()).collect();
    if filled.is_empty() {
        return Err(refused("no sheet of this workbook holds anything".into(), "fill it, or remove it from raw/"));
    }
    let ours: Vec<String> = match around.mapping {
        Some(_) => Vec::new(),
        // Where one sheet alone can be meant, it need not be read twice.
        None if filled.iter().filter(|name| !name.eq_ignore_ascii_case(EXPLANATION_SHEET)).count() < 2 => Vec::new(),
        None => {
            filled.iter().filter(|name| has_our_names(&mut book, name, source.kind, around.settings)).cloned().collect()
        }
    };
    let chosen = choose(source.kind, &filled, &ours, around.mapping).map_err(|problem| {
        refused(problem, "name one of its sheets in a [[source]] block of evenstand.toml: sheet = \"…\"")
    })?;
    let range = around.mapping.and_then(|mapping| mapping.rule.range.as_deref());
    let range: Option<CellRange> = range
        .map(|text| text.parse().map_err(|error| refused(format!("{error}"), "correct range in the [[source]] block")))
        .transpose()?;
    let mut report = FileReport::default();
    let unread = filled.iter().filter(|name| !chosen.contains(name) && !name.eq_ignore_ascii_case(EXPLANATION_SHEET));
    let unread: Vec<&str> = unread.map(String::as_str).collect();
    if around.mapping.is_none() && !unread.is_empty() {
        report.findings.push(
            Finding::warning("sheet_not_read", format!("its sheets {} were not read", unread.join(", ")))
                .table(source.kind)
                .source(&source.file, None)
                .remedy("nothing need be done if they hold nothing of this table; else name them in a [[source]] block: sheet = \"…\""),
        );
    }
    let Surroundings { mapping, settings, whereabouts, zones, sink } = around;
    for name in &chosen {
        let mut sheet = book.sheet(name).map_err(|error| broken(&error))?;
        sheet.fill_merged();
        let header =
            mapping.and_then(|mapping| mapping.rule.header_row.as_ref()).and_then(|rows| rows.iter().max().copied());
        let tables = if range.is_some() { Vec::new() } else { tables_of(&sheet, header) };
        if tables.len() > 1 {
            let tables: Vec<String> = tables.iter().map(CellRange::to_string).collect();
            return Err(refused(
                format!("the sheet {name} holds {} tables: {}", tables.len(), tables.join(" and ")),
                &format!(
                    "say which one in a [[source]] block of evenstand.toml, such as range = \"{}\", and in which row its \
                     names stand if that is not the first of them (header_row); one block for each table",
                    tables.first().map_or("A1:F20", String::as_str)
                ),
            ));
        }
        let file = if filled.len() > 1 { format!("{}/{name}", source.file) } else { source.file.clone() };
        let part = Source { file, ..source.clone() };
        let rows: Vec<_> = sheet.rows.iter().filter_map(|row| cells_in(row, range)).collect();
        if let Some(range) = range.filter(|_| rows.is_empty()) {
            let nothing = Finding::error("empty_range", format!("nothing stands in {range}, the part that is read"));
            let nothing = nothing.table(part.kind).source(&part.file, None);
            report.findings.push(nothing.remedy("correct range in the [[source]] block"));
            continue;
        }
        let mut table = InMemory::new(rows);
        let around = Surroundings { mapping, settings, whereabouts, zones: &mut *zones, sink: &mut *sink };
        report.add(read_table(&part, &mut table, around)?);
        report.findings.extend(sheet.notices.iter().map(|notice| odd_cell(&part, notice)));
    }
    Ok(report)
}

/// The sheets to read, or why that cannot be told.
fn choose(kind: &str, filled: &[String], ours: &[String], mapping: Option<&Mapping>) -> Result<Vec<String>, String> {
    let listed = || filled.join(", ");
    let asked = mapping.map(|mapping| mapping.rule.sheet.as_slice()).unwrap_or_default();
    if !asked.is_empty() {
        let fitting: Vec<String> =
            filled.iter().filter(|name| asked.iter().any(|asked| name_fits(asked, name))).cloned().collect();
        return if fitting.is_empty() {
            Err(format!("it has no sheet called \"{}\" that holds anything; found {}", asked.join("\", \""), listed()))
        } else {
            Ok(fitting)
        };
    }
    let tables: Vec<&String> = filled.iter().filter(|name| !name.eq_ignore_ascii_case(EXPLANATION_SHEET)).collect();
    // Copies of a record sheet have its columns under another name.
    let same = tables.iter().filter(|name| name.eq_ignore_ascii_case(kind) || ours.contains(name));
    let same: Vec<String> = same.map(|name| (*name).clone()).collect();
    if !same.is_empty() {
        return Ok(same);
    }
    match tables.as_slice() {
        [name] => Ok(vec![(*name).clone()]),
        [] => Err(format!("its only filled sheet is called {EXPLANATION_SHEET}, which explains and is not read")),
        _ => Err(format!("it has several filled sheets ({}), and nothing says which is meant", listed())),
    }
}

/// Whether the first row of a sheet names the columns of a raw table. A sheet that cannot be read has no names.
fn has_our_names(book: &mut Workbook, sheet: &str, kind: &str, settings: &Settings) -> bool {
    let (Ok(sheet), Ok(schema)) = (book.sheet(sheet), schema(Group::Raw, kind)) else { return false };
    let Some(first) = sheet.rows.first() else { return false };
    let names: Vec<String> = first.cells.iter().map(|cell| tidy(&cell.text())).collect();
    match_names(schema, &names, &settings.default_units)
        .and_then(|layout| check_required(schema, &layout, &names, &[]))
        .is_ok()
}

/// The tables of a sheet: blocks of two rows and two columns at least, below the header where its row is known. A block that
/// goes on below an empty row, in the same columns and without names on top, is the same table.
pub(crate) fn tables_of(sheet: &Sheet, header: Option<u32>) -> Vec<CellRange> {
    let mut tables: Vec<CellRange> = Vec::new();
    for region in sheet.regions() {
        let is_table = region.last_row > region.first_row && region.last_column > region.first_column;
        if !is_table || header.is_some_and(|header| region.last_row <= header) {
            continue;
        }
        let goes_on = tables.last().is_some_and(|above| {
            let same_columns = region.first_column <= above.last_column && above.first_column <= region.last_column;
            let names_on_top = (region.first_column..=region.last_column)
                .all(|column| matches!(sheet.cell(region.first_row, column), SheetCell::Text(_) | SheetCell::Empty));
            same_columns && region.first_row > above.last_row && !names_on_top
        });
        if !goes_on {
            tables.push(region);
        }
    }
    tables
}

/// The cells of a row that lie in the range.
pub(crate) fn cells_in(row: &SheetRow, range: Option<CellRange>) -> Option<(i64, Vec<OwnedCell>)> {
    let (first, last) = match range {
        None => (0, usize::MAX),
        Some(range) if (range.first_row..=range.last_row).contains(&row.number) => {
            (range.first_column, range.last_column)
        }
        Some(_) => return None,
    };
    let cells = row.cells.iter().take(last.saturating_add(1)).skip(first);
    let cells: Vec<OwnedCell> = cells.map(cell).collect();
    cells.iter().any(|cell| *cell != OwnedCell::Empty).then_some((i64::from(row.number), cells))
}

pub(crate) fn cell(cell: &SheetCell) -> OwnedCell {
    match cell {
        SheetCell::Empty => OwnedCell::Empty,
        SheetCell::Text(text) if text.trim().is_empty() => OwnedCell::Empty,
        SheetCell::Text(text) => OwnedCell::Text(text.clone()),
        SheetCell::Number(number) => OwnedCell::Number(number + 0.0),
        SheetCell::Share(share) => OwnedCell::Share(share + 0.0),
        SheetCell::Boolean(yes) => OwnedCell::Boolean(*yes),
        SheetCell::Moment(moment) => OwnedCell::Moment(*moment),
        SheetCell::Day(day) => OwnedCell::Day(*day),
        SheetCell::Clock(time) => OwnedCell::Clock(*time),
        SheetCell::Duration(_) => OwnedCell::Text(cell.text().into_owned()),
        SheetCell::Fault(text) => OwnedCell::Fault(text.clone()),
    }
}

fn odd_cell(source: &Source, notice: &Notice) -> Finding {
    Finding::warning("odd_cell", format!("cell {notice}"))
        .table(source.kind)
        .source(&source.file, Some(i64::from(notice.row)))
        .remedy("open the workbook in a spreadsheet, look at the cell, and save the workbook again")
}
