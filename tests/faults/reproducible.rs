//! The same input gives the same bytes: on any number of threads, anywhere, at any time.

use std::fs::{self, File};
use std::path::Path;
use std::process::Command;
use std::time::{Duration, SystemTime};

use crate::support::{TestReview, files_below, root};
use crate::world::{can, made, program, review, same};

/// Runs a review in another folder than its own with a command around it, and gives what was made.
fn made_with(
    review: &Path,
    wrapper: &[&str],
    environment: &[(&str, &str)],
) -> std::collections::BTreeMap<String, Vec<u8>> {
    let out = tempfile::tempdir().unwrap();
    let mut command = match wrapper {
        [] => program(),
        [first, rest @ ..] => {
            let mut command = Command::new(first);
            command.args(rest).arg(env!("CARGO_BIN_EXE_evenstand"));
            command
        }
    };
    let status = command
        .args(["run", "--quiet"])
        .arg(review)
        .arg("--out")
        .arg(out.path())
        .envs(environment.iter().copied())
        .status()
        .unwrap();
    assert!(status.code().is_some_and(|code| code < 2), "{wrapper:?} {environment:?}");
    made(out.path())
}

#[test]
fn threads_time_zones_and_languages_change_no_byte() {
    let review = review();
    let usual = made_with(review.path(), &[], &[]);
    same(&made_with(review.path(), &[], &[]), &usual, "a second time");
    let surroundings: [&[(&str, &str)]; 5] = [
        &[("RAYON_NUM_THREADS", "1"), ("POLARS_MAX_THREADS", "1")],
        &[("RAYON_NUM_THREADS", "2"), ("POLARS_MAX_THREADS", "2")],
        &[("RAYON_NUM_THREADS", "7"), ("POLARS_MAX_THREADS", "3")],
        &[("TZ", "Pacific/Auckland"), ("LC_ALL", "de_DE.UTF-8"), ("LANG", "de_DE.UTF-8")],
        &[("TZ", "America/St_Johns"), ("LC_ALL", "tr_TR.UTF-8"), ("HOME", "/nowhere"), ("COLUMNS", "40")],
    ];
    for environment in surroundings {
        same(&made_with(review.path(), &[], environment), &usual, &format!("{environment:?}"));
    }
    if can("taskset", &["-c", "0", "true"]) {
        same(&made_with(review.path(), &["taskset", "-c", "0"], &[]), &usual, "one core");
    }
    if cfg!(unix) {
        let private = ["sh", "-c", "umask 077; exec \"$0\" \"$@\""];
        same(&made_with(review.path(), &private, &[]), &usual, "a private umask");
    }
}

#[test]
fn another_folder_and_other_times_of_the_files_change_no_byte() {
    let review = review();
    let usual = made_with(review.path(), &[], &[]);
    let copy = TestReview::copy_of(review.path());
    let names: Vec<String> = files_below(copy.path()).into_keys().collect();
    assert!(names.len() >= 7);
    for (name, age) in names.iter().zip(1..) {
        let file = File::options().write(true).open(copy.path().join(name)).unwrap();
        file.set_modified(SystemTime::now() - Duration::from_secs(age * 86_400 * 500)).unwrap();
    }
    same(&made_with(copy.path(), &[], &[]), &usual, "an older copy");
    // Where the review is given as the folder one is in, it has the same name.
    fs::write(copy.path().join("evenstand.toml"), "[analysis]\ndraws = 200\n").unwrap();
    let named = made_with(copy.path(), &[], &[]);
    let inside = tempfile::tempdir().unwrap();
    let mut command = program();
    command.current_dir(copy.path()).args(["run", ".", "--quiet", "--out"]).arg(inside.path());
    assert!(command.status().unwrap().code().unwrap() < 2);
    same(&made(inside.path()), &named, "the folder one is in");
}

/// At length: `cargo test --release --workspace --test faults -- --ignored`.
#[test]
#[ignore = "two runs of the demo"]
fn the_demo_on_one_core_has_the_bytes_of_the_demo_on_all() {
    let demo = root().join("sample-data/winter-review");
    if can("taskset", &["-c", "0", "true"]) {
        same(&made_with(&demo, &["taskset", "-c", "0"], &[]), &made_with(&demo, &[], &[]), "the demo on one core");
    }
}

/// Another binary, such as one built for debugging, is held against this one: `EVENSTAND_OTHER=PATH`.
#[test]
#[ignore = "needs another binary, named by EVENSTAND_OTHER"]
fn another_build_has_the_same_results() {
    let Ok(other) = std::env::var("EVENSTAND_OTHER") else {
        println!("skipped: EVENSTAND_OTHER names no binary");
        return;
    };
    for folder in [review().path(), &root().join("sample-data/winter-review")] {
        let out = tempfile::tempdir().unwrap();
        let copy = TestReview::copy_of(folder);
        let mut command = Command::new(&other);
        command.args(["run", "--quiet"]).arg(copy.path()).arg("--out").arg(out.path());
        assert!(command.status().unwrap().code().unwrap() < 2);
        same(&made(out.path()), &made_with(copy.path(), &[], &[]), &folder.display().to_string());
    }
}
