//! Damaged files: whatever is done to a file, no reader panics, and every row it read is kept or set aside.

use std::io::{Cursor, Write as _};
use std::sync::Arc;

use arrow::array::{Float64Array, Int64Array, RecordBatch, StringArray};
use evenstand_bundle::{Bundle, Limits};
use evenstand_ingest::{
    FileReport, IngestError, Mapping, Outlines, Source, Surroundings, Whereabouts, Zones, look_at_parquet,
    look_at_text, look_at_workbook, read_parquet, read_strips, read_task_data, read_text, read_workbook,
};
use evenstand_settings::Settings;
use evenstand_tables::{SetAside, Sink, TablesError};
use parquet::arrow::ArrowWriter;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::places::OUTLINES;
use crate::task_data::archive;
use crate::workbooks::{tidy, workbook};

/// Counts what it receives.
#[derive(Default)]
struct Counter {
    kept: u64,
    set_aside: u64,
}

impl Sink for Counter {
    fn rows(&mut self, _: &str, _: i64, batch: RecordBatch) -> Result<(), TablesError> {
        self.kept += batch.num_rows() as u64;
        Ok(())
    }
    fn set_aside(&mut self, row: SetAside) -> Result<(), TablesError> {
        assert!(!row.code.is_empty() && !row.message.is_empty() && row.raw.is_some());
        self.set_aside += 1;
        Ok(())
    }
}

/// Reads with a block of settings and holds the report against what arrived.
fn read(
    kind: &'static str,
    block: &str,
    read: impl FnOnce(&Source, Surroundings) -> Result<FileReport, IngestError>,
) -> Option<FileReport> {
    let settings = Settings::parse(block).unwrap();
    let mapping = settings.sources.first().map(|rule| Mapping::new(rule).unwrap());
    let (mut zones, mut sink) = (Zones::new(Some("UTC"), Vec::new()).unwrap(), Counter::default());
    let source = Source { file: "damaged".into(), sha256: "0".into(), kind };
    let around = Surroundings {
        mapping: mapping.as_ref(),
        settings: &settings,
        whereabouts: &Whereabouts::default(),
        zones: &mut zones,
        sink: &mut sink,
    };
    match read(&source, around) {
        Ok(report) => {
            assert_eq!(report.rows_read, report.rows_kept + report.rows_set_aside);
            assert_eq!(report.rows_set_aside, sink.set_aside);
            let wide = mapping.as_ref().is_some_and(|_| block.contains("[source.wide]"));
            assert!(if wide { sink.kept >= report.rows_kept } else { sink.kept == report.rows_kept });
            Some(report)
        }
        // A refusal names what was found and what to do.
        Err(IngestError::Format { problem, remedy, .. }) => {
            assert!(!problem.is_empty() && !remedy.is_empty());
            None
        }
        Err(error) => {
            assert!(!error.to_string().is_empty());
            None
        }
    }
}

/// A copy with some damage: bytes changed, cut out, doubled or put in, the end cut off.
fn damaged(bytes: &[u8], random: &mut ChaCha8Rng) -> Vec<u8> {
    let mut bytes = bytes.to_vec();
    for _ in 0..random.random_range(1..=6) {
        if bytes.is_empty() {
            break;
        }
        let at = random.random_range(0..bytes.len());
        let length = random.random_range(1..=16).min(bytes.len() - at);
        match random.random_range(0..6) {
            0 => bytes[at] = random.random(),
            1 => bytes[at] ^= 1 << random.random_range(0..8),
            2 => drop(bytes.drain(at..at + length)),
            3 => {
                let piece = bytes[at..at + length].to_vec();
                bytes.splice(at..at, piece);
            }
            4 => {
                let odd = b"\",;\n\r\t\0=#|'-9999\xff\xfe,,,\"\"\"";
                let from = random.random_range(0..odd.len() - 4);
                bytes.splice(at..at, odd[from..from + 4].iter().copied());
            }
            _ => bytes.truncate(at),
        }
    }
    bytes
}

