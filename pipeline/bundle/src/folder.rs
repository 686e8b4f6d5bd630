//! A folder as a bundle.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::path::{Path, PathBuf};

use crate::{BundleError, count_within, read_within};

pub(crate) struct Folder {
    files: BTreeMap<String, PathBuf>,
}

impl Folder {
    pub fn of(files: Vec<(String, PathBuf)>) -> (Self, Vec<String>) {
        let files: BTreeMap<String, PathBuf> = files.into_iter().collect();
        let names = files.keys().cloned().collect();
        (Self { files }, names)
    }

    pub fn list(root: &Path, limit: usize) -> Result<(Self, Vec<String>), BundleError> {
        let mut files = BTreeMap::new();
        let mut folders = vec![(root.to_owned(), String::new())];
        while let Some((folder, prefix)) = folders.pop() {
            let entries =
                fs::read_dir(&folder).and_then(Iterator::collect::<std::io::Result<Vec<_>>>).map_err(refused)?;
            for entry in entries {
                let name = entry.file_name().to_string_lossy().into_owned();
                let kind = entry.file_type().map_err(refused)?;
                // A link may lead out of the folder, so it is neither file nor folder here.
                match name.starts_with('.') {
                    true => {}
                    false if kind.is_dir() => folders.push((entry.path(), format!("{prefix}{name}/"))),
                    false if kind.is_file() => drop(files.insert(format!("{prefix}{name}"), entry.path())),
                    false => {}
                }
            }
            if files.len() > limit {
                return Err(BundleError::TooMany { found: files.len(), limit });
            }
        }
        let names = files.keys().cloned().collect();
        Ok((Self { files }, names))
    }

    pub fn read(&self, name: &str, limit: u64) -> Result<Vec<u8>, BundleError> {
        read_within(self.open(name)?, name, limit)
    }

    pub fn size(&self, name: &str, limit: u64) -> Result<u64, BundleError> {
        count_within(self.open(name)?, name, limit)
    }

    fn open(&self, name: &str) -> Result<File, BundleError> {
        let path = self.files.get(name).ok_or_else(|| BundleError::NoSuchFile { name: name.to_owned() })?;
        File::open(path).map_err(refused)
    }
}

fn refused(error: std::io::Error) -> BundleError {
    BundleError::Read { problem: error.to_string() }
}
