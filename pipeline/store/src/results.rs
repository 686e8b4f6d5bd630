//! `results/`: each table as CSV and Parquet, and a `datapackage.json` so that any Data Package reader opens it.

use std::fs::{self, File};
use std::path::Path;

use evenstand_tables::{Group, Row, Table, TablesError, schema};
use rayon::prelude::*;
use serde_json::{Value, json};

use crate::StoreError;
use crate::formula::without_formulas;
use crate::parquet_file::{read_table, write_table};

/// Makes a result table when its turn to be written comes, so that few stand in memory beside the rows they are made of.
pub type MakeTable<'a> = Box<dyn Fn() -> Result<Table, TablesError> + Send + Sync + 'a>;

/// Writes result tables into a folder that is there, on all threads.
pub fn write_results(folder: &Path, tables: &[MakeTable]) -> Result<(), StoreError> {
    let write = |make: &MakeTable| write_result(folder, &make()?);
    let resources: Vec<Value> = tables.par_iter().map(write).collect::<Result<_, _>>()?;
    let package = json!({
        "name": "evenstand-results",
        "title": "Results of a review: closing downforce and emergence",
        "profile": "tabular-data-package",
        "resources": resources,
    });
    let path = folder.join("datapackage.json");
    let text = serde_json::to_string_pretty(&package).map_err(|error| StoreError::damaged(&path, error))?;
    fs::write(&path, text + "\n").map_err(|error| StoreError::file(&path, &error))
}

/// Writes a table in both forms; its entry in the package.
fn write_result(folder: &Path, table: &Table) -> Result<Value, StoreError> {
    let name = &table.schema().name;
    write_table(&folder.join(format!("{name}.parquet")), table)?;
    let path = folder.join(format!("{name}.csv"));
    let file = File::create(&path).map_err(|error| StoreError::file(&path, &error))?;
    arrow::csv::WriterBuilder::new()
        .with_header(true)
        .build(file)
        .write(&without_formulas(table.batch()).map_err(TablesError::from)?)
        .map_err(|error| StoreError::File { path: path.clone(), problem: error.to_string() })?;
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

/// Reads one result table by its name.
pub fn read_result_table(folder: &Path, name: &str) -> Result<Table, StoreError> {
    read_table(&folder.join(format!("{name}.parquet")), schema(Group::Results, name)?)
}

/// Reads the rows of one result table.
pub fn read_result<R: Row>(folder: &Path) -> Result<Vec<R>, StoreError> {
    Ok(R::from_table(&read_result_table(folder, R::TABLE)?)?)
}
