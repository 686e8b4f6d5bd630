//! The planter of each field, from the kept table `field`.

use std::collections::{BTreeMap, HashMap};

use arrow::array::{Array, AsArray};
use datafusion::object_store::path::Path;
use datafusion::object_store::{ObjectStore, ObjectStoreExt};
use futures::TryStreamExt;
use parquet::arrow::ProjectionMask;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;

use crate::failure::Failure;

/// The planter of each field and season that names one.
#[derive(Debug, Default)]
pub struct FieldPlanters {
    by_season: BTreeMap<i64, HashMap<String, Option<String>>>,
}

impl FieldPlanters {
    /// Of a field that stands twice in a season, the first speaks, as in `evenstand link`.
    fn add(&mut self, season: i64, field: &str, planter: Option<&str>) {
        let fields = self.by_season.entry(season).or_default();
        fields.entry(field.to_owned()).or_insert_with(|| planter.map(str::to_owned));
    }

    /// The planter of a field.
    pub fn of(&self, season: i64, field: &str) -> Option<&str> {
        self.by_season.get(&season)?.get(field)?.as_deref()
    }

    /// Fields of a planter by season, in the order of their names.
    pub fn fields_of(&self, planter: &str) -> Vec<(i64, Vec<&str>)> {
        self.by_season
            .iter()
            .map(|(season, of)| {
                let its = of.iter().filter(|(_, its)| its.as_deref() == Some(planter));
                let mut names: Vec<&str> = its.map(|(name, _)| name.as_str()).collect();
                names.sort_unstable();
                (*season, names)
            })
            .filter(|(_, names)| !names.is_empty())
            .collect()
    }
}

/// Reads the planters of the fields below `prefix` of a store, file by file in the order of their names.
pub async fn read(store: &dyn ObjectStore, prefix: &Path) -> Result<FieldPlanters, Failure> {
    let folder = prefix.clone().join("field");
    let unreadable = |what: &str, problem: &dyn std::fmt::Display| {
        Failure::new(format!("{what} cannot be read: {problem}"), "run `evenstand ingest` again to rebuild the store")
    };
    let mut files: Vec<Path> = store
        .list(Some(&folder))
        .map_ok(|file| file.location)
        .try_collect()
        .await
        .map_err(|error| unreadable(folder.as_ref(), &error))?;
    files.sort();
    let mut planters = FieldPlanters::default();
    for file in files {
        let part = file.parts().rev().nth(1);
        let Some(season) = part.and_then(|part| part.as_ref().strip_prefix("season=")?.parse().ok()) else { continue };
        let unreadable = |problem: &dyn std::fmt::Display| unreadable(file.as_ref(), problem);
        let bytes = store.get(&file).await.map_err(|error| unreadable(&error))?;
        let bytes = bytes.bytes().await.map_err(|error| unreadable(&error))?;
        let builder = ParquetRecordBatchReaderBuilder::try_new(bytes).map_err(|error| unreadable(&error))?;
        let mask = ProjectionMask::columns(builder.parquet_schema(), ["field_id", "planter_id"]);
        for batch in builder.with_projection(mask).build().map_err(|error| unreadable(&error))? {
            let batch = batch.map_err(|error| unreadable(&error))?;
            let texts = |name: &str| batch.column_by_name(name).and_then(|column| column.as_string_opt::<i32>());
            let (Some(fields), Some(its)) = (texts("field_id"), texts("planter_id")) else {
                return Err(unreadable(&"no text columns field_id and planter_id"));
            };
            for row in 0..batch.num_rows() {
                planters.add(season, fields.value(row), its.is_valid(row).then(|| its.value(row)));
            }
        }
    }
    Ok(planters)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_row_of_a_field_speaks_for_its_season() {
        let mut planters = FieldPlanters::default();
        for (season, field, planter) in [
            (2025, "B", Some("p")),
            (2025, "A", Some("p")),
            (2025, "A", Some("q")),
            (2026, "A", None),
            (2026, "A", Some("q")),
        ] {
            planters.add(season, field, planter);
        }
        assert_eq!(planters.of(2025, "A"), Some("p"));
        assert_eq!((planters.of(2026, "A"), planters.of(2026, "Z")), (None, None));
        assert_eq!(planters.fields_of("p"), [(2025, vec!["A", "B"])]);
        assert!(planters.fields_of("q").is_empty());
    }
}
