//! Rows of a long table, kept packed and unpacked a few thousand at a time.
//!
//! A row of a struct takes several times the memory of the same row in columns, mostly for its many small texts, and columns several times that of
//! packed ones. Tables with hundreds of rows a field-season are therefore kept packed, and only the rows that a page shows become structs.

use std::collections::VecDeque;
use std::marker::PhantomData;
use std::sync::{Arc, Mutex, PoisonError};

use arrow::array::{Array, AsArray, BooleanArray};
use arrow::compute::filter_record_batch;
use arrow::datatypes::Int64Type;
use evenstand_tables::{PackedTable, Row, Table, TablesError, schema};

use crate::ordered::{Ordered, in_order};

/// Rows that are packed together.
const PART: usize = 1 << 14;

/// Parts that stay unpacked after they were looked into. Pages come in the order of their fields on several threads, so that the next page
/// mostly asks for what the last one did.
const UNPACKED: usize = 4;

/// The rows of a table in the order of `in_order`.
#[derive(Debug, Clone)]
pub struct Packed<R> {
    held: Arc<Held>,
    rows: PhantomData<fn() -> R>,
}

impl<R> Default for Packed<R> {
    /// No rows.
    fn default() -> Self {
        Self { held: Arc::default(), rows: PhantomData }
    }
}

/// Rows of some table.
#[derive(Debug, Default)]
pub(crate) struct Held {
    parts: Vec<PackedTable>,
    /// Field and season of the first and the last row of each part, where the table is in their order.
    ends: Vec<[(String, i64); 2]>,
    unpacked: Mutex<VecDeque<(usize, Table)>>,
}

impl Held {
    /// The parts in their order.
    pub fn parts(&self) -> impl Iterator<Item = Result<Table, TablesError>> {
        self.parts.iter().map(PackedTable::table)
    }

    /// All rows, unpacked; they are those of `R`.
    fn whole<R: Row>(&self) -> Result<Table, TablesError> {
        let batches = self.parts().map(|part| Ok(part?.batch().clone()));
        Table::from_batches(schema(R::GROUP, R::TABLE)?, &batches.collect::<Result<Vec<_>, TablesError>>()?)
    }

    fn push(&mut self, table: &Table) -> Result<(), TablesError> {
        if table.is_empty() {
            return Ok(());
        }
        if let Some((fields, seasons)) = fields_and_seasons(table) {
            self.ends.push([0, table.len() - 1].map(|row| (fields.value(row).to_owned(), seasons.value(row))));
        }
        self.parts.push(PackedTable::of(table)?);
        Ok(())
    }

    /// A part, which was looked through before it was packed.
    fn part(&self, number: usize) -> Option<Table> {
        let mut unpacked = self.unpacked.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, table)) = unpacked.iter().find(|(known, _)| *known == number) {
            return Some(table.clone());
        }
        drop(unpacked);
        let table = self.parts.get(number)?.table().ok()?;
        unpacked = self.unpacked.lock().unwrap_or_else(PoisonError::into_inner);
        unpacked.truncate(UNPACKED - 1);
        unpacked.push_front((number, table.clone()));
        Some(table)
    }
}

impl<R: Row> Packed<R> {
    /// The rows of these parts of a table. Errors where one lacks a column or a value that a row must have, so that unpacking cannot fail later, and
    /// where a part cannot be had.
    pub fn of<E: From<TablesError>>(parts: impl Iterator<Item = Result<Table, E>>) -> Result<Self, E> {
        let (mut held, mut ordered) = (Held::default(), Ordered::default());
        for part in parts {
            let part = part?;
            looked_through::<R>(&part)?;
            ordered.follows(&part)?;
            part.split(PART).try_for_each(|part| held.push(&part))?;
        }
        if !ordered.so_far() {
            return Self::of(std::iter::once(Ok(in_order(held.whole::<R>()?)?)));
        }
        Ok(Self { held: Arc::new(held), rows: PhantomData })
    }

    /// The rows of a field-season, of a table that is in their order.
    pub fn of_field_season(&self, field_id: &str, season: i64) -> Vec<R> {
        let key = (field_id, season);
        let first = self.held.ends.partition_point(|[_, last]| (last.0.as_str(), last.1) < key);
        let end = self.held.ends.partition_point(|[first, _]| (first.0.as_str(), first.1) <= key);
        let parts = (first..end.max(first)).filter_map(|number| self.held.part(number));
        parts.flat_map(|part| unpacked(&of_field_season(&part, key))).collect()
    }

