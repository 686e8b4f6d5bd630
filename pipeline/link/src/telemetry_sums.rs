//! Sums of a batch of telemetry by strip. With `telemetry_columns` the only file of the project that uses polars.
//!
//! polars derives the forces and adds up whole numbers (micro-newtons and the like), which come out the same in whatever order threads meet the rows.

use std::collections::{BTreeSet, HashMap};

use arrow::array::{Array, BooleanArray, RecordBatch, TimestampMicrosecondArray};
use evenstand_settings::{Knob, Planter, Settings};
use evenstand_tables::Moment;
use evenstand_tables::rows::StripTotalsRow;
use polars::prelude::{Column, DataFrame, DataType, Expr, IntoLazy, NULL, PolarsError, col, len, lit, when};

use crate::LinkError;
use crate::strip_totals::{HUNDREDTHS, MILLIONTHS, StripTotals};
use crate::telemetry::{NUMBERS, numbers, texts};
use crate::telemetry_columns::{Places, Planters, add_beside, no_text, number_column, text_column};

/// Words about a strip, of which the first in the order of the alphabet is taken.
const LABELS: [&str; 5] = ["block", "condition", "press_position", "depth_stop", "gauge_wheel"];

/// Sums the telemetry rows of a batch by field, strip and planter: polars derives the forces and adds up.
pub(crate) fn sums_of_batch(
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
    // What is summed, and of what rows are counted that have it.
    let sums_of = [
        ("speed", given("speed_m_s")),
        ("set_pressure", given("set_pressure_kpa")),
        ("set_force", set.clone()),
        ("actual_force", actual.clone()),
        ("lat", given("lat")),
        ("lon", given("lon")),
    ];
    let counts_of = [
        ("set_from_pressure", where_no("set_force_n", "set_pressure_kpa")),
        ("actual_from_pressure", where_no("actual_force_n", "actual_pressure_kpa")),
    ];
    let mut all = vec![len().cast(DataType::Int64).alias("rows"), col("time").min().alias("started_at")];
    all.extend(LABELS.iter().filter_map(|name| Some(given(name)?.min().alias(*name))));
    // What no row has adds nothing.
    let nothing = || len().cast(DataType::Int64) * lit(0_i64);
    let mut sums = vec![len().cast(DataType::Int64).alias("rows_at_speed")];
    for (name, value) in &sums_of {
        let sum = value.clone().map(|value| whole(value, MILLIONTHS).sum());
        sums.push(sum.unwrap_or_else(nothing).alias(format!("{name}_millionths")));
    }
    for (name, value) in sums_of.into_iter().chain(counts_of) {
        let count = value.map(|value| value.count().cast(DataType::Int64));
        sums.push(count.unwrap_or_else(nothing).alias(format!("{name}_count")));
    }
    for (name, value) in [("set_force", set), ("actual_force", actual)] {
        let hundredths = value.map(|value| whole(value, HUNDREDTHS));
        let sum = hundredths.clone().map(Expr::sum);
        let squares = hundredths.map(|value| (value.clone() * value).sum());
        sums.push(sum.unwrap_or_else(nothing).alias(format!("{name}_hundredths")));
        sums.push(squares.unwrap_or_else(nothing).alias(format!("{name}_squares")));
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

/// Adds the sums of a batch to the totals.
pub(crate) fn add_totals(
    frame: &DataFrame,
    season: i64,
    reckoned_with: &str,
    totals: &mut StripTotals,
) -> Result<(), LinkError> {
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
