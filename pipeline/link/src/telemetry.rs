//! Streams setting logs out of the store: hand-written rows as they are, telemetry as one summary a strip.
//!
//! Parquet is read in batches and each batch is summed on a thread of its own (`telemetry_sums`), while the rows are watched in their order; so
//! memory does not grow with the rows.

use std::collections::{BTreeMap, HashMap};
use std::fs::File;
use std::path::{Path, PathBuf};

use arrow::array::{Array, BooleanArray, Float64Array, Int64Array, RecordBatch, StringArray};
use arrow::compute::{filter_record_batch, is_null, not};
use evenstand_settings::Settings;
use evenstand_tables::rows::{FieldRow, StripTotalsRow};
use evenstand_tables::{Finding, Moment};
use parquet::arrow::ProjectionMask;
use parquet::arrow::arrow_reader::{ParquetRecordBatchReader, ParquetRecordBatchReaderBuilder};
use parquet::file::metadata::RowGroupMetaData;
use polars::prelude::DataFrame;

use crate::LinkError;
use crate::key::StripKey;
use crate::strip_totals::StripTotals;
use crate::telemetry_sums::{add_totals, sums_of_batch};
use crate::telemetry_watch::{Watch, Watched};
use crate::traced::Traced;
use crate::traces::LoggedStrip;

/// A row of a hand-written setting log, or what it says of a whole field.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct HandRow {
    pub field_id: String,
    pub season: i64,
    pub strip_id: Option<String>,
    pub block: Option<String>,
    pub planter_id: Option<String>,
    pub condition: Option<String>,
    pub closing_position: Option<String>,
    pub set_force_n: Option<f64>,
    pub set_pressure_kpa: Option<f64>,
    pub actual_force_n: Option<f64>,
    pub actual_pressure_kpa: Option<f64>,
    pub speed_m_s: Option<f64>,
    pub lat: Option<f64>,
    pub lon: Option<f64>,
    pub press_position: Option<String>,
    pub depth_stop: Option<String>,
    pub gauge_wheel: Option<String>,
    pub source_file: String,
    pub source_row: i64,
}

/// Telemetry of one strip, rows at working speed.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct TelemetrySummary {
    pub planter_id: Option<String>,
    pub rows: u64,
    pub rows_at_speed: u64,
    pub speed_m_s: Option<f64>,
    pub set_pressure_kpa: Option<f64>,
    pub set_force_n: Option<f64>,
    pub set_from_pressure: bool,
    pub actual_force_n: Option<f64>,
    pub actual_from_pressure: bool,
    /// Standard deviation of the actual force along the strip; of the set force where none was measured.
    pub force_sd_n: Option<f64>,
    pub block: Option<String>,
    pub condition: Option<String>,
    pub press_position: Option<String>,
    pub depth_stop: Option<String>,
    pub gauge_wheel: Option<String>,
    /// Mean place, in degrees.
    pub lat: Option<f64>,
    pub lon: Option<f64>,
    /// Time of the first row, whatever its speed.
    pub started_at: Option<Moment>,
}

/// Everything that the setting logs say, summed by strip.
#[derive(Debug, Default)]
pub struct SettingLogs {
    pub(crate) hand: Vec<HandRow>,
    pub(crate) telemetry: BTreeMap<StripKey, TelemetrySummary>,
    /// Telemetry rows without a strip, by season.
    pub(crate) rows_without_strip: BTreeMap<i64, u64>,
    /// What telemetry says about itself.
    pub(crate) watched: Vec<Watched>,
    /// What of it a person should look at.
    pub(crate) findings: Vec<Finding>,
    /// Telemetry along each strip.
    pub(crate) traces: Traced,
    /// Files that telemetry of each strip stands in.
    pub(crate) logged: Vec<LoggedStrip>,
}

/// Rows of a batch, and batches that are in memory at a time; as many again wait.
const BATCH_ROWS: usize = 1 << 15;
const BATCHES_AT_A_TIME: usize = 4;

/// Text columns of a setting log that linking needs.
const TEXTS: [&str; 10] = [
    "field_id",
    "strip_id",
    "planter_id",
    "block",
    "condition",
    "closing_position",
    "press_position",
    "depth_stop",
    "gauge_wheel",
    "source_file",
];
/// Number columns of a setting log that linking needs.
pub(crate) const NUMBERS: [&str; 7] =
    ["set_force_n", "set_pressure_kpa", "actual_force_n", "actual_pressure_kpa", "speed_m_s", "lat", "lon"];

