//! A review in which little changed: what hangs on it is done again, all else stays, and every byte is that of a run from nothing.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use crate::support::{TestReview, evenstand, files_below};

/// A review with a file of each way to go: telemetry, a hand-written log with a bad row, counts of two files.
fn review() -> TestReview {
    let mut counts = [String::new(), String::new()];
    let head = "field_id,season,strip_id,row_length_m,seeds_sown,counted_at,emerged\n";
    counts.iter_mut().for_each(|file| file.push_str(head));
    let mut telemetry = String::from("field_id,season,strip_id,time,speed_m_s,set_pressure_kpa,actual_pressure_kpa\n");
    let mut hand = String::from("field_id,season,strip_id,set_pressure_kpa,speed_m_s\n");
    let mut strips = String::from("field_id,season,strip_id,block\n");
    for (number, field) in ["East", "West"].into_iter().enumerate() {
        for strip in 1..=6 {
            let set = 100 + 60 * (strip % 3);
            strips.push_str(&format!("{field},2025,{strip},{}\n", 1 + strip / 4));
            for (day, up) in [(8, 20), (10, 110), (14, 150)] {
                let emerged = up + 3 * (strip % 3) - (strip / 3) + number as i32;
                counts[number].push_str(&format!("{field},2025,{strip},20,180,2025-05-{day:02}T08:00Z,{emerged}\n"));
            }
            for second in 0..30 {
                let row = format!("{field},2025,{strip},2025-05-01T09:{strip:02}:{second:02}Z,2.1,{set},{set}\n");
                if number == 0 {
                    telemetry.push_str(&row);
                }
            }
            if number == 1 {
                hand.push_str(&format!("{field},2025,{strip},{set},2.0\n"));
            }
        }
    }
    hand.push_str("West,2025,7,a lot,2.0\n");
    let field = "field_id,season,planted_at\nEast,2025,2025-05-01T08:00Z\nWest,2025,2025-05-01T08:00Z\n";
    let soil = "field_id,season,taken_at,depth_cm,moisture_feel\nEast,2025,2025-05-01T08:00Z,5,moist\nWest,2025,2025-05-01T08:00Z,5,moist\n";
    TestReview::new(&[
        ("field.csv", field),
        ("strip.csv", &strips),
        ("soil_note.csv", soil),
        ("setting_log-east.csv", &telemetry),
        ("setting_log-west.csv", &hand),
        ("stand_count-east.csv", &counts[0]),
        ("stand_count-west.csv", &counts[1]),
        ("evenstand.toml", "[analysis]\ndraws = 200\n"),
    ])
}

/// What a run says, without the time it took.
fn said(arguments: &[&str]) -> serde_json::Value {
    let mut said: serde_json::Value = serde_json::from_str(&evenstand(arguments).stdout).unwrap();
    let object = said.as_object_mut().unwrap();
    object.remove("elapsed_s");
    object.remove("report");
    said
}

/// Runs the review as it stands and from nothing, and holds the two against each other.
fn same_as_from_nothing(review: &Path, what: &str) {
    let folder = review.to_str().unwrap();
    let other = tempfile::tempdir().unwrap();
    let again = said(&["run", folder, "--json"]);
    let whole = said(&["run", folder, "--json", "--out", other.path().to_str().unwrap()]);
    assert_eq!(again, whole, "{what}: what is said");
    for part in ["store", "results", "report"] {
        let (found, expected) = (files_below(&review.join(part)), files_below(&other.path().join(part)));
        assert_eq!(found.keys().collect::<Vec<_>>(), expected.keys().collect::<Vec<_>>(), "{what}: files of {part}");
        let differing: Vec<_> = found.iter().filter(|(name, bytes)| expected[*name] != **bytes).collect();
        assert!(
            differing.is_empty(),
            "{what}: {part}/{:?}",
            differing.iter().map(|(name, _)| name).collect::<Vec<_>>()
        );
    }
}

