//! Short strips worked out by hand, and faults of the clock.

use evenstand_settings::Settings;
use evenstand_tables::rows::TraceRow;

use super::*;

fn key(planter: &str, row_unit: &str) -> SeriesKey {
    SeriesKey {
        source_file: "log.csv".into(),
        field_id: "A".into(),
        strip_id: Some("1".into()),
        planter_id: Some(planter.into()),
        row_unit: Some(row_unit.into()),
    }
}

/// A row at 2 m/s.
fn sample(second: i64, set_kpa: f64, actual_kpa: f64) -> Sample {
    Sample {
        time: second * SECOND,
        source_row: second + 2,
        at_speed: true,
        speed: 2.0,
        set: [f64::NAN, set_kpa],
        actual: [f64::NAN, actual_kpa],
        place: [50.0, 10.0 + second as f64 * 1e-5],
    }
}

fn settings() -> Settings {
    Settings::parse(
        "[[planter]]\nid = \"air\"\n[planter.closing]\nkind = \"pressure\"\nforce_n = [[0, 0], [100, 120], [200, 250]]",
    )
    .unwrap()
}

fn traced_of(samples: &[(SeriesKey, Sample)]) -> (Vec<TraceRow>, Vec<LoggedStrip>) {
    let mut traces = Traces::new(&settings(), &std::env::temp_dir());
    let mut walks: Vec<(SeriesKey, Walk)> = Vec::new();
    for (key, sample) in samples {
        if !walks.iter().any(|(other, _)| other == key) {
            walks.push((key.clone(), traces.begin(key, 2025, sample).unwrap()));
        }
        let (_, walk) = walks.iter_mut().find(|(other, _)| other == key).unwrap();
        traces.row(walk, sample);
    }
    let (rows, logged) = traces.finish().unwrap();
    (rows.rows().unwrap(), logged)
}

/// Rows of one row unit of the calibrated planter.
fn traced(samples: impl IntoIterator<Item = Sample>) -> (Vec<TraceRow>, Vec<LoggedStrip>) {
    traced_of(&samples.into_iter().map(|sample| (key("air", "1"), sample)).collect::<Vec<_>>())
}

fn count(rows: &[TraceRow]) -> i64 {
    rows.iter().filter_map(|row| row.rows).sum()
}

#[test]
fn a_long_strip_is_cut_into_equal_pieces_that_hold_every_row() {
    for seconds in [1, 63, 64, 65, 200, 1000] {
        let (rows, logged) =
            traced((0..seconds).map(|second| sample(second, 100.0, if second % 2 == 0 { 90.0 } else { 150.0 })));
        assert!(rows.len() <= MOST_PIECES, "{seconds}: {}", rows.len());
        assert_eq!(count(&rows), seconds);
        let length = rows[0].to_s.unwrap();
        assert!(rows.iter().all(|row| row.to_s.unwrap() - row.from_s.unwrap() == length));
        assert_eq!((logged[0].first_row, logged[0].last_row, logged[0].rows), (2, seconds + 1, seconds));
    }
}

#[test]
fn pressures_become_forces_and_the_way_is_speed_over_time() {
    let (rows, _) = traced((0..128).map(|second| sample(second, 100.0, 150.0)));
    // Pieces of two seconds with a row at each: the first hold 0 and 2 m, the eleventh 40 and 42 m.
    assert_eq!(rows.len(), 64);
    assert_eq!((rows[0].set_n, rows[0].actual_n), (Some(120.0), Some(185.0)));
    assert_eq!((rows[0].along_m, rows[10].along_m), (Some(1.0), Some(41.0)));
    assert_eq!(rows[3].lon, Some(10.0 + 6.5e-5));
}

#[test]
fn the_way_is_the_same_however_seldom_a_row_is_logged() {
    for every in [1, 5, 20, 60] {
        let (rows, _) = traced((0..=600).step_by(every).map(|second| sample(second, 100.0, 100.0)));
        for row in &rows {
            let middle = row.from_s.unwrap() + row.to_s.unwrap();
            assert!(
                (row.along_m.unwrap() - middle).abs() <= row.to_s.unwrap() - row.from_s.unwrap(),
                "{every}: {row:?}"
            );
        }
        assert!(rows.last().unwrap().along_m.unwrap() > 1180.0, "of 1200 m, a row each {every} s");
    }
}

