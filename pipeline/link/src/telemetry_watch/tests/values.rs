//! Faults of the values: sensors, set against measured, start-up zeros.

use evenstand_tables::Moment;
use evenstand_tables::rows::SettingRow;

use super::{START, clean, codes, noise, steady, watch, watch_in_batches};
use crate::telemetry_watch::sample::SECOND;

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
fn a_steady_speed_does_not_hide_a_force_that_stands_still() {
    let mut rows = steady(600);
    for (index, row) in rows.iter_mut().enumerate() {
        row.speed_m_s = Some(2.0);
        (row.lat, row.lon) = (Some(42.0 + index as f64 * 1e-5), Some(-93.0));
    }
    for row in &mut rows[200..290] {
        row.actual_force_n = Some(303.0);
    }
    let (row, findings) = watch(rows);
    assert_eq!(row.stuck_channel.as_deref(), Some("actual_force"));
    assert_eq!(codes(&findings), [("warning", "telemetry_stuck")]);
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
    assert!(codes(&findings).contains(&("warning", "telemetry_not_as_set")));
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
fn a_mean_just_past_near_is_a_note_and_one_far_from_the_set_value_a_warning() {
    for (share, expected) in [(0.96, None), (0.93, Some("note")), (0.85, Some("warning")), (1.15, Some("warning"))] {
        let mut rows = steady(300);
        for (index, row) in rows.iter_mut().enumerate() {
            row.actual_force_n = Some(300.0 * share + noise(index));
        }
        let (row, findings) = watch(rows);
        assert!((row.mean_difference.unwrap() - 300.0 * (share - 1.0)).abs() < 0.5);
        let expected: Vec<(&str, &str)> =
            expected.map(|severity| (severity, "telemetry_not_as_set")).into_iter().collect();
        assert_eq!(codes(&findings), expected, "{share}");
    }
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

/// Set at 300 and 400 N in turn, 200 s each; after a change the measured value stands where it was for `late` rows.
fn stepped(late: usize) -> Vec<SettingRow> {
    let mut rows = steady(1000);
    for (index, row) in rows.iter_mut().enumerate() {
        let force = |index: usize| if (index / 200).is_multiple_of(2) { 300.0 } else { 400.0 };
        row.set_force_n = Some(force(index));
        row.actual_force_n = Some(force(index.saturating_sub(late)) + noise(index));
    }
    rows
}

#[test]
fn a_measured_value_that_follows_in_time_is_no_finding_and_one_that_takes_long_is_a_lag() {
    let (row, findings) = watch(stepped(3));
    assert_eq!((row.changes, row.never_arrived, row.lag_s), (Some(4), Some(0), Some(3.0)));
    assert_eq!(codes(&findings), [], "3 s of 200 s are less than 5 %");
    let (row, findings) = watch(stepped(20));
    assert_eq!((row.changes, row.never_arrived, row.lag_s), (Some(4), Some(0), Some(20.0)));
    assert_eq!(codes(&findings), [("note", "telemetry_lag")]);
    // Longer than arrive_s: it has not come in time.
    let (row, findings) = watch(stepped(70));
    assert_eq!((row.changes, row.never_arrived, row.lag_s), (Some(4), Some(4), None));
    assert!(codes(&findings).contains(&("warning", "telemetry_never_arrived")), "{:?}", codes(&findings));
}

#[test]
fn a_value_that_wanders_around_a_mean_that_is_right_is_a_note_once_it_is_away_for_most_of_the_time() {
    let wander = |away: usize| {
        let mut rows = steady(600);
        for (index, row) in rows.iter_mut().enumerate() {
            // Up and down by 24 N, 8 % of 300, for a share of every ten rows.
            let up = if (index / 10).is_multiple_of(2) { 24.0 } else { -24.0 };
            row.actual_force_n = Some(300.0 + if index % 10 < away { up } else { noise(index) });
        }
        watch(rows)
    };
    let (row, findings) = wander(6);
    assert!((row.outside_share.unwrap() - 0.6).abs() < 0.01);
    assert_eq!(codes(&findings), [("note", "telemetry_not_as_set")]);
    let (row, findings) = wander(4);
    assert!((row.outside_share.unwrap() - 0.4).abs() < 0.01);
    assert_eq!(codes(&findings), []);
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
