//! What reading a source came to, kept in the store beside the rows it gave, so that a source that is still the same need not be read again.

use std::fs;
use std::path::Path;

use evenstand_tables::{Finding, Group, Row, SetAside, schema};
use serde::{Deserialize, Serialize};

use crate::kept::kept_table;
use crate::parquet_file::{read_table, write_table};
use crate::{SourceEntry, StoreError, Written};

/// Folder of the store that holds them.
const FOLDER: &str = "sources";

/// What reading one source came to. `Held` is what else the reader knows of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Remembered<Held> {
    /// What decides it: the source's bytes and all that it was read with.
    pub key: String,
    /// The manifest's entry.
    pub entry: SourceEntry,
    /// Files and rows set aside.
    pub written: Written,
    /// What a person should look at.
    pub findings: Vec<Finding>,
    /// Whatever the reader holds against other files.
    pub held: Held,
}

#[derive(Serialize, Deserialize)]
struct Note<Held> {
    key: String,
    entry: SourceEntry,
    files: Vec<String>,
    held: Held,
}

impl<Held: Serialize + for<'de> Deserialize<'de>> Remembered<Held> {
    /// Writes it into a store as `name`; nothing where rows set aside were too many to keep at hand.
    pub fn write(self, store: &Path, name: &str) -> Result<(), StoreError> {
        let Some(set_aside) = self.written.set_aside else { return Ok(()) };
        let folder = store.join(FOLDER);
        fs::create_dir_all(&folder).map_err(|error| StoreError::file(&folder, &error))?;
        if !set_aside.is_empty() {
            write_table(&folder.join(format!("{name}-set-aside.parquet")), &kept_table(&set_aside, SetAside::TABLE)?)?;
        }
        if !self.findings.is_empty() {
            write_table(
                &folder.join(format!("{name}-findings.parquet")),
                &kept_table(&self.findings, Finding::TABLE)?,
            )?;
        }
        let note = Note { key: self.key, entry: self.entry, files: self.written.files, held: self.held };
        let path = folder.join(format!("{name}.json"));
        let text = serde_json::to_string(&note).map_err(|error| StoreError::damaged(&path, error))?;
        fs::write(&path, text + "\n").map_err(|error| StoreError::file(&path, &error))
    }

    /// Reads it from a store; `None` where there is none of this name and key, or it cannot be read.
    pub fn read(store: &Path, name: &str, key: &str) -> Option<Self> {
        let folder = store.join(FOLDER);
        let note: Note<Held> =
            serde_json::from_str(&fs::read_to_string(folder.join(format!("{name}.json"))).ok()?).ok()?;
        let set_aside = rows(&folder.join(format!("{name}-set-aside.parquet")))?;
        let findings = rows(&folder.join(format!("{name}-findings.parquet")))?;
        (note.key == key).then_some(Self {
            key: note.key,
            entry: note.entry,
            written: Written { files: note.files, set_aside: Some(set_aside) },
            findings,
            held: note.held,
        })
    }
}

/// Rows of a file; none where there is no file.
fn rows<R: Row>(path: &Path) -> Option<Vec<R>> {
    if !path.exists() {
        return Some(Vec::new());
    }
    R::from_table(&read_table(path, schema(Group::Kept, R::TABLE).ok()?).ok()?).ok()
}
