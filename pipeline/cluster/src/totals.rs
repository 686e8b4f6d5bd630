//! Sums of the engine put together: rows that name no planter join those of the planter of their field.

use std::collections::BTreeMap;

use arrow::array::{Array, ArrayRef, AsArray, RecordBatch};
use arrow::compute::cast;
use arrow::datatypes::{DataType, Int64Type};

use crate::failure::Failure;
use crate::planters::FieldPlanters;
use crate::query::LABELS;

/// Columns that are added up, in the order of the table.
pub const SUMS: [&str; 20] = [
    "rows",
    "rows_at_speed",
    "speed_count",
    "speed_millionths",
    "set_pressure_count",
    "set_pressure_millionths",
    "set_force_count",
    "set_force_millionths",
    "actual_force_count",
    "actual_force_millionths",
    "set_from_pressure_count",
    "actual_from_pressure_count",
    "lat_count",
    "lat_millionths",
    "lon_count",
    "lon_millionths",
    "set_force_hundredths",
    "set_force_squares",
    "actual_force_hundredths",
    "actual_force_squares",
];

/// Field, season, strip (if any) and planter (if any), in whose order rows are written; missing names come first.
pub type Key = (String, i64, Option<String>, Option<String>);

/// What the telemetry of one key came to.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Total {
    /// Sums, in the order of `SUMS`.
    pub sums: [i64; 20],
    /// First labels, in the order of `LABELS`.
    pub labels: [Option<String>; 5],
    /// Time of the first row, in microseconds.
    pub started_at: Option<i64>,
}

impl Total {
    fn add(&mut self, more: Total) {
        for (sum, more) in self.sums.iter_mut().zip(more.sums) {
            *sum += more;
        }
        for (label, more) in self.labels.iter_mut().zip(more.labels) {
            *label = label.take().into_iter().chain(more).min();
        }
        self.started_at = self.started_at.into_iter().chain(more.started_at).min();
    }
}

/// Totals by field, season, strip and planter from the batches of the query.
pub fn put_together(batches: &[RecordBatch], planters: &FieldPlanters) -> Result<BTreeMap<Key, Total>, Failure> {
    let mut totals: BTreeMap<Key, Total> = BTreeMap::new();
    for batch in batches {
        let column = |name: &str, wanted: &DataType| -> Result<ArrayRef, Failure> {
            let found =
                batch.column_by_name(name).ok_or_else(|| Failure::bug(format!("the sums have no column {name}")))?;
            cast(found, wanted).map_err(|error| Failure::bug(format!("column {name} of the sums: {error}")))
        };
        let texts = |name: &str| column(name, &DataType::Utf8);
        let whole = |name: &str| column(name, &DataType::Int64);
        let (fields, strips, own) = (texts("field_id")?, texts("strip_id")?, texts("planter_id")?);
        let seasons = whole("season")?;
        let started = whole("started_at")?;
        let sums = SUMS.map(whole).into_iter().collect::<Result<Vec<_>, _>>()?;
        let labels = LABELS.map(texts).into_iter().collect::<Result<Vec<_>, _>>()?;
        let text = |array: &ArrayRef, row: usize| {
            let array = array.as_string::<i32>();
            array.is_valid(row).then(|| array.value(row).to_owned())
        };
        let number = |array: &ArrayRef, row: usize| {
            let array = array.as_primitive::<Int64Type>();
            array.is_valid(row).then(|| array.value(row))
        };
        for row in 0..batch.num_rows() {
            let field = text(&fields, row).unwrap_or_default();
            let season = number(&seasons, row).unwrap_or_default();
            let planter = text(&own, row).or_else(|| planters.of(season, &field).map(str::to_owned));
            let total = Total {
                sums: std::array::from_fn(|index| sums.get(index).and_then(|sum| number(sum, row)).unwrap_or(0)),
                labels: std::array::from_fn(|index| labels.get(index).and_then(|label| text(label, row))),
                started_at: number(&started, row),
            };
            totals.entry((field, season, text(&strips, row), planter)).or_default().add(total);
        }
    }
    Ok(totals)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn totals_add_up_and_keep_the_first_label_and_time() {
        let part = |rows: i64, block: Option<&str>, started_at: i64| {
            let mut total = Total { started_at: Some(started_at), ..Total::default() };
            total.sums[0] = rows;
            total.labels[0] = block.map(str::to_owned);
            total
        };
        let mut total = Total::default();
        [part(3, Some("b"), 9), part(4, None, 5), part(2, Some("a"), 7)].into_iter().for_each(|more| total.add(more));
        assert_eq!(total, part(9, Some("a"), 5));
    }
}
