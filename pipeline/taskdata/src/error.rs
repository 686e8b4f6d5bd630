//! Why task data, or a log in them, cannot be read.

use evenstand_bundle::BundleError;

/// An error of this crate. The text says what was found, where, what was expected and what to do next.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TaskDataError {
    /// There is no `TASKDATA.XML`.
    #[error(
        "there is no TASKDATA.XML here ({files} files{}); choose the folder or archive that the terminal wrote, with \
         TASKDATA.XML and the TLG files in it",
        example.as_ref().map_or(String::new(), |name| format!(", the first is {name}"))
    )]
    NoTaskData {
        /// Number of files there are.
        files: usize,
        /// The first of them.
        example: Option<String>,
    },
    /// There is more than one `TASKDATA.XML`, and ids of one mean nothing in the other.
    #[error("there are {} task data sets, where one is expected: {}; give each as a folder or archive of its own", paths.len(), paths.join(" and "))]
    SeveralTaskData {
        /// Where each of them is.
        paths: Vec<String>,
    },
    /// A file is not XML that can be read.
    #[error("{file}, line {line}: {problem}")]
    Xml {
        /// The file.
        file: String,
        /// Line, from 1.
        line: u32,
        /// What was found, what was expected, what to do.
        problem: String,
    },
    /// The characters of a file cannot be read.
    #[error("{file}: {problem}; export the task data again, or save the file as UTF-8")]
    Encoding {
        /// The file.
        file: String,
        /// What was found.
        problem: String,
    },
    /// The file is XML of another kind.
    #[error(
        "{file} begins with <{found}>, where <{expected}> is expected; it is not a file of this kind, or it was renamed"
    )]
    OtherRoot {
        /// The file.
        file: String,
        /// Element that was found.
        found: String,
        /// Element that was expected.
        expected: &'static str,
    },
    /// Two elements carry the same id, so what refers to it refers to either.
    #[error(
        "the id {id} is carried twice, by {first} and by {second}; ids must be unique, or a log could be laid to the wrong \
         machine or field: export the task data again, or give one of them another id"
    )]
    DuplicateId {
        /// The id.
        id: String,
        /// Element, file and line that carry it first.
        first: String,
        /// Element, file and line that carry it again.
        second: String,
    },
    /// A file holds more than is read.
    #[error(
        "{file} holds more than {limit} {what}, which no task data of a season need; it is damaged, or not task data"
    )]
    TooMuch {
        /// The file.
        file: String,
        /// What there is too much of.
        what: &'static str,
        /// How much is read.
        limit: usize,
    },
    /// A file cannot be got out of the folder or archive.
    #[error("{file}: {source}")]
    Bundle {
        /// The file.
        file: String,
        /// What was wrong.
        source: BundleError,
    },
    /// A time log has no file of this kind.
    #[error("the time log {log} has no file {log}.{ending}; copy both {log}.XML and {log}.BIN from the terminal")]
    LogIncomplete {
        /// Name of the log.
        log: String,
        /// Ending of the file that is missing.
        ending: &'static str,
    },
    /// No log has this number.
    #[error("there is no time log number {log}; there are {logs}")]
    NoSuchLog {
        /// Number that was asked for, from 0.
        log: usize,
        /// Number of logs.
        logs: usize,
    },
}

impl TaskDataError {
    /// Whether one file is damaged, and the set as a whole may still be read.
    pub(crate) fn is_damage(&self) -> bool {
        matches!(self, Self::Xml { .. } | Self::Encoding { .. } | Self::OtherRoot { .. })
    }
}
