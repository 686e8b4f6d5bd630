//! What is summed, as expressions of the engine: the same as in `pipeline/link/src/telemetry_sums.rs`.
//!
//! Rows are grouped by the planter that they name themselves. Rows that name none belong to the planter of their field; whose they are
//! follows from field and season, so `totals` puts them there afterwards. Only where a planter turns pressure into force must the
//! rows of its fields be told apart here.

use std::sync::Arc;

use arrow::datatypes::{DataType, Field, Schema, SchemaRef, TimeUnit};
use datafusion::common::Result;
use datafusion::datasource::file_format::parquet::ParquetFormat;
use datafusion::datasource::listing::{ListingOptions, ListingTable, ListingTableConfig, ListingTableUrl};
use datafusion::functions_aggregate::expr_fn::{count, min, sum};
use datafusion::logical_expr::{Expr, lit, try_cast, when};
use datafusion::prelude::{DataFrame, SessionContext, col};
use datafusion::scalar::ScalarValue;
use evenstand_settings::{Knob, Settings};

use crate::planters::FieldPlanters;

/// Whole units in which sums are exact: forces, pressures and speeds in millionths.
const MILLIONTHS: f64 = 1e6;
/// Squares are summed in hundredths squared.
const HUNDREDTHS: f64 = 1e2;

/// Labels of which the first in the order of letters is kept.
pub const LABELS: [&str; 5] = ["block", "condition", "press_position", "depth_stop", "gauge_wheel"];
/// Number columns of a setting log that are read.
const NUMBERS: [&str; 7] =
    ["speed_m_s", "set_pressure_kpa", "actual_pressure_kpa", "set_force_n", "actual_force_n", "lat", "lon"];

/// Columns of the kept setting log that are read; all others stay on disk.
fn log_schema() -> SchemaRef {
    let text = |name: &str| Field::new(name, DataType::Utf8, true);
    let mut fields = vec![text("field_id"), text("strip_id"), text("planter_id")];
    fields.extend(LABELS.map(text));
    fields.extend(NUMBERS.map(|name| Field::new(name, DataType::Float64, true)));
    fields.push(Field::new("time", DataType::Timestamp(TimeUnit::Microsecond, Some("UTC".into())), true));
    Arc::new(Schema::new(fields))
}

/// The kept setting log below `store`, one partition a season.
async fn setting_log(context: &SessionContext, store: &str) -> Result<DataFrame> {
    let options = ListingOptions::new(Arc::new(ParquetFormat::default()))
        .with_file_extension(".parquet")
        .with_table_partition_cols(vec![("season".into(), DataType::Int64)]);
    let url = ListingTableUrl::parse(format!("{store}setting_log/"))?;
    let config = ListingTableConfig::new(url).with_listing_options(options).with_schema(log_schema());
    context.register_table("setting_log", Arc::new(ListingTable::try_new(config)?))?;
    context.table("setting_log").await
}

/// Sums of the telemetry below `store`, one row a field, season, strip and planter that the rows name (both may be missing).
pub async fn totals(
    context: &SessionContext,
    store: &str,
    planters: &FieldPlanters,
    settings: &Settings,
) -> Result<DataFrame> {
    let rows = setting_log(context, store).await?.filter(col("time").is_not_null())?;
    let measured = rows.select(measured(planters, settings)?)?;
    let keys = vec![col("field_id"), col("season"), col("strip_id"), col("planter_id")];
    measured.aggregate(keys, sums()?)
}

/// Each row with its forces, and nothing in the columns of what was logged below working speed.
fn measured(planters: &FieldPlanters, settings: &Settings) -> Result<Vec<Expr>> {
    let speed = col("speed_m_s");
    let at_speed = speed.clone().is_null().or(speed.clone().gt_eq(lit(settings.analysis.min_speed_m_s)));
    let at_speed_only = |value: Expr| when(at_speed.clone(), value).otherwise(missing());
    let force = |force: &str, pressure: &str| -> Result<Expr> {
        when(col(force).is_not_null(), col(force)).otherwise(force_of_pressure(pressure, planters, settings)?)
    };
    let from_pressure = |force: &str, pressure: &str| when(col(force).is_null(), col(pressure)).otherwise(missing());
    let mut columns = vec![col("field_id"), col("season"), col("strip_id"), col("planter_id"), col("time")];
    columns.extend(LABELS.map(col));
    columns.push(when(at_speed.clone(), lit(1_i64)).otherwise(lit(0_i64))?.alias("at_speed"));
    for (name, value) in [
        ("speed", speed.clone()),
        ("set_pressure", col("set_pressure_kpa")),
        ("set_force", force("set_force_n", "set_pressure_kpa")?),
        ("actual_force", force("actual_force_n", "actual_pressure_kpa")?),
        ("set_from_pressure", from_pressure("set_force_n", "set_pressure_kpa")?),
        ("actual_from_pressure", from_pressure("actual_force_n", "actual_pressure_kpa")?),
        ("latitude", col("lat")),
        ("longitude", col("lon")),
    ] {
        columns.push(at_speed_only(value)?.alias(name));
    }
    Ok(columns)
}

