//! `results/`: each table as CSV and Parquet, and a `datapackage.json` so that any Data Package reader opens it.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock};

use evenstand_tables::{Group, Row, Table, TableSchema, TablesError, schema, schemas};
use rayon::prelude::*;
use serde_json::{Map, Value, json};

use crate::StoreError;
use crate::formula::without_formulas;
use crate::kept::columns_of;
use crate::parquet_file::{TableWriter, batches, read_table};
use crate::{CheckedFolder, check_folder};

/// A result table on its way to a file: its rows come some at a time, so that few stand in memory beside what they are made of.
pub struct ResultTable<'a, E> {
    name: &'static str,
    parts: Box<dyn Iterator<Item = Result<Table, E>> + Send + 'a>,
}

impl<'a, E> ResultTable<'a, E> {
    /// The table of such rows, from its parts in their order.
    pub fn of<R: Row>(parts: impl Iterator<Item = Result<Table, E>> + Send + 'a) -> Self {
        Self { name: R::TABLE, parts: Box::new(parts) }
    }
}

/// Results on their way into a folder that is there.
pub struct NewResults<'a> {
    folder: &'a Path,
    /// What the package says of each table written.
    resources: BTreeMap<String, Value>,
}

impl<'a> NewResults<'a> {
    /// No table yet.
    pub fn new(folder: &'a Path) -> Self {
        Self { folder, resources: BTreeMap::new() }
    }

    /// Writes tables, on all threads. Errors where a part cannot be made or written.
    pub fn write<E: From<StoreError> + Send>(&mut self, tables: Vec<ResultTable<E>>) -> Result<(), E> {
        let write = |table: ResultTable<E>| Ok((table.name.to_owned(), write_result(self.folder, table)?));
        let written: Vec<(String, Value)> = tables.into_par_iter().map(write).collect::<Result<_, E>>()?;
        self.resources.extend(written);
        Ok(())
    }

    /// Writes the package that lists the tables, in the order of the schemas. `run` says how they came about and goes into it as it is.
    pub fn finish(mut self, run: &Map<String, Value>) -> Result<(), StoreError> {
        let resources: Vec<Value> = schemas().iter().filter_map(|table| self.resources.remove(&table.name)).collect();
        let package = json!({
            "name": "evenstand-results",
            "title": "Results of a review: closing downforce and emergence",
            "profile": "tabular-data-package",
            "columns": columns_of(Group::Results),
            "run": run,
            "resources": resources,
        });
        let path = self.folder.join("datapackage.json");
        let text = serde_json::to_string_pretty(&package).map_err(|error| StoreError::damaged(&path, error))?;
        fs::write(&path, text + "\n").map_err(|error| StoreError::file(&path, &error))
    }
}

/// Writes a table in both forms, part by part; its entry in the package.
fn write_result<E: From<StoreError>>(folder: &Path, table: ResultTable<E>) -> Result<Value, E> {
    let schema = schema(Group::Results, table.name).map_err(StoreError::from)?;
    let name = table.name;
    let mut rows = TableWriter::create(&folder.join(format!("{name}.parquet")), schema.arrow())?;
    let mut text = TextWriter::create(folder.join(format!("{name}.csv")))?;
    // Names of columns come with the first rows, of which there may be none.
    text.write(&Table::empty(schema))?;
    for part in table.parts {
        let part = part?;
        rows.write(part.batch())?;
        text.write(&part)?;
    }
    rows.close()?;
    Ok(resource(schema, &text.path)?)
}

/// What the package says of a table that stands in this file of text.
fn resource(schema: &TableSchema, path: &Path) -> Result<Value, StoreError> {
    let table_schema: Value = serde_json::from_str(schema.json).map_err(|error| StoreError::damaged(path, error))?;
    Ok(json!({
        "name": schema.name.replace('_', "-"),
        "path": format!("{}.csv", schema.name),
        "title": schema.title,
        "description": schema.description,
        "profile": "tabular-data-resource",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": { "fields": table_schema["fields"], "missingValues": [""] },
    }))
}

/// A table on its way to a file of delimited text.
struct TextWriter {
    path: PathBuf,
    file: arrow::csv::Writer<Noticing>,
    failed: Arc<OnceLock<io::ErrorKind>>,
}

impl TextWriter {
    fn create(path: PathBuf) -> Result<Self, StoreError> {
        let file = File::create(&path).map_err(|error| StoreError::file(&path, &error))?;
        let failed = Arc::default();
        let noticing = Noticing { file, failed: Arc::clone(&failed) };
        Ok(Self { path, file: arrow::csv::WriterBuilder::new().with_header(true).build(noticing), failed })
    }

    fn write(&mut self, part: &Table) -> Result<(), StoreError> {
        let written = self.file.write(&without_formulas(part.batch()).map_err(TablesError::from)?);
        if let Some(kind) = self.failed.get() {
            return Err(StoreError::file(&self.path, &io::Error::from(*kind)));
        }
        written.map_err(|error| StoreError::File { path: self.path.clone(), problem: error.to_string() })
    }
}

/// A file that keeps what the system said when it could not be written, which the writer of CSV makes a mere text of.
struct Noticing {
    file: File,
    failed: Arc<OnceLock<io::ErrorKind>>,
}

impl Write for Noticing {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.file.write(bytes).inspect_err(|error| {
            if error.kind() != io::ErrorKind::Interrupted {
                let _ = self.failed.set(error.kind());
            }
        })
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

/// Holds every file of a results folder against the digest it was made with. Errors as [`check_folder`], and where another version made it.
pub fn check_results(folder: &Path) -> Result<CheckedFolder, StoreError> {
    let checked = check_folder(folder).map_err(StoreError::of_results)?;
    let path = folder.join("datapackage.json");
    let text = fs::read_to_string(&path).map_err(|error| StoreError::file(&path, &error))?;
    let package: Value = serde_json::from_str(&text).map_err(|error| StoreError::damaged(&path, error).of_results())?;
    if package["columns"] != columns_of(Group::Results) {
        let problem = "another version of evenstand made it: its tables have other columns";
        return Err(StoreError::damaged(&path, problem).of_results());
    }
    Ok(checked)
}

/// Rows of a result table that are read together.
const PART: usize = 1 << 14;

/// Reads a result table by its name, some thousands of rows at a time. Errors where the file cannot be read, and in place of what is damaged.
pub fn read_result_parts(
    folder: &Path,
    name: &str,
) -> Result<impl Iterator<Item = Result<Table, StoreError>> + use<>, StoreError> {
    let schema = schema(Group::Results, name)?;
    let batches = batches(&folder.join(format!("{name}.parquet")), Some(PART)).map_err(StoreError::of_results)?;
    Ok(batches.map(move |batch| Ok(Table::from_batches(schema, &[batch.map_err(StoreError::of_results)?])?)))
}

/// Reads the rows of one result table.
pub fn read_result<R: Row>(folder: &Path) -> Result<Vec<R>, StoreError> {
    let path = folder.join(format!("{}.parquet", R::TABLE));
    Ok(R::from_table(&read_table(&path, schema(Group::Results, R::TABLE)?).map_err(StoreError::of_results)?)?)
}
