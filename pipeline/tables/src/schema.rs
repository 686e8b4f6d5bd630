//! Reads `schemas/` once: every table, every column, its unit and its limits.

use std::collections::HashMap;
use std::sync::{Arc, LazyLock};

use arrow::datatypes::{DataType, Field, Schema, SchemaRef, TimeUnit};
use serde::Deserialize;

use crate::TablesError;

/// Which of the three sets a table belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Group {
    /// Files as people have them, in `raw/`.
    Raw,
    /// Normalised tables in `store/`.
    Kept,
    /// Tables in `results/`.
    Results,
}

impl Group {
    /// The folder below `schemas/`.
    pub fn name(self) -> &'static str {
        match self {
            Group::Raw => "raw",
            Group::Kept => "kept",
            Group::Results => "results",
        }
    }
}

/// Type of a column, as Frictionless Table Schema names it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ColumnType {
    /// Text.
    String,
    /// A number (`f64`).
    Number,
    /// A whole number (`i64`).
    Integer,
    /// Yes or no.
    Boolean,
    /// A point in time; kept in UTC to the microsecond.
    Datetime,
    /// A calendar day.
    Date,
}

impl ColumnType {
    /// The Arrow type a column of this type is kept in.
    pub fn arrow(self) -> DataType {
        match self {
            ColumnType::String => DataType::Utf8,
            ColumnType::Number => DataType::Float64,
            ColumnType::Integer => DataType::Int64,
            ColumnType::Boolean => DataType::Boolean,
            ColumnType::Datetime => DataType::Timestamp(TimeUnit::Microsecond, Some("UTC".into())),
            ColumnType::Date => DataType::Date32,
        }
    }

    /// The name in the schema files.
    pub fn name(self) -> &'static str {
        match self {
            ColumnType::String => "string",
            ColumnType::Number => "number",
            ColumnType::Integer => "integer",
            ColumnType::Boolean => "boolean",
            ColumnType::Datetime => "datetime",
            ColumnType::Date => "date",
        }
    }
}

#[derive(Debug, Default, Clone, Deserialize)]
struct Constraints {
    #[serde(default)]
    required: bool,
    minimum: Option<f64>,
    maximum: Option<f64>,
    #[serde(rename = "enum", default)]
    allowed: Vec<String>,
}

/// One column of a table.
#[derive(Debug, Clone, Deserialize)]
#[serde(rename_all = "camelCase")]
pub struct Column {
    /// Name as it is kept, unit suffix included.
    pub name: String,
    /// Type.
    #[serde(rename = "type")]
    pub column_type: ColumnType,
    /// Unit of the kept value, where it has one.
    pub unit: Option<String>,
    /// Kind of unit (`force`, `length`, …) where the header may name another unit of the kind.
    pub unit_kind: Option<String>,
    /// Name without the unit suffix, where there is a unit kind.
    pub stem: Option<String>,
    /// Label for charts and pages; the name where there is none.
    pub title: Option<String>,
    /// Words that people write above such a column, where it is a raw one; compared by words, whatever their case.
    #[serde(default)]
    pub aliases: Vec<String>,
    /// One sentence.
    pub description: String,
    #[serde(default)]
    planned: bool,
    #[serde(default)]
    constraints: Constraints,
}

impl Column {
    /// Whether the plan of a trial fills it in before anybody goes to the field.
    pub fn planned(&self) -> bool {
        self.planned
    }
    /// Whether every row must have a value.
    pub fn required(&self) -> bool {
        self.constraints.required
    }
    /// Smallest allowed value in the kept unit.
    pub fn minimum(&self) -> Option<f64> {
        self.constraints.minimum
    }
    /// Largest allowed value in the kept unit.
    pub fn maximum(&self) -> Option<f64> {
        self.constraints.maximum
    }
    /// Allowed words; empty where anything goes.
    pub fn allowed(&self) -> &[String] {
        &self.constraints.allowed
    }
    /// Label for people.
    pub fn label(&self) -> &str {
        self.title.as_deref().unwrap_or(&self.name)
    }
}

/// One table: its columns in order, and what it is about.
#[derive(Debug, Clone)]
pub struct TableSchema {
    /// Set the table belongs to.
    pub group: Group,
    /// Name; also the name of its file and folder.
    pub name: String,
    /// Title for people.
    pub title: String,
    /// One sentence.
    pub description: String,
    /// Columns in order.
    pub columns: Vec<Column>,
    /// The file itself, as it stands in `schemas/`.
    pub json: &'static str,
    arrow: SchemaRef,
}

#[derive(Deserialize)]
struct SchemaFile {
    name: String,
    title: String,
    description: String,
    fields: Vec<Column>,
}

