//! A file of telemetry summed by strip: kept outside `store/`, made here or on other machines.

use std::fs;
use std::path::Path;

use evenstand_tables::rows::StripTotalsRow;
use evenstand_tables::{Group, Row, schema};

use crate::StoreError;
use crate::parquet_file::{read_table, write_table};

/// Writes totals by strip as one Parquet file, beside itself first, so that nobody finds half a file.
pub fn write_strip_totals(path: &Path, rows: &[StripTotalsRow]) -> Result<(), StoreError> {
    let mut beside = path.as_os_str().to_owned();
    beside.push(".part");
    let beside = Path::new(&beside);
    let written = write_table(beside, &StripTotalsRow::to_table(rows)?);
    written.inspect_err(|_| drop(fs::remove_file(beside)))?;
    fs::rename(beside, path).map_err(|error| StoreError::file(path, &error))
}

/// Reads totals by strip. Errors where there is no such file, or it is of another kind.
pub fn read_strip_totals(path: &Path) -> Result<Vec<StripTotalsRow>, StoreError> {
    let not_totals = |error: StoreError| match error {
        StoreError::Damaged { path, problem, .. } => StoreError::NotTotals { path, problem },
        StoreError::Tables(error) => StoreError::NotTotals { path: path.to_owned(), problem: error.to_string() },
        other => other,
    };
    let table = read_table(path, schema(Group::Kept, StripTotalsRow::TABLE)?).map_err(not_totals)?;
    StripTotalsRow::from_table(&table).map_err(|error| not_totals(error.into()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn totals_come_back_as_they_were() {
        let base = tempfile::tempdir().unwrap();
        let path = base.path().join("totals.parquet");
        let row = StripTotalsRow { field_id: "A".into(), season: 2025, rows: 7, ..StripTotalsRow::default() };
        write_strip_totals(&path, std::slice::from_ref(&row)).unwrap();
        assert_eq!(read_strip_totals(&path).unwrap(), [row]);
        assert_eq!(fs::read_dir(base.path()).unwrap().count(), 1);
    }

    #[test]
    fn another_file_is_named_and_what_to_do_is_said() {
        let base = tempfile::tempdir().unwrap();
        let path = base.path().join("notes.txt");
        fs::write(&path, "strip 7 was wet").unwrap();
        let message = read_strip_totals(&path).unwrap_err().to_string();
        assert!(message.contains("notes.txt") && message.contains("evenstand link"), "{message}");
    }
}
