//! One table of one file, from rows to kept rows and rows set aside.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_settings::Settings;
use evenstand_tables::{Finding, Group, SetAside, Severity, Sink, schema};
use evenstand_workbook::column_letters;
use jiff::tz::TimeZone;

use crate::IngestError;
use crate::batch::{BATCH_ROWS, Batch};
use crate::block::Block;
use crate::block_reader::{Aside, BlockReader, Outcome};
use crate::file_report::{FileReport, Source, Surroundings};
use crate::given::check_given;
use crate::header::{HeaderFault, Layout, Origin, check_required, match_names, tidy};
use crate::header_rows::{cells_of, two_rows};
use crate::mapped_header::match_mapped;
use crate::mapping::Mapping;
use crate::record::{Record, TableReader};
use crate::row::{RowFault, column_of, text_of};
use crate::rules::{LONGEST_CELL, NOT_FILLED_IN, Rules, raw_text};
use crate::same_rows::Sketch;
use crate::time::{Zones, zone};
use crate::value::{Value, shorten};
use crate::whereabouts::{Finder, Whereabouts, strip_time};

/// Bytes of a block of rows, and blocks that wait for each thread.
const BLOCK_BYTES: usize = 1 << 19;
const BLOCKS_A_THREAD: usize = 4;
/// Rows set aside for one reason that have a finding each; further ones of a file share one.
const TOLD_ONE_BY_ONE: u64 = 100;
/// Columns that are not used that have a finding each.
const UNUSED_TOLD: usize = 100;

/// Reads a table to its end. Kept rows go to the sink in batches; time zones of fields are noted.
pub(crate) fn read_table(
    source: &Source,
    table: &mut dyn TableReader,
    around: Surroundings,
) -> Result<FileReport, IngestError> {
    read_table_in_blocks(source, table, around, BLOCK_BYTES)
}

