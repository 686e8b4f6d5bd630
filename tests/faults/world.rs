//! A small review with a file of each way to go, and what is compared of it.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use crate::support::{TestReview, files_below};

/// Folders that a run makes.
pub const MADE: [&str; 3] = ["store", "results", "report"];

/// Two field-seasons with six strips each: telemetry of one, a hand-written log of the other. It has a name, so that its folder's does not matter.
pub fn review() -> TestReview {
    let mut counts = String::from("field_id,season,strip_id,row_length_m,seeds_sown,counted_at,emerged\n");
    let mut telemetry = String::from("field_id,season,strip_id,time,speed_m_s,set_pressure_kpa,actual_pressure_kpa\n");
    let mut hand = String::from("field_id,season,strip_id,set_pressure_kpa,speed_m_s\n");
    let mut strips = String::from("field_id,season,strip_id,block\n");
    for (number, field) in ["East", "West"].into_iter().enumerate() {
        for strip in 1..=6 {
            let set = 100 + 60 * (strip % 3);
            strips.push_str(&format!("{field},2025,{strip},{}\n", 1 + strip / 4));
            for (day, up) in [(8, 20), (10, 110), (14, 150)] {
                let emerged = up + 3 * (strip % 3) - (strip / 3) + number as i32;
                counts.push_str(&format!("{field},2025,{strip},20,180,2025-05-{day:02}T08:00,{emerged}\n"));
            }
            for second in (0..30).filter(|_| number == 0) {
                telemetry
                    .push_str(&format!("{field},2025,{strip},2025-05-01T09:{strip:02}:{second:02},2.1,{set},{set}\n"));
            }
            if number == 1 {
                hand.push_str(&format!("{field},2025,{strip},{set},2.0\n"));
            }
        }
    }
    let field = "field_id,season,planted_at\nEast,2025,2025-05-01T08:00\nWest,2025,2025-05-01T08:00\n";
    let soil = "field_id,season,taken_at,depth_cm,moisture_feel\nEast,2025,2025-05-01T08:00,5,moist\nWest,2025,2025-05-01T08:00,5,moist\n";
    TestReview::new(&[
        ("field.csv", field),
        ("strip.csv", &strips),
        ("soil_note.csv", soil),
        ("setting_log-east.csv", &telemetry),
        ("setting_log-west.csv", &hand),
        ("stand_count.csv", &counts),
        ("evenstand.toml", "name = \"Small review\"\ntimezone = \"America/Chicago\"\n[analysis]\ndraws = 200\n"),
    ])
}

/// Changes one count, and with it the store, the results and the report.
pub fn change(review: &Path) {
    let path = review.join("raw/stand_count.csv");
    let text = fs::read_to_string(&path).unwrap();
    assert!(text.contains(",153\n"));
    fs::write(path, text.replacen(",153\n", ",151\n", 1)).unwrap();
}

/// Every file of the folders that a run makes.
pub fn made(out: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut files = BTreeMap::new();
    for part in MADE.into_iter().filter(|part| out.join(part).exists()) {
        files.extend(files_below(&out.join(part)).into_iter().map(|(name, bytes)| (format!("{part}/{name}"), bytes)));
    }
    files
}

/// Errors with the names of the files that differ.
pub fn same(found: &BTreeMap<String, Vec<u8>>, expected: &BTreeMap<String, Vec<u8>>, what: &str) {
    assert!(!expected.is_empty(), "{what}: nothing to compare with");
    let differs = |name: &&String| found.get(*name) != expected.get(*name);
    let names: Vec<&String> = found.keys().chain(expected.keys()).filter(differs).collect();
    assert!(names.is_empty(), "{what}: {names:?}");
}

/// The binary, ready for arguments.
pub fn program() -> Command {
    Command::new(env!("CARGO_BIN_EXE_evenstand"))
}

/// Copies a folder with all that is in it into one that is not there.
pub fn copy(from: &Path, to: &Path) {
    for (name, bytes) in files_below(from) {
        let target = to.join(name);
        fs::create_dir_all(target.parent().unwrap()).unwrap();
        fs::write(target, bytes).unwrap();
    }
}

/// Holds what a command said against words that have to be in it. A panic is never right.
pub fn says(output: &Output, status: i32, words: &[&str]) {
    let told = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(status), "{told}");
    assert!(!told.contains("panicked"), "{told}");
    for word in words {
        assert!(told.contains(word), "\"{word}\" is not in: {told}");
    }
}

/// Whether a tool of the system can be run with these arguments; says so where it cannot.
pub fn can(tool: &str, arguments: &[&str]) -> bool {
    let ran = Command::new(tool).args(arguments).output().is_ok_and(|output| output.status.success());
    if !ran {
        println!("skipped: `{tool} {}` is not there or not permitted", arguments.join(" "));
    }
    ran
}
