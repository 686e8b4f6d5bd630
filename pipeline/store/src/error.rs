//! What can go wrong on disk.

use std::path::{Path, PathBuf};

/// An error of this crate.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum StoreError {
    /// The system refused to read or write.
    #[error("{path}: {problem}")]
    File {
        /// File or folder.
        path: PathBuf,
        /// What the system said, in our words where we know it.
        problem: String,
    },
    /// A file of somebody else stands where a new one would go.
    #[error("{path} was not made by evenstand and would be replaced; move it away, or give another folder with --out")]
    NotOurs {
        /// The file.
        path: PathBuf,
    },
    /// A folder that would be replaced is a link.
    #[error(
        "{path} is a link, and a folder is replaced as a whole, which would leave what the link leads to behind; remove the link, or give another folder with --out"
    )]
    Link {
        /// The link.
        path: PathBuf,
    },
    /// A file is not what the manifest says, or cannot be read as Parquet.
    #[error("{path} is damaged or of another version ({problem}); run `evenstand ingest` again to rebuild it")]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        problem: String,
    },
    /// A file that should hold totals by strip holds something else.
    #[error("{path} does not hold totals by strip ({problem}); make it with `evenstand link`")]
    NotTotals {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        problem: String,
    },
    /// A table does not follow its schema.
    #[error(transparent)]
    Tables(#[from] evenstand_tables::TablesError),
}

impl StoreError {
    pub(crate) fn file(path: &Path, error: &std::io::Error) -> Self {
        let problem = match error.kind() {
            std::io::ErrorKind::NotFound => "not found".to_owned(),
            std::io::ErrorKind::PermissionDenied => "permission denied".to_owned(),
            std::io::ErrorKind::StorageFull => "the disk is full".to_owned(),
            std::io::ErrorKind::ReadOnlyFilesystem => "the folder is read-only".to_owned(),
            _ => error.to_string(),
        };
        Self::File { path: path.to_owned(), problem }
    }

    pub(crate) fn damaged(path: &Path, problem: impl std::fmt::Display) -> Self {
        Self::Damaged { path: path.to_owned(), problem: problem.to_string() }
    }
}
