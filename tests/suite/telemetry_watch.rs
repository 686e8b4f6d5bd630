//! Telemetry with faults, from the file to the findings, the result table and the page.

use std::fmt::Write;
use std::fs;

use crate::support::TestReview;

const HEADER: &str = "field_id,season,strip_id,time,row_unit,speed_m_s,set_force_n,actual_force_n\n";

/// A log of strips 1 and 2, a row a second, whose hours, forces and steps a test may change.
fn log(rows: usize, change: impl Fn(usize, &mut f64, &mut f64)) -> String {
    let mut text = String::from(HEADER);
    for row in 0..rows {
        let (mut second, mut actual) = (row as f64, 300.0 + (row * 37 % 11) as f64 - 5.0);
        change(row, &mut second, &mut actual);
        let (hour, minute, second) = (10 + second as u64 / 3600, second as u64 / 60 % 60, second as u64 % 60);
        let speed = 2.0 + (row * 53 % 7) as f64 / 100.0;
        let strip = 1 + 2 * row / rows;
        let _ = writeln!(text, "A,2025,{strip},2025-05-01T{hour:02}:{minute:02}:{second:02}Z,4,{speed},300,{actual}");
    }
    text
}

fn review(log: &str, settings: &str) -> TestReview {
    let review = TestReview::new(&[
        ("field.csv", "field_id,season,planter_id\nA,2025,p\n"),
        ("setting_log-a.csv", log),
        ("stand_count.csv", "field_id,season,strip_id,seeds_sown,emerged\nA,2025,1,100,90\nA,2025,2,100,91\n"),
        ("evenstand.toml", settings),
    ]);
    let said = review.run("run", &[]);
    assert!(said.status < 2, "{}", said.stderr);
    review
}

fn codes(review: &TestReview) -> Vec<String> {
    let findings = review.result("findings").into_iter();
    findings.map(|row| row["code"].clone()).filter(|code| code.starts_with("telemetry")).collect()
}

#[test]
fn a_clean_log_has_its_row_and_no_finding() {
    let review = review(&log(600, |_, _, _| ()), "");
    assert_eq!(codes(&review), [""; 0]);
    let rows = review.result("telemetry");
    assert_eq!(rows.len(), 2);
    let cells = ["source_file", "field_id", "strip_id", "planter_id", "row_unit", "rows", "step_s", "gaps", "compared"];
    let expected = ["setting_log-a.csv", "A", "1", "p", "4", "300", "1.0", "0", "force"];
    assert_eq!(cells.map(|name| rows[0][name].as_str()), expected);
    // The watch and the means count the same rows.
    let watched: u64 = rows.iter().map(|row| row["rows"].parse::<u64>().unwrap()).sum();
    assert_eq!(review.result("field_seasons")[0]["n_telemetry_rows"], watched.to_string());
    let page = fs::read_to_string(review.path().join("report/index.html")).unwrap();
    assert!(!page.contains("Telemetry that has something to say"));
}

#[test]
fn faults_are_found_with_file_and_row_and_stand_on_the_page() {
    let faulty = log(600, |row, second, actual| {
        if row >= 100 {
            *second += 30.0;
        }
        if row >= 450 {
            *second += 3600.0;
        }
        if (320..400).contains(&row) {
            *actual = 301.0;
        }
    });
    let review = review(&faulty, "");
    assert_eq!(codes(&review), ["telemetry_clock_jump", "telemetry_stuck", "telemetry_gaps"]);
    let findings = review.result("findings");
    let of = |code: &str| findings.iter().find(|row| row["code"] == code).unwrap();
    let place = |code: &str| (of(code)["source_file"].as_str(), of(code)["source_row"].as_str());
    assert_eq!(place("telemetry_gaps"), ("setting_log-a.csv", "102"));
    assert_eq!(place("telemetry_clock_jump"), ("setting_log-a.csv", "452"));
    assert_eq!(place("telemetry_stuck"), ("setting_log-a.csv", "322"));
    assert_eq!(of("telemetry_stuck")["strip_id"], "2");
    let page = fs::read_to_string(review.path().join("report/index.html")).unwrap();
    assert!(page.contains("Telemetry that has something to say") && page.contains("1 gap, the longest 31 s"));
}

#[test]
fn limits_of_the_settings_are_followed_and_nonsense_is_refused() {
    let gap = log(600, |row, second, _| {
        if row >= 100 {
            *second += 30.0;
        }
    });
    assert_eq!(codes(&review(&gap, "")), ["telemetry_gaps"]);
    assert_eq!(codes(&review(&gap, "[telemetry]\nstep_gap_s = 40\n")), [""; 0]);
    let refused = TestReview::new(&[("setting_log.csv", &gap), ("evenstand.toml", "[telemetry]\nsag_s = -1\n")]);
    let said = refused.run("run", &[]);
    assert!(said.status == 2 && said.stderr.contains("telemetry.sag_s"), "{}", said.stderr);
}

#[test]
fn the_watch_changes_no_mean() {
    let strips = |text: &str| review(text, "").result("strips");
    let forces = |text: &str| -> Vec<String> { strips(text).iter().map(|row| row["actual_force_n"].clone()).collect() };
    let slipped = log(600, |row, second, _| *second += if row >= 450 { 3600.0 } else { 0.0 });
    assert_eq!(forces(&log(600, |_, _, _| ())), forces(&slipped));
}
