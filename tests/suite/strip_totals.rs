//! Telemetry summed by strip in a file of its own, and taken from there.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::fs;

use crate::support::TestReview;

const SETTINGS: &str = "[[planter]]\nid = \"p\"\n[planter.closing]\nkind = \"pressure\"\nmax_kpa = 500\nforce_n = [[0, 0], [200, 200], [400, 500]]\n";

/// Two strips of telemetry, one of them by two planters, rows at the headland, and a strip written by hand.
fn review(measured: bool) -> TestReview {
    let mut log = String::from(
        "field_id,season,strip_id,planter_id,time,speed_m_s,set_pressure_kpa,actual_pressure_kpa,lat,lon,block\n",
    );
    for second in 0..50 {
        let strip = ["1", "2", "", "2", "1"][second / 10];
        let planter = ["", "p", "", "q", ""][second / 10];
        let set = 150 + second % 7 * 30;
        let actual = if measured { (set + second % 3).to_string() } else { String::new() };
        let speed = if second % 9 == 0 { 0.3 } else { 2.0 };
        let time = format!("2025-05-01T10:00:{second:02}Z");
        let _ = writeln!(
            log,
            "A,2025,{strip},{planter},{time},{speed},{set},{actual},47.{second:02},-93.5,b{}",
            second % 2
        );
    }
    let review = TestReview::new(&[
        ("field.csv", "field_id,season,planter_id\nA,2025,p\n"),
        ("setting_log-machine.csv", &log),
        ("setting_log-hand.csv", "field_id,season,strip_id,set_pressure_kpa\nA,2025,3,240\n"),
        (
            "stand_count.csv",
            "field_id,season,strip_id,seeds_sown,emerged\nA,2025,1,100,90\nA,2025,2,100,91\nA,2025,3,100,80\n",
        ),
        ("evenstand.toml", SETTINGS),
    ]);
    assert!(review.run("run", &[]).status < 2);
    review
}

/// The results of `model` with totals that `link` wrote.
fn model_from_totals(review: &TestReview) {
    let said = review.run("link", &[]);
    assert_eq!(said.status, 0, "{}", said.stderr);
    let file = review.path().join("strip_totals.parquet");
    let said = review.run("model", &["--strip-totals", file.to_str().unwrap()]);
    assert!(said.status < 2, "{}", said.stderr);
}

#[test]
fn strips_from_totals_are_the_same_bytes_as_strips_from_telemetry() {
    let review = review(false);
    let bytes = |name: &str| fs::read(review.path().join("results").join(name)).unwrap();
    let (csv, parquet) = (bytes("strips.csv"), bytes("strips.parquet"));
    model_from_totals(&review);
    assert!(csv == bytes("strips.csv") && parquet == bytes("strips.parquet"));
    assert!(review.result("strips").iter().filter(|row| !row["force_n"].is_empty()).count() == 3);
    assert!(review.result("traces").is_empty());
    let findings = review.result("findings");
    assert!(findings.iter().any(|row| row["code"] == "telemetry_not_watched" && row["severity"] == "note"));
    assert!(
        findings.iter().any(|row| row["code"] == "telemetry_without_strip" && row["message"].contains("10 telemetry"))
    );
}

/// The share of time at the set value needs rows in their order, which totals have not.
#[test]
fn where_a_force_was_measured_only_the_share_of_time_at_the_set_value_is_missing() {
    let review = review(true);
    let without = |mut row: BTreeMap<String, String>| row.remove("at_set_share").map(|share| (share, row)).unwrap();
    let (shares, before): (Vec<_>, Vec<_>) = review.result("strips").into_iter().map(without).unzip();
    assert!(shares.iter().any(|share| !share.is_empty()));
    model_from_totals(&review);
    let (shares, after): (Vec<_>, Vec<_>) = review.result("strips").into_iter().map(without).unzip();
    assert_eq!(before, after);
    assert!(shares.iter().all(String::is_empty));
}

#[test]
fn totals_of_other_rows_or_settings_are_refused() {
    let review = review(false);
    assert_eq!(review.run("link", &["--out-file", review.path().join("sums.parquet").to_str().unwrap()]).status, 0);
    let file = review.path().join("sums.parquet");
    let model = || review.run("model", &["--strip-totals", file.to_str().unwrap()]);
    review.put("evenstand.toml", &format!("min_speed_m_s = 2.5\n{SETTINGS}"));
    let said = model();
    assert!(said.status == 2 && said.stderr.contains("from 2.5 m/s") && said.stderr.contains("evenstand link"));
    review.put("evenstand.toml", SETTINGS);
    review.put(
        "setting_log-more.csv",
        "field_id,season,strip_id,time,set_pressure_kpa\nA,2025,1,2025-05-01T11:00:00Z,200\n",
    );
    assert!(review.run("ingest", &[]).status < 2);
    let said = model();
    assert!(said.status == 2 && said.stderr.contains("50 telemetry rows of 2025, the store has 51"), "{}", said.stderr);
    let said = review.run("model", &["--strip-totals", review.path().join("evenstand.toml").to_str().unwrap()]);
    assert!(said.status == 2 && said.stderr.contains("does not hold totals by strip"), "{}", said.stderr);
}

#[test]
fn totals_are_not_written_where_other_files_live() {
    let review = review(false);
    for (place, word) in [
        (review.path().join("raw/totals.parquet"), "lies in raw/"),
        (review.path().join("store"), "is a folder"),
        (review.path().join("evenstand.toml"), "is no Parquet file"),
        (review.path().join("nowhere/totals.parquet"), "that is not there"),
    ] {
        let said = review.run("link", &["--out-file", place.to_str().unwrap()]);
        assert!(said.status == 2 && said.stderr.contains(word), "{}", said.stderr);
    }
}
