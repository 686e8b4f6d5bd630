//! Parquet files of any schema.

use std::fs::File;

use arrow::array::{Array, ArrayRef, AsArray, RecordBatch};
use arrow::compute::cast;
use arrow::datatypes::{DataType, Date32Type, Float64Type, Int64Type, TimeUnit, TimestampMicrosecondType};
use arrow::error::ArrowError;
use arrow::util::display::array_value_to_string;
use jiff::SignedDuration;
use jiff::civil::{Date, DateTime};
use parquet::arrow::arrow_reader::{ParquetRecordBatchReader, ParquetRecordBatchReaderBuilder};
use parquet::basic::Compression;
use parquet::file::metadata::{ColumnChunkMetaData, ParquetMetaData, RowGroupMetaData};

use crate::IngestError;
use crate::block::Block;
use crate::column_rows::ColumnRows;
use crate::contained::contained;
use crate::file_report::{FileReport, Source, Surroundings};
use crate::record::{Cell, OwnedCell, Record, TableReader};
use crate::table_file::read_table;

/// What is said of a file that its decoder gave up on.
const DAMAGED: &str = "its pages do not fit together";
/// Rows in memory at a time.
const BATCH_ROWS: usize = 1 << 14;
/// Whole numbers up to here are told apart by a double.
pub(crate) const LARGEST_EXACT: i64 = 1 << 53;

/// Reads a Parquet file as a stream, as [`read_text`](crate::read_text) reads text. Rows are counted from 1.
///
/// Errors where the file is no Parquet, damaged or protected, or the sink fails.
pub fn read_parquet(source: &Source, file: File, around: Surroundings) -> Result<FileReport, IngestError> {
    read_table(source, &mut open_parquet(&source.file, file, BATCH_ROWS)?, around)
}

/// Opens a Parquet file as a table, so many rows in memory at a time. Errors where it is none, damaged or protected.
pub(crate) fn open_parquet(name: &str, file: File, batch_rows: usize) -> Result<impl TableReader, IngestError> {
    let unreadable = |error: &dyn std::fmt::Display| IngestError::Format {
        file: name.to_owned(),
        problem: format!("it is no Parquet file, or damaged ({error})"),
        remedy: "write it again from where it came from, or save the table as CSV".into(),
    };
    let builder = contained(|| ParquetRecordBatchReaderBuilder::try_new(file))
        .ok_or_else(|| unreadable(&DAMAGED))?
        .map_err(|error| unreadable(&error))?;
    let names = builder.schema().fields().iter().map(|field| OwnedCell::Text(field.name().clone())).collect();
    if let Some(packing) = unread_compression(builder.metadata()) {
        return Err(IngestError::Format {
            file: name.to_owned(),
            problem: format!("it is Parquet compressed with {packing}, which is not read"),
            remedy: "write it with zstd, snappy, gzip or lz4 compression, or none".into(),
        });
    }
    let reader = contained(|| builder.with_batch_size(batch_rows).build())
        .ok_or_else(|| unreadable(&DAMAGED))?
        .map_err(|error| unreadable(&error))?;
    Ok(Columnar { file: name, names: Some(names), reader: Some(reader), batch: Batch::default(), number: 0 })
}

struct Columnar<'a> {
    file: &'a str,
    /// The header, until it was handed over.
    names: Option<Vec<OwnedCell>>,
    /// `None` once it met damage.
    reader: Option<ParquetRecordBatchReader>,
    batch: Batch,
    number: i64,
}

/// Rows of the current batch, column by column.
#[derive(Default)]
struct Batch {
    columns: Vec<Vec<OwnedCell>>,
    rows: usize,
    row: usize,
}

impl Record for Batch {
    fn len(&self) -> usize {
        self.columns.len()
    }
    fn cell(&self, index: usize) -> Cell<'_> {
        self.columns.get(index).and_then(|column| column.get(self.row)).map_or(Cell::Empty, OwnedCell::as_cell)
    }
}

impl Columnar<'_> {
    /// The next rows, made into what is wanted of them; `None` at the end. Errors where the file is damaged, from then on.
    fn rows<T>(
        &mut self,
        wanted: impl FnOnce(&RecordBatch) -> Result<T, ArrowError>,
    ) -> Result<Option<T>, IngestError> {
        let damaged = |file: &str| IngestError::read(file, &DAMAGED);
        let Some(mut reader) = self.reader.take() else { return Err(damaged(self.file)) };
        let next = contained(|| {
            let batch = reader.next();
            batch.map(|batch| batch.and_then(|batch| wanted(&batch)))
        });
        match next {
            None => Err(damaged(self.file)),
            Some(Some(Err(error))) => Err(IngestError::read(self.file, &error)),
            Some(rows) => {
                self.reader = Some(reader);
                Ok(rows.and_then(Result::ok))
            }
        }
    }
}