#[test]
fn the_planter_that_stands_or_creeps_comes_no_further_than_it_drives() {
    let at = |second: i64, speed: f64| Sample { speed, at_speed: speed >= 1.0, ..sample(second, 100.0, 100.0) };
    // 10 s at 2 m/s, 20 s of standing with a second of braking and one of starting, and on.
    let (rows, logged) = traced((0..=40).map(|second| at(second, if (10..30).contains(&second) { 0.0 } else { 2.0 })));
    assert_eq!((count(&rows), logged[0].rows), (21, 41));
    assert_eq!(rows.iter().find(|row| row.piece == 31).unwrap().along_m, Some(20.0));
    assert_eq!(rows.last().unwrap().along_m, Some(40.0));
    let (rows, _) = traced((0..5).map(|second| Sample { speed: f64::NAN, ..sample(second, 100.0, 100.0) }));
    assert!(rows.len() == 5 && rows.iter().all(|row| row.along_m.is_none() && row.speed_m_s.is_none()));
}

#[test]
fn row_units_are_taken_together_whether_they_alternate_or_follow_each_other() {
    let unit = |unit: &str, second: i64, actual: f64| (key("air", unit), sample(100 + second, 100.0, actual));
    let alternating: Vec<_> = (0..30).flat_map(|second| [unit("1", second, 90.0), unit("2", second, 110.0)]).collect();
    let mut one_by_one = alternating.clone();
    one_by_one.sort_by(|a, b| a.0.row_unit.cmp(&b.0.row_unit));
    let (rows, logged) = traced_of(&alternating);
    assert_eq!((rows.len(), rows[7].row_unit.clone(), rows[7].rows, rows[7].along_m), (30, None, Some(2), Some(14.0)));
    let low_high = (rows[7].actual_low_n.unwrap(), rows[7].actual_high_n.unwrap());
    assert!((low_high.0 - 108.0).abs() < 1e-9 && (low_high.1 - 133.0).abs() < 1e-9, "{low_high:?}");
    assert_eq!(traced_of(&one_by_one).0, rows);
    assert_eq!((logged.len(), logged[0].rows), (1, 60));
    assert_eq!(traced((0..3).map(|second| sample(second, 100.0, 90.0))).0[0].row_unit.as_deref(), Some("1"));
}

#[test]
fn a_clock_that_jumps_runs_back_or_stands_still_does_not_blur_the_strip() {
    let good: Vec<Sample> = (0..60).map(|second| sample(second, 100.0, 100.0 + second as f64)).collect();
    let (expected, _) = traced(good.clone());
    for seconds in [3600, -3600, 86_400 * 3650, 61, i64::MAX / SECOND / 2] {
        let mut rows = good.clone();
        rows[30..].iter_mut().for_each(|row| row.time += seconds * SECOND);
        // The second in which the clock jumped is lost, and nothing else.
        let (jumped, logged) = traced(rows);
        assert_eq!((jumped.len(), count(&jumped), logged[0].rows), (59, 60, 60), "{seconds}");
        assert_eq!(jumped.last().unwrap().along_m, Some(116.0), "{seconds}");
        assert_eq!(jumped[..29], expected[..29], "{seconds}");
        // One row with a wrong time.
        let mut rows = good.clone();
        rows[30].time += seconds * SECOND;
        assert_eq!(count(&traced(rows).0), 60, "{seconds}");
    }
    let still = good.iter().map(|row| Sample { time: 0, ..*row });
    let (rows, _) = traced(still);
    assert_eq!((rows.len(), rows[0].rows, rows[0].along_m), (1, Some(60), Some(0.0)));
}

#[test]
fn a_strip_of_two_planters_shows_the_one_that_planted_more_of_it() {
    let mut samples: Vec<_> = (0..10).map(|second| (key("air", "1"), sample(second, 100.0, 100.0))).collect();
    samples.extend((10..40).map(|second| (key("unweighed", "1"), sample(second, 100.0, 100.0))));
    let (rows, logged) = traced_of(&samples);
    assert_eq!((count(&rows), rows[0].planter_id.as_deref()), (30, Some("unweighed")));
    assert_eq!(rows[0].set_n, Some(100.0), "1 nominal N a kPa, not the other planter's calibration");
    assert_eq!(logged.iter().map(|strip| strip.rows).collect::<Vec<_>>(), [10, 30]);
}
