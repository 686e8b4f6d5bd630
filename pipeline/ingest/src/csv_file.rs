//! One CSV file, from bytes to kept rows and rows set aside.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{BufRead, BufReader, Read};

use csv::ByteRecord;
use evenstand_settings::Settings;
use evenstand_tables::{ColumnType, Finding, Group, SetAside, Severity, Sink, TableSchema, schema};
use jiff::tz::TimeZone;

use crate::IngestError;
use crate::batch::Batch;
use crate::header::{Feed, Header, match_header, tidy};
use crate::time::{Zones, zone};
use crate::value::{Value, is_missing, read_cell};

/// Rows collected before they go to the sink.
const BATCH_ROWS: usize = 1 << 15;

/// A file to read.
#[derive(Debug, Clone)]
pub struct Source {
    /// Path below `raw/`, with forward slashes.
    pub file: String,
    /// SHA-256 of its bytes.
    pub sha256: String,
    /// Raw table it is.
    pub kind: &'static str,
}

/// What became of a file. `rows_read` is `rows_kept` and the length of `set_aside` together.
#[derive(Debug, Default)]
pub struct FileReport {
    /// Rows below the header; blank lines do not count.
    pub rows_read: u64,
    /// Rows that went to the sink.
    pub rows_kept: u64,
    /// Rows that could not be used.
    pub set_aside: Vec<SetAside>,
    /// What a person should look at.
    pub findings: Vec<Finding>,
}

/// Reads a CSV file. Kept rows go to `sink` in batches; time zones of fields are noted in `zones`.
///
/// The delimiter (comma, semicolon, tab or bar) is the one the header line has most of. Errors only where the bytes
/// cannot be read or the sink fails.
pub fn read_csv(
    source: &Source,
    bytes: impl Read,
    settings: &Settings,
    zones: &mut Zones,
    sink: &mut dyn Sink,
) -> Result<FileReport, IngestError> {
    let mut bytes = BufReader::with_capacity(1 << 16, bytes);
    let fault =
        |error: &dyn std::fmt::Display| IngestError::Read { file: source.file.clone(), problem: error.to_string() };
    let delimiter = delimiter(bytes.fill_buf().map_err(|error| fault(&error))?);
    let mut reader =
        csv::ReaderBuilder::new().has_headers(false).flexible(true).delimiter(delimiter).from_reader(bytes);
    let mut record = ByteRecord::new();
    let mut file = FileReader::new(source, delimiter, zones, sink)?;
    if reader.read_byte_record(&mut record).map_err(|error| fault(&error))? {
        file.header(&record, settings)?;
    } else {
        file.report.findings.push(
            Finding::warning("empty_file", "the file is empty")
                .table(source.kind)
                .source(&source.file, None)
                .remedy("remove it from raw/, or fill it"),
        );
    }
    while reader.read_byte_record(&mut record).map_err(|error| fault(&error))? {
        file.row(&record)?;
    }
    file.finish()
}

/// The state of one file while it is read.
struct FileReader<'a> {
    source: &'a Source,
    delimiter: u8,
    zones: &'a mut Zones,
    sink: &'a mut dyn Sink,
    schema: &'static TableSchema,
    kept: &'static TableSchema,
    /// What the header says, or why the whole file is set aside.
    feeds: Result<Vec<Feed>, (&'static str, String)>,
    timezone_column: Option<usize>,
    season_column: Option<usize>,
    columns: usize,
    batches: BTreeMap<i64, Batch>,
    local_without_zone: BTreeSet<(String, i64)>,
    row_number: i64,
    report: FileReport,
}

/// Why a row is set aside.
struct RowFault {
    code: &'static str,
    message: String,
    remedy: String,
}

impl<'a> FileReader<'a> {
    fn new(
        source: &'a Source,
        delimiter: u8,
        zones: &'a mut Zones,
        sink: &'a mut dyn Sink,
    ) -> Result<Self, IngestError> {
        Ok(Self {
            source,
            delimiter,
            zones,
            sink,
            schema: schema(Group::Raw, source.kind)?,
            kept: schema(Group::Kept, source.kind)?,
            feeds: Ok(Vec::new()),
            timezone_column: None,
            season_column: None,
            columns: 0,
            batches: BTreeMap::new(),
            local_without_zone: BTreeSet::new(),
            row_number: 1,
            report: FileReport::default(),
        })
    }

