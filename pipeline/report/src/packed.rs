//! Rows of a long table, kept as columns and unpacked a few at a time.
//!
//! A row of a struct takes several times the memory of the same row in columns, mostly for its many small texts. Tables with hundreds of rows
//! a field-season are therefore kept as they were read, and only the rows that a page shows become structs.

use std::marker::PhantomData;

use arrow::array::{Array, AsArray, BooleanArray};
use arrow::compute::filter_record_batch;
use arrow::datatypes::Int64Type;
use evenstand_tables::{Row, Table, TablesError};

use crate::ordered::in_order;

/// The rows of a table in the order of `in_order`.
#[derive(Debug, Clone)]
pub struct Packed<R> {
    table: Option<Table>,
    rows: PhantomData<fn() -> R>,
}

impl<R> Default for Packed<R> {
    /// No rows.
    fn default() -> Self {
        Self { table: None, rows: PhantomData }
    }
}

impl<R: Row> Packed<R> {
    /// The rows of this table. Errors where it lacks a column or a value that a row must have, so that unpacking cannot fail later.
    pub fn of(table: Table) -> Result<Self, TablesError> {
        let table = in_order(table)?;
        // The columns of no rows are looked at as those of any.
        R::from_table(&table.slice(0, 0))?;
        for (column, _, nullable) in R::columns() {
            let missing = table.batch().column_by_name(column).filter(|array| !nullable && array.null_count() > 0);
            if let Some(row) = missing.and_then(|array| (0..array.len()).find(|&row| array.is_null(row))) {
                let table = table.schema().name.clone();
                return Err(TablesError::MissingValue { table, column: column.to_owned(), row });
            }
        }
        Ok(Self { table: Some(table), rows: PhantomData })
    }

    /// The rows of a field-season, of a table that is in their order.
    pub fn of_field_season(&self, field_id: &str, season: i64) -> Vec<R> {
        let Some(table) = &self.table else { return Vec::new() };
        let column = |name| table.batch().column_by_name(name);
        let (Some(fields), Some(seasons)) = (
            column("field_id").and_then(|column| column.as_string_opt::<i32>()),
            column("season").and_then(|column| column.as_primitive_opt::<Int64Type>()),
        ) else {
            return Vec::new();
        };
        let first = first_row(table.len(), |row| (fields.value(row), seasons.value(row)) < (field_id, season));
        let end = first_row(table.len(), |row| (fields.value(row), seasons.value(row)) <= (field_id, season));
        unpacked(&table.slice(first, end - first))
    }

    /// The rows that have these texts in these columns; `None` stands for a cell without any.
    pub fn having(&self, texts: &[(&str, Option<&str>)]) -> Vec<R> {
        let Some(table) = &self.table else { return Vec::new() };
        let mut keeps = vec![true; table.len()];
        for (column, text) in texts {
            let column = table.batch().column_by_name(column).and_then(|column| column.as_string_opt::<i32>());
            let Some(column) = column else { return Vec::new() };
            for (row, keep) in keeps.iter_mut().enumerate() {
                *keep &= column.is_valid(row).then(|| column.value(row)) == *text;
            }
        }
        let kept = filter_record_batch(table.batch(), &BooleanArray::from(keeps));
        kept.ok()
            .and_then(|batch| Table::from_batches(table.schema(), &[batch]).ok())
            .map_or_else(Vec::new, |table| unpacked(&table))
    }

    /// The table, where one was read.
    pub(crate) fn as_read(&self) -> Option<&Table> {
        self.table.as_ref()
    }

    /// The rows as a table.
    #[cfg(test)]
    pub fn table(&self) -> Result<Table, TablesError> {
        self.table.clone().map_or_else(|| R::to_table(&[]), Ok)
    }

    /// Changes the rows.
    #[cfg(test)]
    pub fn edit(&mut self, change: impl FnOnce(&mut Vec<R>)) {
        let mut rows = R::from_table(&self.table().expect("a table")).expect("rows");
        change(&mut rows);
        *self = Self::of(R::to_table(&rows).expect("a table")).expect("rows");
    }
}

/// Rows of a table that was looked through before.
fn unpacked<R: Row>(table: &Table) -> Vec<R> {
    R::from_table(table).unwrap_or_default()
}

/// The first row that does not lie `before` what is looked for.
fn first_row(rows: usize, before: impl Fn(usize) -> bool) -> usize {
    let (mut low, mut high) = (0, rows);
    while low < high {
        let middle = low.midpoint(high);
        if before(middle) { low = middle + 1 } else { high = middle }
    }
    low
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstand_tables::rows::{CourseMeanRow, CourseRow};

    fn row(field: &str, season: i64, strip: &str) -> CourseRow {
        CourseRow { field_id: field.into(), season, strip_id: strip.into(), ..CourseRow::default() }
    }

    fn packed() -> Packed<CourseRow> {
        let rows = [row("b", 2024, "1"), row("a", 2025, "2"), row("b", 2024, "3"), row("c", 2023, "4")];
        Packed::of(CourseRow::to_table(&rows).unwrap()).unwrap()
    }

    #[test]
    fn rows_of_a_field_season_are_found_and_no_others() {
        let strips = |field, season| {
            let rows = packed().of_field_season(field, season);
            rows.into_iter().map(|row| row.strip_id).collect::<Vec<_>>()
        };
        assert_eq!(strips("b", 2024), ["1", "3"]);
        assert_eq!(strips("a", 2025), ["2"]);
        assert!(strips("a", 2024).is_empty() && strips("d", 2024).is_empty() && strips("", 0).is_empty());
        assert!(Packed::<CourseRow>::default().of_field_season("a", 2025).is_empty());
    }

    #[test]
    fn rows_are_found_by_what_they_say() {
        let mut means = Packed::<CourseMeanRow>::default();
        means.edit(|rows| {
            for label in [Some("x"), None, Some("y")] {
                rows.push(CourseMeanRow { label: label.map(str::to_owned), ..CourseMeanRow::default() });
            }
        });
        assert_eq!(means.having(&[("label", Some("y"))]).len(), 1);
        assert_eq!(means.having(&[("label", None)]).len(), 1);
        assert!(means.having(&[("label", None), ("field_id", Some("elsewhere"))]).is_empty());
    }
}
