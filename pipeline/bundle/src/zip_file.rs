//! A `.zip` as a bundle.

use std::collections::BTreeMap;

use zip::ZipArchive;
use zip::result::ZipError;

use crate::{BundleError, ReadSeek, count_within, read_within};

pub(crate) struct ZipFile {
    archive: ZipArchive<Box<dyn ReadSeek>>,
    /// Position of each file in the archive.
    files: BTreeMap<String, usize>,
}

impl ZipFile {
    pub fn list(reader: Box<dyn ReadSeek>, limit: usize) -> Result<(Self, Vec<String>), BundleError> {
        let archive = ZipArchive::new(reader).map_err(|error| BundleError::NotZip { problem: error.to_string() })?;
        if archive.len() > limit {
            return Err(BundleError::TooMany { found: archive.len(), limit });
        }
        let mut files = BTreeMap::new();
        for index in 0..archive.len() {
            let name = match archive.name_for_index(index) {
                Some(Ok(name)) => name.replace('\\', "/"),
                Some(Err(error)) => return Err(BundleError::NotZip { problem: error.to_string() }),
                None => continue,
            };
            if leads_out(&name) {
                return Err(BundleError::UnsafeName { name });
            }
            if !name.ends_with('/') && !name.split('/').any(|part| part.starts_with('.') || part == "__MACOSX") {
                files.insert(name, index);
            }
        }
        let names = files.keys().cloned().collect();
        Ok((Self { archive, files }, names))
    }

    pub fn read(&mut self, name: &str, limit: u64) -> Result<Vec<u8>, BundleError> {
        read_within(self.open(name)?, name, limit)
    }

    pub fn size(&mut self, name: &str, limit: u64) -> Result<u64, BundleError> {
        count_within(self.open(name)?, name, limit)
    }

    fn open(&mut self, name: &str) -> Result<impl std::io::Read, BundleError> {
        let index = *self.files.get(name).ok_or_else(|| BundleError::NoSuchFile { name: name.to_owned() })?;
        self.archive.by_index(index).map_err(|error| match error {
            ZipError::UnsupportedArchive(ZipError::PASSWORD_REQUIRED) | ZipError::InvalidPassword => {
                BundleError::Encrypted { name: name.to_owned() }
            }
            other => BundleError::Damaged { name: name.to_owned(), problem: other.to_string() },
        })
    }
}

/// Whether a name of an archive points outside the folder it is unpacked to.
fn leads_out(name: &str) -> bool {
    let drive = name.as_bytes().get(1) == Some(&b':');
    drive || name.starts_with('/') || name.split('/').any(|part| part == "..")
}
