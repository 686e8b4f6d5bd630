//! The inputs kept in `corpus/`.

use std::fs;
use std::path::{Path, PathBuf};

/// The inputs of a target, in the order of their names, with their names. Fails where its folder cannot be read.
pub fn inputs(target: &str) -> std::io::Result<Vec<(String, Vec<u8>)>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("corpus").join(target);
    let mut files: Vec<PathBuf> =
        fs::read_dir(folder)?.map(|entry| Ok(entry?.path())).collect::<std::io::Result<_>>()?;
    files.sort();
    let named =
        |path: &PathBuf| Ok((path.file_name().unwrap_or_default().to_string_lossy().into_owned(), fs::read(path)?));
    files.iter().map(named).collect()
}
