//! Simulated logs with known faults: each is found with its count, and a clean log gives no finding.

mod clock;
mod values;

use std::collections::HashMap;

use evenstand_settings::Settings;
use evenstand_tables::rows::{SettingRow, TelemetryRow};
use evenstand_tables::{Finding, Moment, Row};

use super::sample::SECOND;
use super::series::Series;
use super::{MOST_SERIES, Watch, WatchEnd};

/// 2025-05-01 10:00 UTC.
pub(super) const START: i64 = 1_746_093_600 * SECOND;

/// Even noise between -1 and 1 that is the same in every run.
pub(super) fn noise(index: usize) -> f64 {
    let mixed = (index as u64 + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    ((mixed ^ (mixed >> 29)).wrapping_mul(0xBF58_476D_1CE4_E5B9) >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
}

/// A row a second of strip 1 at 2 m/s, set to 300 N, the measured force within 2 % of it.
pub(super) fn steady(rows: usize) -> Vec<SettingRow> {
    (0..rows)
        .map(|index| SettingRow {
            field_id: "A".into(),
            season: 2025,
            strip_id: Some("1".into()),
            time: Some(Moment(START + index as i64 * SECOND)),
            planter_id: Some("p".into()),
            speed_m_s: Some(2.0 + 0.1 * noise(index)),
            set_force_n: Some(300.0),
            actual_force_n: Some(300.0 + 6.0 * noise(index + 7)),
            source_file: "log.csv".into(),
            source_row: index as i64 + 2,
            source_sha256: "00".into(),
            ..SettingRow::default()
        })
        .collect()
}

/// Moves the rows from `first` on by some seconds.
pub(super) fn shift(rows: &mut [SettingRow], first: usize, seconds: f64) {
    for row in &mut rows[first..] {
        row.time = row.time.map(|time| Moment(time.0 + (seconds * SECOND as f64) as i64));
    }
}

pub(super) fn watch_in_batches(files: &[Vec<SettingRow>], batch_rows: usize) -> (Vec<TelemetryRow>, Vec<Finding>) {
    let WatchEnd { watched, findings, .. } = watched_to_the_end(files, batch_rows);
    (watched.into_iter().map(|watched| watched.row).collect(), findings)
}

fn watched_to_the_end(files: &[Vec<SettingRow>], batch_rows: usize) -> WatchEnd {
    let settings = Settings::default();
    let planters = HashMap::from([("A", Some("p"))]);
    let mut watch = Watch::new(&settings, &std::env::temp_dir());
    for file in files {
        let batch = SettingRow::to_table(file).unwrap().batch().clone();
        for start in (0..batch.num_rows()).step_by(batch_rows) {
            let rows = batch.slice(start, batch_rows.min(batch.num_rows() - start));
            watch.rows(&rows, 2025, &planters).unwrap();
        }
        watch.end_of_file().unwrap();
    }
    watch.finish(&settings).unwrap()
}

pub(super) fn watch(rows: Vec<SettingRow>) -> (TelemetryRow, Vec<Finding>) {
    let (mut rows, findings) = watch_in_batches(&[rows], 1000);
    assert_eq!(rows.len(), 1);
    (rows.remove(0), findings)
}

pub(super) fn codes(findings: &[Finding]) -> Vec<(&str, &str)> {
    findings.iter().map(|finding| (finding.severity.as_str(), finding.code.as_str())).collect()
}

/// Four row units that alternate over three strips with a turn between, one setting a strip.
pub(super) fn clean() -> Vec<SettingRow> {
    let mut rows = Vec::new();
    for second in 0..900_usize {
        let (strip, within) = (second / 300, second % 300);
        for unit in 0..4 {
            let index = second * 4 + unit;
            let mut row = steady(1).remove(0);
            let set = 200.0 + 100.0 * strip as f64;
            row.strip_id = Some(strip.to_string());
            row.row_unit = Some((unit + 1).to_string());
            row.time = Some(Moment(START + second as i64 * SECOND));
            row.set_force_n = Some(set);
            // The planter turns at the end of each strip, and the force builds up before it is back at speed.
            row.speed_m_s = Some(if within >= 280 { 0.5 } else { 2.0 + 0.1 * noise(index) });
            row.actual_force_n = Some(set * if within >= 280 { 0.1 } else { 1.0 + 0.02 * noise(index + 7) });
            row.source_row = index as i64 + 2;
            rows.push(row);
        }
    }
    rows
}

#[test]
fn a_clean_log_gives_no_finding_and_its_numbers_are_known() {
    let (rows, findings) = watch_in_batches(&[clean()], 1000);
    assert_eq!(findings, []);
    assert_eq!(rows.len(), 12);
    let row = &rows[0];
    assert_eq!((row.strip_id.as_deref(), row.row_unit.as_deref(), row.first_row), (Some("0"), Some("1"), Some(2)));
    assert_eq!((row.rows, row.rows_at_speed, row.step_s), (Some(300), Some(280), Some(1.0)));
    assert_eq!((row.turns, row.turn_rows, row.turn_s), (Some(1), Some(20), Some(19.0)));
    assert_eq!((row.started_at, row.ended_at), (Some(Moment(START)), Some(Moment(START + 299 * SECOND))));
    assert_eq!((row.outside_share, row.changes, row.mean_set), (Some(0.0), Some(0), Some(200.0)));
    assert!(row.mean_difference.unwrap().abs() < 1.0, "{:?}", row.mean_difference);
}

#[test]
fn borders_of_batches_and_the_order_of_files_do_not_matter() {
    let mut rows = clean();
    shift(&mut rows, 500, 40.0);
    shift(&mut rows, 1500, -3600.0);
    for row in &mut rows[2000..2800] {
        row.actual_force_n = Some(333.0);
    }
    let repeated = rows[3000].clone();
    rows.insert(3004, repeated);
    let mut other = rows.clone();
    other.iter_mut().for_each(|row| row.source_file = "a.csv".into());
    let whole = watch_in_batches(&[rows.clone(), other.clone()], usize::MAX);
    assert!(whole.1.len() >= 8, "{:?}", codes(&whole.1));
    for batch_rows in [1, 2, 3, 64, 1001] {
        assert_eq!(watch_in_batches(&[rows.clone(), other.clone()], batch_rows), whole, "{batch_rows}");
    }
    assert_eq!(watch_in_batches(&[other, rows], 64), whole);
}

#[test]
fn traces_hang_neither_on_borders_of_batches_nor_on_the_order_of_files() {
    let mut rows = clean();
    shift(&mut rows, 500, 40.0);
    shift(&mut rows, 1500, -3600.0);
    rows[40].actual_force_n = Some(77.7);
    let mut other = rows.clone();
    other.iter_mut().for_each(|row| row.source_file = "a.csv".into());
    other.truncate(3000);
    let traced = |files: &[Vec<SettingRow>], batch_rows| watched_to_the_end(files, batch_rows).traces.rows().unwrap();
    let whole = traced(&[rows.clone(), other.clone()], usize::MAX);
    let count = |strip: &str| whole.iter().filter(|row| row.strip_id == strip).filter_map(|row| row.rows).sum::<i64>();
    assert_eq!(["0", "1", "2"].map(count), [1120; 3], "280 seconds at speed of four row units");
    for batch_rows in [1, 3, 64, 1001] {
        assert_eq!(traced(&[rows.clone(), other.clone()], batch_rows), whole, "{batch_rows}");
    }
    assert_eq!(traced(&[other, rows], 64), whole);
}

#[test]
fn a_log_in_two_files_is_found_and_so_are_logs_that_overlap() {
    let named = |file: &str, mut rows: Vec<SettingRow>| {
        rows.iter_mut().for_each(|row| row.source_file = file.into());
        rows
    };
    let files = [named("a.csv", clean()), named("b.csv", clean())];
    let (rows, findings) = watch_in_batches(&files, 1000);
    assert_eq!((rows.len(), codes(&findings)), (24, vec![("warning", "telemetry_in_two_files")]));
    assert_eq!((findings[0].source_file.as_deref(), findings[0].source_row), (Some("b.csv"), Some(2)));
    assert!(findings[0].message.contains("stands in a.csv too") && findings[0].message.ends_with("3 strips"));
    // The second export begins later, in the second strip; only from there on do the files share rows.
    let files = [named("a.csv", clean()), named("b.csv", clean().split_off(1600))];
    let (_, findings) = watch_in_batches(&files, 1000);
    assert_eq!(codes(&findings), [("warning", "telemetry_in_two_files")]);
    let mut other = named("b.csv", steady(300));
    shift(&mut other, 0, 100.5);
    other.iter_mut().for_each(|row| row.actual_force_n = row.actual_force_n.map(|force| force + 0.5));
    let (_, findings) = watch_in_batches(&[steady(300), other.clone()], 1000);
    assert_eq!(codes(&findings), [("note", "telemetry_in_two_files")]);
    // One after the other they do not overlap.
    shift(&mut other, 0, 200.0);
    assert_eq!(watch_in_batches(&[steady(300), other], 1000).1, []);
}

#[test]
fn thousands_of_faults_give_one_finding_a_code_and_file() {
    let mut rows = clean();
    for index in (8..rows.len()).step_by(16) {
        shift(&mut rows, index, 20.0);
    }
    let (_, findings) = watch_in_batches(&[rows], 1000);
    let gaps: Vec<&Finding> = findings.iter().filter(|finding| finding.code == "telemetry_gaps").collect();
    assert_eq!(gaps.len(), 1);
    assert!(gaps[0].message.ends_with("; 3 of 3 strips; row unit 1, 2, 3, 4"), "{}", gaps[0].message);
}

#[test]
fn a_series_holds_one_row_however_long_its_log_is() {
    let settings = Settings::default();
    let limits = super::Limits::new(&settings);
    let mut series = Series::default();
    let batch = SettingRow::to_table(&steady(50)).unwrap().batch().clone();
    let columns = super::Columns::of(&batch).unwrap();
    for round in 0..4000 {
        for row in 0..50 {
            let mut sample = columns.sample(row, limits.min_speed).unwrap();
            sample.time += round * 50 * SECOND;
            sample.set[0] = if round % 2 == 0 { 300.0 } else { 310.0 };
            series.row(&sample, &limits);
        }
    }
    assert_eq!((series.passes.rows, series.waiting_capacity()), (200_000, 0));
    assert!(std::mem::size_of::<Series>() <= 1400, "{}", std::mem::size_of::<Series>());
}

#[test]
fn a_counter_in_place_of_a_row_unit_does_not_fill_the_memory() {
    let mut rows = steady(MOST_SERIES + 20);
    for (index, row) in rows.iter_mut().enumerate() {
        row.row_unit = Some(index.to_string());
    }
    let (rows, findings) = watch_in_batches(&[rows], 4096);
    assert_eq!(rows.len(), MOST_SERIES);
    let unwatched = findings.iter().find(|finding| finding.code == "telemetry_unwatched").unwrap();
    assert!(unwatched.message.contains("that 20 rows were not checked"), "{}", unwatched.message);
}

#[test]
fn times_and_numbers_at_the_ends_of_what_can_be_held_do_no_harm() {
    let mut rows = steady(400);
    for (index, row) in rows.iter_mut().enumerate() {
        row.time = Some(Moment(match index % 4 {
            0 => i64::MIN,
            1 => i64::MAX,
            2 => 0,
            _ => index as i64,
        }));
        row.actual_force_n = [Some(f64::INFINITY), Some(f64::NAN), Some(f64::MAX), None][index % 4];
        row.set_force_n = [Some(f64::MAX), None, Some(-1.0), Some(0.0)][index / 4 % 4];
        row.source_row = i64::MAX;
    }
    let (row, findings) = watch(rows);
    assert_eq!(row.rows, Some(400));
    assert!(codes(&findings).contains(&("warning", "telemetry_clock_jump")));
}

#[test]
fn rows_without_a_time_are_not_telemetry() {
    let mut rows = steady(10);
    rows.iter_mut().for_each(|row| row.time = None);
    assert_eq!(watch_in_batches(&[rows], 3), (vec![], vec![]));
}
