//! The table `strip_totals` as a Parquet file, after the schema file that `evenstand link` follows too.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::path::Path;
use std::sync::Arc;

use arrow::array::{ArrayRef, Int64Array, RecordBatch, StringArray, TimestampMicrosecondArray};
use arrow::datatypes::{DataType, Field, Schema, SchemaRef, TimeUnit};
use parquet::arrow::ArrowWriter;
use parquet::basic::Compression;
use parquet::file::properties::WriterProperties;

use crate::failure::Failure;
use crate::query::LABELS;
use crate::totals::{Key, SUMS, Total};

const SCHEMA: &str = include_str!("../../../schemas/kept/strip_totals.json");

/// Columns of the schema file.
fn schema() -> Result<SchemaRef, Failure> {
    let broken = || Failure::bug("schemas/kept/strip_totals.json is not a table schema");
    let file: serde_json::Value = serde_json::from_str(SCHEMA).map_err(|_| broken())?;
    let mut fields = Vec::new();
    for field in file["fields"].as_array().ok_or_else(broken)? {
        let kind = match field["type"].as_str() {
            Some("string") => DataType::Utf8,
            Some("integer") => DataType::Int64,
            Some("datetime") => DataType::Timestamp(TimeUnit::Microsecond, Some("UTC".into())),
            _ => return Err(broken()),
        };
        let needed = field["constraints"]["required"] == true;
        let description = field["description"].as_str().ok_or_else(broken)?.to_owned();
        let field = Field::new(field["name"].as_str().ok_or_else(broken)?, kind, !needed);
        fields.push(field.with_metadata([("description".to_owned(), description)].into()));
    }
    Ok(Arc::new(Schema::new(fields)))
}

/// One batch of all totals in their order.
fn batch(totals: &BTreeMap<Key, Total>, reckoned_with: &str) -> Result<RecordBatch, Failure> {
    let schema = schema()?;
    let texts = |of: &dyn Fn(&Key, &Total) -> Option<String>| -> ArrayRef {
        Arc::new(totals.iter().map(|(key, total)| of(key, total)).collect::<StringArray>())
    };
    let column = |name: &str| -> Option<ArrayRef> {
        if let Some(index) = SUMS.iter().position(|sum| *sum == name) {
            return Some(Arc::new(totals.values().map(|total| total.sums[index]).collect::<Int64Array>()));
        }
        if let Some(index) = LABELS.iter().position(|label| *label == name) {
            return Some(texts(&|_, total| total.labels[index].clone()));
        }
        Some(match name {
            "field_id" => texts(&|key, _| Some(key.0.clone())),
            "season" => Arc::new(totals.keys().map(|key| key.1).collect::<Int64Array>()),
            "strip_id" => texts(&|key, _| key.2.clone()),
            "planter_id" => texts(&|key, _| key.3.clone()),
            "started_at" => {
                let times: TimestampMicrosecondArray = totals.values().map(|total| total.started_at).collect();
                Arc::new(times.with_timezone("UTC"))
            }
            "reckoned_with" => texts(&|_, _| Some(reckoned_with.to_owned())),
            _ => return None,
        })
    };
    let columns = schema
        .fields()
        .iter()
        .map(|field| column(field.name()).ok_or_else(|| Failure::bug(format!("nothing fills column {}", field.name()))))
        .collect::<Result<Vec<_>, _>>()?;
    RecordBatch::try_new(schema, columns).map_err(|error| Failure::bug(format!("the table of totals: {error}")))
}

/// Writes the table, beside itself first, so that nobody finds half a file.
pub fn write(path: &Path, totals: &BTreeMap<Key, Total>, reckoned_with: &str) -> Result<(), Failure> {
    let batch = batch(totals, reckoned_with)?;
    let unwritten = |problem: &dyn std::fmt::Display| {
        Failure::new(format!("{} cannot be written: {problem}", path.display()), "give another file as --out FILE")
    };
    let mut beside = path.as_os_str().to_owned();
    beside.push(".part");
    let beside = Path::new(&beside);
    let properties = WriterProperties::builder().set_compression(Compression::SNAPPY).build();
    let file = File::create(beside).map_err(|error| unwritten(&error))?;
    let mut writer = ArrowWriter::try_new(file, batch.schema(), Some(properties)).map_err(|error| unwritten(&error))?;
    writer.write(&batch).and_then(|()| writer.close().map(drop)).map_err(|error| unwritten(&error))?;
    fs::rename(beside, path).map_err(|error| unwritten(&error))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_column_of_the_schema_is_filled() {
        let key = ("A".to_owned(), 2025, None, Some("p".to_owned()));
        let table = batch(&BTreeMap::from([(key, Total::default())]), "from 1 m/s").unwrap();
        assert_eq!((table.num_rows(), table.num_columns()), (1, 31));
    }
}
