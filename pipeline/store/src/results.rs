//! `results/`: each table as CSV and Parquet, and a `datapackage.json` so that any Data Package reader opens it.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::Path;

use evenstand_tables::{Group, Row, Table, TablesError, schema, schemas};
use rayon::prelude::*;
use serde_json::{Map, Value, json};

use crate::StoreError;
use crate::formula::without_formulas;
use crate::kept::columns_of;
use crate::parquet_file::{read_table, write_table};
use crate::{CheckedFolder, check_folder};

/// Makes a result table when its turn to be written comes, so that few stand in memory beside the rows they are made of.
pub type MakeTable<'a> = Box<dyn Fn() -> Result<Table, TablesError> + Send + Sync + 'a>;

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

    /// Writes tables, on all threads. Errors where one cannot be made or written.
    pub fn write(&mut self, tables: &[MakeTable]) -> Result<(), StoreError> {
        let write = |make: &MakeTable| {
            let table = make()?;
            Ok((table.schema().name.clone(), write_result(self.folder, &table)?))
        };
        let written: Vec<(String, Value)> = tables.par_iter().map(write).collect::<Result<_, StoreError>>()?;
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

/// Writes a table in both forms; its entry in the package.
fn write_result(folder: &Path, table: &Table) -> Result<Value, StoreError> {
    let name = &table.schema().name;
    write_table(&folder.join(format!("{name}.parquet")), table)?;
    let path = folder.join(format!("{name}.csv"));
    let file = File::create(&path).map_err(|error| StoreError::file(&path, &error))?;
    let mut file = Noticing { file, failed: None };
    let written = arrow::csv::WriterBuilder::new()
        .with_header(true)
        .build(&mut file)
        .write(&without_formulas(table.batch()).map_err(TablesError::from)?);
    if let Some(error) = file.failed {
        return Err(StoreError::file(&path, &error));
    }
    written.map_err(|error| StoreError::File { path: path.clone(), problem: error.to_string() })?;
    let table_schema: Value =
        serde_json::from_str(table.schema().json).map_err(|error| StoreError::damaged(&path, error))?;
    Ok(json!({
        "name": name.replace('_', "-"),
        "path": format!("{name}.csv"),
        "title": table.schema().title,
        "description": table.schema().description,
        "profile": "tabular-data-resource",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": { "fields": table_schema["fields"], "missingValues": [""] },
    }))
}

/// A file that keeps what the system said when it could not be written, which the writer of CSV makes a mere text of.
struct Noticing {
    file: File,
    failed: Option<io::Error>,
}

impl Write for Noticing {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.file.write(bytes).inspect_err(|error| {
            if error.kind() != io::ErrorKind::Interrupted {
                self.failed = Some(io::Error::from(error.kind()));
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

/// Reads one result table by its name.
pub fn read_result_table(folder: &Path, name: &str) -> Result<Table, StoreError> {
    read_table(&folder.join(format!("{name}.parquet")), schema(Group::Results, name)?).map_err(StoreError::of_results)
}

/// Reads the rows of one result table.
pub fn read_result<R: Row>(folder: &Path) -> Result<Vec<R>, StoreError> {
    Ok(R::from_table(&read_result_table(folder, R::TABLE)?)?)
}
