//! Streams setting logs out of the store: hand-written rows as they are, telemetry as one summary a strip.
//!
//! The only file of the project that uses polars. Parquet is read in batches, polars works out each batch, and the
//! batches' totals are added (`strip_totals`), so that memory does not grow with the rows. What is summed, and how, is told
//! once more in `pipeline/cluster`, for an engine of several machines; its tests hold the two against each other.

use std::collections::{BTreeMap, HashMap};
use std::fs::File;
use std::path::{Path, PathBuf};

use arrow::array::{
    Array, BooleanArray, Float64Array, Int64Array, RecordBatch, StringArray, TimestampMicrosecondArray,
};
use arrow::compute::is_null;
use evenstand_settings::{Knob, Planter, Settings};
use evenstand_tables::rows::{FieldRow, StripTotalsRow, TraceRow};
use evenstand_tables::{Finding, Moment};
use parquet::arrow::ProjectionMask;
use parquet::arrow::arrow_reader::{ParquetRecordBatchReader, ParquetRecordBatchReaderBuilder};
use parquet::file::metadata::RowGroupMetaData;
use polars::prelude::{Column, DataFrame, DataType, Expr, IntoLazy, NULL, PolarsError, col, len, lit, when};

use crate::LinkError;
use crate::key::StripKey;
use crate::strip_totals::{HUNDREDTHS, MILLIONTHS, StripTotals};
use crate::telemetry_watch::{Watch, Watched};
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

/// Everything that the setting logs say.
#[derive(Debug, Default)]
pub(crate) struct SettingLogs {
    pub hand: Vec<HandRow>,
    pub telemetry: BTreeMap<StripKey, TelemetrySummary>,
    /// Telemetry rows without a strip, by season.
    pub rows_without_strip: BTreeMap<i64, u64>,
    /// What telemetry says about itself.
    pub watched: Vec<Watched>,
    /// What of it a person should look at.
    pub findings: Vec<Finding>,
    /// Telemetry along each strip.
    pub traces: Vec<TraceRow>,
    /// Files that telemetry of each strip stands in.
    pub logged: Vec<LoggedStrip>,
}

/// Rows that are in memory at a time.
const BATCH_ROWS: usize = 1 << 16;

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
const NUMBERS: [&str; 7] =
    ["set_force_n", "set_pressure_kpa", "actual_force_n", "actual_pressure_kpa", "speed_m_s", "lat", "lon"];
/// Reads the setting logs, batch by batch.
///
/// With `known` totals, telemetry is neither summed nor watched: only row groups that hold hand-written rows are read. Errors
/// where the totals are of other rows or other settings.
pub(crate) fn read_logs(
    files: &[(i64, Vec<PathBuf>)],
    fields: &[FieldRow],
    known: Option<Vec<StripTotalsRow>>,
    settings: &Settings,
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
        return Ok(logs);
    }
    let mut totals = StripTotals::default();
    let mut watch = Watch::new(settings);
    for (season, paths) in files {
        let planters = planters_of_fields(fields, *season);
        for path in paths {
            for batch in batches(path, Rows::All)? {
                let batch = batch.map_err(|error| unreadable(path, &error))?;
                let hand = hand_rows(&batch)?;
                if hand.true_count() > 0 {
                    read_hand_rows(&batch, &hand, *season, &mut logs)?;
                }
                if hand.true_count() < batch.num_rows() {
                    read_telemetry(&batch, &hand, *season, &planters, settings, &mut totals)?;
                    watch.rows(&batch, *season, &planters)?;
                }
            }
            watch.end_of_file();
        }
    }
    totals.summarise(&mut logs);
    let end = watch.finish(settings);
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
            for batch in batches(path, Rows::Telemetry)? {
                let batch = batch.map_err(|error| unreadable(path, &error))?;
                let hand = hand_rows(&batch)?;
                if hand.true_count() < batch.num_rows() {
                    read_telemetry(&batch, &hand, *season, &planters, settings, &mut totals)?;
                }
            }
        }
    }
    Ok(totals.into_rows())
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
    let wanted = TEXTS.iter().chain(&NUMBERS).chain(&["time", "source_row", "row_unit"]).copied();
    let mask = ProjectionMask::columns(builder.parquet_schema(), wanted);
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