impl TableReader for Columnar<'_> {
    fn has_blocks(&self) -> bool {
        true
    }

    fn block(&mut self, _bytes: usize) -> Result<Option<Block>, IngestError> {
        let first = self.number + 1;
        let rows = self.rows(|batch| Ok((batch.num_rows(), ColumnRows::of(batch, first)?)))?;
        let Some((count, rows)) = rows else { return Ok(None) };
        self.number += count as i64;
        Ok(Some(Block::Columns(rows)))
    }

    fn next(&mut self) -> Result<Option<(i64, &dyn Record)>, IngestError> {
        if let Some(names) = self.names.take() {
            self.batch = Batch { columns: names.into_iter().map(|name| vec![name]).collect(), rows: 1, row: 0 };
            return Ok(Some((0, &self.batch)));
        }
        loop {
            self.batch.row += 1;
            while self.batch.row >= self.batch.rows {
                let Some(columns) = self.rows(cells)? else { return Ok(None) };
                self.batch = Batch { rows: columns.first().map_or(0, Vec::len), columns, row: 0 };
            }
            self.number += 1;
            if !self.batch.is_blank() {
                return Ok(Some((self.number, &self.batch)));
            }
        }
    }
}

fn cells(batch: &RecordBatch) -> Result<Vec<Vec<OwnedCell>>, ArrowError> {
    batch.columns().iter().map(column_cells).collect()
}

/// Whether a column holds whole numbers that fit into one of ours; the longest unsigned ones do not.
pub(crate) fn is_whole(data_type: &DataType) -> bool {
    data_type.is_integer() && *data_type != DataType::UInt64
}

/// Whether a column holds words.
pub(crate) fn is_text(data_type: &DataType) -> bool {
    matches!(data_type, DataType::Utf8 | DataType::LargeUtf8 | DataType::Utf8View | DataType::Dictionary(..))
}

/// The cells of one column, by what its type means.
pub(crate) fn column_cells(column: &ArrayRef) -> Result<Vec<OwnedCell>, ArrowError> {
    let valid = |row: usize| column.is_valid(row);
    let each = |cell: &dyn Fn(usize) -> OwnedCell| -> Vec<OwnedCell> {
        (0..column.len()).map(|row| if valid(row) { cell(row) } else { OwnedCell::Empty }).collect()
    };
    Ok(match column.data_type() {
        DataType::Boolean => {
            let values = column.as_boolean();
            each(&|row| OwnedCell::Boolean(values.value(row)))
        }
        whole if is_whole(whole) => {
            let values = cast(column, &DataType::Int64)?;
            let values = values.as_primitive::<Int64Type>();
            each(&|row| match values.value(row) {
                whole if whole.unsigned_abs() <= LARGEST_EXACT.unsigned_abs() => OwnedCell::Number(whole as f64),
                // A name made of digits must not lose its last ones.
                whole => OwnedCell::Text(whole.to_string()),
            })
        }
        real if real.is_floating() => {
            let values = cast(column, &DataType::Float64)?;
            let values = values.as_primitive::<Float64Type>();
            each(&|row| {
                if values.value(row).is_nan() { OwnedCell::Empty } else { OwnedCell::Number(values.value(row)) }
            })
        }
        DataType::Date32 | DataType::Date64 => {
            let values = cast(column, &DataType::Date32)?;
            let values = values.as_primitive::<Date32Type>();
            // Days that no calendar has are empty, as the other times are.
            let day =
                |days: i32| Date::constant(1970, 1, 1).checked_add(SignedDuration::from_hours(24 * i64::from(days)));
            each(&|row| day(values.value(row)).map_or(OwnedCell::Empty, OwnedCell::Day))
        }
        DataType::Timestamp(_, zone) => {
            let values = cast(column, &DataType::Timestamp(TimeUnit::Microsecond, zone.clone()))?;
            let values = values.as_primitive::<TimestampMicrosecondType>();
            match zone {
                Some(_) => each(&|row| OwnedCell::Instant(values.value(row))),
                None => each(&|row| local(values.value(row)).map_or(OwnedCell::Empty, OwnedCell::Moment)),
            }
        }
        text if is_text(text) => {
            let values = cast(column, &DataType::Utf8)?;
            let values = values.as_string::<i32>();
            each(&|row| OwnedCell::Text(values.value(row).to_owned()))
        }
        _ => each(&|row| OwnedCell::Text(array_value_to_string(column, row).unwrap_or_default())),
    })
}

/// A local time from microseconds since 1970 on its own clock.
fn local(microseconds: i64) -> Option<DateTime> {
    DateTime::constant(1970, 1, 1, 0, 0, 0, 0).checked_add(SignedDuration::from_micros(microseconds)).ok()
}

/// A compression of some column that cannot be unpacked here.
fn unread_compression(metadata: &ParquetMetaData) -> Option<&'static str> {
    let columns = metadata.row_groups().iter().flat_map(RowGroupMetaData::columns);
    columns.map(ColumnChunkMetaData::compression).find_map(|compression| match compression {
        Compression::BROTLI(_) => Some("brotli"),
        Compression::LZO => Some("LZO"),
        _ => None,
    })
}
