//! One table of one file, from rows to kept rows and rows set aside.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};

use evenstand_tables::{EXAMPLE_ROW, Finding, Group, SetAside, Severity, TableSchema, TablesError, schema};
use evenstand_workbook::column_letters;
use jiff::tz::TimeZone;

use crate::IngestError;
use crate::batch::Batch;
use crate::file_report::{FileReport, Source, Surroundings};
use crate::given::check_given;
use crate::header::{HeaderFault, Layout, Origin, check_required, match_names, tidy};
use crate::header_rows::{cells_of, two_rows};
use crate::mapped_header::match_mapped;
use crate::reading::Reading;
use crate::record::{Cell, Record, TableReader};
use crate::row::{RowFault, RowReader, check_needed, column_of, fill_season, is_left_blank, text_of};
use crate::same_rows::Sketch;
use crate::time::zone;
use crate::value::Value;
use crate::whereabouts::{Finder, strip_time};
use crate::wide::narrow;

/// Rows collected before they go to the sink.
const BATCH_ROWS: usize = 1 << 15;
/// Rows set aside for one reason that have a finding each; further ones of a file share one.
const TOLD_ONE_BY_ONE: u64 = 100;
/// Longest cell that is read, in bytes; a longer one is no value that a person wrote.
const LONGEST_CELL: usize = 1 << 16;
/// Letters of a row that are kept with it when it is set aside.
const LONGEST_RAW: usize = 1 << 16;

/// Code of a row of a plan's sheet that nobody filled in.
const NOT_FILLED_IN: &str = "not_filled_in";

/// Reads a table to its end. Kept rows go to the sink in batches; time zones of fields are noted.
pub(crate) fn read_table(
    source: &Source,
    table: &mut dyn TableReader,
    around: Surroundings,
) -> Result<FileReport, IngestError> {
    let mut file = TableFile::new(source, around)?;
    file.width = table.width();
    loop {
        match table.next() {
            Ok(Some((number, record))) => file.line(number, record)?,
            Ok(None) => return file.finish(),
            Err(IngestError::Read { problem, .. }) => {
                file.cut_short(&problem);
                return file.finish();
            }
            Err(error) => return Err(error),
        }
    }
}

/// Why a row was not kept: it is set aside, or the run ends.
enum NotKept {
    Row(RowFault),
    Run(IngestError),
}

impl From<RowFault> for NotKept {
    fn from(fault: RowFault) -> Self {
        NotKept::Row(fault)
    }
}

impl From<TablesError> for NotKept {
    fn from(error: TablesError) -> Self {
        NotKept::Run(error.into())
    }
}

/// The state of one table while it is read.
struct TableFile<'s, 'a> {
    source: &'s Source,
    around: Surroundings<'a>,
    reading: Reading,
    finder: Finder<'a>,
    schema: &'static TableSchema,
    kept: &'static TableSchema,
    /// Rows of the header that are still to come, by number; `None` where it is the first row that holds anything.
    header_rows: Option<Vec<i64>>,
    /// Names found so far.
    names: Option<Vec<String>>,
    /// What the header says, or why the whole file is set aside.
    layout: Option<Result<Layout, (&'static str, String)>>,
    season_column: usize,
    timezone_column: Option<usize>,
    batches: BTreeMap<i64, Batch>,
    local_without_zone: BTreeSet<(String, i64)>,
    /// Example rows of a blank sheet.
    examples: u64,
    skipped: u64,
    /// Rows of a plan's sheet that nobody filled in.
    left_blank: u64,
    /// Rows set aside by code.
    told: BTreeMap<&'static str, u64>,
    sketch: Sketch,
    /// Number of columns of a table whose cells have places of their own.
    width: Option<usize>,
    /// Rows with cells right of the header, and the first of them.
    beyond: Option<(u64, i64)>,
    report: FileReport,
}

impl<'s, 'a> TableFile<'s, 'a> {
    fn new(source: &'s Source, around: Surroundings<'a>) -> Result<Self, IngestError> {
        let schema = schema(Group::Raw, source.kind)?;
        let rule = around.mapping.map(|mapping| &mapping.rule);
        let header_rows = rule.and_then(|rule| rule.header_row.as_ref());
        Ok(Self {
            source,
            reading: around.mapping.map(|mapping| mapping.reading.clone()).unwrap_or_default(),
            finder: Finder::new(around.whereabouts, schema),
            header_rows: header_rows.map(|rows| rows.iter().map(|row| i64::from(*row)).collect()),
            around,
            schema,
            kept: evenstand_tables::schema(Group::Kept, source.kind)?,
            names: None,
            layout: None,
            season_column: column_of(schema, "season").unwrap_or(0),
            timezone_column: column_of(schema, "timezone"),
            batches: BTreeMap::new(),
            local_without_zone: BTreeSet::new(),
            examples: 0,
            skipped: 0,
            left_blank: 0,
            told: BTreeMap::new(),
            sketch: Sketch::default(),
            width: None,
            beyond: None,
            report: FileReport::default(),
        })
    }

