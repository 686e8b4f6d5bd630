//! What every reader is held to: rows add up, kept rows follow their schema, every number is one, a refusal has words.

use arrow::array::{AsArray, RecordBatch};
use arrow::datatypes::{DataType, Float64Type};
use evenstand_ingest::{FileReport, IngestError, Mapping, Source, Surroundings, Whereabouts, Zones};
use evenstand_settings::Settings;
use evenstand_tables::{Group, SetAside, Sink, Table, TablesError, schema};

/// Takes rows and looks at each.
#[derive(Default)]
struct Looked {
    kept: u64,
    set_aside: u64,
}

impl Sink for Looked {
    fn rows(&mut self, table: &str, _: i64, batch: RecordBatch) -> Result<(), TablesError> {
        self.kept += batch.num_rows() as u64;
        numbers_are_numbers(table, &batch);
        // The season stands in the folder's name, so the schema's check of needed columns is left to the store.
        if batch.column_by_name("season").is_some() {
            Table::from_batches(schema(Group::Kept, table)?, &[batch])?;
        }
        Ok(())
    }

    fn set_aside(&mut self, row: SetAside) -> Result<(), TablesError> {
        assert!(!row.code.is_empty() && !row.message.is_empty() && row.raw.is_some(), "a row set aside without words");
        self.set_aside += 1;
        Ok(())
    }
}

fn numbers_are_numbers(table: &str, batch: &RecordBatch) {
    for (column, field) in batch.columns().iter().zip(batch.schema().fields()) {
        if *column.data_type() == DataType::Float64 {
            let finite = column.as_primitive::<Float64Type>().iter().flatten().all(f64::is_finite);
            assert!(finite, "{table}.{} holds what is no number", field.name());
        }
    }
}

/// Settings of an input; those that are refused are refused in words, and the defaults stand for them.
pub fn settings(text: &str) -> Settings {
    match Settings::parse(text) {
        Ok(settings) => settings,
        Err(error) => {
            assert!(error.to_string().len() > 10, "{error}");
            Settings::default()
        }
    }
}

/// Reads a file by the first `[[source]]` block of the settings that can work, else as a table of this kind.
pub fn read(
    kind: &'static str,
    settings: &Settings,
    read: impl FnOnce(&Source, Surroundings) -> Result<FileReport, IngestError>,
) {
    let mapping = settings.sources.iter().find_map(|rule| match Mapping::new(rule) {
        Ok(mapping) => Some((mapping, rule.wide.is_some())),
        Err(problem) => {
            assert!(problem.len() > 10, "{problem}");
            None
        }
    });
    let kind = mapping.as_ref().map_or(kind, |(mapping, _)| mapping.kind());
    let wide = mapping.as_ref().is_some_and(|(_, wide)| *wide);
    let zones = Zones::new(settings.timezone.as_deref(), settings.time_formats.clone());
    let mut zones = zones.unwrap_or_else(|problem| {
        assert!(problem.len() > 10, "{problem}");
        Zones::default()
    });
    let mut sink = Looked::default();
    let source = Source { file: "hostile".into(), sha256: "0".into(), kind };
    let around = Surroundings {
        mapping: mapping.as_ref().map(|(mapping, _)| mapping),
        settings,
        whereabouts: &Whereabouts::default(),
        zones: &mut zones,
        sink: &mut sink,
    };
    match read(&source, around) {
        Ok(report) => {
            assert_eq!(report.rows_read, report.rows_kept + report.rows_set_aside, "rows do not add up");
            assert_eq!(report.rows_set_aside, sink.set_aside, "rows set aside are not all there");
            assert!(if wide { sink.kept >= report.rows_kept } else { sink.kept == report.rows_kept });
            for finding in &report.findings {
                assert!(!finding.code.is_empty() && !finding.message.is_empty(), "a finding without words");
            }
        }
        // A refusal names what was found and what to do.
        Err(IngestError::Format { problem, remedy, .. }) => assert!(!problem.is_empty() && !remedy.is_empty()),
        Err(error) => assert!(!error.to_string().is_empty()),
    }
}
