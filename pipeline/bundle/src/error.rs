//! Why a bundle, or a file in it, cannot be read.

/// An error of this crate. The text says what was found; who reads the bundle adds where and what to do.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum BundleError {
    /// The file is not a `.zip`.
    #[error("it is not a .zip archive, or its directory of files is damaged ({problem})")]
    NotZip {
        /// What was wrong with it.
        problem: String,
    },
    /// A name leads out of the bundle.
    #[error("the archive has a file called \"{name}\", which leads out of its folder; nothing of it was read")]
    UnsafeName {
        /// The name.
        name: String,
    },
    /// The archive is protected.
    #[error("{name} is protected by a password")]
    Encrypted {
        /// The file.
        name: String,
    },
    /// The file is not in the bundle.
    #[error("{name} is not there")]
    NoSuchFile {
        /// The file.
        name: String,
    },
    /// A file unpacks to more than the limits allow.
    #[error("{name} unpacks to more than {} MB, which no file of this kind needs", limit >> 20)]
    TooLarge {
        /// The file.
        name: String,
        /// Bytes that were allowed.
        limit: u64,
    },
    /// There are more files than the limits allow.
    #[error("there are {found} files, more than the {limit} that are read from one archive or folder")]
    TooMany {
        /// Files found.
        found: usize,
        /// Files allowed.
        limit: usize,
    },
    /// A file cannot be unpacked.
    #[error("{name} is damaged ({problem})")]
    Damaged {
        /// The file.
        name: String,
        /// What was wrong with it.
        problem: String,
    },
    /// The system refused.
    #[error("it cannot be read: {problem}")]
    Read {
        /// What the system said.
        problem: String,
    },
}