    /// Takes the next row: part of the header, skipped, or a row to keep.
    fn line(&mut self, number: i64, record: &dyn Record) -> Result<(), IngestError> {
        if self.layout.is_none() {
            match self.header_rows.as_deref() {
                None => {
                    self.names = Some(cells_of(record));
                    self.header(number);
                    return Ok(());
                }
                // No header: columns are called by their letters. A later row may have more cells than the first.
                Some([]) => {
                    if self.is_skipped(number, record) {
                        self.skipped += 1;
                        return Ok(());
                    }
                    self.names = Some((0..self.width.unwrap_or(record.len())).map(column_letters).collect());
                    self.header(number);
                }
                Some([.., last]) if number > *last && self.names.is_none() => {
                    self.header_fault(
                        *last,
                        HeaderFault {
                            code: "missing_header",
                            message: format!(
                                "row {last} is empty or outside the range, and the [[source]] block says that the names \
                                 of the columns stand there"
                            ),
                            remedy: "correct header_row in the block, or its range: it must take in the row of the names".into(),
                        },
                    );
                }
                Some(rows) => {
                    let last = rows.last().copied().unwrap_or_default();
                    if rows.contains(&number) {
                        let below = cells_of(record);
                        self.names = Some(match self.names.take() {
                            Some(above) => two_rows(&above, &below),
                            None => below,
                        });
                    }
                    if number >= last {
                        self.header(last);
                    }
                    if number <= last {
                        return Ok(());
                    }
                }
            }
        }
        self.row(number, record)
    }

    fn header(&mut self, number: i64) {
        let names = self.names.take().unwrap_or_default();
        let units = &self.around.settings.default_units;
        let matched = match self.around.mapping {
            Some(mapping) => match_mapped(self.schema, &names, units, mapping),
            None => match_names(self.schema, &names.iter().map(|name| tidy(name)).collect::<Vec<_>>(), units),
        };
        let checked = matched.and_then(|layout| {
            let is_fed = |name: &str| {
                column_of(self.schema, name).is_some_and(|index| layout.feeds[index].origin != Origin::Absent)
            };
            let mut given = self.around.whereabouts.gives(self.schema, &is_fed);
            // A planter's log is of the year it was written in.
            if self.schema.name == "setting_log" && is_fed("time") {
                given.push("season");
            }
            check_required(self.schema, &layout, &names, &given)?;
            check_given(self.schema, &layout, &self.reading, self.around.zones)?;
            Ok(layout)
        });
        match checked {
            Ok(layout) => {
                for unused in &layout.unused {
                    self.report.findings.push(
                        Finding::note(
                            "unknown_column",
                            format!(
                                "column {} \"{}\" is not a column of {} and is not used",
                                unused.cell + 1,
                                unused.name,
                                self.schema.name
                            ),
                        )
                        .table(self.source.kind)
                        .source(&self.source.file, row_of(number))
                        .remedy(&unused.remedy),
                    );
                }
                self.layout = Some(Ok(layout));
            }
            Err(fault) => self.header_fault(number, fault),
        }
    }

    fn header_fault(&mut self, number: i64, fault: HeaderFault) {
        self.report.findings.push(
            Finding::error(fault.code, format!("{}; no row of this file can be used", fault.message))
                .table(self.source.kind)
                .source(&self.source.file, row_of(number))
                .remedy(fault.remedy),
        );
        self.layout = Some(Err((fault.code, fault.message)));
    }

