//! What is done with a small review, and what is compared of it.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::{Command, Output};

pub use crate::small_review::small_review as review;
use crate::support::files_below;

/// Folders that a run makes.
pub const MADE: [&str; 3] = ["store", "results", "report"];

/// Changes one count, and with it the store, the results and the report.
pub fn change(review: &Path) {
    let path = review.join("raw/stand_count-west.csv");
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
