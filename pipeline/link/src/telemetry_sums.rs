//! Sums of a batch of telemetry by strip. With `telemetry_columns` the only file of the project that uses polars.
//!
//! Every row becomes whole numbers (micro-newtons and the like), nought where a value is missing or the planter was slower than working speed;
//! polars groups the rows by strip and adds them up. Whole numbers come out the same in whatever order threads meet the rows.

use std::collections::HashMap;

use arrow::array::{Array, RecordBatch, TimestampMicrosecondArray};
use evenstand_settings::Settings;
use evenstand_tables::Moment;
use evenstand_tables::rows::StripTotalsRow;
use polars::prelude::{DataFrame, DataType, IntoLazy, PolarsError, col, len, lit};

use crate::LinkError;
use crate::strip_totals::{HUNDREDTHS, MILLIONTHS, StripTotals};
use crate::telemetry::{numbers, texts};
use crate::telemetry_columns::{Places, Values, no_text, text_column, time_column, whole_column};

/// Words about a strip, of which the first in the order of the alphabet is taken.
const LABELS: [&str; 5] = ["block", "condition", "press_position", "depth_stop", "gauge_wheel"];

/// Sums the rows of a batch, all of them telemetry, by field, strip and planter.
pub(crate) fn sums_of_batch(
    batch: &RecordBatch,
    planters: &HashMap<&str, Option<&str>>,
    settings: &Settings,
) -> Result<DataFrame, LinkError> {
    let [field_id, strip_id, own] = ["field_id", "strip_id", "planter_id"].map(|name| texts(batch, name));
    let places = Places::of(field_id?, strip_id?, own?, planters);
    let mut columns = vec![places.column()];
    let times: Option<&TimestampMicrosecondArray> =
        batch.column_by_name("time").and_then(|column| column.as_any().downcast_ref());
    columns.push(time_column("time", times.ok_or_else(|| LinkError::Telemetry("no column of times".into()))?));
    let mut sums = vec![len().cast(DataType::Int64).alias("rows"), col("time").min().alias("started_at")];
    let mut unlabelled = Vec::new();
    for name in LABELS {
        match text_column(name, texts(batch, name)?) {
            Some(column) => {
                columns.push(column);
                sums.push(col(name).min());
            }
            None => unlabelled.push(name),
        }
    }
    let mut add = |name: String, whole: Option<Vec<i64>>| match whole {
        Some(whole) => {
            sums.push(col(name.as_str()).sum());
            columns.push(whole_column(&name, whole));
        }
        // What no row has adds nothing.
        None => sums.push((len().cast(DataType::Int64) * lit(0_i64)).alias(name)),
    };
    let speed = Values::of(numbers(batch, "speed_m_s")?);
    let at_speed = speed.at_least_or_missing(settings.analysis.min_speed_m_s);
    let [set_pressure, actual_pressure] = ["set_pressure_kpa", "actual_pressure_kpa"].map(|name| numbers(batch, name));
    let (set_pressure, actual_pressure) = (Values::of(set_pressure?), Values::of(actual_pressure?));
    let [logged_set, logged_actual] = ["set_force_n", "actual_force_n"].map(|name| numbers(batch, name));
    let (logged_set, logged_actual) = (Values::of(logged_set?), Values::of(logged_actual?));
    let of_rows = places.planters(&settings.planters);
    let set_force = logged_set.or_force_of(&set_pressure, &of_rows);
    let actual_force = logged_actual.or_force_of(&actual_pressure, &of_rows);
    add("rows_at_speed".into(), Some(at_speed.iter().map(|at_speed| i64::from(*at_speed)).collect()));
    for (name, values) in [
        ("speed", &speed),
        ("set_pressure", &set_pressure),
        ("set_force", &set_force),
        ("actual_force", &actual_force),
        ("lat", &Values::of(numbers(batch, "lat")?)),
        ("lon", &Values::of(numbers(batch, "lon")?)),
    ] {
        add(format!("{name}_count"), values.counted(&at_speed));
        add(format!("{name}_millionths"), values.whole(MILLIONTHS, &at_speed));
    }
    add("set_from_pressure_count".into(), set_pressure.counted_beside(&logged_set, &at_speed));
    add("actual_from_pressure_count".into(), actual_pressure.counted_beside(&logged_actual, &at_speed));
    for (name, values) in [("set_force", &set_force), ("actual_force", &actual_force)] {
        let hundredths = values.whole(HUNDREDTHS, &at_speed);
        let squares = |whole: &Vec<i64>| whole.iter().map(|value| value.wrapping_mul(*value)).collect();
        add(format!("{name}_squares"), hundredths.as_ref().map(squares));
        add(format!("{name}_hundredths"), hundredths);
    }
    let mut frame = DataFrame::new(batch.num_rows(), columns)?.lazy().group_by([col("place")]).agg(sums).collect()?;
    places.named(&mut frame)?;
    for name in unlabelled {
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