    fn header(&mut self, record: &ByteRecord, settings: &Settings) -> Result<(), IngestError> {
        let names: Vec<String> = record.iter().map(|cell| tidy(&String::from_utf8_lossy(cell))).collect();
        self.columns = names.len();
        match match_header(self.schema, &names, &settings.default_units) {
            Ok(Header { feeds, unknown }) => {
                let column = |name: &str| self.schema.columns.iter().position(|column| column.name == name);
                self.timezone_column = column("timezone").and_then(|index| feeds[index].cell);
                self.season_column = column("season");
                for (cell, name, near) in unknown {
                    let remedy = match near {
                        Some(near) => format!("if {near} was meant, rename the column; otherwise nothing need be done"),
                        None => "nothing need be done if it is not about the closing system or emergence".to_owned(),
                    };
                    self.report.findings.push(
                        Finding::note(
                            "unknown_column",
                            format!(
                                "column {} \"{name}\" is not a column of {} and is not used",
                                cell + 1,
                                self.schema.name
                            ),
                        )
                        .table(self.source.kind)
                        .source(&self.source.file, Some(1))
                        .remedy(remedy),
                    );
                }
                self.feeds = Ok(feeds);
            }
            Err(fault) => {
                self.report.findings.push(
                    Finding::error(fault.code, format!("{}; no row of this file can be used", fault.message))
                        .table(self.source.kind)
                        .source(&self.source.file, Some(1))
                        .remedy(fault.remedy),
                );
                self.feeds = Err((fault.code, fault.message));
            }
        }
        Ok(())
    }

    fn row(&mut self, record: &ByteRecord) -> Result<(), IngestError> {
        self.row_number += 1;
        if record.iter().all(|cell| cell.trim_ascii().is_empty()) {
            return Ok(());
        }
        self.report.rows_read += 1;
        if let Err(fault) = self.keep(record)? {
            self.set_aside(record, fault);
        }
        Ok(())
    }

    /// Reads the cells of a row and collects them; the inner result says why the row is set aside instead.
    fn keep(&mut self, record: &ByteRecord) -> Result<Result<(), RowFault>, IngestError> {
        let feeds = match &self.feeds {
            Ok(feeds) => feeds,
            Err((code, message)) => {
                return Ok(Err(RowFault {
                    code,
                    message: format!("the header of the file cannot be used: {message}"),
                    remedy: String::new(),
                }));
            }
        };
        if record.iter().skip(self.columns).any(|cell| !cell.trim_ascii().is_empty()) {
            return Ok(Err(RowFault {
                code: "too_many_cells",
                message: format!("{} cells, but the header has {}", record.len(), self.columns),
                remedy: "look for a delimiter inside a cell; put such cells in quotes".into(),
            }));
        }
        if let Some(cell) = record.iter().position(|cell| swallows_rows(cell, self.delimiter, self.columns)) {
            return Ok(Err(RowFault {
                code: "unclosed_quote",
                message: format!(
                    "column {}: a quote is opened and not closed, so that following rows stand in one cell",
                    cell + 1
                ),
                remedy: "remove the quote, or close it before the next delimiter; the rows it swallowed are read then"
                    .into(),
            }));
        }
        let values = match read_row(self.schema, feeds, record, self.zones, self.timezone_column) {
            Ok(values) => values,
            Err(fault) => return Ok(Err(fault)),
        };
        let season = match self.season_column.map(|index| values[index]) {
            Some(Value::Integer(season)) => season,
            _ => {
                return Ok(Err(RowFault {
                    code: "missing_value",
                    message: "no season and no date to take it from".into(),
                    remedy: "write the year of planting in the column season".into(),
                }));
            }
        };
        if values.iter().any(|value| matches!(value, Value::Moment { local: true, .. })) {
            let field = text_of(&values, self.schema, "field_id");
            if !self.zones.known(field, season) && self.timezone_column.is_none() {
                self.local_without_zone.insert((field.to_owned(), season));
            }
        }
        if let Some(name) =
            self.timezone_column.and_then(|cell| record.get(cell)).and_then(|cell| std::str::from_utf8(cell).ok())
            && let Ok(zone) = zone(name.trim())
        {
            self.zones.set(text_of(&values, self.schema, "field_id"), season, zone);
        }
        let batch = self.batches.entry(season).or_insert_with(|| Batch::new(self.kept));
        batch.push(
            &values,
            [Value::Text(&self.source.file), Value::Integer(self.row_number), Value::Text(&self.source.sha256)],
        );
        self.report.rows_kept += 1;
        if batch.rows() >= BATCH_ROWS {
            self.sink.rows(self.source.kind, season, batch.take()?)?;
        }
        Ok(Ok(()))
    }

