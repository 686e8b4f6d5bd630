//! What a person should look at, rows that could not be used, and who receives rows while files are read.

use arrow::array::RecordBatch;

use crate::TablesError;
use crate::rows::{FindingRow, SetAsideRow};

/// How serious a finding is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// A file or an answer is lost until someone acts.
    Error,
    /// Something was left out or looks wrong.
    Warning,
    /// Worth knowing.
    Note,
}

impl Severity {
    /// The word in the tables.
    pub fn name(self) -> &'static str {
        match self {
            Severity::Error => "error",
            Severity::Warning => "warning",
            Severity::Note => "note",
        }
    }
}

/// Something a person should look at. Built step by step: `Finding::warning("code", "message").field("A", 2025)`.
pub type Finding = FindingRow;
/// A row that could not be used, with its reason and its text.
pub type SetAside = SetAsideRow;

impl FindingRow {
    /// A finding with a short code and a message in words.
    pub fn new(severity: Severity, code: &str, message: impl Into<String>) -> Self {
        Self {
            severity: severity.name().to_owned(),
            code: code.to_owned(),
            table: None,
            source_file: None,
            source_row: None,
            field_id: None,
            season: None,
            strip_id: None,
            message: message.into(),
            remedy: None,
        }
    }
    /// An error.
    pub fn error(code: &str, message: impl Into<String>) -> Self {
        Self::new(Severity::Error, code, message)
    }
    /// A warning.
    pub fn warning(code: &str, message: impl Into<String>) -> Self {
        Self::new(Severity::Warning, code, message)
    }
    /// A note.
    pub fn note(code: &str, message: impl Into<String>) -> Self {
        Self::new(Severity::Note, code, message)
    }
    /// Says which table it is about.
    pub fn table(mut self, table: &str) -> Self {
        self.table = Some(table.to_owned());
        self
    }
    /// Says which file, and row of it, it is about.
    pub fn source(mut self, file: &str, row: Option<i64>) -> Self {
        self.source_file = Some(file.to_owned());
        self.source_row = row;
        self
    }
    /// Says which field and season it is about.
    pub fn field(mut self, field_id: &str, season: i64) -> Self {
        self.field_id = Some(field_id.to_owned());
        self.season = Some(season);
        self
    }
    /// Says which strip it is about.
    pub fn strip(mut self, strip_id: &str) -> Self {
        self.strip_id = Some(strip_id.to_owned());
        self
    }
    /// Says what to do next.
    pub fn remedy(mut self, remedy: impl Into<String>) -> Self {
        self.remedy = Some(remedy.into());
        self
    }
    /// Where it is, in words: file and row, or field, season and strip.
    pub fn place(&self) -> String {
        let mut parts = Vec::new();
        if let Some(file) = &self.source_file {
            parts.push(match self.source_row {
                Some(row) => format!("{file}, row {row}"),
                None => file.clone(),
            });
        }
        if let Some(field) = &self.field_id {
            let mut place = format!("field {field}");
            if let Some(season) = self.season {
                place.push_str(&format!(", {season}"));
            }
            if let Some(strip) = &self.strip_id {
                place.push_str(&format!(", strip {strip}"));
            }
            parts.push(place);
        }
        parts.join("; ")
    }
}

/// Receives rows while a file is read, so that files of any size pass through in constant memory.
pub trait Sink {
    /// Takes rows of one kept table and one season, all from one source file.
    fn rows(&mut self, table: &str, season: i64, batch: RecordBatch) -> Result<(), TablesError>;
    /// Takes a row that could not be used.
    fn set_aside(&mut self, row: SetAside) -> Result<(), TablesError>;
}
