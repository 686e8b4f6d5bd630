//! Rows of what summing telemetry comes to.

use crate::Moment;
use crate::row::rows;

rows! {
    /// Telemetry of one strip and planter, summed in whole numbers.
    StripTotalsRow in Kept "strip_totals" {
        field_id: String,
        season: i64,
        strip_id: Option<String>,
        planter_id: Option<String>,
        rows: i64,
        rows_at_speed: i64,
        started_at: Option<Moment>,
        block: Option<String>,
        condition: Option<String>,
        press_position: Option<String>,
        depth_stop: Option<String>,
        gauge_wheel: Option<String>,
        speed_count: i64,
        speed_millionths: i64,
        set_pressure_count: i64,
        set_pressure_millionths: i64,
        set_force_count: i64,
        set_force_millionths: i64,
        actual_force_count: i64,
        actual_force_millionths: i64,
        set_from_pressure_count: i64,
        actual_from_pressure_count: i64,
        lat_count: i64,
        lat_millionths: i64,
        lon_count: i64,
        lon_millionths: i64,
        set_force_hundredths: i64,
        set_force_squares: i64,
        actual_force_hundredths: i64,
        actual_force_squares: i64,
        reckoned_with: String,
    }
}
