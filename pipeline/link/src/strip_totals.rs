//! Telemetry summed by strip and planter: what is kept of it, and the means that follow.
//!
//! Sums are whole numbers (millionths and hundredths of the unit), so they come out the same in whatever order threads, batches or
//! machines meet the rows. The row [`StripTotalsRow`] is the one form of them, here and in files.

use std::collections::BTreeMap;

use evenstand_tables::rows::StripTotalsRow;

use crate::key::StripKey;
use crate::telemetry::{SettingLogs, TelemetrySummary};

/// Whole units in which sums are exact: forces, pressures and speeds in millionths.
pub(crate) const MILLIONTHS: f64 = 1e6;
/// Squares are summed in hundredths squared, which leaves room for 10⁶ rows of 10⁴ N.
pub(crate) const HUNDREDTHS: f64 = 1e2;

/// Field, season, strip (if any) and planter (if any) of telemetry rows.
type Key = (String, i64, Option<String>, Option<String>);

/// Totals by field, season, strip and planter.
#[derive(Debug, Default)]
pub(crate) struct StripTotals {
    by_key: BTreeMap<Key, StripTotalsRow>,
}

impl StripTotals {
    /// Totals of these rows; rows of one key are added up.
    pub fn of(rows: Vec<StripTotalsRow>) -> Self {
        let mut totals = Self::default();
        rows.into_iter().for_each(|row| totals.add(row));
        totals
    }

    /// Adds what some rows of telemetry came to.
    pub fn add(&mut self, row: StripTotalsRow) {
        let key = (row.field_id.clone(), row.season, row.strip_id.clone(), row.planter_id.clone());
        match self.by_key.get_mut(&key) {
            Some(total) => add(total, row),
            None => {
                self.by_key.insert(key, row);
            }
        }
    }

    /// Telemetry rows of each season.
    pub fn rows_by_season(&self) -> BTreeMap<i64, i64> {
        let mut rows = BTreeMap::new();
        for total in self.by_key.values() {
            *rows.entry(total.season).or_default() += total.rows;
        }
        rows
    }

    /// The rows in the order of field, season, strip and planter; missing names come first.
    pub fn into_rows(self) -> Vec<StripTotalsRow> {
        self.by_key.into_values().collect()
    }

    /// Turns totals into means; of two planters on one strip the one with more rows at speed speaks for it.
    pub fn summarise(self, logs: &mut SettingLogs) {
        for (_, total) in self.by_key {
            let Some(strip_id) = &total.strip_id else {
                *logs.rows_without_strip.entry(total.season).or_default() += total.rows as u64;
                continue;
            };
            let key = StripKey::new(&total.field_id, total.season, strip_id);
            let summary = summary(total);
            if logs.telemetry.get(&key).is_none_or(|other| other.rows_at_speed < summary.rows_at_speed) {
                logs.telemetry.insert(key, summary);
            }
        }
    }
}

/// Adds `more` to `total`, both of one strip and planter.
fn add(total: &mut StripTotalsRow, more: StripTotalsRow) {
    macro_rules! sum {
        ($($column:ident),+) => {$( total.$column += more.$column; )+};
    }
    macro_rules! least {
        ($($column:ident),+) => {$( total.$column = total.$column.take().into_iter().chain(more.$column).min(); )+};
    }
    sum!(rows, rows_at_speed, speed_count, speed_millionths, set_pressure_count, set_pressure_millionths);
    sum!(set_force_count, set_force_millionths, actual_force_count, actual_force_millionths);
    sum!(set_from_pressure_count, actual_from_pressure_count, lat_count, lat_millionths, lon_count, lon_millionths);
    sum!(set_force_hundredths, set_force_squares, actual_force_hundredths, actual_force_squares);
    least!(started_at, block, condition, press_position, depth_stop, gauge_wheel);
}