    fn row(&mut self, number: i64, record: &dyn Record) -> Result<(), IngestError> {
        if self.is_example(record) {
            self.examples += 1;
            return Ok(());
        }
        if self.is_skipped(number, record) {
            self.skipped += 1;
            return Ok(());
        }
        self.report.rows_read += 1;
        match self.keep(number, record) {
            Ok(()) => self.report.rows_kept += 1,
            Err(NotKept::Row(fault)) => self.set_aside(number, record, fault)?,
            Err(NotKept::Run(error)) => return Err(error),
        }
        Ok(())
    }

    /// Whether the row is the example of a blank sheet.
    fn is_example(&self, record: &dyn Record) -> bool {
        first_filled(record).eq_ignore_ascii_case(EXAMPLE_ROW)
    }

    /// Whether a person said that this row is no row of the table.
    fn is_skipped(&self, number: i64, record: &dyn Record) -> bool {
        self.around.mapping.is_some_and(|mapping| {
            mapping.rule.skip_rows.iter().any(|row| i64::from(*row) == number)
                || !mapping.rule.skip_rows_with.is_empty() && {
                    let first = first_filled(record);
                    mapping.rule.skip_rows_with.iter().any(|word| word.trim().eq_ignore_ascii_case(&first))
                }
        })
    }

    /// Reads the cells of a row and collects them.
    fn keep(&mut self, number: i64, record: &dyn Record) -> Result<(), NotKept> {
        let layout = match &self.layout {
            Some(Ok(layout)) => layout,
            Some(Err((code, message))) => {
                return Err(NotKept::Row(RowFault {
                    code,
                    message: format!("the header of the file cannot be used: {message}"),
                    remedy: String::new(),
                }));
            }
            None => return Ok(()),
        };
        if let Some(cell) = record.too_long(LONGEST_CELL) {
            return Err(NotKept::Row(RowFault {
                code: "cell_too_long",
                message: format!("column {}: the cell holds more than {LONGEST_CELL} letters", cell + 1),
                remedy: "look for a quote that is not closed, or shorten the text".into(),
            }));
        }
        let without_header = self.header_rows.as_ref().is_some_and(Vec::is_empty);
        if self.width.is_none() {
            check_shape(record, layout.columns, without_header)?;
        } else if !without_header && has_cells_behind(record, layout.columns) {
            let (rows, first) = self.beyond.unwrap_or((0, number));
            self.beyond = Some((rows + 1, first));
        }
        let reader = RowReader { schema: self.schema, layout, reading: &self.reading, zones: self.around.zones };
        let texts = reader.texts(record);
        let mut kept: Vec<Vec<Value>> = if layout.each.is_empty() {
            vec![reader.values(record, &texts, None)?]
        } else {
            layout.each.iter().map(|each| reader.values(record, &texts, Some(each))).collect::<Result<_, _>>()?
        };
        if layout.each.is_empty() && kept.first().is_some_and(|values| is_left_blank(self.schema, values)) {
            return Err(NotKept::Row(RowFault {
                code: NOT_FILLED_IN,
                message: "only what the plan says stands in this row; nothing was written into it".into(),
                remedy: String::new(),
            }));
        }
        narrow(layout, &mut kept)?;
        for values in &mut kept {
            if values[self.season_column] == Value::Missing {
                fill_season(self.schema, values);
            }
            if let Err(mut fault) = self.finder.fill(values).and_then(|()| check_needed(self.schema, layout, values)) {
                if self.around.mapping.is_some() {
                    let skip = "; if this is no row of the table, pass over it in the [[source]] block";
                    fault.remedy += &format!("{skip}: skip_rows = [{number}]");
                }
                return Err(fault.into());
            }
        }
        // Before the first kept row of a wide one goes: it is kept whole or not at all.
        if kept.iter().any(|values| !matches!(values[self.season_column], Value::Integer(_))) {
            return Err(NotKept::Row(RowFault {
                code: "missing_value",
                message: "no season and no date to take it from".into(),
                remedy: "write the year of planting in the column season".into(),
            }));
        }
        for values in &kept {
            let Value::Integer(season) = values[self.season_column] else { continue };
            let field = text_of(values, self.schema, "field_id");
            let local = values.iter().any(|value| matches!(value, Value::Moment { local: true, .. }));
            if local && !reader.knows_zone(values) && !self.local_without_zone.contains(&(field.to_owned(), season)) {
                self.local_without_zone.insert((field.to_owned(), season));
            }
            if self.source.kind == "strip" {
                self.report.strip_times.extend(strip_time(self.schema, values));
            }
            self.sketch.add(values);
            let batch = self.batches.entry(season).or_insert_with(|| Batch::new(self.kept));
            batch.push(
                values,
                [Value::Text(&self.source.file), Value::Integer(number), Value::Text(&self.source.sha256)],
            );
            if batch.rows() >= BATCH_ROWS {
                self.around.sink.rows(self.source.kind, season, batch.take()?)?;
            }
        }
        let named = self.timezone_column.zip(kept.first()).and_then(|(zone, values)| self.named_zone(zone, values));
        if let Some((field, season, zone)) = named {
            self.around.zones.set(&field, season, zone);
        }
        Ok(())
    }