    /// The rows that have these texts in these columns; `None` stands for a cell without any.
    pub fn having(&self, texts: &[(&str, Option<&str>)]) -> Vec<R> {
        let parts = (0..self.held.parts.len()).filter_map(|number| self.held.part(number));
        parts.filter_map(|part| having(&part, texts)).flat_map(|part| unpacked(&part)).collect()
    }

    /// The rows of whatever table these are.
    pub(crate) fn held(&self) -> Arc<Held> {
        Arc::clone(&self.held)
    }

    /// The rows as a table.
    #[cfg(test)]
    pub fn table(&self) -> Result<Table, TablesError> {
        self.held.whole::<R>()
    }

    /// Changes the rows.
    #[cfg(test)]
    pub fn edit(&mut self, change: impl FnOnce(&mut Vec<R>)) {
        let mut rows = R::from_table(&self.table().expect("a table")).expect("rows");
        change(&mut rows);
        *self = Self::of(std::iter::once(R::to_table(&rows))).expect("rows");
    }
}

/// Rows of a table that was looked through before.
fn unpacked<R: Row>(table: &Table) -> Vec<R> {
    R::from_table(table).unwrap_or_default()
}

/// Errors where a table lacks a column, or a value that a row must have.
fn looked_through<R: Row>(table: &Table) -> Result<(), TablesError> {
    // The columns of no rows are looked at as those of any.
    R::from_table(&table.slice(0, 0))?;
    for (column, _, nullable) in R::columns() {
        let missing = table.batch().column_by_name(column).filter(|array| !nullable && array.null_count() > 0);
        if let Some(row) = missing.and_then(|array| (0..array.len()).find(|&row| array.is_null(row))) {
            let table = table.schema().name.clone();
            return Err(TablesError::MissingValue { table, column: column.to_owned(), row });
        }
    }
    Ok(())
}

type FieldsAndSeasons<'a> = (&'a arrow::array::StringArray, &'a arrow::array::PrimitiveArray<Int64Type>);

fn fields_and_seasons(table: &Table) -> Option<FieldsAndSeasons<'_>> {
    let column = |name| table.batch().column_by_name(name);
    Some((column("field_id")?.as_string_opt::<i32>()?, column("season")?.as_primitive_opt::<Int64Type>()?))
}

/// The rows of a field and season.
fn of_field_season(table: &Table, key: (&str, i64)) -> Table {
    let Some((fields, seasons)) = fields_and_seasons(table) else { return table.slice(0, 0) };
    let first = first_row(table.len(), |row| (fields.value(row), seasons.value(row)) < key);
    let end = first_row(table.len(), |row| (fields.value(row), seasons.value(row)) <= key);
    table.slice(first, end - first)
}

/// The rows that have these texts in these columns.
fn having(table: &Table, texts: &[(&str, Option<&str>)]) -> Option<Table> {
    let mut keeps = vec![true; table.len()];
    for (column, text) in texts {
        let column = table.batch().column_by_name(column)?.as_string_opt::<i32>()?;
        for (row, keep) in keeps.iter_mut().enumerate() {
            *keep &= column.is_valid(row).then(|| column.value(row)) == *text;
        }
    }
    let kept = filter_record_batch(table.batch(), &BooleanArray::from(keeps)).ok()?;
    Table::from_batches(table.schema(), &[kept]).ok()
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
        Packed::of(std::iter::once(CourseRow::to_table(&rows))).unwrap()
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
    fn rows_of_a_field_season_may_lie_in_several_parts_and_come_in_any_order() {
        let rows: Vec<CourseRow> =
            (0..5 * PART / 2).map(|at| row(&format!("{}", at / 3000), 2025, &format!("{at}"))).collect();
        let parts = |rows: &[CourseRow]| rows.chunks(7000).map(CourseRow::to_table).collect::<Vec<_>>().into_iter();
        let shuffled: Vec<CourseRow> = rows.iter().rev().cloned().collect();
        for (packed, turned) in
            [(Packed::<CourseRow>::of(parts(&rows)).unwrap(), false), (Packed::of(parts(&shuffled)).unwrap(), true)]
        {
            // "10" comes before "2": fields are in the order of their names.
            for field in [0, 5, 13] {
                let mut expected = rows[field * 3000..(field * 3000 + 3000).min(rows.len())].to_vec();
                if turned {
                    expected.reverse();
                }
                assert_eq!(packed.of_field_season(&field.to_string(), 2025), expected, "{field} {turned}");
            }
            assert!(packed.of_field_season("14", 2025).is_empty());
        }
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
