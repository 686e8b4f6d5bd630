//! Streams setting logs out of the store: hand-written rows as they are, telemetry as one summary a strip.
//!
//! With `telemetry_columns` the only file of the project that uses polars. Parquet is read in batches, polars works out each batch, and the
//! batches' totals are added, so that memory does not grow with the rows. Sums are taken over whole numbers
//! (micro-newtons and the like): they come out the same in whatever order the threads of the engine meet the rows.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::fs::File;
use std::path::{Path, PathBuf};

use arrow::array::{
    Array, BooleanArray, Float64Array, Int64Array, RecordBatch, StringArray, TimestampMicrosecondArray,
};
use arrow::compute::is_null;
use evenstand_settings::{Knob, Planter, Settings};
use evenstand_tables::rows::{FieldRow, TraceRow};
use evenstand_tables::{Finding, Moment};
use parquet::arrow::ProjectionMask;
use parquet::arrow::arrow_reader::{ParquetRecordBatchReader, ParquetRecordBatchReaderBuilder};
use polars::prelude::{Column, DataFrame, DataType, Expr, IntoLazy, NULL, PolarsError, col, len, lit, when};

use crate::LinkError;
use crate::key::StripKey;
use crate::telemetry_columns::{Places, Planters, add_beside, no_text, number_column, text_column};
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

/// Whole units in which sums are exact: forces, pressures and speeds in millionths.
const MILLIONTHS: f64 = 1e6;
/// Squares are summed in hundredths squared, which leaves room for 10⁶ rows of 10⁴ N.
const HUNDREDTHS: f64 = 1e2;
/// Rows of a batch, and batches that are in memory at a time; as many again wait.
const BATCH_ROWS: usize = 1 << 16;
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
/// Words about a strip, of which the first in the order of the alphabet is taken.
const LABELS: [&str; 5] = ["block", "condition", "press_position", "depth_stop", "gauge_wheel"];
/// Number columns of a setting log that linking needs.
const NUMBERS: [&str; 7] =
    ["set_force_n", "set_pressure_kpa", "actual_force_n", "actual_pressure_kpa", "speed_m_s", "lat", "lon"];
/// Quantities whose sum and count are taken; see `read_telemetry`.
const QUANTITIES: [&str; 8] =
    ["speed", "set_pressure", "set", "actual", "set_from_pressure", "actual_from_pressure", "lat", "lon"];

/// Reads the setting logs, batch by batch.
pub(crate) fn read_logs(
    files: &[(i64, Vec<PathBuf>)],
    fields: &[FieldRow],
    settings: &Settings,
) -> Result<SettingLogs, LinkError> {
    let mut logs = SettingLogs::default();
    let mut totals = BTreeMap::new();
    let mut watch = Watch::new(settings);
    for (season, paths) in files {
        let planters = planters_of_fields(fields, *season);
        for path in paths {
            let mut batches = batches(path)?;
            let mut fetch = || -> Result<Vec<RecordBatch>, LinkError> {
                let fetched: Result<Vec<_>, _> = batches.by_ref().take(BATCHES_AT_A_TIME).collect();
                fetched.map_err(|error| LinkError::Telemetry(error.to_string()))
            };
            let mut waiting = fetch()?;
            while !waiting.is_empty() {
                let hands = waiting.iter().map(hand_rows).collect::<Result<Vec<_>, _>>()?;
                let telemetry =
                    || waiting.iter().zip(&hands).filter(|(batch, hand)| hand.true_count() < batch.num_rows());
                let mut frames: Vec<Result<DataFrame, LinkError>> =
                    telemetry().map(|_| Ok(DataFrame::empty())).collect();
                // While other threads add up, this one watches the rows in their order and fetches the next ones.
                let next = rayon::in_place_scope(|scope| {
                    for ((batch, hand), frame) in telemetry().zip(&mut frames) {
                        let planters = &planters;
                        scope.spawn(move |_| *frame = sums_of_batch(batch, hand, planters, settings));
                    }
                    for (batch, hand) in waiting.iter().zip(&hands) {
                        if hand.true_count() > 0 {
                            read_hand_rows(batch, hand, *season, &mut logs)?;
                        }
                        if hand.true_count() < batch.num_rows() {
                            watch.rows(batch, *season, &planters)?;
                        }
                    }
                    fetch()
                })?;
                for frame in frames {
                    add_totals(&frame?, *season, &mut totals)?;
                }
                waiting = next;
            }
            watch.end_of_file();
        }
    }
    summarise(totals, &mut logs);
    let end = watch.finish(settings);
    (logs.watched, logs.findings) = (end.watched, end.findings);
    (logs.traces, logs.logged) = (end.traces, end.logged);
    Ok(logs)
}

