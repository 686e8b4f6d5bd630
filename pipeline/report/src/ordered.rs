//! Result tables in the order in which the report finds their rows.

use std::cmp::Ordering;

use arrow::array::{Array, AsArray, UInt32Array};
use arrow::compute::take_record_batch;
use arrow::datatypes::{DataType, Int64Type};
use evenstand_tables::{Table, TablesError};

use crate::error::no_order;

/// The columns by which a table that grows with strips is ordered; of others none.
fn keys(table: &str) -> &'static [&'static str] {
    match table {
        "traces" => &["field_id", "season", "strip_id", "piece"],
        "outlines" => &["field_id", "season", "strip_id", "ring", "corner"],
        "sources" => &["field_id", "season", "strip_id", "source_file"],
        "strip_measures" => &["field_id", "season", "strip_id"],
        // Rows of one field-season keep their order.
        "strips" | "courses" | "course_means" | "field_curves" | "recorded" => &["field_id", "season"],
        _ => &[],
    }
}

/// Whether a table is ordered at all.
pub(crate) fn grows_with_strips(table: &str) -> bool {
    !keys(table).is_empty()
}

/// The table with its rows in the order of field, season and strip, where it grows with them; rows that are alike in that keep their order.
/// Errors where a table of strips does not follow its schema.
pub(crate) fn in_order(table: Table) -> Result<Table, TablesError> {
    let keys = Keys::of(&table)?;
    if keys.in_order(table.len()) {
        return Ok(table);
    }
    let mut order: Vec<u32> = (0..u32::try_from(table.len()).unwrap_or(u32::MAX)).collect();
    order.sort_by(|&a, &b| keys.compare(a as usize, b as usize));
    let batch = take_record_batch(table.batch(), &UInt32Array::from(order))?;
    Table::from_batches(table.schema(), &[batch])
}

/// Whether the parts of a table that come one after another are in that order.
#[derive(Debug, Default)]
pub(crate) struct Ordered {
    /// The last row of the part before.
    last: Option<Table>,
    broken: bool,
}

impl Ordered {
    /// Takes the next part. Errors as [`in_order`].
    pub fn follows(&mut self, part: &Table) -> Result<(), TablesError> {
        let rows = part.len();
        self.broken |= !Keys::of(part)?.in_order(rows);
        if rows == 0 {
            return Ok(());
        }
        if let Some(last) = self.last.replace(part.slice(rows - 1, 1)) {
            let border = Table::from_batches(part.schema(), &[last.batch().clone(), part.slice(0, 1).batch().clone()])?;
            self.broken |= !Keys::of(&border)?.in_order(border.len());
        }
        Ok(())
    }

    /// Whether all parts until now are in order.
    pub fn so_far(&self) -> bool {
        !self.broken
    }
}

/// The columns by which a table is ordered.
struct Keys<'a>(Vec<Key<'a>>);

impl<'a> Keys<'a> {
    fn of(table: &'a Table) -> Result<Self, TablesError> {
        let columns = keys(&table.schema().name).iter().map(|key| {
            let column = table.batch().column_by_name(key);
            let column = column.filter(|column| matches!(column.data_type(), DataType::Utf8 | DataType::Int64));
            let column = column.ok_or_else(|| no_order(table, key))?;
            Ok::<_, TablesError>(match column.data_type() {
                DataType::Utf8 => Key::Text(column.as_string()),
                _ => Key::Whole(column.as_primitive()),
            })
        });
        Ok(Self(columns.collect::<Result<_, _>>()?))
    }

    fn compare(&self, a: usize, b: usize) -> Ordering {
        let parts = self.0.iter().map(|key| key.compare(a, b));
        parts.fold(Ordering::Equal, Ordering::then)
    }

    fn in_order(&self, rows: usize) -> bool {
        (1..rows).all(|row| self.compare(row - 1, row).is_le())
    }
}

/// A column by which rows are ordered; what is missing comes first.
enum Key<'a> {
    Text(&'a arrow::array::StringArray),
    Whole(&'a arrow::array::PrimitiveArray<Int64Type>),
}

impl Key<'_> {
    fn compare(&self, a: usize, b: usize) -> Ordering {
        match self {
            Key::Text(texts) => {
                let at = |row| texts.is_valid(row).then(|| texts.value(row));
                at(a).cmp(&at(b))
            }
            Key::Whole(numbers) => {
                let at = |row| numbers.is_valid(row).then(|| numbers.value(row));
                at(a).cmp(&at(b))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstand_tables::Row;
    use evenstand_tables::rows::CourseRow;

    #[test]
    fn rows_come_by_field_and_season_and_else_as_they_were() {
        let row = |field: &str, season: i64, strip: &str| CourseRow {
            field_id: field.into(),
            season,
            strip_id: strip.into(),
            ..CourseRow::default()
        };
        let rows =
            [row("b", 2024, "1"), row("a", 2025, "9"), row("a", 2024, "z"), row("b", 2024, "0"), row("a", 2024, "y")];
        let ordered = in_order(CourseRow::to_table(&rows).unwrap()).unwrap();
        let strips: Vec<String> =
            CourseRow::from_table(&ordered).unwrap().into_iter().map(|row| row.strip_id).collect();
        assert_eq!(strips, ["z", "y", "9", "1", "0"]);
    }
}
