//! Replaces a whole folder in one step.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use crate::{StoreError, sha256_of_bytes, sha256_of_file};

/// What became of the folder.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Replaced {
    /// The new folder stands in its place.
    Changed,
    /// The new folder would have had the same bytes; nothing was touched.
    Unchanged,
}

/// Builds a folder aside with `build` and puts it in the place of `target`.
///
/// The new folder is made as a hidden sibling and exchanged with the old one by one system call where there is one
/// (Linux), by two renames elsewhere; a run that died between the two is repaired by the next. Where every file has
/// the bytes it had, the old folder stays untouched. When `build` fails the old folder stays and the new one goes.
///
/// The names of the files made are kept in the folder itself (`INVENTORY`), with their SHA-256. A file in the old folder that is not among
/// them belongs to somebody else: it is carried over, and where a new file would take its place nothing is replaced.
pub fn replace_folder<E: From<StoreError>>(
    target: &Path,
    build: impl FnOnce(&Path) -> Result<(), E>,
) -> Result<Replaced, E> {
    replace_folder_by(target, |new| build(new.path()))
}

/// A folder that is being made.
#[derive(Debug)]
pub struct NewFolder {
    path: PathBuf,
    /// What was written, with its SHA-256.
    written: BTreeMap<PathBuf, String>,
    /// Folders below it that are there.
    folders: BTreeSet<PathBuf>,
}

impl NewFolder {
    /// Where it is made.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Writes a file of it, in a folder below it where the name says so. What is written in this way need not be read again for the list of
    /// files. Errors where it cannot be written.
    pub fn write(&mut self, name: &str, bytes: &[u8]) -> io::Result<()> {
        let name = PathBuf::from(name);
        if let Some(parent) = name.parent().filter(|parent| !self.folders.contains(*parent)) {
            fs::create_dir_all(self.path.join(parent))?;
            self.folders.insert(parent.to_owned());
        }
        fs::write(self.path.join(&name), bytes)?;
        self.written.insert(name, sha256_of_bytes(bytes));
        Ok(())
    }
}

/// As [`replace_folder`], for a folder of many files: it takes their bytes.
pub fn replace_folder_by<E: From<StoreError>>(
    target: &Path,
    build: impl FnOnce(&mut NewFolder) -> Result<(), E>,
) -> Result<Replaced, E> {
    // Exchanging folders would take the link away and leave what it leads to as it was, out of date and in nobody's sight.
    if target.is_symlink() {
        return Err(StoreError::Link { path: target.to_owned() }.into());
    }
    let staging = sibling(target, "new");
    let retired = sibling(target, "old");
    let at = |path: &Path| {
        let path = path.to_owned();
        move |error: io::Error| StoreError::file(&path, &error)
    };
    if !target.exists() && retired.exists() {
        fs::rename(&retired, target).map_err(at(target))?;
    }
    remove(&staging).map_err(at(&staging))?;
    remove(&retired).map_err(at(&retired))?;
    fs::create_dir_all(&staging).map_err(at(&staging))?;
    let mut new = NewFolder { path: staging.clone(), written: BTreeMap::new(), folders: BTreeSet::new() };
    if let Err(error) = build(&mut new) {
        let _ = remove(&staging);
        return Err(error);
    }
    write_inventory(&staging, &new.written).map_err(at(&staging))?;
    if target.exists()
        && let Err(error) = carry_over(target, &staging)
    {
        let _ = remove(&staging);
        return Err(error.into());
    }
    if target.exists() && same_files(target, &staging).map_err(at(target))? {
        remove(&staging).map_err(at(&staging))?;
        return Ok(Replaced::Unchanged);
    }
    if !target.exists() {
        fs::rename(&staging, target).map_err(at(target))?;
    } else if exchange(&staging, target).is_ok() {
        remove(&staging).map_err(at(&staging))?;
    } else {
        fs::rename(target, &retired).map_err(at(target))?;
        fs::rename(&staging, target).map_err(at(target))?;
        remove(&retired).map_err(at(&retired))?;
    }
    Ok(Replaced::Changed)
}

/// Name of the list of files that a folder was made with: a line each, its SHA-256 and its name, as `sha256sum --check` reads them.
const INVENTORY: &str = ".made-by-evenstand";
/// Name of the file that says what a folder was made from.
const MADE_FROM: &str = ".made-from";

/// Notes in a folder what it is made from: any text of one line that is another one wherever the folder would be.
pub fn note_made_from(folder: &Path, made_from: &str) -> Result<(), StoreError> {
    let path = folder.join(MADE_FROM);
    fs::write(&path, format!("{made_from}\n")).map_err(|error| StoreError::file(&path, &error))
}

/// What a folder says it was made from; `None` where there is no such folder or note, or where one of its files is not as it was made.
pub fn made_from(folder: &Path) -> Option<String> {
    let inventory = fs::read_to_string(folder.join(INVENTORY)).ok()?;
    let intact = inventory.par_lines().all(|line| {
        let (sha256, name) = listed(line);
        sha256.is_some_and(|sha256| sha256_of_file(&folder.join(name)).is_ok_and(|found| found == sha256))
    });
    intact.then(|| fs::read_to_string(folder.join(MADE_FROM)).ok()).flatten().map(|text| text.trim_end().to_owned())
}