#[test]
fn whatever_changes_the_result_is_that_of_a_run_from_nothing() {
    let review = review();
    let raw = review.path().join("raw");
    let change = |name: &str, from: &str, to: &str| {
        let path = if name.ends_with(".toml") { review.path().join(name) } else { raw.join(name) };
        let text = fs::read_to_string(&path).unwrap();
        assert!(text.contains(from), "{name} has no {from}");
        fs::write(path, text.replacen(from, to, 1)).unwrap();
    };
    same_as_from_nothing(review.path(), "the first run");
    same_as_from_nothing(review.path(), "nothing changed");
    change("stand_count-west.csv", ",150", ",151");
    same_as_from_nothing(review.path(), "one count");
    change("setting_log-west.csv", "a lot", "160");
    same_as_from_nothing(review.path(), "a row that was set aside");
    fs::copy(raw.join("stand_count-east.csv"), raw.join("stand_count-more.csv")).unwrap();
    same_as_from_nothing(review.path(), "a file more, with the rows of another");
    fs::remove_file(raw.join("stand_count-more.csv")).unwrap();
    same_as_from_nothing(review.path(), "a file less");
    change("field.csv", "East,2025,2025-05-01T08:00Z", "East,2025,2025-05-01T07:00Z");
    same_as_from_nothing(review.path(), "a field, which other files hang on");
    change("evenstand.toml", "200", "210");
    same_as_from_nothing(review.path(), "the settings");
    fs::rename(raw.join("stand_count-west.csv"), raw.join("stand_count-far-west.csv")).unwrap();
    same_as_from_nothing(review.path(), "a name");
}

#[test]
fn what_somebody_changed_in_an_output_folder_is_made_again() {
    let review = review();
    let folder = review.path().to_str().unwrap();
    evenstand(&["run", folder, "--quiet"]);
    for name in ["store/stand_count/season=2025", "results/strips.csv", "results/strips.parquet", "report/index.html"] {
        let path = review.path().join(name);
        let path = if path.is_dir() { fs::read_dir(path).unwrap().next().unwrap().unwrap().path() } else { path };
        let bytes = fs::read(&path).unwrap();
        fs::remove_file(&path).unwrap();
        evenstand(&["run", folder, "--quiet"]);
        assert!(fs::read(&path).unwrap() == bytes, "{name} was removed");
        fs::write(&path, b"something else").unwrap();
        evenstand(&["run", folder, "--quiet"]);
        assert!(fs::read(&path).unwrap() == bytes, "{name} was written over");
    }
}

/// Rows of a file that did not change are not read again: its Parquet file is the one it was.
#[cfg(unix)]
#[test]
fn a_changed_file_is_read_again_alone() {
    use std::os::unix::fs::MetadataExt;
    let review = review();
    let folder = review.path().to_str().unwrap();
    let files = || -> BTreeMap<String, u64> {
        let store = review.path().join("store");
        let kept = files_below(&store).into_keys().filter(|name| name.contains("season="));
        kept.map(|name| (name.clone(), fs::metadata(store.join(name)).unwrap().ino())).collect()
    };
    evenstand(&["ingest", folder, "--quiet"]);
    let before = files();
    let path = review.path().join("raw/stand_count-west.csv");
    fs::write(&path, fs::read_to_string(&path).unwrap().replacen(",150", ",151", 1)).unwrap();
    evenstand(&["ingest", folder, "--quiet"]);
    let after = files();
    let made_again: Vec<String> = after
        .iter()
        .filter(|(name, file)| before.get(*name) != Some(file))
        .map(|(name, _)| name.split('/').next().unwrap().to_owned())
        .collect();
    assert_eq!(before.len(), after.len());
    assert_eq!(made_again, ["field", "stand_count", "strip"], "fields and strips tell how others are read");
    // With everything as it was, nothing is touched.
    evenstand(&["ingest", folder, "--quiet"]);
    assert_eq!(files(), after);
    // Afresh, all of it is made again, with the same bytes: the old folder stays in its place.
    evenstand(&["ingest", folder, "--quiet", "--afresh"]);
    assert_eq!(files(), after);
}