/// Unpacked, damaged and packed again: damage that a check sum does not catch.
fn damaged_inside(archive: &[u8], random: &mut ChaCha8Rng) -> Vec<u8> {
    let mut bundle = Bundle::of_bytes(archive.to_vec(), Limits::default()).unwrap();
    let names = bundle.names().to_vec();
    let victim = random.random_range(0..names.len());
    let mut writer = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (index, name) in names.iter().enumerate() {
        let bytes = bundle.read(name).unwrap();
        let bytes = if index == victim { damaged(&bytes, random) } else { bytes };
        writer.start_file(name.as_str(), zip::write::SimpleFileOptions::default()).unwrap();
        writer.write_all(&bytes).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

const COUNTS: &str = "field_id,season,strip_id,sample_id,row_length_ft,counted_at,emerged\n\
    North,2025,1,a,17.4,2025-05-08T07:30:00Z,30\nNorth,2025,2,\"b, west\",17.4,2025-05-08,31\nSouth,2024,3,\"two\nlines\",17.4,,29\n\n";
const WIDE: &str = "[[source]]\nfile = \"damaged\"\nkind = \"stand_count\"\ndecimal = \",\"\nthousands = \".\"\nmissing = \"x\"\n\
    constants = { field_id = \"A\", season = 2025 }\ncolumns.strip_id = \"plot\"\n[source.wide]\ncolumns = \"V*\"\n\
    name_to = \"counted_at\"\nvalue_to = \"emerged\"\nday_zero = \"2025-04-28\"\nnewly = true\n";
const WIDE_TEXT: &str = "plot;V7;V9;V12\n1;10;1.040;x\n2;;35;12\n";

#[test]
fn damaged_text_loses_no_row() {
    let mut random = ChaCha8Rng::seed_from_u64(1);
    let mut kept = 0;
    for round in 0..4000 {
        let (kind, block, text) = match round % 4 {
            0 | 1 => ("stand_count", "", COUNTS),
            2 => ("stand_count", WIDE, WIDE_TEXT),
            _ => (
                "weather",
                "[[source]]\nfile = \"damaged\"\nkind = \"weather\"\ndelimiter = \"blanks\"\nheader_row = 0\ncolumns = { date = \"A\", tmin_c = \"B\" }\n",
                "2025-05-01 4.5\n2025-05-02 5.5\n",
            ),
        };
        let bytes = damaged(text.as_bytes(), &mut random);
        let report = read(kind, block, |source, around| read_text(source, bytes.as_slice(), around)).unwrap();
        kept += report.rows_kept;
        // The rows of a plain comma file, counted by the CSV reader alone: all that hold anything but the header.
        let plain = bytes.iter().all(|byte| byte.is_ascii() && !b"\0;\t|".contains(byte));
        if block.is_empty() && plain && !bytes.starts_with(b"\"") {
            let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(bytes.as_slice());
            let filled = reader
                .byte_records()
                .filter(|row| row.as_ref().is_ok_and(|row| row.iter().any(|cell| !cell.trim_ascii().is_empty())));
            assert_eq!(
                report.rows_read,
                (filled.count() as u64).saturating_sub(1),
                "{}",
                String::from_utf8_lossy(&bytes)
            );
        }
        if let Ok(rows) = look_at_text("damaged", bytes.as_slice()) {
            rows.propose("damaged").block.parse::<toml::Table>().unwrap();
        }
    }
    assert!(kept > 1500, "damage that leaves nothing tests nothing: {kept}");
}

#[test]
fn damaged_workbooks_lose_no_row() {
    let good = workbook(&[("Sheet1", &tidy)]);
    let mut random = ChaCha8Rng::seed_from_u64(2);
    let mut kept = 0;
    for round in 0..2000 {
        let bytes = if round % 3 == 0 { damaged(&good, &mut random) } else { damaged_inside(&good, &mut random) };
        let report = read("stand_count", "", |source, around| read_workbook(source, bytes.clone(), around));
        kept += report.map_or(0, |report| report.rows_kept);
        for table in look_at_workbook("damaged", bytes).unwrap_or_default() {
            table.propose("damaged").block.parse::<toml::Table>().unwrap();
        }
    }
    assert!(kept > 500, "{kept}");
}

#[test]
fn damaged_parquet_loses_no_row() {
    let strips: Vec<String> = (0..200).map(|strip| strip.to_string()).collect();
    let batch = RecordBatch::try_from_iter([
        ("field_id", Arc::new(StringArray::from(vec!["North"; 200])) as arrow::array::ArrayRef),
        ("season", Arc::new(Int64Array::from(vec![2025; 200]))),
        ("strip_id", Arc::new(StringArray::from(strips))),
        ("row_length_m", Arc::new(Float64Array::from(vec![5.3; 200]))),
        ("emerged", Arc::new(Int64Array::from_iter_values(0..200))),
    ])
    .unwrap();
    let mut good = Vec::new();
    let mut writer = ArrowWriter::try_new(&mut good, batch.schema(), None).unwrap();
    writer.write(&batch).unwrap();
    writer.close().unwrap();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("damaged.parquet");
    let mut random = ChaCha8Rng::seed_from_u64(3);
    let mut kept = 0;
    for _ in 0..1500 {
        std::fs::write(&path, damaged(&good, &mut random)).unwrap();
        let open = || std::fs::File::open(&path).unwrap();
        let report = read("stand_count", "", |source, around| read_parquet(source, open(), around));
        kept += report.map_or(0, |report| report.rows_kept);
        if let Ok(rows) = look_at_parquet("damaged", open()) {
            rows.propose("damaged").block.parse::<toml::Table>().unwrap();
        }
    }
    assert!(kept > 2000, "{kept}");
}

#[test]
fn damaged_task_data_lose_no_record() {
    let block = "[[source]]\nfile = \"damaged\"\nkind = \"setting_log\"\n[[source.channel]]\ncolumn = \"row_downforce_n\"\nddi = \"01AB\"\n";
    let good = archive();
    let mut random = ChaCha8Rng::seed_from_u64(4);
    let mut kept = 0;
    for round in 0..1500 {
        let bytes = if round % 4 == 0 { damaged(&good, &mut random) } else { damaged_inside(&good, &mut random) };
        let Ok(mut bundle) = Bundle::of_bytes(bytes, Limits::default()) else { continue };
        kept += read("setting_log", block, |source, around| read_task_data(source, &mut bundle, around))
            .map_or(0, |report| report.rows_kept);
    }
    assert!(kept > 500, "{kept}");
}

#[test]
fn damaged_outlines_lose_no_strip() {
    let mut random = ChaCha8Rng::seed_from_u64(5);
    let mut kept = 0;
    for _ in 0..1500 {
        let bytes = damaged(OUTLINES.as_bytes(), &mut random);
        kept += read("strip", "", |source, around| {
            let (report, strips) = read_strips(source, Outlines::GeoJson(&bytes), around)?;
            assert!(strips.len() as u64 >= report.rows_kept);
            Ok(report)
        })
        .map_or(0, |report| report.rows_kept);
    }
    assert!(kept > 50, "{kept}");
}