/// Sums and counts of the columns of `measured`, by the names of the table.
fn sums() -> Result<Vec<Expr>> {
    let mut sums = vec![
        count(lit(1_i64)).alias("rows"),
        sum(col("at_speed")).alias("rows_at_speed"),
        min(col("time")).alias("started_at"),
    ];
    sums.extend(LABELS.map(|label| min(col(label)).alias(label)));
    for (name, column) in [
        ("speed", "speed"),
        ("set_pressure", "set_pressure"),
        ("set_force", "set_force"),
        ("actual_force", "actual_force"),
        ("lat", "latitude"),
        ("lon", "longitude"),
    ] {
        sums.push(count(col(column)).alias(format!("{name}_count")));
        sums.push(sum(whole(col(column), MILLIONTHS)?).alias(format!("{name}_millionths")));
    }
    for name in ["set_from_pressure", "actual_from_pressure"] {
        sums.push(count(col(name)).alias(format!("{name}_count")));
    }
    for name in ["set_force", "actual_force"] {
        let hundredths = whole(col(name), HUNDREDTHS)?;
        sums.push(sum(hundredths.clone()).alias(format!("{name}_hundredths")));
        sums.push(sum(hundredths.clone() * hundredths).alias(format!("{name}_squares")));
    }
    Ok(sums)
}

fn missing() -> Expr {
    lit(ScalarValue::Float64(None))
}

/// To the nearest whole unit: a cast alone cuts towards zero, and means would lie too low.
fn whole(value: Expr, unit: f64) -> Result<Expr> {
    let scaled = value * lit(unit);
    let half = when(scaled.clone().lt(lit(0.0)), lit(-0.5)).otherwise(lit(0.5))?;
    Ok(try_cast(scaled + half, DataType::Int64))
}

/// Force in newtons of a pressure column, by the calibration of the row's planter; 1 nominal N a kPa without one.
fn force_of_pressure(pressure: &str, planters: &FieldPlanters, settings: &Settings) -> Result<Expr> {
    let mut force = col(pressure);
    for planter in &settings.planters {
        if let Some(Knob::Pressure { calibration: Some(calibration), .. }) = &planter.knob {
            let line = piecewise(&col(pressure), calibration.points())?;
            force = when(rows_of(&planter.id, planters), line).otherwise(force)?;
        }
    }
    Ok(force)
}

/// Rows that name this planter, or name none in a field of it.
fn rows_of(planter: &str, planters: &FieldPlanters) -> Expr {
    let own = col("planter_id").eq(lit(planter.to_owned()));
    planters.fields_of(planter).into_iter().fold(own, |rows, (season, fields)| {
        let fields = fields.into_iter().map(|field| lit(field.to_owned())).collect();
        let of_season = col("season").eq(lit(season)).and(col("field_id").in_list(fields, false));
        rows.or(col("planter_id").is_null().and(of_season))
    })
}

/// A line through points, straight between them and beyond both ends, never below zero: the calibration of the settings.
fn piecewise(x: &Expr, points: &[(f64, f64)]) -> Result<Expr> {
    let piece = |index: usize| {
        let ((x0, y0), (x1, y1)) = (points[index], points[index + 1]);
        lit(y0) + (x.clone() - lit(x0)) * lit(y1 - y0) / lit(x1 - x0)
    };
    let mut line = piece(points.len() - 2);
    for index in (0..points.len() - 2).rev() {
        line = when(x.clone().lt(lit(points[index + 1].0)), piece(index)).otherwise(line)?;
    }
    when(line.clone().lt(lit(0.0)), lit(0.0)).otherwise(line)
}
