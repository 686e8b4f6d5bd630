//! Why a workbook, or a sheet of it, cannot be read.

use evenstand_bundle::BundleError;

/// An error of this crate. The text says what was found and what to do; who reads the file adds its name.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum WorkbookError {
    /// It is encrypted.
    #[error(
        "it is protected by a password; open it in a spreadsheet, save a copy without a password, and use the copy"
    )]
    PasswordProtected,
    /// It is a workbook, but broken.
    #[error(
        "it is a damaged workbook: {part}: {problem}; it may be cut short: copy it again, or open it in a spreadsheet \
         and save it as a new .xlsx"
    )]
    Damaged {
        /// Where in the file.
        part: String,
        /// What was wrong.
        problem: String,
    },
    /// It is something else.
    #[error("it is not a spreadsheet that can be read here, it looks like {looks_like}; {remedy}")]
    NotASpreadsheet {
        /// What it looks like, such as `an HTML page`.
        looks_like: String,
        /// What to do.
        remedy: &'static str,
    },
    /// There is more in it than is read.
    #[error(
        "it holds more than is read from one workbook: {found}, {allowed} allowed; split it, or save the sheet as CSV"
    )]
    TooLarge {
        /// What was found.
        found: String,
        /// What is allowed.
        allowed: String,
    },
    /// It has no sheet of that name.
    #[error("it has no sheet \"{name}\"; {}", listed(there))]
    NoSuchSheet {
        /// The name that was asked for.
        name: String,
        /// Names of the sheets there are.
        there: Vec<String>,
    },
}

impl WorkbookError {
    pub(crate) fn damaged(part: impl Into<String>, problem: impl ToString) -> Self {
        Self::Damaged { part: part.into(), problem: problem.to_string() }
    }

    pub(crate) fn of_bundle(error: BundleError) -> Self {
        match error {
            BundleError::Encrypted { .. } => Self::PasswordProtected,
            BundleError::TooLarge { name, limit } => Self::TooLarge {
                found: format!("{name} unpacks to more than {} MB", limit >> 20),
                allowed: format!("{} MB", limit >> 20),
            },
            BundleError::TooMany { found, limit } => {
                Self::TooLarge { found: format!("{found} files in the archive"), allowed: limit.to_string() }
            }
            BundleError::Damaged { name, problem } => Self::Damaged { part: name, problem },
            other => Self::damaged("archive", other),
        }
    }
}

fn listed(names: &[String]) -> String {
    match names {
        [] => "it has no sheets at all".to_owned(),
        names => format!("there are: \"{}\"", names.join("\", \"")),
    }
}
