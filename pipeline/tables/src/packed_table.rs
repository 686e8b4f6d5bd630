//! A table in little room: its columns as a Parquet file in memory.

use bytes::Bytes;
use parquet::arrow::ArrowWriter;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use parquet::basic::Compression;
use parquet::file::properties::{EnabledStatistics, WriterProperties};
use parquet::schema::types::ColumnPath;

use arrow::array::RecordBatch;
use arrow::datatypes::DataType;

use crate::{Table, TableSchema, TablesError};

/// Fewest rows that are packed: of fewer the beginnings and ends of columns are most.
const FEWEST: usize = 2048;

/// A table that waits to be read again. Names of fields and strips repeat row after row, and so do most numbers of a long table: packed, it takes
/// a quarter of the room or less.
#[derive(Debug, Clone)]
pub struct PackedTable {
    schema: &'static TableSchema,
    rows: usize,
    held: Held,
}

#[derive(Debug, Clone)]
enum Held {
    Plain(RecordBatch),
    Packed(Bytes),
}

impl PackedTable {
    /// Packs a table; one of few rows stays as it is. Errors where a column is of a type that Parquet has not.
    pub fn of(table: &Table) -> Result<Self, TablesError> {
        let held = if table.len() < FEWEST { Held::Plain(table.batch().clone()) } else { Held::Packed(packed(table)?) };
        Ok(Self { schema: table.schema(), rows: table.len(), held })
    }

    /// The table as it was. Errors where it cannot be unpacked, which would be a fault of ours.
    pub fn table(&self) -> Result<Table, TablesError> {
        match &self.held {
            Held::Plain(batch) => Table::from_batches(self.schema, std::slice::from_ref(batch)),
            Held::Packed(bytes) => {
                let reader =
                    ParquetRecordBatchReaderBuilder::try_new(bytes.clone())?.with_batch_size(self.rows).build()?;
                Table::from_batches(self.schema, &reader.collect::<Result<Vec<_>, _>>()?)
            }
        }
    }

    /// Number of rows.
    pub fn len(&self) -> usize {
        self.rows
    }

    /// Whether there are no rows.
    pub fn is_empty(&self) -> bool {
        self.rows == 0
    }
}

fn packed(table: &Table) -> Result<Bytes, TablesError> {
    let mut properties = WriterProperties::builder()
        .set_compression(Compression::SNAPPY)
        .set_statistics_enabled(EnabledStatistics::None)
        .set_offset_index_disabled(true);
    // A dictionary of numbers takes longest to make.
    for field in table.batch().schema().fields().iter().filter(|field| *field.data_type() == DataType::Float64) {
        properties = properties.set_column_dictionary_enabled(ColumnPath::from(field.name().as_str()), false);
    }
    let mut writer = ArrowWriter::try_new(Vec::new(), table.batch().schema(), Some(properties.build()))?;
    writer.write(table.batch())?;
    let mut bytes = writer.into_inner()?;
    bytes.shrink_to_fit();
    Ok(bytes.into())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Row;
    use crate::rows::TraceRow;

    fn rows(count: usize) -> Vec<TraceRow> {
        let row = |number: usize| TraceRow {
            field_id: format!("field {}", number / 1000),
            season: 2025,
            strip_id: format!("{}", number / 50),
            planter_id: (!number.is_multiple_of(3)).then(|| "air".to_owned()),
            piece: number as i64 % 50,
            set_n: (!number.is_multiple_of(7)).then_some(150.0),
            actual_n: Some(number as f64 / 3.0),
            ..TraceRow::default()
        };
        (0..count).map(row).collect()
    }

    #[test]
    fn what_is_packed_comes_back_as_it_was_and_takes_a_quarter_of_the_room() {
        for count in [0, 1, FEWEST - 1, FEWEST, 10_000] {
            let table = TraceRow::to_table(&rows(count)).unwrap();
            let packed = PackedTable::of(&table).unwrap();
            assert_eq!((packed.len(), packed.is_empty()), (count, count == 0));
            assert_eq!(TraceRow::from_table(&packed.table().unwrap()).unwrap(), rows(count));
            match &packed.held {
                Held::Plain(_) => assert!(count < FEWEST),
                Held::Packed(bytes) => {
                    assert!(bytes.len() * 4 < table.batch().get_array_memory_size(), "{}", bytes.len())
                }
            }
        }
    }
}