    fn set_aside(&mut self, record: &ByteRecord, fault: RowFault) {
        if !fault.remedy.is_empty() {
            let severity = if fault.code == "unclosed_quote" { Severity::Error } else { Severity::Warning };
            self.report.findings.push(
                Finding::new(severity, fault.code, format!("row set aside: {}", fault.message))
                    .table(self.source.kind)
                    .source(&self.source.file, Some(self.row_number))
                    .remedy(fault.remedy),
            );
        }
        self.report.set_aside.push(SetAside {
            source_file: self.source.file.clone(),
            source_row: self.row_number,
            source_sha256: self.source.sha256.clone(),
            kind: self.source.kind.to_owned(),
            code: fault.code.to_owned(),
            message: fault.message,
            raw: Some(raw_text(record, self.delimiter)),
        });
    }

    fn finish(mut self) -> Result<FileReport, IngestError> {
        for (season, mut batch) in self.batches {
            if batch.rows() > 0 {
                self.sink.rows(self.source.kind, season, batch.take()?)?;
            }
        }
        if self.report.rows_read == 0 && self.columns > 0 {
            self.report.findings.push(
                Finding::warning("no_rows", "the file has a header and no rows")
                    .table(self.source.kind)
                    .source(&self.source.file, None)
                    .remedy("remove it from raw/, or fill it"),
            );
        }
        for (field, season) in self.local_without_zone {
            self.report.findings.push(
                Finding::note("no_timezone", "local times were read as UTC, because neither the field nor the settings name a time zone")
                    .table(self.source.kind)
                    .source(&self.source.file, None)
                    .field(&field, season)
                    .remedy("give timezone = \"…\" in evenstand.toml or in the field's row; differences between times of one field are right all the same"),
            );
        }
        Ok(self.report)
    }
}

fn read_row<'a>(
    schema: &'static TableSchema,
    feeds: &[Feed],
    record: &'a ByteRecord,
    zones: &Zones,
    timezone_column: Option<usize>,
) -> Result<Vec<Value<'a>>, RowFault> {
    let mut values: Vec<Value<'a>> = Vec::with_capacity(feeds.len());
    for (column, feed) in schema.columns.iter().zip(feeds) {
        let cell = match feed.cell.and_then(|cell| record.get(cell)) {
            None => "",
            Some(bytes) => std::str::from_utf8(bytes).map_err(|_| RowFault {
                code: "not_utf8",
                message: format!("column {}: the text is not UTF-8: {}", column.name, String::from_utf8_lossy(bytes)),
                remedy: "save the file as UTF-8 (in a spreadsheet: CSV UTF-8)".into(),
            })?,
        }
        .trim();
        let zone = || row_zone(schema, record, &values, zones, timezone_column);
        let value = read_cell(column, feed, cell, zones, zone).map_err(|fault| RowFault {
            code: fault.code,
            message: format!("column {}: found \"{}\", expected {}", feed.name(column), fault.found, fault.expected),
            remedy: fault.remedy,
        })?;
        let needed = column.required() && value == Value::Missing;
        if needed {
            return Err(RowFault {
                code: "missing_value",
                message: format!("column {}: the cell is empty, expected a value", column.name),
                remedy: format!("fill in {}", column.name),
            });
        }
        if column.name == "timezone"
            && let Value::Text(name) = value
            && let Err(problem) = zone_by_name(name)
        {
            return Err(RowFault {
                code: "unknown_timezone",
                message: format!("column timezone: {problem}"),
                remedy: "write the IANA name of the zone".into(),
            });
        }
        values.push(value);
    }
    if schema.name == "weather" {
        fill_season_of_weather(schema, &mut values);
    }
    Ok(values)
}