/// Reads the setting logs batch by batch: Parquet files, by season.
///
/// With `known` totals, telemetry is neither summed nor watched: only row groups that hold hand-written rows are read. Errors
/// where the totals are of other rows or other settings. Traces wait on the disk of `folder`.
pub fn read_logs(
    files: &[(i64, Vec<PathBuf>)],
    fields: &[FieldRow],
    known: Option<Vec<StripTotalsRow>>,
    settings: &Settings,
    folder: &Path,
) -> Result<SettingLogs, LinkError> {
    let mut logs = SettingLogs::default();
    if let Some(known) = known {
        let known = fitting(known, files, settings)?;
        for (season, path) in paths(files) {
            for batch in batches(path, Rows::Hand)? {
                let batch = batch.map_err(|error| unreadable(path, &error))?;
                read_hand_rows(&batch, &hand_rows(&batch)?, season, &mut logs)?;
            }
        }
        known.summarise(&mut logs);
        logs.findings.push(
            Finding::note(
                "telemetry_not_watched",
                "telemetry was taken as totals by strip: it was not watched for gaps, stuck values and lags, has no course along the strip, \
                 and its share of time at the set value is missing",
            )
            .remedy("run `evenstand model` without --strip-totals to see these"),
        );
        return Ok(logs);
    }
    let mut totals = StripTotals::default();
    let mut watch = Watch::new(settings, folder);
    for (season, paths) in files {
        let planters = planters_of_fields(fields, *season);
        for path in paths {
            sum_file(path, Rows::All, *season, &planters, settings, &mut totals, &mut |batch, hand| {
                if hand.true_count() > 0 {
                    read_hand_rows(batch, hand, *season, &mut logs)?;
                }
                if hand.true_count() < batch.num_rows() {
                    watch.rows(batch, *season, &planters)?;
                }
                Ok(())
            })?;
            watch.end_of_file()?;
        }
    }
    totals.summarise(&mut logs);
    let end = watch.finish(settings)?;
    (logs.watched, logs.findings) = (end.watched, end.findings);
    (logs.traces, logs.logged) = (end.traces, end.logged);
    Ok(logs)
}

/// Telemetry summed by strip and planter, in the order of field, season, strip and planter: what `link` takes in place of the
/// telemetry itself. Errors where the setting logs cannot be read.
pub fn strip_totals(
    files: &[(i64, Vec<PathBuf>)],
    fields: &[FieldRow],
    settings: &Settings,
) -> Result<Vec<StripTotalsRow>, LinkError> {
    let mut totals = StripTotals::default();
    for (season, paths) in files {
        let planters = planters_of_fields(fields, *season);
        for path in paths {
            sum_file(path, Rows::Telemetry, *season, &planters, settings, &mut totals, &mut |_, _| Ok(()))?;
        }
    }
    Ok(totals.into_rows())
}

/// Adds the telemetry of a file to the totals. While other threads add up, this one hands the batches to `meanwhile` in their order, each with which of its
/// rows are hand-written, and fetches the next ones.
fn sum_file(
    path: &Path,
    rows: Rows,
    season: i64,
    planters: &HashMap<&str, Option<&str>>,
    settings: &Settings,
    totals: &mut StripTotals,
    meanwhile: &mut dyn FnMut(&RecordBatch, &BooleanArray) -> Result<(), LinkError>,
) -> Result<(), LinkError> {
    let mut batches = batches(path, rows)?;
    let mut fetch = || -> Result<Vec<RecordBatch>, LinkError> {
        let fetched: Result<Vec<_>, _> = batches.by_ref().take(BATCHES_AT_A_TIME).collect();
        fetched.map_err(|error| unreadable(path, &error))
    };
    let reckoned_with = settings.reckoned_with();
    let mut waiting = fetch()?;
    while !waiting.is_empty() {
        let hands = waiting.iter().map(hand_rows).collect::<Result<Vec<_>, _>>()?;
        let telemetry = || waiting.iter().zip(&hands).filter(|(batch, hand)| hand.true_count() < batch.num_rows());
        let mut frames: Vec<Result<DataFrame, LinkError>> = telemetry().map(|_| Ok(DataFrame::empty())).collect();
        let next = rayon::in_place_scope(|scope| {
            for ((batch, hand), frame) in telemetry().zip(&mut frames) {
                scope.spawn(move |_| *frame = sums_of_telemetry(batch, hand, planters, settings));
            }
            waiting.iter().zip(&hands).try_for_each(|(batch, hand)| meanwhile(batch, hand))?;
            fetch()
        })?;
        for frame in frames {
            add_totals(&frame?, season, &reckoned_with, totals)?;
        }
        waiting = next;
    }
    Ok(())
}

