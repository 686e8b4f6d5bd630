//! Gives the program a number of its own: a hash of all that it is built from. Output of another build is never taken for that of this one.

use std::collections::hash_map::DefaultHasher;
use std::fs;
use std::hash::{Hash, Hasher};
use std::io;
use std::path::Path;

fn main() -> io::Result<()> {
    let mut hasher = DefaultHasher::new();
    for part in ["Cargo.toml", "Cargo.lock", "pipeline", "schemas"] {
        println!("cargo::rerun-if-changed={part}");
        hash(Path::new(part), &mut hasher)?;
    }
    println!("cargo::rustc-env=EVENSTAND_BUILD={:016x}", hasher.finish());
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