/// SHA-256 of the list of a folder's files, which stands for all their bytes; `None` where there is none.
pub fn contents_of(folder: &Path) -> Option<String> {
    sha256_of_file(&folder.join(INVENTORY)).ok()
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
fn write_inventory(folder: &Path, known: &BTreeMap<PathBuf, String>) -> io::Result<()> {
    let names: Vec<PathBuf> = files(folder)?.into_keys().collect();
    let lines: Vec<String> = names
        .par_iter()
        .map(|name| {
            let read = || sha256_of_file(&folder.join(name)).map_err(|error| io::Error::other(error.to_string()));
            let sha256 = known.get(name).map_or_else(read, |sha256| Ok(sha256.clone()))?;
            Ok(format!("{sha256}  {}\n", name.to_string_lossy()))
        })
        .collect::<io::Result<_>>()?;
    fs::write(folder.join(INVENTORY), lines.concat())
}

/// Copies files that this program did not make from the old folder into the new one.
fn carry_over(target: &Path, staging: &Path) -> Result<(), StoreError> {
    let inventory = fs::read_to_string(target.join(INVENTORY)).unwrap_or_default();
    let ours: BTreeSet<&str> = inventory.lines().map(|line| listed(line).1).chain([INVENTORY]).collect();
    for name in files(target).map_err(|error| StoreError::file(target, &error))?.into_keys() {
        if ours.contains(name.to_string_lossy().as_ref()) {
            continue;
        }
        let (old, new) = (target.join(&name), staging.join(&name));
        if new.exists() {
            return Err(StoreError::NotOurs { path: old });
        }
        let folder = new.parent().unwrap_or(staging);
        fs::create_dir_all(folder)
            .and_then(|()| fs::copy(&old, &new))
            .map_err(|error| StoreError::file(&old, &error))?;
    }
    Ok(())
}

fn sibling(target: &Path, suffix: &str) -> PathBuf {
    let name = target.file_name().unwrap_or_default().to_string_lossy();
    target.with_file_name(format!(".{name}.{suffix}"))
}

fn remove(path: &Path) -> io::Result<()> {
    match fs::remove_dir_all(path) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => Err(error),
        _ => Ok(()),
    }
}

#[cfg(target_os = "linux")]
fn exchange(left: &Path, right: &Path) -> io::Result<()> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    Ok(renameat_with(CWD, left, CWD, right, RenameFlags::EXCHANGE)?)
}

#[cfg(not(target_os = "linux"))]
fn exchange(_: &Path, _: &Path) -> io::Result<()> {
    Err(io::ErrorKind::Unsupported.into())
}

/// Whether two folders hold the same files with the same bytes. Files that differ in size, as most do that differ, are not read.
fn same_files(left: &Path, right: &Path) -> io::Result<bool> {
    let (left_files, right_files) = (files(left)?, files(right)?);
    if left_files != right_files {
        return Ok(false);
    }
    let same = |name: &PathBuf| Ok(fs::read(left.join(name))? == fs::read(right.join(name))?);
    // The list of files has a digest of each: where it differs, nothing else has to be read.
    if left_files.contains_key(Path::new(INVENTORY)) && !same(&PathBuf::from(INVENTORY))? {
        return Ok(false);
    }
    let compared: Vec<bool> = left_files.par_iter().map(|(name, _)| same(name)).collect::<io::Result<_>>()?;
    Ok(compared.into_iter().all(|same| same))
}