fn texts<'a>(batch: &'a RecordBatch, name: &str) -> Result<&'a StringArray, LinkError> {
    batch
        .column_by_name(name)
        .and_then(|column| column.as_any().downcast_ref())
        .ok_or_else(|| LinkError::Telemetry(format!("no text column {name}")))
}

fn numbers<'a>(batch: &'a RecordBatch, name: &str) -> Result<&'a Float64Array, LinkError> {
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

/// Adds the telemetry rows of a batch to the totals: polars derives the forces and sums them by strip.
fn read_telemetry(
    batch: &RecordBatch,
    hand: &BooleanArray,
    season: i64,
    planters: &HashMap<&str, Option<&str>>,
    settings: &Settings,
    totals: &mut StripTotals,
) -> Result<(), LinkError> {
    let mut columns =
        vec![Column::new("hand".into(), hand.iter().map(|hand| hand.unwrap_or(false)).collect::<Vec<_>>())];
    for name in ["field_id", "strip_id", "block", "condition", "press_position", "depth_stop", "gauge_wheel"] {
        columns.push(Column::new(name.into(), texts(batch, name)?.iter().collect::<Vec<_>>()));
    }
    for name in NUMBERS {
        columns.push(Column::new(name.into(), numbers(batch, name)?.iter().collect::<Vec<_>>()));
    }
    let times: Option<&TimestampMicrosecondArray> =
        batch.column_by_name("time").and_then(|column| column.as_any().downcast_ref());
    let times = times.ok_or_else(|| LinkError::Telemetry("no column of times".into()))?;
    columns.push(Column::new("time".into(), times.iter().collect::<Vec<_>>()));
    // The row's own planter, else the planter of its field.
    let (own, field) = (texts(batch, "planter_id")?, texts(batch, "field_id")?);
    let planter: Vec<Option<&str>> = own
        .iter()
        .zip(field)
        .map(|(own, field)| own.or_else(|| planters.get(field.unwrap_or_default()).copied().flatten()))
        .collect();
    columns.push(Column::new("planter".into(), planter));
    let rows = DataFrame::new(batch.num_rows(), columns)?.lazy().filter(col("hand").not());
    let planter = col("planter");
    let force_of = |pressure: &str| force_of_pressure(pressure, &planter, &settings.planters);
    let at_speed = col("speed_m_s").is_null().or(col("speed_m_s").gt_eq(lit(settings.analysis.min_speed_m_s)));
    let missing = || lit(NULL).cast(DataType::Float64);
    let measured = |value: Expr| when(at_speed.clone()).then(value).otherwise(missing());
    // To the nearest whole unit: a cast alone cuts towards zero, and means would lie too low.
    let whole = |value: Expr, unit: f64| {
        let scaled = value * lit(unit);
        let half = when(scaled.clone().lt(lit(0.0))).then(lit(-0.5)).otherwise(lit(0.5));
        (scaled + half).cast(DataType::Int64)
    };
    let set = col("set_force_n").fill_null(force_of("set_pressure_kpa"));
    let actual = col("actual_force_n").fill_null(force_of("actual_pressure_kpa"));
    let sums_of = [
        ("speed", col("speed_m_s")),
        ("set_pressure", col("set_pressure_kpa")),
        ("set_force", set.clone()),
        ("actual_force", actual.clone()),
        ("lat", col("lat")),
        ("lon", col("lon")),
    ];
    let counts_of = [
        ("set_from_pressure", when(col("set_force_n").is_null()).then(col("set_pressure_kpa")).otherwise(missing())),
        (
            "actual_from_pressure",
            when(col("actual_force_n").is_null()).then(col("actual_pressure_kpa")).otherwise(missing()),
        ),
    ];
    let mut sums = vec![
        len().cast(DataType::Int64).alias("rows"),
        at_speed.clone().cast(DataType::Int64).sum().alias("rows_at_speed"),
        col("block").min().alias("block"),
        col("condition").min().alias("condition"),
        col("press_position").min().alias("press_position"),
        col("depth_stop").min().alias("depth_stop"),
        col("gauge_wheel").min().alias("gauge_wheel"),
        col("time").min().alias("started_at"),
    ];
    for (name, value) in &sums_of {
        sums.push(whole(measured(value.clone()), MILLIONTHS).sum().alias(format!("{name}_millionths")));
    }
    for (name, value) in sums_of.into_iter().chain(counts_of) {
        sums.push(measured(value).is_not_null().cast(DataType::Int64).sum().alias(format!("{name}_count")));
    }
    for (name, value) in [("set_force", set), ("actual_force", actual)] {
        let hundredths = whole(measured(value), HUNDREDTHS);
        sums.push(hundredths.clone().sum().alias(format!("{name}_hundredths")));
        sums.push((hundredths.clone() * hundredths).sum().alias(format!("{name}_squares")));
    }
    let frame = rows.group_by([col("field_id"), col("strip_id"), planter]).agg(sums).collect()?;
    add_totals(&frame, season, &settings.reckoned_with(), totals)
}

