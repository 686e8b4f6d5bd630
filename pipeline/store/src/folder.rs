//! Replaces a whole folder in one step.

use std::collections::BTreeMap;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use crate::StoreError;

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
pub fn replace_folder<E: From<StoreError>>(
    target: &Path,
    build: impl FnOnce(&Path) -> Result<(), E>,
) -> Result<Replaced, E> {
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
    if let Err(error) = build(&staging) {
        let _ = remove(&staging);
        return Err(error);
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

fn same_files(left: &Path, right: &Path) -> io::Result<bool> {
    let (left_files, right_files) = (files(left)?, files(right)?);
    if left_files != right_files {
        return Ok(false);
    }
    for relative in left_files.keys() {
        if fs::read(left.join(relative))? != fs::read(right.join(relative))? {
            return Ok(false);
        }
    }
    Ok(true)
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
