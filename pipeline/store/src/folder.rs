//! Replaces a whole folder in one step.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use crate::error::words;
use crate::inventory::{INVENTORY, files, listed_names, write_inventory};
use crate::{StoreError, sha256_of_bytes};

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
/// The names of the files made are kept in the folder itself (its inventory), with their SHA-256. A file in the old folder that is not among
/// them belongs to somebody else: it is carried over, and where a new file of other bytes would take its place nothing is replaced.
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
        let told = |error: io::Error| io::Error::new(error.kind(), words(&error));
        let name = PathBuf::from(name);
        if let Some(parent) = name.parent().filter(|parent| !self.folders.contains(*parent)) {
            fs::create_dir_all(self.path.join(parent)).map_err(told)?;
            self.folders.insert(parent.to_owned());
        }
        fs::write(self.path.join(&name), bytes).map_err(told)?;
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
    tidy(target)?;
    // Empty until all is written: where this run is killed, the next one sees whose folder it is.
    if let Err(error) = fs::create_dir_all(&staging).and_then(|()| fs::write(staging.join(INVENTORY), "")) {
        let _ = remove(&staging);
        return Err(StoreError::file(&staging, &error).into());
    }
    let mut new = NewFolder { path: staging.clone(), written: BTreeMap::new(), folders: BTreeSet::new() };
    if let Err(error) = build(&mut new) {
        let _ = remove(&staging);
        return Err(error);
    }
    if let Err(error) = write_inventory(&staging, &new.written) {
        let _ = remove(&staging);
        return Err(StoreError::file(&staging, &error).into());
    }
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

/// Clears away what a killed run left beside a folder: a new one that was not finished, an old one that was replaced. Where the run died between
/// two renames, the old folder is put back. A folder of such a name that is not of our making is an error.
pub fn tidy(target: &Path) -> Result<(), StoreError> {
    let (staging, retired) = (sibling(target, "new"), sibling(target, "old"));
    for left in [&staging, &retired] {
        if left.exists() && !is_ours(left).map_err(|error| StoreError::file(left, &error))? {
            return Err(StoreError::NotOurs { path: left.clone() });
        }
    }
    if !target.exists() && retired.exists() {
        fs::rename(&retired, target).map_err(|error| StoreError::file(target, &error))?;
    }
    for left in [staging, retired] {
        remove(&left).map_err(|error| StoreError::file(&left, &error))?;
    }
    Ok(())
}

/// Whether this program made a folder: its inventory is in it, or nothing is, as when a run was killed between making folder and inventory.
fn is_ours(folder: &Path) -> io::Result<bool> {
    Ok(folder.join(INVENTORY).exists() || fs::read_dir(folder)?.next().is_none())
}

/// [`tidy`] for every folder in `parent` that a killed run left something beside. Folders of somebody else stay.
pub fn tidy_all_in(parent: &Path) -> Result<(), StoreError> {
    let Ok(entries) = fs::read_dir(parent) else { return Ok(()) };
    for entry in entries.flatten() {
        let name = entry.file_name().to_string_lossy().into_owned();
        let hidden = name.strip_prefix('.');
        let of = hidden.and_then(|name| name.strip_suffix(".new").or_else(|| name.strip_suffix(".old")));
        let ours = entry.path().is_dir() && is_ours(&entry.path()).unwrap_or(false);
        if let Some(of) = of.filter(|of| !of.is_empty() && ours) {
            tidy(&parent.join(of))?;
        }
    }
    Ok(())
}

