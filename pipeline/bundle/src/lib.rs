//! Files that belong together, in a folder or in a `.zip`, read within limits.
//!
//! Task data, shapefiles and workbooks are sets of files. [`Bundle`] lists their names and reads them one by one, so that
//! a reader need not know whether a person unpacked the archive. What comes from outside is not trusted: a name that
//! leads out of the bundle (`..`, an absolute path) is refused, links are not followed, and nothing is unpacked beyond
//! [`Limits`], whatever size the archive states for itself.

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod error;
mod folder;
mod zip_file;

use std::fs::File;
use std::io::{BufReader, Cursor, Read, Seek};
use std::path::{Path, PathBuf};

pub use error::BundleError;
use folder::Folder;
use zip_file::ZipFile;

/// How much a bundle may hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Bytes of one file, unpacked.
    pub file_bytes: u64,
    /// Bytes of all files, unpacked: counted while they are read, each time they are read.
    pub total_bytes: u64,
    /// Number of files.
    pub files: usize,
}

impl Default for Limits {
    /// 256 MiB a file, 1 GiB in all, 20,000 files: a season of task data is a tenth of that.
    fn default() -> Self {
        Self { file_bytes: 256 << 20, total_bytes: 1 << 30, files: 20_000 }
    }
}

/// Anything a `.zip` can be read from.
pub trait ReadSeek: Read + Seek + Send {}
impl<R: Read + Seek + Send> ReadSeek for R {}

/// A set of files by name. Names have forward slashes and are as they were written; [`Bundle::find`] is blind to case.
pub struct Bundle {
    source: Source,
    names: Vec<String>,
    limits: Limits,
    bytes_read: u64,
}

enum Source {
    Folder(Folder),
    Zip(ZipFile),
}

impl Bundle {
    /// Lists a folder and the folders in it. Hidden files and links are left out.
    pub fn of_folder(folder: &Path, limits: Limits) -> Result<Self, BundleError> {
        let (folder, names) = Folder::list(folder, limits.files)?;
        Ok(Self { source: Source::Folder(folder), names, limits, bytes_read: 0 })
    }

    /// Files that are known already, each with the name it has in the bundle.
    pub fn of_files(files: Vec<(String, PathBuf)>, limits: Limits) -> Result<Self, BundleError> {
        if files.len() > limits.files {
            return Err(BundleError::TooMany { found: files.len(), limit: limits.files });
        }
        let (folder, names) = Folder::of(files);
        Ok(Self { source: Source::Folder(folder), names, limits, bytes_read: 0 })
    }

    /// Lists a `.zip` file.
    pub fn of_zip(path: &Path, limits: Limits) -> Result<Self, BundleError> {
        let file = File::open(path).map_err(|error| BundleError::Read { problem: error.to_string() })?;
        Self::of_reader(Box::new(BufReader::new(file)), limits)
    }

    /// Lists a `.zip` that is in memory.
    pub fn of_bytes(bytes: Vec<u8>, limits: Limits) -> Result<Self, BundleError> {
        Self::of_reader(Box::new(Cursor::new(bytes)), limits)
    }

    fn of_reader(reader: Box<dyn ReadSeek>, limits: Limits) -> Result<Self, BundleError> {
        let (zip, names) = ZipFile::list(reader, limits.files)?;
        Ok(Self { source: Source::Zip(zip), names, limits, bytes_read: 0 })
    }

    /// Names of the files, in alphabetical order; folders themselves are not named.
    pub fn names(&self) -> &[String] {
        &self.names
    }

    /// Names whose last part is `file_name`, whatever the case: several where folders repeat it.
    pub fn find(&self, file_name: &str) -> Vec<String> {
        let last = |name: &str| name.rsplit('/').next().is_some_and(|last| last.eq_ignore_ascii_case(file_name));
        self.names.iter().filter(|name| last(name)).cloned().collect()
    }

    /// The bytes of a file. Errors where it is not there, larger than the limits allow, or damaged.
    pub fn read(&mut self, name: &str) -> Result<Vec<u8>, BundleError> {
        let left = self.limits.total_bytes.saturating_sub(self.bytes_read);
        let limit = self.limits.file_bytes.min(left);
        let bytes = match &mut self.source {
            Source::Folder(folder) => folder.read(name, limit)?,
            Source::Zip(zip) => zip.read(name, limit)?,
        };
        self.bytes_read += bytes.len() as u64;
        Ok(bytes)
    }

