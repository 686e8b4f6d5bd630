//! Tells the program what it was built from: a number of its own, so that output of another build is never taken for that of this one,
//! and the version that it prints, with the commit and its date.

use std::collections::hash_map::DefaultHasher;
use std::env;
use std::fs;
use std::hash::{Hash, Hasher};
use std::io;
use std::path::Path;
use std::process::Command;

/// All that the program is built from.
const PARTS: [&str; 4] = ["Cargo.toml", "Cargo.lock", "pipeline", "schemas"];

fn main() -> io::Result<()> {
    let mut hasher = DefaultHasher::new();
    for part in PARTS {
        println!("cargo::rerun-if-changed={part}");
        hash(Path::new(part), &mut hasher)?;
    }
    println!("cargo::rustc-env=EVENSTAND_BUILD={:016x}", hasher.finish());
    let number = env::var("CARGO_PKG_VERSION").unwrap_or_default();
    let commit = commit().unwrap_or_else(|| "commit unknown".to_owned());
    println!("cargo::rustc-env=EVENSTAND_VERSION={number} ({commit})");
    Ok(())
}

/// Hashes a file, or the files of a folder in the order of their names. A lock file may be missing from a packed copy.
fn hash(path: &Path, hasher: &mut DefaultHasher) -> io::Result<()> {
    if path.is_dir() {
        let mut inside = fs::read_dir(path)?.map(|entry| Ok(entry?.path())).collect::<io::Result<Vec<_>>>()?;
        inside.sort();
        // The cluster is a program of its own.
        inside.retain(|path| !path.ends_with("target") && !path.ends_with("pipeline/cluster"));
        return inside.iter().try_for_each(|path| hash(path, hasher));
    }
    if let Ok(bytes) = fs::read(path) {
        (path.to_string_lossy().replace('\\', "/"), bytes).hash(hasher);
    }
    Ok(())
}

/// The commit that is checked out, its date, and whether sources differ from it. None without git, or where the sources came without
/// their history; a history that belongs to a folder above is not theirs.
fn commit() -> Option<String> {
    if !git(&["rev-parse", "--show-prefix"])?.is_empty() {
        return None;
    }
    // Files that change when another commit is checked out; the branch has none of its own while git keeps it packed. One that is
    // missing would count as changed at every build.
    let branch = git(&["symbolic-ref", "--quiet", "HEAD"]);
    for name in ["HEAD", "logs/HEAD", "packed-refs"].into_iter().chain(branch.as_deref()) {
        let file = git(&["rev-parse", "--git-path", name])?;
        if Path::new(&file).exists() {
            println!("cargo::rerun-if-changed={file}");
        }
    }
    let told = git(&["log", "-1", "--no-show-signature", "--abbrev=12", "--date=short", "--format=%h of %cd"])?;
    let status = ["--no-optional-locks", "status", "--porcelain", "--"].into_iter().chain(PARTS).collect::<Vec<_>>();
    let changed = if git(&status)?.is_empty() { "" } else { ", with changes" };
    Some(format!("commit {told}{changed}"))
}

/// What git answers, without the line's end; none where there is no git, or it has no answer.
fn git(arguments: &[&str]) -> Option<String> {
    let output = Command::new("git").args(arguments).output().ok()?;
    let text = String::from_utf8(output.stdout).ok()?;
    output.status.success().then(|| text.trim_end().to_owned())
}
