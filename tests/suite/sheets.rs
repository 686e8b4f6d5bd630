//! Blank record sheets: written by the command, filled in as a person would, and read back without a mapping.

use std::fs;

use crate::cli::small_review;
use crate::foreign::balance;
use crate::support::{TestReview, files_below};

#[test]
fn sheets_are_written_for_the_strips_of_the_review_and_the_same_again() {
    let review = small_review();
    review.run("ingest", &[]);
    let said = review.run("sheets", &[]);
    assert_eq!(said.status, 0, "{}", said.stderr);
    let made = files_below(&review.path().join("plan/sheets"));
    for name in [
        "stand_count.csv",
        "stand_count.xlsx",
        "setting_log.xlsx",
        "dig_check.csv",
        "cab-card.html",
        "dig-card.html",
        "feel-card.html",
        "evenstand.toml",
    ] {
        assert!(made.contains_key(name), "{name}");
    }
    assert_eq!(review.run("sheets", &[]).status, 0);
    assert_eq!(files_below(&review.path().join("plan/sheets")), made);
    // What somebody filled in where it lies is not replaced by a blank sheet.
    fs::write(review.path().join("plan/sheets/stand_count.csv"), "mine").unwrap();
    let said = review.run("sheets", &[]);
    assert_eq!(said.status, 2);
    assert!(said.stderr.contains("stand_count.csv") && said.stderr.contains("raw/"), "{}", said.stderr);
    assert_eq!(fs::read_to_string(review.path().join("plan/sheets/stand_count.csv")).unwrap(), "mine");
}

#[test]
fn blank_sheets_in_raw_are_no_fault_and_an_example_row_that_becomes_a_row_is_read_without_a_mapping() {
    let review = small_review();
    for units in ["us", "metric"] {
        let out = review.path().join(units);
        assert_eq!(review.run("sheets", &["--units", units, "--out", out.to_str().unwrap()]).status, 0);
        let blank = TestReview::new(&[("stand_count.csv", "field_id,season,strip_id,emerged\nA,2025,1,80\n")]);
        let filled = TestReview::new(&[]);
        let mut sheets = 0;
        for (name, bytes) in files_below(&out.join("plan/sheets")) {
            if !name.ends_with(".csv") && !name.ends_with(".xlsx") {
                continue;
            }
            sheets += 1;
            let (stem, ending) = name.rsplit_once('.').unwrap();
            fs::write(blank.path().join(format!("raw/{stem}-blank.{ending}")), &bytes).unwrap();
            if ending == "csv" {
                let text = String::from_utf8(bytes).unwrap().replace("(example)", "A");
                fs::write(filled.path().join(format!("raw/{name}")), text).unwrap();
            }
        }
        assert_eq!(sheets, 20);
        let said = blank.run("ingest", &["--json"]);
        assert_eq!((said.status, balance(&said.stdout)), (0, [1, 1, 0]), "{}", said.stderr);
        assert!(!said.stderr.contains("warning"), "{}", said.stderr);
        let said = filled.run("ingest", &["--json"]);
        assert_eq!(balance(&said.stdout), [10, 10, 0], "{units}: {}", said.stderr);
    }
}