impl TableSchema {
    fn parse(group: Group, json: &'static str) -> Self {
        let file: SchemaFile = serde_json::from_str(json).expect("schema files are compiled in and checked by a test");
        let fields: Vec<Field> = file
            .fields
            .iter()
            .map(|column| {
                let mut metadata = HashMap::from([("description".to_owned(), column.description.clone())]);
                if let Some(unit) = &column.unit {
                    metadata.insert("unit".to_owned(), unit.clone());
                }
                Field::new(&column.name, column.column_type.arrow(), !column.required()).with_metadata(metadata)
            })
            .collect();
        Self {
            group,
            name: file.name,
            title: file.title,
            description: file.description,
            columns: file.fields,
            json,
            arrow: Arc::new(Schema::new(fields)),
        }
    }

    /// The Arrow schema; unit and sentence of a column travel as field metadata.
    pub fn arrow(&self) -> SchemaRef {
        self.arrow.clone()
    }

    /// Finds a column by its kept name.
    pub fn column(&self, name: &str) -> Option<&Column> {
        self.columns.iter().find(|column| column.name == name)
    }
}

macro_rules! embed {
    ($($group:ident / $folder:literal : $($table:literal),+ $(,)?);+ $(;)?) => {
        vec![$($(TableSchema::parse(
            Group::$group,
            include_str!(concat!("../../../schemas/", $folder, "/", $table, ".json")),
        ),)+)+]
    };
}

static SCHEMAS: LazyLock<Vec<TableSchema>> = LazyLock::new(|| {
    embed! {
        Raw / "raw": "field", "strip", "setting_log", "soil_note", "dig_check", "stand_count", "spacing", "plant",
            "measure", "weather";
        Kept / "kept": "field", "strip", "setting_log", "soil_note", "dig_check", "stand_count", "spacing", "plant",
            "measure", "weather", "set_aside", "findings", "strip_totals";
        Results / "results": "starting_points", "sensitivity", "settings", "strips", "strip_measures", "field_seasons", "planters",
            "curves", "field_curves", "adjusted", "courses", "course_means", "comparisons", "factors", "digs", "dig_window", "findings",
            "set_aside", "model", "next_trials", "shapes", "telemetry", "dig_curves", "dig_levels", "dig_checklist",
            "dig_stand", "calibrations", "conditions", "set_actual", "field_effects", "since_last", "followed", "traces", "outlines",
            "recorded", "sources";
    }
});

/// Every table, in the order raw, kept, results.
pub fn schemas() -> &'static [TableSchema] {
    &SCHEMAS
}

/// Finds a table. Errors with the names there are.
pub fn schema(group: Group, name: &str) -> Result<&'static TableSchema, TablesError> {
    SCHEMAS.iter().find(|table| table.group == group && table.name == name).ok_or_else(|| TablesError::UnknownTable {
        group: group.name(),
        name: name.to_owned(),
        known: SCHEMAS.iter().filter(|t| t.group == group).map(|t| t.name.as_str()).collect::<Vec<_>>().join(", "),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_column_has_a_sentence_and_units_match_the_name() {
        for table in schemas() {
            for column in &table.columns {
                assert!(
                    column.description.ends_with(['.', '…']),
                    "{}/{}: {}",
                    table.name,
                    column.name,
                    column.description
                );
                if let Some(stem) = &column.stem {
                    assert!(column.name.starts_with(&format!("{stem}_")), "{}: {}", table.name, column.name);
                    assert!(column.unit.is_some() && column.unit_kind.is_some());
                }
            }
        }
    }

    #[test]
    fn kept_tables_are_the_raw_ones_with_provenance() {
        for raw in schemas().iter().filter(|t| t.group == Group::Raw) {
            let kept = schema(Group::Kept, &raw.name).expect("each raw table is kept");
            let names: Vec<_> = kept.columns.iter().map(|c| c.name.as_str()).collect();
            let expected: Vec<_> = raw
                .columns
                .iter()
                .map(|c| c.name.as_str())
                .chain(["source_file", "source_row", "source_sha256"])
                .collect();
            assert_eq!(names, expected);
            for (raw_column, kept_column) in raw.columns.iter().zip(&kept.columns) {
                assert_eq!(raw_column.description, kept_column.description, "{}.{}", raw.name, raw_column.name);
                assert_eq!(raw_column.unit, kept_column.unit);
                assert_eq!(raw_column.column_type, kept_column.column_type);
            }
        }
    }

    #[test]
    fn an_unknown_table_lists_the_known_ones() {
        let error = schema(Group::Raw, "stand").expect_err("no such table").to_string();
        assert!(error.contains("stand_count") && error.contains("setting_log"), "{error}");
    }
}
