//! Schema files are complete, and what is made from them is up to date.

use std::collections::BTreeSet;
use std::fs;

use evenstand_tables::{Group, schemas, schemas_readme};
use serde_json::{Value, json};

use crate::support::{matches_snapshot, root};

#[test]
fn every_schema_file_is_read_and_every_table_has_its_file() {
    for group in [Group::Raw, Group::Kept, Group::Results] {
        let folder = root().join("schemas").join(group.name());
        let files: BTreeSet<String> =
            fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
        let tables: BTreeSet<String> =
            schemas().iter().filter(|table| table.group == group).map(|table| format!("{}.json", table.name)).collect();
        assert_eq!(files, tables);
    }
}

#[test]
fn the_readme_of_the_schemas_is_up_to_date() {
    matches_snapshot(&root().join("schemas/README.md"), schemas_readme().as_bytes());
}

/// Types of Frictionless Table Schema, specification version 1.
#[test]
fn fields_use_the_types_of_frictionless_table_schema() {
    let known = ["string", "number", "integer", "boolean", "datetime", "date"];
    for table in schemas() {
        let file: Value = serde_json::from_str(table.json).unwrap();
        assert_eq!(file["missingValues"], json!(["", "NA", "-"]), "{}", table.name);
        for field in file["fields"].as_array().unwrap() {
            assert!(known.contains(&field["type"].as_str().unwrap()), "{}: {field}", table.name);
        }
    }
}
