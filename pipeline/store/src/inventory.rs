//! The list of files that a folder was made with: what tells our files from those of others, and whole ones from damaged ones.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use crate::{StoreError, sha256_of_bytes, sha256_of_file};

/// Name of the list: a line each file, its SHA-256 and its name, as `sha256sum --check` reads them. The last line is the SHA-256 of the others
/// behind a `#`, so that a list cut short is known as such.
pub(crate) const INVENTORY: &str = ".made-by-evenstand";
/// Name of the file that says what a folder was made from.
const MADE_FROM: &str = ".made-from";

/// A folder whose files are as they were made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CheckedFolder {
    /// Names of the files it was made with, with forward slashes.
    pub names: BTreeSet<String>,
    /// What it says it was made from, where it does.
    pub made_from: Option<String>,
    /// SHA-256 of the list of its files, which stands for all their bytes.
    pub contents: String,
}

/// Notes in a folder what it is made from: any text of one line that is another one wherever the folder would be.
pub fn note_made_from(folder: &Path, made_from: &str) -> Result<(), StoreError> {
    let path = folder.join(MADE_FROM);
    fs::write(&path, format!("{made_from}\n")).map_err(|error| StoreError::file(&path, &error))
}

/// Holds every file of a folder against the digest it was made with. Errors name the first file, in the order of the list, that is missing or has
/// other bytes. Files of somebody else are passed over.
pub fn check_folder(folder: &Path) -> Result<CheckedFolder, StoreError> {
    let path = folder.join(INVENTORY);
    let text = match fs::read(&path) {
        Ok(bytes) => String::from_utf8_lossy(&bytes).into_owned(),
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            return Err(StoreError::damaged(&path, "it is missing, and it lists the files of its folder"));
        }
        Err(error) => return Err(StoreError::file(&path, &error)),
    };
    let lines =
        whole_list(&text).ok_or_else(|| StoreError::damaged(&path, "its own digest is not that of its lines"))?;
    let files: Vec<(&str, &str)> = lines
        .lines()
        .map(|line| match listed(line) {
            (Some(sha256), name) => Ok((sha256, name)),
            (None, _) => Err(StoreError::damaged(&path, "a line is no digest and name")),
        })
        .collect::<Result<_, _>>()?;
    let found: Vec<Result<(), StoreError>> = files
        .par_iter()
        .map(|(sha256, name)| {
            let path = folder.join(name);
            if !path.exists() {
                return Err(StoreError::damaged(&path, "it is missing"));
            }
            match sha256_of_file(&path)? == *sha256 {
                true => Ok(()),
                false => Err(StoreError::damaged(&path, "its digest is not the one it was made with")),
            }
        })
        .collect();
    found.into_iter().collect::<Result<(), _>>()?;
    Ok(CheckedFolder {
        names: files.iter().map(|(_, name)| (*name).to_owned()).collect(),
        made_from: files
            .iter()
            .any(|(_, name)| *name == MADE_FROM)
            .then(|| fs::read_to_string(folder.join(MADE_FROM)).ok())
            .flatten()
            .map(|text| text.trim_end().to_owned()),
        contents: sha256_of_bytes(text.as_bytes()),
    })
}

/// What a folder says it was made from; `None` where there is no such folder or note, or where one of its files is not as it was made.
pub fn made_from(folder: &Path) -> Option<String> {
    check_folder(folder).ok()?.made_from
}

/// SHA-256 of the list of a folder's files, which stands for all their bytes; `None` where there is none.
pub fn contents_of(folder: &Path) -> Option<String> {
    sha256_of_file(&folder.join(INVENTORY)).ok()
}

/// Names of the files that a folder says it was made with, also where the list is damaged or of an older version.
pub(crate) fn listed_names(folder: &Path) -> BTreeSet<String> {
    let bytes = fs::read(folder.join(INVENTORY)).unwrap_or_default();
    String::from_utf8_lossy(&bytes).lines().map(|line| listed(line).1.to_owned()).collect()
}

/// The lines of a list without its last one; `None` where that is not their digest.
fn whole_list(text: &str) -> Option<&str> {
    let (lines, digest) = text.strip_suffix('\n')?.rsplit_once("# ")?;
    (sha256_of_bytes(lines.as_bytes()) == digest).then_some(lines)
}

/// The two parts of a line of the inventory; of folders made before digests were listed the name alone.
fn listed(line: &str) -> (Option<&str>, &str) {
    match line.split_once("  ") {
        Some((sha256, name)) if sha256.len() == 64 && sha256.bytes().all(|byte| byte.is_ascii_hexdigit()) => {
            (Some(sha256), name)
        }
        _ => (None, line),
    }
}

/// Writes the list of a folder's files. `known` are digests of files that were not touched since they were written.
pub(crate) fn write_inventory(folder: &Path, known: &BTreeMap<PathBuf, String>) -> io::Result<()> {
    let names: Vec<PathBuf> = files(folder)?.into_keys().filter(|name| name != Path::new(INVENTORY)).collect();
    let lines: Vec<String> = names
        .par_iter()
        .map(|name| {
            let read = || sha256_of_file(&folder.join(name)).map_err(|error| io::Error::other(error.to_string()));
            let sha256 = known.get(name).map_or_else(read, |sha256| Ok(sha256.clone()))?;
            Ok(format!("{sha256}  {}\n", name.to_string_lossy().replace('\\', "/")))
        })
        .collect::<io::Result<_>>()?;
    let lines = lines.concat();
    fs::write(folder.join(INVENTORY), format!("{lines}# {}\n", sha256_of_bytes(lines.as_bytes())))
}

/// Relative paths and sizes of all files below a folder.
pub(crate) fn files(root: &Path) -> io::Result<BTreeMap<PathBuf, u64>> {
    let mut found = BTreeMap::new();
    let mut folders = vec![PathBuf::new()];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(root.join(&folder))? {
            let entry = entry?;
            let relative = folder.join(entry.file_name());
            if entry.file_type()?.is_dir() {
                folders.push(relative);
            } else {
                found.insert(relative, entry.metadata()?.len());
            }
        }
    }
    Ok(found)
}
