//! Rows of a long table, kept as its columns.

use std::marker::PhantomData;

use crate::{PackedTable, Row, Table, TablesError, schema};

/// Rows that become columns together where they come one by one.
const PART: usize = 4096;

/// Rows that come in parts, each kept as packed columns: as structs, whose texts stand one by one, they would take many times the room.
#[derive(Debug, Clone)]
pub struct LongTable<R> {
    parts: Vec<PackedTable>,
    /// What kept rows from becoming columns.
    problem: Option<String>,
    rows: PhantomData<fn() -> R>,
}

impl<R> Default for LongTable<R> {
    fn default() -> Self {
        Self { parts: Vec::new(), problem: None, rows: PhantomData }
    }
}

impl<R: Row> From<Vec<R>> for LongTable<R> {
    fn from(rows: Vec<R>) -> Self {
        let mut long = Self::default();
        long.extend(rows);
        long
    }
}

impl<R: Row> FromIterator<R> for LongTable<R> {
    fn from_iter<I: IntoIterator<Item = R>>(rows: I) -> Self {
        let (mut long, mut rows) = (Self::default(), rows.into_iter());
        loop {
            let part: Vec<R> = rows.by_ref().take(PART).collect();
            if part.is_empty() {
                return long;
            }
            long.extend(part);
        }
    }
}

impl<R: Row> LongTable<R> {
    /// Adds rows; what keeps them from becoming columns is told by [`Self::parts`].
    pub fn extend(&mut self, rows: Vec<R>) {
        if rows.is_empty() {
            return;
        }
        match R::to_table(&rows).and_then(|table| PackedTable::of(&table)) {
            Ok(part) => self.parts.push(part),
            Err(error) => self.problem = Some(error.to_string()),
        }
    }

    /// Adds the rows of a table, which is packed some thousand rows at a time. Errors where it cannot be packed.
    pub fn push(&mut self, table: &Table) -> Result<(), TablesError> {
        let parts = table.split(PART).map(|part| PackedTable::of(&part)).collect::<Result<Vec<_>, _>>()?;
        self.parts.extend(parts);
        Ok(())
    }

    /// Adds the rows of another, after its own.
    pub fn append(&mut self, other: Self) {
        self.parts.extend(other.parts);
        self.problem = self.problem.take().or(other.problem);
    }

    /// Number of rows.
    pub fn len(&self) -> usize {
        self.parts.iter().map(PackedTable::len).sum()
    }

    /// Whether there are no rows.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// The parts in their order, as tables. An error in their place where some rows could not become columns.
    pub fn parts(&self) -> impl Iterator<Item = Result<Table, TablesError>> + Send {
        let problem = self
            .problem
            .as_ref()
            .map(|problem| Err(TablesError::Mismatch { table: R::TABLE.to_owned(), problem: problem.clone() }));
        let parts = if problem.is_some() { &[] } else { self.parts.as_slice() };
        problem.into_iter().chain(parts.iter().map(PackedTable::table))
    }

    /// One table of all rows. Errors as [`Self::parts`].
    pub fn to_table(&self) -> Result<Table, TablesError> {
        let batches = self.parts().map(|part| Ok(part?.batch().clone())).collect::<Result<Vec<_>, TablesError>>()?;
        Table::from_batches(schema(R::GROUP, R::TABLE)?, &batches)
    }

    /// One row after another, of which few stand in memory at a time. Errors as [`Self::parts`].
    pub fn iter(&self) -> impl Iterator<Item = Result<R, TablesError>> {
        self.parts().flat_map(|part| match part.and_then(|part| R::from_table(&part)) {
            Ok(rows) => rows.into_iter().map(Ok).collect(),
            Err(error) => vec![Err(error)],
        })
    }

    /// All rows as structs. Errors as [`Self::to_table`].
    pub fn rows(&self) -> Result<Vec<R>, TablesError> {
        self.iter().collect()
    }

    /// Makes every number missing that is none, or larger than `largest` either way; how many these were.
    pub fn take_out_odd_numbers(&mut self, largest: f64) -> usize {
        let mut taken_out = 0;
        for part in &mut self.parts {
            let usable = |part: &PackedTable| match part.table()?.with_usable_numbers(largest)? {
                Some((kept, count)) => Ok::<_, TablesError>(Some((PackedTable::of(&kept)?, count))),
                None => Ok(None),
            };
            if let Ok(Some((kept, count))) = usable(part) {
                *part = kept;
                taken_out += count;
            }
        }
        taken_out
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rows::FieldCurveRow;

    fn row(force_n: f64, estimate: f64) -> FieldCurveRow {
        FieldCurveRow { field_id: "home".into(), season: 2025, force_n, estimate: Some(estimate), ..Default::default() }
    }

    #[test]
    fn parts_come_back_as_the_rows_they_were_in_their_order() {
        let mut long = LongTable::from(vec![row(100.0, 0.4), row(200.0, 0.5)]);
        long.extend(Vec::new());
        long.append(vec![row(300.0, 0.6)].into());
        assert_eq!(long.len(), 3);
        assert_eq!(long.rows().unwrap(), [row(100.0, 0.4), row(200.0, 0.5), row(300.0, 0.6)]);
        assert!(LongTable::<FieldCurveRow>::default().to_table().unwrap().is_empty());
    }

    #[test]
    fn a_table_is_packed_in_parts_of_which_none_keeps_the_whole_in_memory() {
        for rows in [0, 5, PART, PART + 5, 3 * PART - 1] {
            let rows: Vec<FieldCurveRow> = (0..rows).map(|number| row(number as f64, 0.5)).collect();
            let mut long = LongTable::<FieldCurveRow>::default();
            long.push(&FieldCurveRow::to_table(&rows).unwrap()).unwrap();
            assert_eq!(long.rows().unwrap(), rows);
            assert!(
                long.parts.len() == 1 || long.parts.iter().all(|part| part.len() >= PART),
                "a short part stays as it is"
            );
        }
    }

    #[test]
    fn numbers_that_are_none_are_taken_out_and_counted() {
        let mut long = LongTable::from(vec![row(100.0, f64::NAN)]);
        long.append(vec![row(200.0, 2e30), row(300.0, 0.6)].into());
        assert_eq!(long.take_out_odd_numbers(1e30), 2);
        let estimates: Vec<Option<f64>> = long.rows().unwrap().iter().map(|row| row.estimate).collect();
        assert_eq!(estimates, [None, None, Some(0.6)]);
    }
}