/// [`read_table`] with blocks of about so many bytes, where the table has any; 0 reads row by row. The size changes nothing
/// but the time.
pub(crate) fn read_table_in_blocks(
    source: &Source,
    table: &mut dyn TableReader,
    around: Surroundings,
    block_bytes: usize,
) -> Result<FileReport, IngestError> {
    let mut file = TableFile::new(source, around, table.width())?;
    loop {
        if block_bytes > 0 && table.has_blocks() && file.takes_blocks() {
            return file.blocks(table, block_bytes);
        }
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

/// The state of one table while it is read.
struct TableFile<'s, 'a> {
    rules: Rules<'s>,
    settings: &'a Settings,
    mapping: Option<&'a Mapping>,
    whereabouts: &'a Whereabouts,
    zones: &'a mut Zones,
    sink: &'a mut dyn Sink,
    finder: Finder<'a>,
    /// Rows of the header that are still to come, by number; `None` where it is the first row that holds anything.
    header_rows: Option<Vec<i64>>,
    /// Names found so far.
    names: Option<Vec<String>>,
    /// What the header says, or why the whole file is set aside.
    layout: Option<Result<Layout, (&'static str, String)>>,
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
    /// Rows with cells right of the header, and the first of them.
    beyond: Option<(u64, i64)>,
    report: FileReport,
}

impl<'s, 'a: 's> TableFile<'s, 'a> {
    fn new(source: &'s Source, around: Surroundings<'a>, width: Option<usize>) -> Result<Self, IngestError> {
        let schema = schema(Group::Raw, source.kind)?;
        let rule = around.mapping.map(|mapping| &mapping.rule);
        let header_rows: Option<Vec<i64>> =
            rule.and_then(|rule| rule.header_row.as_ref()).map(|rows| rows.iter().map(|row| i64::from(*row)).collect());
        Ok(Self {
            rules: Rules {
                source,
                rule,
                reading: around.mapping.map(|mapping| mapping.reading.clone()).unwrap_or_default(),
                schema,
                kept: evenstand_tables::schema(Group::Kept, source.kind)?,
                season_column: column_of(schema, "season").unwrap_or(0),
                without_header: header_rows.as_ref().is_some_and(Vec::is_empty),
                width,
            },
            settings: around.settings,
            mapping: around.mapping,
            whereabouts: around.whereabouts,
            zones: around.zones,
            sink: around.sink,
            finder: Finder::new(around.whereabouts, schema),
            header_rows,
            names: None,
            layout: None,
            timezone_column: column_of(schema, "timezone"),
            batches: BTreeMap::new(),
            local_without_zone: BTreeSet::new(),
            examples: 0,
            skipped: 0,
            left_blank: 0,
            told: BTreeMap::new(),
            sketch: Sketch::default(),
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
                    if self.rules.is_skipped(number, record) {
                        self.skipped += 1;
                        return Ok(());
                    }
                    self.names = Some((0..self.rules.width.unwrap_or(record.len())).map(column_letters).collect());
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
        if let Some(cell) = names.iter().position(|name| name.len() > LONGEST_CELL) {
            let message = format!("column {}: the name holds more than {LONGEST_CELL} letters", cell + 1);
            let remedy =
                "look for a quote that is not closed, and check that the names of the columns stand in this row".into();
            return self.header_fault(number, HeaderFault { code: "cell_too_long", message, remedy });
        }
        let units = &self.settings.default_units;
        let matched = match self.mapping {
            Some(mapping) => match_mapped(self.rules.schema, &names, units, mapping),
            None => match_names(self.rules.schema, &names.iter().map(|name| tidy(name)).collect::<Vec<_>>(), units),
        };
        let checked = matched.and_then(|layout| {
            let is_fed = |name: &str| {
                column_of(self.rules.schema, name).is_some_and(|index| layout.feeds[index].origin != Origin::Absent)
            };
            let mut given = self.whereabouts.gives(self.rules.schema, &is_fed);
            // A planter's log is of the year it was written in.
            if self.rules.schema.name == "setting_log" && is_fed("time") {
                given.push("season");
            }
            check_required(self.rules.schema, &layout, &names, &given)?;
            check_given(self.rules.schema, &layout, &self.rules.reading, self.zones)?;
            Ok(layout)
        });
        match checked {
            Ok(layout) => {
                let (told, further) = layout.unused.split_at(layout.unused.len().min(UNUSED_TOLD));
                for unused in told {
                    self.report.findings.push(
                        Finding::note(
                            "unknown_column",
                            format!(
                                "column {} \"{}\" is not a column of {} and is not used",
                                unused.cell + 1,
                                shorten(&unused.name),
                                self.rules.schema.name
                            ),
                        )
                        .table(self.rules.source.kind)
                        .source(&self.rules.source.file, row_of(number))
                        .remedy(&unused.remedy),
                    );
                }
                if !further.is_empty() {
                    let problem = format!("{} further columns are not used either", further.len());
                    self.report.findings.push(
                        Finding::note("unknown_column", problem)
                            .table(self.rules.source.kind)
                            .source(&self.rules.source.file, row_of(number))
                            .remedy("check that this is the file that is meant"),
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
                .table(self.rules.source.kind)
                .source(&self.rules.source.file, row_of(number))
                .remedy(fault.remedy),
        );
        self.layout = Some(Err((fault.code, fault.message)));
    }

    fn row(&mut self, number: i64, record: &dyn Record) -> Result<(), IngestError> {
        if self.rules.is_example(record) {
            self.examples += 1;
            return Ok(());
        }
        if self.rules.is_skipped(number, record) {
            self.skipped += 1;
            return Ok(());
        }
        self.report.rows_read += 1;
        let layout = match self.layout.take() {
            Some(Ok(layout)) => layout,
            Some(Err((code, message))) => {
                let fault = RowFault {
                    code,
                    message: format!("the header of the file cannot be used: {message}"),
                    remedy: String::new(),
                };
                self.layout = Some(Err((code, message)));
                return self.set_aside(number, raw_text(record), fault);
            }
            None => return Ok(()),
        };
        if self.rules.has_cells_beyond(&layout, record) {
            let (rows, first) = self.beyond.unwrap_or((0, number));
            self.beyond = Some((rows + 1, first));
        }
        let read = self.read_row(number, record, &layout);
        self.layout = Some(Ok(layout));
        match read? {
            Ok(()) => self.report.rows_kept += 1,
            Err(fault) => self.set_aside(number, raw_text(record), fault)?,
        }
        Ok(())
    }

    /// Reads the cells of a row and collects them.
    fn read_row(
        &mut self,
        number: i64,
        record: &dyn Record,
        layout: &Layout,
    ) -> Result<Result<(), RowFault>, IngestError> {
        let (rules, zones) = (&self.rules, &*self.zones);
        let reader = rules.reader(layout, zones);
        let texts = reader.texts(record);
        let kept = match rules.values(layout, zones, &mut self.finder, (number, record), &texts) {
            Ok(kept) => kept,
            Err(fault) => return Ok(Err(fault)),
        };
        for values in &kept {
            let Value::Integer(season) = values[rules.season_column] else { continue };
            let field = text_of(values, rules.schema, "field_id");
            if reader.lacks_zone(values) && !self.local_without_zone.contains(&(field.to_owned(), season)) {
                self.local_without_zone.insert((field.to_owned(), season));
            }
            if rules.source.kind == "strip" {
                self.report.strip_times.extend(strip_time(rules.schema, values));
            }
            self.sketch.add(values);
            let batch = self.batches.entry(season).or_insert_with(|| Batch::new(rules.kept));
            batch.push(values, number);
            if batch.rows() >= BATCH_ROWS {
                self.sink.rows(rules.source.kind, season, batch.take(rules.source)?)?;
            }
        }
        let named = self.timezone_column.zip(kept.first()).and_then(|(zone, values)| named_zone(rules, zone, values));
        if let Some((field, season, zone)) = named {
            self.zones.set(&field, season, zone);
        }
        Ok(Ok(()))
    }

    /// Whether the rows to come can be read in blocks: their header is known, and no row tells what a later one means.
    fn takes_blocks(&self) -> bool {
        let Some(Ok(layout)) = &self.layout else { return false };
        let names_zones = self.timezone_column.is_some_and(|column| layout.feeds[column].origin != Origin::Absent);
        layout.each.is_empty()
            && !names_zones
            && self.rules.source.kind != "strip"
            && self.whereabouts.knows_each_alone()
    }

    /// Reads the rest of the table in blocks: while some are read by all threads, the next ones are fetched.
    fn blocks(mut self, table: &mut dyn TableReader, bytes: usize) -> Result<FileReport, IngestError> {
        let Some(Ok(layout)) = self.layout.take() else { return self.finish() };
        let at_a_time = BLOCKS_A_THREAD * rayon::current_num_threads();
        let mut fetch = |problem: &mut Option<String>| -> Result<Vec<Block>, IngestError> {
            let mut blocks = Vec::new();
            while blocks.len() < at_a_time && problem.is_none() {
                match table.block(bytes) {
                    Ok(Some(block)) => blocks.push(block),
                    Ok(None) => break,
                    Err(IngestError::Read { problem: found, .. }) => *problem = Some(found),
                    Err(error) => return Err(error),
                }
            }
            Ok(blocks)
        };
        let mut problem = None;
        let mut waiting = fetch(&mut problem)?;
        while !waiting.is_empty() {
            let reader = BlockReader {
                rules: &self.rules,
                layout: &layout,
                zones: self.zones,
                whereabouts: self.whereabouts,
                sketch: self.sketch.part(),
            };
            let mut outcomes: Vec<Outcome> = waiting.iter().map(|_| Outcome::default()).collect();
            let next = rayon::in_place_scope(|scope| {
                for (block, outcome) in waiting.into_iter().zip(&mut outcomes) {
                    let reader = &reader;
                    scope.spawn(move |_| *outcome = reader.read(block.rows().as_ref()));
                }
                fetch(&mut problem)
            });
            for outcome in outcomes {
                self.take_in(outcome)?;
            }
            waiting = next?;
        }
        self.layout = Some(Ok(layout));
        if let Some(problem) = problem {
            self.cut_short(&problem);
        }
        self.finish()
    }

    /// Takes in what became of the next rows.
    fn take_in(&mut self, outcome: Outcome) -> Result<(), IngestError> {
        self.report.rows_read += outcome.rows_read;
        self.report.rows_kept += outcome.rows_kept;
        self.examples += outcome.examples;
        self.skipped += outcome.skipped;
        self.local_without_zone.extend(outcome.local_without_zone);
        self.sketch.merge(outcome.sketch);
        self.finder.count(&outcome.tally);
        for Aside { number, fault, raw } in outcome.aside {
            self.set_aside(number, raw, fault)?;
        }
        for (season, piece) in outcome.pieces {
            let batch = self.batches.entry(season).or_insert_with(|| Batch::new(self.rules.kept));
            batch.extend(piece);
            while batch.rows() >= BATCH_ROWS {
                self.sink.rows(self.rules.source.kind, season, batch.take(self.rules.source)?)?;
            }
        }
        Ok(())
    }

    fn set_aside(&mut self, number: i64, raw: String, fault: RowFault) -> Result<(), IngestError> {
        if !fault.remedy.is_empty() {
            let told = self.told.entry(fault.code).or_default();
            *told += 1;
            if *told <= TOLD_ONE_BY_ONE {
                let severity = if fault.code == "unclosed_quote" { Severity::Error } else { Severity::Warning };
                self.report.findings.push(
                    Finding::new(severity, fault.code, format!("row set aside: {}", fault.message))
                        .table(self.rules.source.kind)
                        .source(&self.rules.source.file, Some(number))
                        .remedy(fault.remedy),
                );
            }
        }
        self.report.rows_set_aside += 1;
        self.left_blank += u64::from(fault.code == NOT_FILLED_IN);
        Ok(self.sink.set_aside(SetAside {
            source_file: self.rules.source.file.clone(),
            source_row: number,
            source_sha256: self.rules.source.sha256.clone(),
            kind: self.rules.source.kind.to_owned(),
            code: fault.code.to_owned(),
            message: fault.message,
            raw: Some(raw),
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
            .table(self.rules.source.kind)
            .source(&self.rules.source.file, None)
            .remedy("copy or export the file again, then run again"),
        );
    }

    fn finish(mut self) -> Result<FileReport, IngestError> {
        for (season, mut batch) in std::mem::take(&mut self.batches) {
            if batch.rows() > 0 {
                self.sink.rows(self.rules.source.kind, season, batch.take(self.rules.source)?)?;
            }
        }
        self.report.sketches.push((self.rules.source.clone(), std::mem::take(&mut self.sketch)));
        let about = |finding: Finding| finding.table(self.rules.source.kind).source(&self.rules.source.file, None);
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
        let places = self.finder.findings(self.rules.source.kind);
        self.report.findings.extend(places.into_iter().map(|finding| finding.source(&self.rules.source.file, None)));
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

/// The row of a header; none where the format keeps names apart from rows.
fn row_of(number: i64) -> Option<i64> {
    (number > 0).then_some(number)
}

/// The zone that a field's row names for itself.
fn named_zone(rules: &Rules, column: usize, values: &[Value]) -> Option<(String, i64, TimeZone)> {
    let Value::Text(name) = values[column] else { return None };
    let Value::Integer(season) = values[rules.season_column] else { return None };
    Some((text_of(values, rules.schema, "field_id").to_owned(), season, zone(name).ok()?))
}
