//! Damage to what was made is found by its digests, told with the way out, and mended from `raw/`.

use std::fs;
use std::path::Path;

use serde_json::Value;

use crate::support::{TestReview, files_below};
use crate::world::{made, review, same};

/// What can happen to a file: a byte turned over, its end lost, all of it lost.
fn damages(bytes: &[u8]) -> Vec<Option<Vec<u8>>> {
    let mut flipped = bytes.to_vec();
    let middle = bytes.len() / 2;
    flipped[middle] ^= 1;
    vec![Some(flipped), Some(bytes[..middle].to_vec()), None]
}

fn put(path: &Path, bytes: Option<&[u8]>) {
    match bytes {
        Some(bytes) => fs::write(path, bytes).unwrap(),
        None => fs::remove_file(path).unwrap(),
    }
}

/// Damages every file of a folder in turn; the next stage refuses it and names the file and the command that makes it again.
fn every_damage_is_refused(review: &TestReview, folder: &str, next: &str, again: &str) -> usize {
    let mut refused = 0;
    for (name, bytes) in files_below(&review.path().join(folder)) {
        let path = review.path().join(folder).join(&name);
        for damage in damages(&bytes) {
            put(&path, damage.as_deref());
            let said = review.run(next, &[]);
            let what = format!("{folder}/{name}, {}: {}", damage.map_or(0, |bytes| bytes.len()), said.stderr);
            assert_eq!(said.status, 2, "{what}");
            assert!(said.stderr.contains(&name) && said.stderr.contains(&format!("evenstand {again}")), "{what}");
            assert!(!said.stderr.contains("panicked"), "{what}");
            refused += 1;
        }
        fs::write(&path, bytes).unwrap();
    }
    assert!(review.run(next, &[]).status < 2, "{folder} is whole again");
    refused
}

#[test]
fn a_damaged_store_is_refused_and_made_again_from_raw() {
    let review = review();
    review.run("run", &[]);
    let whole = made(review.path());
    assert!(every_damage_is_refused(&review, "store", "model", "ingest") > 30);
    for (name, bytes) in files_below(&review.path().join("store")) {
        for damage in damages(&bytes) {
            put(&review.path().join("store").join(&name), damage.as_deref());
            assert!(review.run("ingest", &[]).status < 2, "{name}");
            same(&made(review.path()), &whole, &name);
        }
    }
}

#[test]
fn damaged_results_are_refused_and_made_again_from_the_store() {
    let review = review();
    review.run("run", &[]);
    let whole = made(review.path());
    assert!(every_damage_is_refused(&review, "results", "report", "model") > 200);
    for name in [".made-by-evenstand", ".made-from", "datapackage.json", "strips.parquet"] {
        let path = review.path().join("results").join(name);
        for damage in damages(&fs::read(&path).unwrap()) {
            put(&path, damage.as_deref());
            assert!(review.run("model", &[]).status < 2, "{name}");
            same(&made(review.path()), &whole, name);
        }
    }
}

/// Changes the account of a folder and signs it anew, as another version of the program would have.
fn as_another_version(folder: &Path, account: &str, change: impl FnOnce(&mut Value)) {
    let files = files_below(folder);
    let mut value: Value = serde_json::from_slice(&files[account]).unwrap();
    change(&mut value);
    evenstand_store::replace_folder(folder, |new| -> Result<(), evenstand_store::StoreError> {
        for (name, bytes) in files.iter().filter(|(name, _)| *name != ".made-by-evenstand") {
            let target = new.join(name);
            fs::create_dir_all(target.parent().unwrap()).unwrap();
            fs::write(target, if name == account { value.to_string().into_bytes() } else { bytes.clone() }).unwrap();
        }
        Ok(())
    })
    .unwrap();
}

#[test]
fn a_store_or_results_of_another_version_are_refused_with_the_way_out() {
    let review = review();
    review.run("run", &[]);
    let (whole, folder) = (made(review.path()), review.path());
    let changes = [
        ("a newer version", "layout", Value::from(99)),
        ("an older version", "layout", 0.into()),
        ("other columns", "columns", "0".into()),
    ];
    for (word, key, other) in changes {
        as_another_version(&folder.join("store"), "manifest.json", |value| value[key] = other);
        let said = review.run("model", &[]);
        assert_eq!(said.status, 2);
        assert!(said.stderr.contains(word) && said.stderr.contains("evenstand ingest"), "{}", said.stderr);
        assert!(review.run("ingest", &["--afresh"]).status < 2);
        same(&made(folder), &whole, word);
    }
    as_another_version(&folder.join("results"), "datapackage.json", |value| value["columns"] = "0".into());
    let said = review.run("report", &[]);
    assert_eq!(said.status, 2);
    assert!(said.stderr.contains("other columns") && said.stderr.contains("evenstand model"), "{}", said.stderr);
    assert!(review.run("model", &["--afresh"]).status < 2);
    same(&made(folder), &whole, "results");
}

#[test]
fn a_file_that_was_put_among_the_kept_rows_is_not_read() {
    let review = review();
    review.run("run", &[]);
    let whole = made(review.path());
    let folder = review.path().join("store/stand_count/season=2025");
    let kept = fs::read_dir(&folder).unwrap().next().unwrap().unwrap().path();
    fs::copy(kept, folder.join("copy.parquet")).unwrap();
    assert!(review.run("model", &["--afresh"]).status < 2);
    let mut found = made(review.path());
    assert!(found.remove("store/stand_count/season=2025/copy.parquet").is_some());
    same(&found, &whole, "rows counted twice");
}

#[test]
fn a_parquet_file_that_was_cut_short_is_named_and_the_others_are_read() {
    let review = review();
    review.run("ingest", &[]);
    let folder = review.path().join("store/stand_count/season=2025");
    let bytes = fs::read(fs::read_dir(&folder).unwrap().next().unwrap().unwrap().path()).unwrap();
    for length in [0, 4, bytes.len() / 2, bytes.len() - 1] {
        fs::write(review.path().join("raw/stand_count-more.parquet"), &bytes[..length]).unwrap();
        let said = review.run("ingest", &[]);
        assert_eq!(said.status, 1, "{}", said.stderr);
        assert!(
            said.stderr.contains("stand_count-more.parquet") && !said.stderr.contains("panicked"),
            "{}",
            said.stderr
        );
        assert_eq!(review.kept("stand_count").len(), 36);
    }
}