    /// The zone that a field's row names for itself.
    fn named_zone(&self, column: usize, values: &[Value]) -> Option<(String, i64, TimeZone)> {
        let Value::Text(name) = values[column] else { return None };
        let Value::Integer(season) = values[self.season_column] else { return None };
        Some((text_of(values, self.schema, "field_id").to_owned(), season, zone(name).ok()?))
    }

    fn set_aside(&mut self, number: i64, record: &dyn Record, fault: RowFault) -> Result<(), IngestError> {
        if !fault.remedy.is_empty() {
            let told = self.told.entry(fault.code).or_default();
            *told += 1;
            if *told <= TOLD_ONE_BY_ONE {
                let severity = if fault.code == "unclosed_quote" { Severity::Error } else { Severity::Warning };
                self.report.findings.push(
                    Finding::new(severity, fault.code, format!("row set aside: {}", fault.message))
                        .table(self.source.kind)
                        .source(&self.source.file, Some(number))
                        .remedy(fault.remedy),
                );
            }
        }
        self.report.rows_set_aside += 1;
        self.left_blank += u64::from(fault.code == NOT_FILLED_IN);
        Ok(self.around.sink.set_aside(SetAside {
            source_file: self.source.file.clone(),
            source_row: number,
            source_sha256: self.source.sha256.clone(),
            kind: self.source.kind.to_owned(),
            code: fault.code.to_owned(),
            message: fault.message,
            raw: Some(shortened(record.raw())),
        })?)
    }

    /// The file could not be read to its end: what came before stays.
    fn cut_short(&mut self, problem: &str) {
        let rows = self.report.rows_read;
        self.report.findings.push(
            Finding::error(
                "cut_short",
                format!("the file could be read up to row {rows} of its table and no further ({problem}); what follows is not known"),
            )
            .table(self.source.kind)
            .source(&self.source.file, None)
            .remedy("copy or export the file again, then run again"),
        );
    }