    /// Unpacks every file and throws it away: errors where anything is damaged or too large.
    ///
    /// For readers that take a whole archive and do not count themselves.
    pub fn check(&mut self) -> Result<(), BundleError> {
        for name in self.names.clone() {
            let left = self.limits.total_bytes.saturating_sub(self.bytes_read);
            let limit = self.limits.file_bytes.min(left);
            self.bytes_read += match &mut self.source {
                Source::Folder(folder) => folder.size(&name, limit)?,
                Source::Zip(zip) => zip.size(&name, limit)?,
            };
        }
        Ok(())
    }
}

/// Reads all of `reader`, but no more than `limit` bytes. Errors where there are more.
pub(crate) fn read_within(reader: impl Read, name: &str, limit: u64) -> Result<Vec<u8>, BundleError> {
    let mut bytes = Vec::new();
    let found = reader.take(limit.saturating_add(1)).read_to_end(&mut bytes);
    found.map_err(|error| BundleError::Damaged { name: name.to_owned(), problem: error.to_string() })?;
    if bytes.len() as u64 > limit {
        return Err(BundleError::TooLarge { name: name.to_owned(), limit });
    }
    Ok(bytes)
}

/// Bytes that `reader` gives, counted but not kept; errors as [`read_within`].
pub(crate) fn count_within(reader: impl Read, name: &str, limit: u64) -> Result<u64, BundleError> {
    let counted = std::io::copy(&mut reader.take(limit.saturating_add(1)), &mut std::io::sink());
    let bytes = counted.map_err(|error| BundleError::Damaged { name: name.to_owned(), problem: error.to_string() })?;
    if bytes > limit { Err(BundleError::TooLarge { name: name.to_owned(), limit }) } else { Ok(bytes) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write;
    use zip::write::SimpleFileOptions;

    fn zipped(files: &[(&str, &[u8])]) -> Vec<u8> {
        let mut writer = zip::ZipWriter::new(Cursor::new(Vec::new()));
        for (name, bytes) in files {
            writer.start_file(*name, SimpleFileOptions::default()).unwrap();
            writer.write_all(bytes).unwrap();
        }
        writer.finish().unwrap().into_inner()
    }

    #[test]
    fn files_are_found_whatever_their_case_and_read_back() {
        let mut bundle =
            Bundle::of_bytes(zipped(&[("a/Taskdata.XML", b"<x/>"), ("b.bin", b"12")]), Limits::default()).unwrap();
        assert_eq!(bundle.names(), ["a/Taskdata.XML", "b.bin"]);
        assert_eq!(bundle.find("TASKDATA.xml"), ["a/Taskdata.XML"]);
        assert_eq!(bundle.read("b.bin").unwrap(), b"12");
        assert!(matches!(bundle.read("c.bin"), Err(BundleError::NoSuchFile { .. })));
        bundle.check().unwrap();
    }

    #[test]
    fn a_name_that_leads_out_is_refused() {
        for name in ["../evil.csv", "a/../../evil.csv", "/etc/evil.csv", "C:\\evil.csv", "..\\evil.csv"] {
            let Err(error) = Bundle::of_bytes(zipped(&[(name, b"x")]), Limits::default()) else {
                panic!("{name} was let in");
            };
            assert!(matches!(error, BundleError::UnsafeName { .. }), "{name}: {error}");
        }
    }

    #[test]
    fn what_is_larger_than_the_limits_is_refused_and_not_unpacked() {
        let zeros = vec![0; 1 << 20];
        let limits = Limits { file_bytes: 1 << 16, total_bytes: 1 << 30, files: 2 };
        let mut bundle = Bundle::of_bytes(zipped(&[("zeros.bin", &zeros)]), limits).unwrap();
        assert!(matches!(bundle.read("zeros.bin"), Err(BundleError::TooLarge { .. })));
        assert!(matches!(bundle.check(), Err(BundleError::TooLarge { .. })));
        let limits = Limits { file_bytes: 1 << 30, total_bytes: 3 << 19, files: 2 };
        let mut bundle = Bundle::of_bytes(zipped(&[("a.bin", &zeros), ("b.bin", &zeros)]), limits).unwrap();
        assert!(bundle.read("a.bin").is_ok());
        assert!(matches!(bundle.read("b.bin"), Err(BundleError::TooLarge { .. })));
        let three = zipped(&[("a", b""), ("b", b""), ("c", b"")]);
        assert!(matches!(Bundle::of_bytes(three, limits), Err(BundleError::TooMany { .. })));
    }

    #[test]
    fn a_file_that_is_no_archive_or_is_cut_short_is_named_as_such() {
        assert!(matches!(Bundle::of_bytes(b"hello".to_vec(), Limits::default()), Err(BundleError::NotZip { .. })));
        let mut bytes = zipped(&[("a.txt", &[7; 5000])]);
        bytes.truncate(60);
        assert!(Bundle::of_bytes(bytes, Limits::default()).is_err());
    }
}
