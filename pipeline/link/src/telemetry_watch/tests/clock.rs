//! Faults of the clock: gaps, jumps, order, repeated rows.

use evenstand_tables::Moment;
use evenstand_tables::rows::SettingRow;

use super::{START, clean, codes, shift, steady, watch, watch_in_batches};
use crate::telemetry_watch::sample::SECOND;

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
