//! A review in which little changed: what hangs on it is done again, all else stays, and every byte is that of a run from nothing.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use crate::small_review::small_review;
use crate::support::{TestReview, evenstand, files_below};

/// The small review with a row that is set aside.
fn review() -> TestReview {
    let review = small_review();
    let path = review.path().join("raw/setting_log-west.csv");
    fs::write(&path, fs::read_to_string(&path).unwrap() + "West,2025,7,a lot,2.0\n").unwrap();
    review
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
    change("field.csv", "East,2025,2025-05-01T08:00", "East,2025,2025-05-01T07:00");
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
