//! Simulated logs with known faults: each is found with its count, and a clean log gives no finding.

use std::collections::HashMap;

use evenstand_settings::Settings;
use evenstand_tables::rows::{SettingRow, TelemetryRow};
use evenstand_tables::{Finding, Moment, Row};

use super::sample::SECOND;
use super::series::Series;
use super::{MOST_SERIES, Watch};

/// 2025-05-01 10:00 UTC.
const START: i64 = 1_746_093_600 * SECOND;

/// Even noise between -1 and 1 that is the same in every run.
fn noise(index: usize) -> f64 {
    let mixed = (index as u64 + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    ((mixed ^ (mixed >> 29)).wrapping_mul(0xBF58_476D_1CE4_E5B9) >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
}

/// A row a second of strip 1 at 2 m/s, set to 300 N, the measured force within 2 % of it.
fn steady(rows: usize) -> Vec<SettingRow> {
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
fn shift(rows: &mut [SettingRow], first: usize, seconds: f64) {
    for row in &mut rows[first..] {
        row.time = row.time.map(|time| Moment(time.0 + (seconds * SECOND as f64) as i64));
    }
}

fn watch_in_batches(files: &[Vec<SettingRow>], batch_rows: usize) -> (Vec<TelemetryRow>, Vec<Finding>) {
    let settings = Settings::default();
    let planters = HashMap::from([("A", Some("p"))]);
    let mut watch = Watch::new(&settings);
    for file in files {
        let batch = SettingRow::to_table(file).unwrap().batch().clone();
        for start in (0..batch.num_rows()).step_by(batch_rows) {
            let rows = batch.slice(start, batch_rows.min(batch.num_rows() - start));
            watch.rows(&rows, 2025, &planters).unwrap();
        }
        watch.end_of_file();
    }
    watch.finish(&settings)
}

fn watch(rows: Vec<SettingRow>) -> (TelemetryRow, Vec<Finding>) {
    let (mut rows, findings) = watch_in_batches(&[rows], 1000);
    assert_eq!(rows.len(), 1);
    (rows.remove(0), findings)
}

fn codes(findings: &[Finding]) -> Vec<(&str, &str)> {
    findings.iter().map(|finding| (finding.severity.as_str(), finding.code.as_str())).collect()
}

/// Four row units that alternate over three strips with a turn between, one setting a strip.
fn clean() -> Vec<SettingRow> {
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
fn gaps_are_counted_with_the_longest_and_the_first_row() {
    let mut rows = steady(200);
    shift(&mut rows, 50, 11.0);
    shift(&mut rows, 120, 44.0);
    // Nine seconds are no gap of a log with a row a second.
    shift(&mut rows, 150, 8.0);
    let (row, findings) = watch(rows);
    assert_eq!((row.gaps, row.longest_gap_s, row.clock_jumps), (Some(2), Some(45.0), Some(0)));
    assert_eq!(codes(&findings), [("note", "telemetry_gaps")]);
    assert_eq!(findings[0].source_row, Some(52));
    assert_eq!(findings[0].message, "2 gaps in the log, the longest 45 s");
    assert_eq!(findings[0].strip_id.as_deref(), Some("1"));
}

#[test]
fn a_clock_that_slips_by_whole_hours_says_so_and_one_that_jumps_else_does_not() {
    let slipped = |seconds: f64| {
        let mut rows = steady(200);
        shift(&mut rows, 100, seconds);
        watch(rows)
    };
    for (seconds, hours) in [(3600.0, "forward once, by 1 h"), (-7200.0, "back once, by 2 h"), (5.0 * 3600.0, "by 5 h")]
    {
        let (row, findings) = slipped(seconds);
        assert_eq!((row.clock_jumps, row.hour_jumps, row.gaps), (Some(1), Some(1), Some(0)), "{seconds}");
        assert_eq!(codes(&findings), [("warning", "telemetry_clock_jump")]);
        assert!(findings[0].message.contains(hours) && findings[0].message.contains("daylight"), "{findings:?}");
        assert_eq!(findings[0].source_row, Some(102));
    }
    for seconds in [-95.0, 2.0 * 86_400.0, -30.0 * 86_400.0] {
        let (row, findings) = slipped(seconds);
        assert_eq!((row.clock_jumps, row.hour_jumps), (Some(1), Some(0)), "{seconds}");
        assert!(!findings[0].message.contains("daylight"));
    }
    // Half an hour forward is a gap: the planter stood.
    let (row, _) = slipped(1800.0);
    assert_eq!((row.clock_jumps, row.gaps, row.longest_gap_s), (Some(0), Some(1), Some(1801.0)));
}

#[test]
fn rows_that_run_back_stand_still_or_repeat_are_told_apart() {
    let mut rows = steady(300);
    rows.swap(40, 41);
    rows.swap(90, 91);
    for index in [130, 140, 150, 160] {
        rows[index].time = rows[index - 1].time;
    }
    for index in [200, 220, 240] {
        rows[index] = rows[index - 1].clone();
    }
    for (index, row) in rows.iter_mut().enumerate() {
        row.source_row = index as i64 + 2;
    }
    let (row, findings) = watch(rows);
    assert_eq!((row.rows_back, row.rows_same_time, row.rows_repeated), (Some(2), Some(7), Some(3)));
    assert_eq!(codes(&findings), [("note", "telemetry_time_order"), ("note", "telemetry_same_time")]);
    assert_eq!(findings.iter().map(|finding| finding.source_row).collect::<Vec<_>>(), [Some(43), Some(132)]);
}

#[test]
fn a_log_with_many_repeated_rows_is_a_warning() {
    let mut rows: Vec<SettingRow> = steady(100).into_iter().flat_map(|row| [row.clone(), row]).collect();
    for (index, row) in rows.iter_mut().enumerate() {
        row.source_row = index as i64 + 2;
    }
    let (row, findings) = watch(rows);
    assert_eq!((row.rows, row.rows_repeated, row.step_s), (Some(200), Some(100), Some(1.0)));
    assert_eq!(codes(&findings), [("warning", "telemetry_repeated_rows")]);
}

#[test]
fn a_clock_in_whole_seconds_with_five_rows_each_is_coarse_and_repeats_nothing() {
    let mut rows = steady(1000);
    for (index, row) in rows.iter_mut().enumerate() {
        row.time = Some(Moment(START + index as i64 / 5 * SECOND));
        if index >= 900 {
            (row.speed_m_s, row.actual_force_n) = (Some(0.0), Some(12.0));
        }
    }
    let (row, findings) = watch(rows);
    assert_eq!((row.rows_same_time, row.rows_repeated, row.step_s), (Some(800), Some(80), Some(1.0)));
    assert_eq!(codes(&findings), [("note", "telemetry_same_time")]);
    assert!(findings[0].message.starts_with("the clock is written more coarsely"), "{}", findings[0].message);
}

#[test]
fn a_log_that_stands_in_its_file_twice_says_so() {
    let rows = clean();
    let twice: Vec<SettingRow> = rows.iter().chain(&rows).cloned().collect();
    let (rows, findings) = watch_in_batches(&[twice], 1000);
    assert_eq!(rows[0].rows, Some(600));
    assert_eq!(codes(&findings), [("warning", "telemetry_clock_jump")]);
    assert!(findings[0].message.contains("stands in the file twice"), "{}", findings[0].message);
}

#[test]
fn a_sensor_that_stands_still_while_the_planter_drives_is_stuck() {
    let mut rows = steady(600);
    for row in &mut rows[200..290] {
        row.actual_force_n = Some(303.0);
    }
    let (row, findings) = watch(rows);
    assert_eq!((row.stuck_channel.as_deref(), row.stuck_share), (Some("actual_force"), Some(90.0 / 600.0)));
    assert_eq!(row.longest_stuck_s, Some(89.0));
    assert_eq!(codes(&findings), [("warning", "telemetry_stuck")]);
    assert_eq!(findings[0].source_row, Some(202));
}

#[test]
fn a_stretch_that_is_short_or_of_a_coarse_gauge_is_not_stuck() {
    let mut short = steady(600);
    for row in &mut short[200..255] {
        row.actual_force_n = Some(303.0);
    }
    assert_eq!(watch(short).0.stuck_channel, None);
    // A gauge in steps of 10 N that moves every 20 to 70 seconds.
    let mut coarse = steady(600);
    let mut left = 0;
    let mut value = 300.0;
    for (index, row) in coarse.iter_mut().enumerate() {
        if left == 0 {
            left = 45 + (25.0 * noise(index)) as usize;
            value = if value == 300.0 { 310.0 } else { 300.0 };
        }
        left -= 1;
        row.actual_force_n = Some(value);
    }
    assert_eq!(watch(coarse).1, []);
}

#[test]
fn a_value_that_is_the_same_in_the_whole_file_is_found_over_all_strips() {
    let mut rows = clean();
    rows.iter_mut().for_each(|row| row.actual_force_n = Some(300.0));
    let (rows, findings) = watch_in_batches(&[rows], 1000);
    assert!(
        rows.iter().all(|row| row.stuck_share == Some(1.0) && row.stuck_channel.as_deref() == Some("actual_force"))
    );
    let stuck = findings.iter().find(|finding| finding.code == "telemetry_stuck").unwrap();
    assert!(stuck.message.contains("one value in the whole file"), "{}", stuck.message);
    let mut speed = clean();
    speed.iter_mut().for_each(|row| row.speed_m_s = Some(2.0));
    let (_, findings) = watch_in_batches(&[speed], 1000);
    let stuck = findings.iter().find(|finding| finding.code == "telemetry_stuck").unwrap();
    assert!(stuck.severity == "note" && stuck.message.starts_with("the speed"), "{stuck:?}");
}

/// A first-order lag with time constant T from `old` to `new` comes within 5 % of `new` after T ln(|new − old| / (0.05 new)):
/// T ln 20 from nothing.
#[test]
fn the_lag_of_a_first_order_system_is_its_known_one() {
    let (time_constant, step) = (3.0_f64, 0.1);
    for (old, new) in [(0.0, 300.0), (200.0, 400.0), (400.0, 200.0)] {
        let mut rows = steady(4000);
        let mut force = old;
        for (index, row) in rows.iter_mut().enumerate() {
            row.time = Some(Moment(START + (index as f64 * step * SECOND as f64) as i64));
            let set = if (index / 500) % 2 == 1 { new } else { old };
            // Exact over one step, from the value at its start.
            force = if index % 500 == 0 { force } else { set + (force - set) * (-step / time_constant).exp() };
            (row.set_force_n, row.actual_force_n) = (Some(set), Some(force));
        }
        let (row, findings) = watch(rows);
        let up = time_constant * ((new - old).abs() / (0.05 * new)).ln();
        assert_eq!(row.never_arrived, Some(if old == 0.0 { 3 } else { 0 }), "{old} to {new}");
        assert_eq!(row.changes, Some(7));
        // Ways up and down alternate, four of one and three of the other; nothing comes within 5 % of 0.
        let lag = row.lag_s.unwrap();
        assert!((lag - up).abs() <= step, "{old} to {new}: {lag} s for {up} s");
        assert!(findings.iter().any(|finding| finding.code == "telemetry_lag"), "{:?}", codes(&findings));
    }
}

#[test]
fn a_change_that_is_not_followed_never_arrives() {
    let mut rows = steady(600);
    for (index, row) in rows.iter_mut().enumerate() {
        row.set_force_n = Some(if index < 300 { 300.0 } else { 400.0 });
    }
    let (row, findings) = watch(rows);
    assert_eq!((row.changes, row.never_arrived, row.lag_s), (Some(1), Some(1), None));
    let never = findings.iter().find(|finding| finding.code == "telemetry_never_arrived").unwrap();
    assert_eq!((never.severity.as_str(), never.source_row), ("warning", Some(302)));
    // Half of the strip is 100 N of 400 N too low.
    assert!(codes(&findings).contains(&("warning", "telemetry_off_set")));
    assert!((row.outside_share.unwrap() - 0.5).abs() < 0.01);
    assert!((row.mean_difference.unwrap() + 50.0).abs() < 1.0);
}

#[test]
fn a_change_between_strips_without_a_turn_counts_for_the_new_strip() {
    let mut rows = steady(400);
    for (index, row) in rows.iter_mut().enumerate().skip(200) {
        row.strip_id = Some("2".into());
        let force = if index < 208 { 300.0 } else { 400.0 };
        (row.set_force_n, row.actual_force_n) = (Some(400.0), Some(force + noise(index)));
    }
    let (rows, _) = watch_in_batches(&[rows], 1000);
    assert_eq!((rows[0].changes, rows[1].changes, rows[1].lag_s), (Some(0), Some(1), Some(8.0)));
}

#[test]
fn a_sag_is_timed_and_a_short_one_passed_over() {
    let mut rows = steady(600);
    for index in (100..130).chain(300..308) {
        rows[index].actual_force_n = Some(270.0 + noise(index));
    }
    let (row, findings) = watch(rows);
    assert_eq!((row.sags, row.sag_s), (Some(1), Some(30.0)));
    assert_eq!(row.outside_share.map(|share| (share * 599.0).round()), Some(38.0));
    assert_eq!(codes(&findings), [("note", "telemetry_sag")]);
    assert_eq!(findings[0].source_row, Some(102));
}

#[test]
fn zeros_while_the_planter_starts_are_told_from_a_dead_sensor() {
    let mut rows = steady(300);
    for row in &mut rows[..6] {
        row.actual_force_n = Some(0.0);
    }
    for row in &mut rows[6..9] {
        row.actual_force_n = None;
    }
    // A second pass after a turn: three zeros more. Zeros inside a pass are not of its start.
    for row in &mut rows[150..170] {
        row.speed_m_s = Some(0.4);
    }
    for row in &mut rows[170..173] {
        row.actual_force_n = Some(0.0);
    }
    rows[250].actual_force_n = Some(0.0);
    let (row, findings) = watch(rows);
    assert_eq!((row.start_zero_rows, row.rows_at_speed), (Some(12), Some(280)));
    assert_eq!((row.turns, row.turn_rows, row.turn_s), (Some(1), Some(20), Some(20.0)));
    assert!(findings.iter().any(|finding| finding.code == "telemetry_start_zeros" && finding.severity == "note"));
    let mut dead = steady(300);
    dead.iter_mut().for_each(|row| row.actual_force_n = Some(0.0));
    let (row, findings) = watch(dead);
    assert_eq!((row.start_zero_rows, row.stuck_share), (Some(0), Some(1.0)));
    assert!(codes(&findings).contains(&("warning", "telemetry_stuck")));
}

#[test]
fn row_units_that_carry_the_same_values_share_a_sensor() {
    let mut rows = clean();
    for index in (0..rows.len()).filter(|index| index % 4 == 3) {
        rows[index].actual_force_n = rows[index - 2].actual_force_n;
    }
    let (_, findings) = watch_in_batches(&[rows], 1000);
    assert_eq!(codes(&findings), [("note", "telemetry_shared_sensor")]);
    assert!(findings[0].message.ends_with("; row unit 2, 4"), "{}", findings[0].message);
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