/// Sums of the rows of a batch that have a time.
fn sums_of_telemetry(
    batch: &RecordBatch,
    hand: &BooleanArray,
    planters: &HashMap<&str, Option<&str>>,
    settings: &Settings,
) -> Result<DataFrame, LinkError> {
    if hand.true_count() == 0 {
        return sums_of_batch(batch, planters, settings);
    }
    let telemetry = not(hand).and_then(|telemetry| filter_record_batch(batch, &telemetry));
    sums_of_batch(&telemetry.map_err(|error| LinkError::Telemetry(error.to_string()))?, planters, settings)
}

/// Totals from elsewhere, where they are of these files and settings.
fn fitting(
    known: Vec<StripTotalsRow>,
    files: &[(i64, Vec<PathBuf>)],
    settings: &Settings,
) -> Result<StripTotals, LinkError> {
    let expected = settings.reckoned_with();
    if let Some(other) = known.iter().find(|row| row.reckoned_with != expected) {
        return Err(LinkError::OtherTotals(format!(
            "they were made with \"{}\", the settings say \"{expected}\"",
            other.reckoned_with
        )));
    }
    let known = StripTotals::of(known);
    let mut kept: BTreeMap<i64, i64> = BTreeMap::new();
    for (season, path) in paths(files) {
        let telemetry = telemetry_rows(path)?;
        if telemetry > 0 {
            *kept.entry(season).or_default() += telemetry;
        }
    }
    let found = known.rows_by_season();
    let differs = |season: &&i64| kept.get(season) != found.get(season);
    if let Some(season) = kept.keys().chain(found.keys()).find(differs) {
        let rows = |of: &BTreeMap<i64, i64>| of.get(season).copied().unwrap_or(0);
        return Err(LinkError::OtherTotals(format!(
            "they are of {} telemetry rows of {season}, the store has {}",
            rows(&found),
            rows(&kept)
        )));
    }
    Ok(known)
}

fn paths(files: &[(i64, Vec<PathBuf>)]) -> impl Iterator<Item = (i64, &PathBuf)> {
    files.iter().flat_map(|(season, paths)| paths.iter().map(|path| (*season, path)))
}

/// Rows without a time: written by hand.
fn hand_rows(batch: &RecordBatch) -> Result<BooleanArray, LinkError> {
    let time = batch.column_by_name("time").ok_or_else(|| LinkError::Telemetry("no column time".into()))?;
    is_null(time).map_err(|error| LinkError::Telemetry(error.to_string()))
}

fn unreadable(path: &Path, problem: &dyn std::fmt::Display) -> LinkError {
    LinkError::Telemetry(format!("{}: {problem}", path.display()))
}

/// Which rows of a file are wanted. Row groups that hold none of them are passed over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Rows {
    All,
    Hand,
    Telemetry,
}

/// Telemetry rows of a Parquet file, from its footer; counted where the footer does not tell.
fn telemetry_rows(path: &Path) -> Result<i64, LinkError> {
    let file = File::open(path).map_err(|error| unreadable(path, &error))?;
    let builder = ParquetRecordBatchReaderBuilder::try_new(file).map_err(|error| unreadable(path, &error))?;
    let told: Option<i64> =
        builder.metadata().row_groups().iter().map(|group| Some(group.num_rows() - hand_rows_of_group(group)?)).sum();
    if let Some(told) = told {
        return Ok(told);
    }
    let mask = ProjectionMask::columns(builder.parquet_schema(), ["time"]);
    let mut counted = 0;
    for batch in builder.with_projection(mask).build().map_err(|error| unreadable(path, &error))? {
        counted += hand_rows(&batch.map_err(|error| unreadable(path, &error))?)?.false_count() as i64;
    }
    Ok(counted)
}

/// Rows of a row group that have no time; `None` where its statistics do not tell.
fn hand_rows_of_group(group: &RowGroupMetaData) -> Option<i64> {
    let time = group.columns().iter().find(|column| column.column_path().string() == "time")?;
    i64::try_from(time.statistics()?.null_count_opt()?).ok()
}