fn summary(total: StripTotalsRow) -> TelemetrySummary {
    let mean = |sum: i64, count: i64| (count > 0).then(|| sum as f64 / MILLIONTHS / count as f64);
    let deviation = |count: i64, sum: i64, squares: i64| {
        let (count, sum) = (i128::from(count), i128::from(sum));
        // count × Σx² − (Σx)², exact in whole numbers, so that nothing cancels.
        let scatter = count * i128::from(squares) - sum * sum;
        (count > 1).then(|| (scatter as f64 / (count * (count - 1)) as f64).sqrt() / HUNDREDTHS)
    };
    let set_sd = deviation(total.set_force_count, total.set_force_hundredths, total.set_force_squares);
    let actual_sd = deviation(total.actual_force_count, total.actual_force_hundredths, total.actual_force_squares);
    TelemetrySummary {
        planter_id: total.planter_id,
        rows: total.rows as u64,
        rows_at_speed: total.rows_at_speed as u64,
        speed_m_s: mean(total.speed_millionths, total.speed_count),
        set_pressure_kpa: mean(total.set_pressure_millionths, total.set_pressure_count),
        set_force_n: mean(total.set_force_millionths, total.set_force_count),
        actual_force_n: mean(total.actual_force_millionths, total.actual_force_count),
        set_from_pressure: total.set_from_pressure_count > 0,
        actual_from_pressure: total.actual_from_pressure_count > 0,
        force_sd_n: actual_sd.or(set_sd),
        block: total.block,
        condition: total.condition,
        press_position: total.press_position,
        depth_stop: total.depth_stop,
        gauge_wheel: total.gauge_wheel,
        lat: mean(total.lat_millionths, total.lat_count),
        lon: mean(total.lon_millionths, total.lon_count),
        started_at: total.started_at,
    }
}

#[cfg(test)]
mod tests {
    use evenstand_tables::Moment;

    use super::*;

    fn part(planter: Option<&str>, rows: i64, block: Option<&str>, started_at: i64) -> StripTotalsRow {
        StripTotalsRow {
            field_id: "A".into(),
            season: 2025,
            strip_id: Some("1".into()),
            planter_id: planter.map(str::to_owned),
            rows,
            rows_at_speed: rows,
            block: block.map(str::to_owned),
            started_at: Some(Moment(started_at)),
            ..StripTotalsRow::default()
        }
    }

    #[test]
    fn parts_add_up_to_the_same_in_any_order() {
        let parts = [part(None, 3, Some("b"), 9), part(Some("p"), 2, None, 5), part(None, 4, Some("a"), 7)];
        let forth = StripTotals::of(parts.to_vec()).into_rows();
        let back = StripTotals::of(parts.iter().rev().cloned().collect()).into_rows();
        assert_eq!(forth, back);
        assert_eq!(forth, [part(None, 7, Some("a"), 7), part(Some("p"), 2, None, 5)]);
    }

    /// Forces of 1, 2 and 4 N: mean 7/3 N, variance (16/9 + 1/9 + 25/9) / 2 = 7/3 N².
    #[test]
    fn means_and_spread_follow_from_the_sums() {
        let mut total = part(Some("p"), 3, None, 5);
        (total.set_force_count, total.set_force_millionths) = (3, 7_000_000);
        (total.set_force_hundredths, total.set_force_squares) = (700, 210_000);
        let summary = summary(total);
        assert!((summary.set_force_n.unwrap() - 7.0 / 3.0).abs() < 1e-12);
        assert!((summary.force_sd_n.unwrap() - (7.0_f64 / 3.0).sqrt()).abs() < 1e-12);
        assert_eq!((summary.actual_force_n, summary.speed_m_s), (None, None));
    }

    #[test]
    fn of_two_planters_the_one_with_more_rows_at_speed_speaks_for_the_strip() {
        let mut logs = SettingLogs::default();
        StripTotals::of(vec![part(Some("p"), 2, None, 5), part(Some("q"), 3, None, 7)]).summarise(&mut logs);
        assert_eq!(logs.telemetry[&StripKey::new("A", 2025, "1")].planter_id.as_deref(), Some("q"));
    }
}
