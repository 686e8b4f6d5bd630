//! Stand counts by strip. They stay columns until their strip has its turn: as structs, whose texts stand one by one, they would be most of
//! what linking holds.

use std::collections::BTreeMap;
use std::ops::Range;

use arrow::array::AsArray;
use arrow::datatypes::Int64Type;
use evenstand_tables::rows::CountRow;
use evenstand_tables::{LongTable, Row, Table, TablesError};

use crate::key::StripKey;

/// Rows of a part that follow each other and name one strip.
#[derive(Debug)]
struct Run {
    part: usize,
    rows: Range<usize>,
}

/// Counts, and where those of each strip are.
#[derive(Debug, Default)]
pub(crate) struct Counts {
    parts: Vec<Table>,
    runs: BTreeMap<StripKey, Vec<Run>>,
}

impl Counts {
    /// Finds the strips. Errors where rows do not follow their schema.
    pub fn of(rows: &LongTable<CountRow>) -> Result<Self, TablesError> {
        let mut counts = Self::default();
        for table in rows.parts() {
            counts.add(table?)?;
        }
        Ok(counts)
    }

    fn add(&mut self, table: Table) -> Result<(), TablesError> {
        let absent = |column: &str| TablesError::Mismatch {
            table: table.schema().name.clone(),
            problem: format!("column {column} is not there, or of another type"),
        };
        let column = |name: &str| table.batch().column_by_name(name).ok_or_else(|| absent(name));
        let text = |name: &str| column(name)?.as_string_opt::<i32>().ok_or_else(|| absent(name));
        let (fields, strips) = (text("field_id")?, text("strip_id")?);
        let seasons = column("season")?.as_primitive_opt::<Int64Type>().ok_or_else(|| absent("season"))?;
        let strip = |row: usize| (fields.value(row), seasons.value(row), strips.value(row));
        let mut first = 0;
        for end in 1..=table.len() {
            if end == table.len() || strip(end) != strip(first) {
                let (field_id, season, strip_id) = strip(first);
                let run = Run { part: self.parts.len(), rows: first..end };
                self.runs.entry(StripKey::new(field_id, season, strip_id)).or_default().push(run);
                first = end;
            }
        }
        self.parts.push(table);
        Ok(())
    }

    /// The strips that were counted.
    pub fn strips(&self) -> impl Iterator<Item = &StripKey> {
        self.runs.keys()
    }

    /// Whether a strip was counted.
    pub fn has(&self, strip: &StripKey) -> bool {
        self.runs.contains_key(strip)
    }

    /// The counts of a strip, in the order in which they were read. Errors where they do not follow their schema.
    pub fn of_strip(&self, strip: &StripKey) -> Result<Vec<CountRow>, TablesError> {
        let mut rows = Vec::new();
        for Run { part, rows: run } in self.runs.get(strip).into_iter().flatten() {
            rows.extend(CountRow::from_table(&self.parts[*part].slice(run.start, run.len()))?);
        }
        Ok(rows)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_of_a_strip_come_together_in_the_order_in_which_they_were_read() {
        let row = |field: &str, strip: &str, emerged: i64| CountRow {
            field_id: field.into(),
            season: 2025,
            strip_id: strip.into(),
            emerged,
            ..CountRow::default()
        };
        // By visit, then by strip, and a strip of another field with the same name.
        let mut rows = LongTable::from(vec![row("A", "1", 5), row("A", "1", 6), row("A", "2", 7), row("A", "1", 9)]);
        rows.append(LongTable::from(vec![row("A", "1", 8), row("B", "1", 3)]));
        let counts = Counts::of(&rows).unwrap();
        let emerged = |field: &str, strip: &str| {
            let rows = counts.of_strip(&StripKey::new(field, 2025, strip)).unwrap();
            rows.iter().map(|row| row.emerged).collect::<Vec<_>>()
        };
        assert_eq!((emerged("A", "1"), emerged("A", "2"), emerged("B", "1")), (vec![5, 6, 9, 8], vec![7], vec![3]));
        assert_eq!((emerged("B", "2"), counts.has(&StripKey::new("B", 2025, "2"))), (vec![], false));
        assert_eq!(counts.strips().count(), 3);
    }
}