/// Streams the needed columns of a Parquet file.
fn batches(path: &Path, rows: Rows) -> Result<ParquetRecordBatchReader, LinkError> {
    let file = File::open(path).map_err(|error| unreadable(path, &error))?;
    let builder = ParquetRecordBatchReaderBuilder::try_new(file).map_err(|error| unreadable(path, &error))?;
    // Sums do not ask where a row stands.
    let unasked = |name: &&str| {
        rows == Rows::Telemetry && matches!(*name, "source_file" | "source_row" | "row_unit" | "closing_position")
    };
    let wanted = TEXTS.iter().chain(&NUMBERS).chain(&["time", "source_row", "row_unit"]).copied();
    let mask = ProjectionMask::columns(builder.parquet_schema(), wanted.filter(|name| !unasked(name)));
    let groups = builder.metadata().row_groups().iter().enumerate().filter(|(_, group)| {
        let hand = hand_rows_of_group(group);
        match rows {
            Rows::All => true,
            Rows::Hand => hand != Some(0),
            Rows::Telemetry => hand != Some(group.num_rows()),
        }
    });
    let groups = groups.map(|(index, _)| index).collect();
    builder
        .with_projection(mask)
        .with_row_groups(groups)
        .with_batch_size(BATCH_ROWS)
        .build()
        .map_err(|error| unreadable(path, &error))
}

pub(crate) fn texts<'a>(batch: &'a RecordBatch, name: &str) -> Result<&'a StringArray, LinkError> {
    batch
        .column_by_name(name)
        .and_then(|column| column.as_any().downcast_ref())
        .ok_or_else(|| LinkError::Telemetry(format!("no text column {name}")))
}

pub(crate) fn numbers<'a>(batch: &'a RecordBatch, name: &str) -> Result<&'a Float64Array, LinkError> {
    batch
        .column_by_name(name)
        .and_then(|column| column.as_any().downcast_ref())
        .ok_or_else(|| LinkError::Telemetry(format!("no number column {name}")))
}

fn read_hand_rows(
    batch: &RecordBatch,
    hand: &BooleanArray,
    season: i64,
    logs: &mut SettingLogs,
) -> Result<(), LinkError> {
    let [
        field_id,
        strip_id,
        planter_id,
        block,
        condition,
        closing_position,
        press_position,
        depth_stop,
        gauge_wheel,
        source_file,
    ] = TEXTS.map(|name| texts(batch, name));
    let (field_id, strip_id, planter_id, block) = (field_id?, strip_id?, planter_id?, block?);
    let (condition, closing_position, source_file) = (condition?, closing_position?, source_file?);
    let (press_position, depth_stop, gauge_wheel) = (press_position?, depth_stop?, gauge_wheel?);
    let [set_force, set_pressure, actual_force, actual_pressure, speed, lat, lon] =
        NUMBERS.map(|name| numbers(batch, name));
    let (set_force, set_pressure, actual_force) = (set_force?, set_pressure?, actual_force?);
    let (actual_pressure, speed, lat, lon) = (actual_pressure?, speed?, lat?, lon?);
    let source_row: Option<&Int64Array> =
        batch.column_by_name("source_row").and_then(|column| column.as_any().downcast_ref());
    let text = |array: &StringArray, row: usize| array.is_valid(row).then(|| array.value(row).to_owned());
    let number = |array: &Float64Array, row: usize| array.is_valid(row).then(|| array.value(row));
    for row in (0..batch.num_rows()).filter(|row| hand.value(*row)) {
        logs.hand.push(HandRow {
            field_id: text(field_id, row).unwrap_or_default(),
            season,
            strip_id: text(strip_id, row),
            block: text(block, row),
            planter_id: text(planter_id, row),
            condition: text(condition, row),
            closing_position: text(closing_position, row),
            set_force_n: number(set_force, row),
            set_pressure_kpa: number(set_pressure, row),
            actual_force_n: number(actual_force, row),
            actual_pressure_kpa: number(actual_pressure, row),
            speed_m_s: number(speed, row),
            lat: number(lat, row),
            lon: number(lon, row),
            press_position: text(press_position, row),
            depth_stop: text(depth_stop, row),
            gauge_wheel: text(gauge_wheel, row),
            source_file: text(source_file, row).unwrap_or_default(),
            source_row: source_row.map_or(0, |rows| rows.value(row)),
        });
    }
    Ok(())
}

/// The planter of each field of a season; of a field that stands twice, the first.
fn planters_of_fields(fields: &[FieldRow], season: i64) -> HashMap<&str, Option<&str>> {
    let mut planters = HashMap::new();
    for field in fields.iter().filter(|field| field.season == season) {
        planters.entry(field.field_id.as_str()).or_insert(field.planter_id.as_deref());
    }
    planters
}
