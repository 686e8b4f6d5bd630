//! Telemetry streams: memory does not grow with its rows. What is measured is memory, never time.

use std::fmt::Write;
use std::fs;
use std::process::{Command, Stdio};

use crate::support::TestReview;

/// Telemetry of `rows` rows in 24 strips.
fn review(rows: usize) -> TestReview {
    let mut telemetry = String::from("field_id,season,strip_id,time,speed_m_s,set_pressure_kpa,actual_pressure_kpa\n");
    for row in 0..rows {
        let (strip, second) = (1 + 24 * row / rows, row % (rows / 24 + 1));
        let (hour, minute, second) = (second / 36_000 % 24, second / 600 % 60, second as f64 % 600.0 / 10.0);
        let _ = writeln!(
            telemetry,
            "East,2025,{strip},2025-05-01T{hour:02}:{minute:02}:{second:04.1}Z,2.{:02},{},{}",
            row % 97,
            100 + 10 * strip,
            (1000 + 100 * strip + row % 61) as f64 / 10.0
        );
    }
    TestReview::new(&[
        ("setting_log.csv", &telemetry),
        ("field.csv", "field_id,season,planted_at\nEast,2025,2025-05-01T08:00Z\n"),
        ("evenstand.toml", "[analysis]\ndraws = 200\n"),
    ])
}

/// Largest memory of a command in megabytes, by the kernel's own record of the finished child; `None` where there is no such record.
fn peak_mb(command: &str, review: &TestReview) -> Option<u64> {
    let mut child = Command::new(env!("CARGO_BIN_EXE_evenstand"))
        .args([command, "--quiet"])
        .arg(review.path())
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    let status = format!("/proc/{}/status", child.id());
    let mut peak = None;
    // The record is gone with the process, so it is read until then; it never falls.
    while child.try_wait().unwrap().is_none() {
        let text = fs::read_to_string(&status).unwrap_or_default();
        let line = text.lines().find_map(|line| line.strip_prefix("VmHWM:")?.split_whitespace().next()?.parse().ok());
        peak = line.map(|kilobytes: u64| kilobytes / 1024).or(peak);
        std::thread::sleep(std::time::Duration::from_millis(2));
    }
    peak
}

#[test]
fn five_times_the_telemetry_takes_no_more_memory_than_what_was_already_in_flight() {
    let (few, many) = (review(500_000), review(2_500_000));
    for command in ["ingest", "link"] {
        let (Some(of_few), Some(of_many)) = (peak_mb(command, &few), peak_mb(command, &many)) else {
            println!("skipped: this system keeps no record of the memory of a process");
            return;
        };
        // Two million rows more are 110 MB of text, and several times that in columns.
        assert!(of_many < of_few + 60, "{command}: {of_few} MB and {of_many} MB");
    }
}