fn add_totals(frame: &DataFrame, season: i64, reckoned_with: &str, totals: &mut StripTotals) -> Result<(), LinkError> {
    let text = |name: &str, row: usize| -> Result<Option<String>, PolarsError> {
        Ok(frame.column(name)?.str()?.get(row).map(str::to_owned))
    };
    let whole =
        |name: &str, row: usize| -> Result<i64, PolarsError> { Ok(frame.column(name)?.i64()?.get(row).unwrap_or(0)) };
    for row in 0..frame.height() {
        macro_rules! totals_row {
            ($($column:ident),+) => {
                StripTotalsRow {
                    field_id: text("field_id", row)?.unwrap_or_default(),
                    season,
                    strip_id: text("strip_id", row)?,
                    planter_id: text("planter", row)?,
                    started_at: frame.column("started_at")?.i64()?.get(row).map(Moment),
                    block: text("block", row)?,
                    condition: text("condition", row)?,
                    press_position: text("press_position", row)?,
                    depth_stop: text("depth_stop", row)?,
                    gauge_wheel: text("gauge_wheel", row)?,
                    reckoned_with: reckoned_with.to_owned(),
                    $($column: whole(stringify!($column), row)?),+
                }
            };
        }
        totals.add(totals_row!(
            rows,
            rows_at_speed,
            speed_count,
            speed_millionths,
            set_pressure_count,
            set_pressure_millionths,
            set_force_count,
            set_force_millionths,
            actual_force_count,
            actual_force_millionths,
            set_from_pressure_count,
            actual_from_pressure_count,
            lat_count,
            lat_millionths,
            lon_count,
            lon_millionths,
            set_force_hundredths,
            set_force_squares,
            actual_force_hundredths,
            actual_force_squares
        ));
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

/// Force in newtons of a pressure column, by the calibration of the row's planter; 1 nominal N a kPa without one.
fn force_of_pressure(pressure: &str, planter: &Expr, planters: &[Planter]) -> Expr {
    let mut force = col(pressure);
    for candidate in planters {
        if let Some(Knob::Pressure { calibration: Some(calibration), .. }) = &candidate.knob {
            let line = piecewise(&col(pressure), calibration.points());
            force = when(planter.clone().eq(lit(candidate.id.clone()))).then(line).otherwise(force);
        }
    }
    force
}

/// A line through points, straight between them and beyond both ends.
fn piecewise(x: &Expr, points: &[(f64, f64)]) -> Expr {
    let piece = |index: usize| {
        let ((x0, y0), (x1, y1)) = (points[index], points[index + 1]);
        lit(y0) + (x.clone() - lit(x0)) * lit((y1 - y0) / (x1 - x0))
    };
    let mut line = piece(points.len() - 2);
    for index in (0..points.len() - 2).rev() {
        line = when(x.clone().lt(lit(points[index + 1].0))).then(piece(index)).otherwise(line);
    }
    line
}