/// Rows without a time: written by hand.
fn hand_rows(batch: &RecordBatch) -> Result<BooleanArray, LinkError> {
    let time = batch.column_by_name("time").ok_or_else(|| LinkError::Telemetry("no column time".into()))?;
    is_null(time).map_err(|error| LinkError::Telemetry(error.to_string()))
}

/// Streams the needed columns of a Parquet file.
fn batches(path: &Path) -> Result<ParquetRecordBatchReader, LinkError> {
    let unreadable = |problem: &dyn std::fmt::Display| LinkError::Telemetry(format!("{}: {problem}", path.display()));
    let file = File::open(path).map_err(|error| unreadable(&error))?;
    let builder = ParquetRecordBatchReaderBuilder::try_new(file).map_err(|error| unreadable(&error))?;
    let wanted = TEXTS.iter().chain(&NUMBERS).chain(&["time", "source_row", "row_unit"]).copied();
    let mask = ProjectionMask::columns(builder.parquet_schema(), wanted);
    builder.with_projection(mask).with_batch_size(BATCH_ROWS).build().map_err(|error| unreadable(&error))
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

/// Exact totals of one strip and planter.
#[derive(Debug, Default)]
struct Totals {
    rows: i64,
    rows_at_speed: i64,
    sums: [i64; 8],
    counts: [i64; 8],
    /// Sum and sum of squares in the same hundredths: a spread taken from sums of two roundings comes out too small.
    set_squares: (i64, i64),
    actual_squares: (i64, i64),
    block: Option<String>,
    condition: Option<String>,
    press_position: Option<String>,
    depth_stop: Option<String>,
    gauge_wheel: Option<String>,
    started_at: Option<i64>,
}

/// Field, season, strip (if any) and planter (if any) of telemetry rows.
type TotalsKey = (String, i64, Option<String>, Option<String>);

/// Sums the telemetry rows of a batch by field, strip and planter: polars derives the forces and adds up.
fn sums_of_batch(
    batch: &RecordBatch,
    hand: &BooleanArray,
    planters: &HashMap<&str, Option<&str>>,
    settings: &Settings,
) -> Result<DataFrame, LinkError> {
    let [field_id, strip_id, own] = ["field_id", "strip_id", "planter_id"].map(|name| texts(batch, name));
    let places = Places::of(field_id?, strip_id?, own?, planters);
    let mut columns = vec![places.column()];
    for name in LABELS {
        columns.extend(text_column(name, texts(batch, name)?));
    }
    for name in NUMBERS {
        columns.extend(number_column(name, numbers(batch, name)?));
    }
    let times: Option<&TimestampMicrosecondArray> =
        batch.column_by_name("time").and_then(|column| column.as_any().downcast_ref());
    let times = times.ok_or_else(|| LinkError::Telemetry("no column of times".into()))?;
    columns.push(match times.null_count() {
        0 => Column::new("time".into(), times.values().as_ref()),
        _ => Column::new("time".into(), times.iter().collect::<Vec<_>>()),
    });
    let of_rows = places.planters(&settings.planters);
    if let Planters::Each(positions) = &of_rows {
        columns.push(Column::new("planter".into(), positions.as_slice()));
    }
    let has: BTreeSet<String> = columns.iter().map(|column| column.name().to_string()).collect();
    let given = |name: &str| has.contains(name).then(|| col(name));
    let mut rows = DataFrame::new(batch.num_rows(), columns)?.lazy();
    if hand.true_count() > 0 {
        rows = rows.filter(col("time").is_not_null());
    }
    let force_of = |pressure: &str| Some(force_of_pressure(given(pressure)?, &of_rows, &settings.planters));
    // A row without a speed counts as at working speed.
    let at_speed =
        given("speed_m_s").map(|speed| speed.clone().is_null().or(speed.gt_eq(lit(settings.analysis.min_speed_m_s))));
    let missing = || lit(NULL).cast(DataType::Float64);
    // To the nearest whole unit: a cast alone cuts towards zero, and means would lie too low.
    let whole = |value: Expr, unit: f64| {
        let scaled = value * lit(unit);
        let half = when(scaled.clone().lt(lit(0.0))).then(lit(-0.5)).otherwise(lit(0.5));
        (scaled + half).cast(DataType::Int64)
    };
    let first_of = |one: Option<Expr>, other: Option<Expr>| match (one, other) {
        (Some(one), Some(other)) => Some(one.fill_null(other)),
        (one, other) => one.or(other),
    };
    let where_no = |force: &str, pressure: &str| match (given(force), given(pressure)) {
        (Some(force), Some(pressure)) => Some(when(force.is_null()).then(pressure).otherwise(missing())),
        (_, pressure) => pressure,
    };
    let set = first_of(given("set_force_n"), force_of("set_pressure_kpa"));
    let actual = first_of(given("actual_force_n"), force_of("actual_pressure_kpa"));
    let quantities = [
        given("speed_m_s"),
        given("set_pressure_kpa"),
        set.clone(),
        actual.clone(),
        where_no("set_force_n", "set_pressure_kpa"),
        where_no("actual_force_n", "actual_pressure_kpa"),
        given("lat"),
        given("lon"),
    ];
    let mut all = vec![len().cast(DataType::Int64).alias("rows"), col("time").min().alias("started_at")];
    all.extend(LABELS.iter().filter_map(|name| Some(given(name)?.min().alias(*name))));
    // What no row has adds nothing.
    let nothing = || len().cast(DataType::Int64) * lit(0_i64);
    let mut sums = vec![len().cast(DataType::Int64).alias("rows_at_speed")];
    for (name, value) in QUANTITIES.iter().zip(quantities) {
        let sum = value.clone().map(|value| whole(value, MILLIONTHS).sum());
        let count = value.map(|value| value.count().cast(DataType::Int64));
        sums.push(sum.unwrap_or_else(nothing).alias(format!("{name}_sum")));
        sums.push(count.unwrap_or_else(nothing).alias(format!("{name}_count")));
    }
    for (name, value) in [("set_squares", set), ("actual_squares", actual)] {
        let hundredths = value.map(|value| whole(value, HUNDREDTHS));
        let sum = hundredths.clone().map(Expr::sum);
        let squares = hundredths.map(|value| (value.clone() * value).sum());
        sums.push(sum.unwrap_or_else(nothing).alias(format!("{name}_sum")));
        sums.push(squares.unwrap_or_else(nothing).alias(name));
    }
    let mut frame = rows.clone().group_by([col("place")]).agg(all).collect()?;
    let moving = match at_speed {
        Some(at_speed) => rows.filter(at_speed),
        None => rows,
    };
    add_beside(&mut frame, &moving.group_by([col("place")]).agg(sums).collect()?)?;
    places.named(&mut frame)?;
    for name in LABELS.into_iter().filter(|name| !has.contains(*name)) {
        frame.with_column(no_text(name, frame.height()))?;
    }
    Ok(frame)
}

fn add_totals(frame: &DataFrame, season: i64, totals: &mut BTreeMap<TotalsKey, Totals>) -> Result<(), LinkError> {
    let text = |name: &str, row: usize| -> Result<Option<String>, PolarsError> {
        Ok(frame.column(name)?.str()?.get(row).map(str::to_owned))
    };
    let whole =
        |name: &str, row: usize| -> Result<i64, PolarsError> { Ok(frame.column(name)?.i64()?.get(row).unwrap_or(0)) };
    for row in 0..frame.height() {
        let key = (text("field_id", row)?.unwrap_or_default(), season, text("strip_id", row)?, text("planter", row)?);
        let total = totals.entry(key).or_default();
        total.rows += whole("rows", row)?;
        total.rows_at_speed += whole("rows_at_speed", row)?;
        for (index, name) in QUANTITIES.iter().enumerate() {
            total.sums[index] += whole(&format!("{name}_sum"), row)?;
            total.counts[index] += whole(&format!("{name}_count"), row)?;
        }
        for (name, squares) in [("set_squares", &mut total.set_squares), ("actual_squares", &mut total.actual_squares)]
        {
            squares.0 += whole(&format!("{name}_sum"), row)?;
            squares.1 += whole(name, row)?;
        }
        total.block = total.block.take().or(text("block", row)?);
        total.condition = total.condition.take().or(text("condition", row)?);
        total.press_position = total.press_position.take().or(text("press_position", row)?);
        total.depth_stop = total.depth_stop.take().or(text("depth_stop", row)?);
        total.gauge_wheel = total.gauge_wheel.take().or(text("gauge_wheel", row)?);
        let first = frame.column("started_at")?.i64()?.get(row);
        total.started_at = total.started_at.into_iter().chain(first).min();
    }
    Ok(())
}

/// Turns totals into means; of two planters on one strip the one with more rows at speed speaks for it.
fn summarise(totals: BTreeMap<TotalsKey, Totals>, logs: &mut SettingLogs) {
    for ((field_id, season, strip_id, planter_id), total) in totals {
        let Some(strip_id) = strip_id else {
            *logs.rows_without_strip.entry(season).or_default() += total.rows as u64;
            continue;
        };
        let mean = |index: usize| {
            (total.counts[index] > 0).then(|| total.sums[index] as f64 / MILLIONTHS / total.counts[index] as f64)
        };
        let deviation = |index: usize, (sum, squares): (i64, i64)| {
            let count = i128::from(total.counts[index]);
            // count × Σx² − (Σx)², exact in whole numbers, so that nothing cancels.
            let scatter = count * i128::from(squares) - i128::from(sum) * i128::from(sum);
            (count > 1).then(|| (scatter as f64 / (count * (count - 1)) as f64).sqrt() / HUNDREDTHS)
        };
        let summary = TelemetrySummary {
            planter_id,
            rows: total.rows as u64,
            rows_at_speed: total.rows_at_speed as u64,
            speed_m_s: mean(0),
            set_pressure_kpa: mean(1),
            set_force_n: mean(2),
            actual_force_n: mean(3),
            set_from_pressure: total.counts[4] > 0,
            actual_from_pressure: total.counts[5] > 0,
            force_sd_n: deviation(3, total.actual_squares).or_else(|| deviation(2, total.set_squares)),
            block: total.block,
            condition: total.condition,
            press_position: total.press_position,
            depth_stop: total.depth_stop,
            gauge_wheel: total.gauge_wheel,
            lat: mean(6),
            lon: mean(7),
            started_at: total.started_at.map(Moment),
        };
        let key = StripKey::new(&field_id, season, &strip_id);
        if logs.telemetry.get(&key).is_none_or(|other| other.rows_at_speed < summary.rows_at_speed) {
            logs.telemetry.insert(key, summary);
        }
    }
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
fn force_of_pressure(pressure: Expr, of_rows: &Planters, planters: &[Planter]) -> Expr {
    let mut force = pressure.clone();
    for (position, candidate) in planters.iter().enumerate() {
        let Some(Knob::Pressure { calibration: Some(calibration), .. }) = &candidate.knob else { continue };
        let line = || piecewise(&pressure, calibration.points());
        match of_rows {
            Planters::One(one) if *one == position as i32 => force = line(),
            Planters::One(_) => {}
            Planters::Each(_) => force = when(col("planter").eq(lit(position as i32))).then(line()).otherwise(force),
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