    fn finish(mut self) -> Result<FileReport, IngestError> {
        for (season, mut batch) in std::mem::take(&mut self.batches) {
            if batch.rows() > 0 {
                self.around.sink.rows(self.source.kind, season, batch.take()?)?;
            }
        }
        self.report.sketches.push((self.source.clone(), std::mem::take(&mut self.sketch)));
        let about = |finding: Finding| finding.table(self.source.kind).source(&self.source.file, None);
        if self.layout.is_none() && self.report.rows_read == 0 {
            let expected = self.header_rows.as_ref().and_then(|rows| rows.last());
            let finding = match expected {
                Some(row) => Finding::error(
                    "missing_header",
                    format!("the file ends before row {row}, where its header should stand; nothing of it was read"),
                )
                .remedy("correct header_row in the [[source]] block"),
                None => Finding::warning("empty_file", "the file is empty").remedy("remove it from raw/, or fill it"),
            };
            self.report.findings.push(about(finding));
        } else if self.report.rows_read > 0 && self.examples > 0 {
            self.report.findings.push(
                about(Finding::note("example_row", "a row marked (example) was passed over"))
                    .remedy("if it is a real row, write its field in place of (example)"),
            );
        } else if self.report.rows_read == 0 && self.examples > 0 {
            self.report.findings.push(
                about(Finding::note("blank_sheet", "a blank record sheet: only its example row is filled in"))
                    .remedy("fill it in, or take it out of raw/"),
            );
        } else if self.report.rows_read == 0 {
            self.report.findings.push(
                about(Finding::warning("no_rows", "the file has a header and no rows"))
                    .remedy("remove it from raw/, or fill it"),
            );
        }
        for (code, told) in self.told.iter().filter(|(_, told)| **told > TOLD_ONE_BY_ONE) {
            let more = told - TOLD_ONE_BY_ONE;
            self.report.findings.push(
                about(Finding::warning(
                    "more_rows_set_aside",
                    format!("{more} more rows were set aside for the reason {code}"),
                ))
                .remedy("set_aside has every one of them with its text"),
            );
        }
        self.report.rows_left_blank = self.left_blank;
        if self.left_blank > 0 {
            let rows = if self.left_blank == 1 { "1 row was" } else { &format!("{} rows were", self.left_blank) };
            self.report.findings.push(
                about(Finding::note(NOT_FILLED_IN, format!("{rows} left blank: only what the plan says stands there")))
                    .remedy("nothing need be done if nobody went there; else fill them in and run again"),
            );
        }
        if self.skipped > 0 {
            self.report.findings.push(
                about(Finding::note(
                    "rows_skipped",
                    format!(
                        "{} rows were passed over, as the [[source]] block says; they are not counted as read",
                        self.skipped
                    ),
                ))
                .remedy("nothing need be done if they are no rows of the table"),
            );
        }
        if let Some((rows, first)) = self.beyond {
            self.report.findings.push(
                about(Finding::warning(
                    "cells_right_of_header",
                    format!("{rows} rows hold cells right of the last named column, the first of them row {first}; those cells were not read"),
                ))
                .remedy("nothing need be done if they are remarks; else name their columns in the row of the header"),
            );
        }
        let places = self.finder.findings(self.source.kind);
        self.report.findings.extend(places.into_iter().map(|finding| finding.source(&self.source.file, None)));
        for (field, season) in &self.local_without_zone {
            self.report.findings.push(
                about(Finding::note("no_timezone", "local times were read as UTC, because neither the field nor the settings name a time zone"))
                    .field(field, *season)
                    .remedy("give timezone = \"…\" in evenstand.toml or in the field's row; differences between times of one field are right all the same"),
            );
        }
        Ok(self.report)
    }
}

/// A row's text, cut where it is longer than anybody reads.
fn shortened(raw: String) -> String {
    match raw.char_indices().nth(LONGEST_RAW) {
        Some((end, _)) => format!("{}… (cut after {LONGEST_RAW} letters)", &raw[..end]),
        None => raw,
    }
}

/// The first cell of a row that holds anything, as text.
fn first_filled(record: &dyn Record) -> Cow<'_, str> {
    let first = (0..record.len()).map(|index| record.cell(index)).find(|cell| *cell != Cell::Empty);
    first.map(Cell::text).unwrap_or_default()
}

/// The row of a header; none where the format keeps names apart from rows.
fn row_of(number: i64) -> Option<i64> {
    (number > 0).then_some(number)
}

fn has_cells_behind(record: &dyn Record, columns: usize) -> bool {
    (columns..record.len()).any(|index| record.cell(index) != Cell::Empty)
}

/// Errors where a row has more cells than the header, or rows stand in one of its cells.
fn check_shape(record: &dyn Record, columns: usize, without_header: bool) -> Result<(), RowFault> {
    if has_cells_behind(record, columns) {
        let width = if without_header { "the first row" } else { "the header" };
        return Err(RowFault {
            code: "too_many_cells",
            message: format!("{} cells, but {width} has {columns}", record.len()),
            remedy: "look for a delimiter inside a cell; put such cells in quotes".into(),
        });
    }
    match record.swallowed(columns) {
        None => Ok(()),
        Some(cell) => Err(RowFault {
            code: "unclosed_quote",
            message: format!(
                "column {}: a quote is opened and not closed, so that following rows stand in one cell",
                cell + 1
            ),
            remedy: "remove the quote, or close it before the next delimiter; the rows it swallowed are read then"
                .into(),
        }),
    }
}