fn zone_by_name(name: &str) -> Result<TimeZone, String> {
    zone(name)
}

/// The zone of the row's own `timezone` cell, else of its field and season.
fn row_zone(
    schema: &TableSchema,
    record: &ByteRecord,
    values: &[Value],
    zones: &Zones,
    timezone_column: Option<usize>,
) -> TimeZone {
    let own = timezone_column
        .and_then(|cell| record.get(cell))
        .and_then(|cell| std::str::from_utf8(cell).ok())
        .map(str::trim);
    if let Some(name) = own.filter(|name| !is_missing(name))
        && let Ok(zone) = zone(name)
    {
        return zone;
    }
    let season =
        match schema.columns.iter().position(|column| column.name == "season").and_then(|index| values.get(index)) {
            Some(Value::Integer(season)) => *season,
            _ => 0,
        };
    zones.of(text_of(values, schema, "field_id"), season)
}

fn text_of<'a>(values: &[Value<'a>], schema: &TableSchema, name: &str) -> &'a str {
    match schema.columns.iter().position(|column| column.name == name).and_then(|index| values.get(index)) {
        Some(Value::Text(text)) => text,
        _ => "",
    }
}

/// Weather without a season belongs to the year of its date.
fn fill_season_of_weather(schema: &TableSchema, values: &mut [Value]) {
    let day =
        schema.columns.iter().position(|column| column.column_type == ColumnType::Date).map(|index| values[index]);
    let season = schema.columns.iter().position(|column| column.name == "season");
    if let (Some(Value::Day(day)), Some(season)) = (day, season)
        && values[season] == Value::Missing
    {
        let date = jiff::civil::Date::constant(1970, 1, 1).saturating_add(jiff::Span::new().days(day));
        values[season] = Value::Integer(i64::from(date.year()));
    }
}

/// The delimiter that the first line has most of, outside quotes; a comma where it has none.
fn delimiter(start: &[u8]) -> u8 {
    let mut quoted = false;
    let mut counts = [(b',', 0), (b';', 0), (b'\t', 0), (b'|', 0)];
    for byte in start {
        match byte {
            b'"' => quoted = !quoted,
            b'\n' if !quoted => break,
            _ if !quoted => {
                counts.iter_mut().filter(|(candidate, _)| candidate == byte).for_each(|(_, count)| *count += 1)
            }
            _ => {}
        }
    }
    // The first of equals wins, so that a comma stays a comma.
    counts.iter().rev().max_by_key(|(_, count)| *count).map_or(b',', |(byte, _)| *byte)
}

/// Whether a cell holds, behind a line break, a line with as many delimiters as a row: a quote was never closed, and
/// rows stand in one cell. A note of several lines has fewer.
fn swallows_rows(cell: &[u8], delimiter: u8, columns: usize) -> bool {
    let delimiters = |line: &[u8]| line.iter().filter(|byte| **byte == delimiter).count();
    columns > 1 && cell.split(|byte| *byte == b'\n').skip(1).any(|line| delimiters(line) + 1 >= columns)
}

fn raw_text(record: &ByteRecord, delimiter: u8) -> String {
    let mut writer = csv::WriterBuilder::new().delimiter(delimiter).from_writer(Vec::new());
    let written = writer.write_byte_record(record).ok().and_then(|()| writer.into_inner().ok()).unwrap_or_default();
    String::from_utf8_lossy(&written).trim_end_matches(['\r', '\n']).to_owned()
}
