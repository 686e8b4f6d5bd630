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
    #[error(
        "{path} would be replaced, and nothing lists it as made by evenstand; move it away, or give another folder with --out"
    )]
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
    /// A file is not as it was made, is of another version, or cannot be read as Parquet.
    #[error(
        "{path} is damaged or of another version ({problem}); run `evenstand {again}` again, which makes its folder anew"
    )]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        problem: String,
        /// The command that makes it.
        again: &'static str,
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
    /// What the system said of a file or folder.
    pub fn file(path: &Path, error: &std::io::Error) -> Self {
        Self::File { path: path.to_owned(), problem: words(error) }
    }

    pub(crate) fn damaged(path: &Path, problem: impl std::fmt::Display) -> Self {
        Self::Damaged { path: path.to_owned(), problem: problem.to_string(), again: "ingest" }
    }

    /// The same error of a file of `results/`, which another command makes.
    pub fn of_results(self) -> Self {
        match self {
            Self::Damaged { path, problem, .. } => Self::Damaged { path, problem, again: "model" },
            other => other,
        }
    }
}

/// What the system said in our words, and what to do, where we know it.
pub(crate) fn words(error: &std::io::Error) -> String {
    match error.kind() {
        std::io::ErrorKind::NotFound => "not found".to_owned(),
        std::io::ErrorKind::PermissionDenied => {
            "permission denied; check who may read and write there, or give another folder with --out".to_owned()
        }
        std::io::ErrorKind::StorageFull | std::io::ErrorKind::QuotaExceeded => {
            "the disk is full; what was made before is as it was; free some space, or give another folder with --out"
                .to_owned()
        }
        std::io::ErrorKind::ReadOnlyFilesystem => "the folder is read-only; give another folder with --out".to_owned(),
        _ => error.to_string(),
    }
}