/// Relative paths and sizes of all files below a folder.
fn files(root: &Path) -> io::Result<BTreeMap<PathBuf, u64>> {
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

#[cfg(test)]
mod tests {
    use super::*;

    fn write(text: &'static str) -> impl FnOnce(&Path) -> Result<(), StoreError> {
        move |folder| fs::write(folder.join("a.txt"), text).map_err(|error| StoreError::file(folder, &error))
    }

    #[test]
    fn the_folder_is_old_or_new_and_untouched_when_nothing_changed() {
        let base = tempfile::tempdir().unwrap();
        let target = base.path().join("store");
        assert_eq!(replace_folder(&target, write("one")).unwrap(), Replaced::Changed);
        let made = fs::metadata(target.join("a.txt")).unwrap().modified().unwrap();
        assert_eq!(replace_folder(&target, write("one")).unwrap(), Replaced::Unchanged);
        assert_eq!(fs::metadata(target.join("a.txt")).unwrap().modified().unwrap(), made);
        assert_eq!(replace_folder(&target, write("two")).unwrap(), Replaced::Changed);
        assert_eq!(fs::read_to_string(target.join("a.txt")).unwrap(), "two");
        assert_eq!(fs::read_dir(base.path()).unwrap().count(), 1, "nothing is left beside the folder");
    }

    #[test]
    fn a_folder_made_of_bytes_is_listed_as_one_made_of_files() {
        let base = tempfile::tempdir().unwrap();
        let inventory = |name: &str| fs::read_to_string(base.path().join(name).join(INVENTORY)).unwrap();
        let by_bytes = |new: &mut NewFolder| -> Result<(), StoreError> {
            new.write("deep/b.txt", b"two")
                .and_then(|()| new.write("a.txt", b"one"))
                .map_err(|e| StoreError::file(new.path(), &e))?;
            note_made_from(new.path(), "these")
        };
        let by_files = |folder: &Path| {
            note_made_from(folder, "these")?;
            fs::create_dir(folder.join("deep")).unwrap();
            fs::write(folder.join("deep/b.txt"), "two").unwrap();
            write("one")(folder)
        };
        let bytes = base.path().join("bytes");
        replace_folder_by::<StoreError>(&bytes, by_bytes).unwrap();
        replace_folder::<StoreError>(&base.path().join("files"), by_files).unwrap();
        assert_eq!(inventory("bytes"), inventory("files"));
        assert_eq!(made_from(&bytes).as_deref(), Some("these"));
        assert_eq!(replace_folder_by::<StoreError>(&bytes, by_bytes).unwrap(), Replaced::Unchanged);
        fs::write(bytes.join("deep/b.txt"), "owt").unwrap();
        assert_eq!(replace_folder_by::<StoreError>(&bytes, by_bytes).unwrap(), Replaced::Changed);
        assert_eq!(fs::read_to_string(bytes.join("deep/b.txt")).unwrap(), "two");
    }

    #[test]
    fn a_build_that_fails_leaves_the_old_folder() {
        let base = tempfile::tempdir().unwrap();
        let target = base.path().join("store");
        replace_folder(&target, write("one")).unwrap();
        let failed = replace_folder(&target, |folder| {
            fs::write(folder.join("a.txt"), "half").unwrap();
            Err(StoreError::damaged(folder, "on purpose"))
        });
        assert!(failed.is_err());
        assert_eq!(fs::read_to_string(target.join("a.txt")).unwrap(), "one");
    }

    #[test]
    fn a_file_of_somebody_else_is_carried_over_and_never_replaced() {
        let base = tempfile::tempdir().unwrap();
        let target = base.path().join("report");
        replace_folder(&target, write("one")).unwrap();
        fs::create_dir(target.join("mine")).unwrap();
        fs::write(target.join("mine/thesis.txt"), "mine").unwrap();
        replace_folder(&target, write("two")).unwrap();
        assert_eq!(fs::read_to_string(target.join("a.txt")).unwrap(), "two");
        assert_eq!(fs::read_to_string(target.join("mine/thesis.txt")).unwrap(), "mine");
        let other = base.path().join("results");
        fs::create_dir(&other).unwrap();
        fs::write(other.join("a.txt"), "mine").unwrap();
        let message = replace_folder(&other, write("one")).unwrap_err().to_string();
        assert!(message.contains("a.txt") && message.contains("--out"), "{message}");
        assert_eq!(fs::read_to_string(other.join("a.txt")).unwrap(), "mine");
    }

    #[test]
    fn what_a_folder_was_made_from_is_told_as_long_as_its_files_are_as_made() {
        let base = tempfile::tempdir().unwrap();
        let target = base.path().join("store");
        assert_eq!(made_from(&target), None);
        let build = |folder: &Path| {
            note_made_from(folder, "these")?;
            write("one")(folder)
        };
        replace_folder::<StoreError>(&target, build).unwrap();
        assert_eq!(made_from(&target).as_deref(), Some("these"));
        let contents = contents_of(&target);
        fs::write(target.join("mine.txt"), "a file of somebody else changes nothing").unwrap();
        assert_eq!((made_from(&target).as_deref(), contents_of(&target)), (Some("these"), contents));
        fs::write(target.join("a.txt"), "two").unwrap();
        assert_eq!(made_from(&target), None, "a changed file");
        fs::remove_file(target.join("a.txt")).unwrap();
        assert_eq!(made_from(&target), None, "a missing file");
    }

    #[test]
    fn a_folder_with_names_alone_in_its_list_is_replaced_and_not_trusted() {
        let base = tempfile::tempdir().unwrap();
        let target = base.path().join("store");
        fs::create_dir(&target).unwrap();
        fs::write(target.join("a.txt"), "one").unwrap();
        fs::write(target.join(MADE_FROM), "these\n").unwrap();
        fs::write(target.join(INVENTORY), ".made-from\na.txt\n").unwrap();
        assert_eq!(made_from(&target), None);
        assert_eq!(replace_folder(&target, write("two")).unwrap(), Replaced::Changed);
        assert_eq!(fs::read_to_string(target.join("a.txt")).unwrap(), "two");
    }

    #[test]
    fn a_run_that_died_between_two_renames_is_repaired() {
        let base = tempfile::tempdir().unwrap();
        let target = base.path().join("store");
        replace_folder(&target, write("one")).unwrap();
        fs::rename(&target, base.path().join(".store.old")).unwrap();
        let failed = replace_folder(&target, |folder| Err(StoreError::damaged(folder, "on purpose")));
        assert!(failed.is_err());
        assert_eq!(fs::read_to_string(target.join("a.txt")).unwrap(), "one");
    }
}
