//! Rows of a file that keeps its cells by column, many at once.

use std::sync::OnceLock;

use arrow::array::{
    Array, ArrayRef, AsArray, BooleanArray, Float64Array, Int64Array, RecordBatch, StringArray,
    TimestampMicrosecondArray,
};
use arrow::compute::{cast, filter};
use arrow::datatypes::{DataType, TimeUnit};
use arrow::error::ArrowError;

use crate::block::{Cells, ManyRows, TextCells};
use crate::columnar::{column_cells, is_text, is_whole};
use crate::record::{Cell, OwnedCell, Record};
use crate::rules::LONGEST_CELL;

/// Rows of a batch that become columns without being looked at as rows.
pub(crate) struct ColumnRows {
    columns: Vec<Column>,
    numbers: Vec<i64>,
}

/// A column as it was, and in the type that is read of it.
struct Column {
    stored: ArrayRef,
    read: Typed,
    /// Whole numbers as text, once they are asked for: a name may be made of digits.
    as_text: OnceLock<StringArray>,
}

/// A column by what its type means, as [`column_cells`] reads it.
enum Typed {
    Text(StringArray),
    Numbers(Float64Array),
    Whole(Int64Array),
    Instants(TimestampMicrosecondArray),
    Other,
}

impl Typed {
    fn of(column: &ArrayRef) -> Result<Self, ArrowError> {
        Ok(match column.data_type() {
            whole if is_whole(whole) => Typed::Whole(cast(column, &DataType::Int64)?.as_primitive().clone()),
            real if real.is_floating() => Typed::Numbers(cast(column, &DataType::Float64)?.as_primitive().clone()),
            DataType::Timestamp(_, zone @ Some(_)) => {
                let micro = DataType::Timestamp(TimeUnit::Microsecond, zone.clone());
                Typed::Instants(cast(column, &micro)?.as_primitive().clone())
            }
            text if is_text(text) => Typed::Text(cast(column, &DataType::Utf8)?.as_string().clone()),
            _ => Typed::Other,
        })
    }
}

impl ColumnRows {
    /// Of a batch whose first row has this number; rows in which nothing stands are left out.
    pub fn of(batch: &RecordBatch, first: i64) -> Result<Self, ArrowError> {
        let all = Self::of_columns(batch.columns(), (first..).take(batch.num_rows()).collect())?;
        let filled: BooleanArray = (0..all.len()).map(|row| Some(!all.is_blank(row))).collect();
        if filled.false_count() == 0 {
            return Ok(all);
        }
        let columns = batch.columns().iter().map(|column| filter(column, &filled)).collect::<Result<Vec<_>, _>>()?;
        let numbers = all.numbers.iter().zip(&filled).filter(|(_, filled)| *filled == Some(true));
        Self::of_columns(&columns, numbers.map(|(number, _)| *number).collect())
    }

    fn of_columns(columns: &[ArrayRef], numbers: Vec<i64>) -> Result<Self, ArrowError> {
        let column = |stored: &ArrayRef| {
            Ok(Column { stored: stored.clone(), read: Typed::of(stored)?, as_text: OnceLock::new() })
        };
        Ok(Self { columns: columns.iter().map(column).collect::<Result<_, ArrowError>>()?, numbers })
    }

    fn is_blank(&self, row: usize) -> bool {
        self.columns.iter().all(|column| match &column.read {
            Typed::Text(texts) => texts.is_null(row) || texts.value(row).trim().is_empty(),
            Typed::Numbers(numbers) => numbers.is_null(row) || numbers.value(row).is_nan(),
            Typed::Whole(numbers) => numbers.is_null(row),
            Typed::Instants(instants) => instants.is_null(row),
            Typed::Other => column.cell(row).as_cell() == Cell::Empty,
        })
    }
}

impl Column {
    /// One cell, as other readers hand it over.
    fn cell(&self, row: usize) -> OwnedCell {
        let cells = column_cells(&self.stored.slice(row, 1)).unwrap_or_default();
        cells.into_iter().next().unwrap_or(OwnedCell::Empty)
    }

    /// Whether the text of a cell cannot be too long to be read.
    fn is_short(&self, row: usize) -> bool {
        match &self.read {
            Typed::Text(texts) => texts.value_length(row) as usize <= LONGEST_CELL,
            Typed::Other => {
                !self.stored.data_type().is_nested()
                    && !matches!(
                        self.stored.data_type(),
                        DataType::Binary | DataType::LargeBinary | DataType::BinaryView
                    )
            }
            _ => true,
        }
    }
}

impl ManyRows for ColumnRows {
    fn len(&self) -> usize {
        self.numbers.len()
    }
    fn number(&self, row: usize) -> i64 {
        self.numbers[row]
    }
    fn record(&self, row: usize) -> Box<dyn Record + '_> {
        Box::new(self.columns.iter().map(|column| column.cell(row)).collect::<Vec<_>>())
    }
    fn is_even(&self, row: usize, columns: usize) -> bool {
        self.columns.len() == columns && self.columns.iter().all(|column| column.is_short(row))
    }
    fn begins_plainly(&self, row: usize) -> bool {
        self.columns.first().is_some_and(|column| match &column.read {
            Typed::Text(texts) => {
                texts.is_valid(row) && texts.value(row).starts_with(|first: char| first.is_ascii_alphanumeric())
            }
            _ => false,
        })
    }
    fn text(&self) -> Option<&str> {
        None
    }
    fn cells<'b>(&'b self, cell: usize, _: Option<&'b str>) -> Cells<'b> {
        match &self.columns[cell].read {
            Typed::Text(texts) => Cells::Text(TextCells::of(texts)),
            Typed::Numbers(numbers) => Cells::Numbers(numbers),
            Typed::Whole(numbers) => Cells::Whole(numbers),
            Typed::Instants(instants) => Cells::Instants(instants),
            Typed::Other => Cells::Other,
        }
    }
    fn names(&self, cell: usize) -> Option<TextCells<'_>> {
        let Column { read: Typed::Whole(numbers), as_text, .. } = &self.columns[cell] else { return None };
        let text = |number: Option<i64>| number.map(|number| number.to_string());
        Some(TextCells::of(as_text.get_or_init(|| numbers.iter().map(text).collect())))
    }
}
