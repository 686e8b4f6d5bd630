//! Every kept input through its target, and some hundred damaged ones: the same on every run, in some seconds.
//!
//! `EVENSTAND_HOSTILE_INPUTS=N` gives every target N damaged inputs instead of its ordinary number.

#![allow(clippy::unwrap_used)]

use std::panic::catch_unwind;
use std::time::{Duration, Instant};

use evenstand_hostile::{TARGETS, Target, damage, inputs};

/// Ten times what is promised of a reader: a machine that runs other things takes longer.
const LONGEST: Duration = Duration::from_secs(20);

fn passes(target: &Target, name: &str, bytes: &[u8]) {
    let (run, began) = (target.run, Instant::now());
    let ended = catch_unwind(|| run(bytes));
    let shown = String::from_utf8_lossy(&bytes[..bytes.len().min(2000)]);
    assert!(ended.is_ok(), "{}, {name}, {} bytes: panicked on\n{shown}", target.name, bytes.len());
    assert!(began.elapsed() < LONGEST, "{}, {name}: took {:?} for\n{shown}", target.name, began.elapsed());
}

#[test]
fn every_kept_input_is_read_or_refused() {
    for target in TARGETS {
        let kept = inputs(target.name).unwrap();
        assert!(!kept.is_empty(), "corpus/{} is empty", target.name);
        for (name, bytes) in kept {
            passes(target, &name, &bytes);
        }
    }
}

#[test]
fn damaged_inputs_are_read_or_refused() {
    let asked: Option<u64> = std::env::var("EVENSTAND_HOSTILE_INPUTS").ok().map(|asked| asked.parse().unwrap());
    for target in TARGETS {
        let seeds: Vec<Vec<u8>> = inputs(target.name).unwrap().into_iter().map(|(_, bytes)| bytes).collect();
        for number in 0..asked.unwrap_or(target.ordinary) {
            passes(target, &format!("input {number} of seed 1"), &damage::input(&seeds, 1, number));
        }
    }
}

#[test]
fn every_folder_of_the_corpus_has_its_target_and_its_fuzzer() {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    let folders = std::fs::read_dir(root.join("corpus")).unwrap();
    let mut folders: Vec<String> = folders.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    folders.sort();
    let mut names: Vec<&str> = TARGETS.iter().map(|target| target.name).collect();
    names.sort_unstable();
    assert_eq!(folders, names);
    let manifest: toml::Table = std::fs::read_to_string(root.join("fuzz/Cargo.toml")).unwrap().parse().unwrap();
    let mut fuzzed: Vec<&str> =
        manifest["bin"].as_array().unwrap().iter().map(|bin| bin["name"].as_str().unwrap()).collect();
    fuzzed.sort_unstable();
    // Linking brings polars, which is too much to build under a fuzzer.
    names.retain(|name| *name != "link");
    assert_eq!(fuzzed, names);
}