/// Copies files that this program did not make from the old folder into the new one.
fn carry_over(target: &Path, staging: &Path) -> Result<(), StoreError> {
    let ours = listed_names(target);
    for name in files(target).map_err(|error| StoreError::file(target, &error))?.into_keys() {
        if name == Path::new(INVENTORY) || ours.contains(name.to_string_lossy().as_ref()) {
            continue;
        }
        let (old, new) = (target.join(&name), staging.join(&name));
        if new.exists() {
            // Nothing is lost where both are the same: so a folder whose list of files is damaged can be made again.
            let same = fs::read(&old).is_ok_and(|old| fs::read(&new).is_ok_and(|new| old == new));
            if same {
                continue;
            }
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

/// Removes a folder, its inventory last, so that a run killed meanwhile leaves one that is known as ours.
fn remove(path: &Path) -> io::Result<()> {
    let entries = match fs::read_dir(path) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(()),
        entries => entries?,
    };
    for entry in entries {
        let entry = entry?;
        if entry.file_type()?.is_dir() {
            fs::remove_dir_all(entry.path())?;
        } else if entry.file_name() != INVENTORY {
            fs::remove_file(entry.path())?;
        }
    }
    fs::remove_dir_all(path)
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{check_folder, contents_of, made_from, note_made_from};

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
        fs::write(target.join(".made-from"), "these\n").unwrap();
        fs::write(target.join(INVENTORY), ".made-from\na.txt\n").unwrap();
        assert_eq!(made_from(&target), None);
        assert_eq!(replace_folder(&target, write("two")).unwrap(), Replaced::Changed);
        assert_eq!(fs::read_to_string(target.join("a.txt")).unwrap(), "two");
    }

    #[test]
    fn every_damage_is_found_and_a_folder_with_a_damaged_list_can_be_made_again() {
        let base = tempfile::tempdir().unwrap();
        let target = base.path().join("store");
        let build = |folder: &Path| {
            note_made_from(folder, "these")?;
            fs::write(folder.join("b.txt"), "two").unwrap();
            write("one")(folder)
        };
        replace_folder::<StoreError>(&target, build).unwrap();
        check_folder(&target).unwrap();
        let whole: Vec<(PathBuf, Vec<u8>)> = files(&target)
            .unwrap()
            .into_keys()
            .map(|name| (name.clone(), fs::read(target.join(name)).unwrap()))
            .collect();
        for (name, bytes) in &whole {
            let path = target.join(name);
            let mut damages: Vec<Option<Vec<u8>>> = vec![None];
            damages.extend((0..bytes.len()).map(|length| Some(bytes[..length].to_vec())));
            damages.extend((0..bytes.len()).map(|place| {
                let mut flipped = bytes.clone();
                flipped[place] ^= 1;
                Some(flipped)
            }));
            for damage in damages {
                match &damage {
                    None => fs::remove_file(&path).unwrap(),
                    Some(damaged) => fs::write(&path, damaged).unwrap(),
                }
                let told = check_folder(&target).map(|_| ()).unwrap_err().to_string();
                assert!(told.contains("evenstand ingest"), "{name:?}: {told}");
                assert_eq!(made_from(&target), None);
                replace_folder::<StoreError>(&target, build).unwrap();
                assert!(fs::read(&path).unwrap() == *bytes, "{name:?} {damage:?}");
            }
        }
        assert_eq!(files(&target).unwrap().len(), whole.len());
    }

    #[test]
    fn what_a_killed_run_left_is_cleared_away_and_what_it_took_away_is_put_back() {
        let base = tempfile::tempdir().unwrap();
        for name in ["one", "two"] {
            replace_folder(&base.path().join(name), write("whole")).unwrap();
        }
        fs::create_dir(base.path().join(".one.new")).unwrap();
        fs::rename(base.path().join("two"), base.path().join(".two.old")).unwrap();
        // As a run leaves it that dies while it writes.
        replace_folder(&base.path().join("three"), write("whole")).unwrap();
        fs::rename(base.path().join("three"), base.path().join(".three.new")).unwrap();
        fs::write(base.path().join(".three.new").join(INVENTORY), "").unwrap();
        fs::write(base.path().join(".mine.new"), "a file of somebody else").unwrap();
        fs::create_dir(base.path().join(".theirs.old")).unwrap();
        fs::write(base.path().join(".theirs.old").join("thesis.txt"), "a folder of somebody else").unwrap();
        tidy_all_in(base.path()).unwrap();
        let mut names: Vec<String> =
            fs::read_dir(base.path()).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        assert_eq!(names, [".mine.new", ".theirs.old", "one", "two"]);
        check_folder(&base.path().join("two")).unwrap();
        // Asked for by name, such a folder is an error: it stands where the new one would be made.
        let refused = replace_folder(&base.path().join("theirs"), write("new")).unwrap_err().to_string();
        assert!(refused.contains(".theirs.old") && refused.contains("--out"), "{refused}");
        assert!(base.path().join(".theirs.old").join("thesis.txt").exists());
    }

    #[test]
    fn a_folder_that_is_being_made_is_known_as_ours_from_the_start_to_the_end_of_its_removal() {
        let base = tempfile::tempdir().unwrap();
        let target = base.path().join("store");
        let looked = |folder: &Path| {
            assert!(is_ours(folder).unwrap());
            write("whole")(folder)
        };
        replace_folder::<StoreError>(&target, looked).unwrap();
        assert!(check_folder(&target).is_ok());
        remove(&target).unwrap();
        assert!(!target.exists());
        remove(&target).unwrap();
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
