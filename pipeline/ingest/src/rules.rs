//! What the rows of one table are read by, and what becomes of a row.

use std::borrow::Cow;

use evenstand_settings::SourceRule;
use evenstand_tables::{EXAMPLE_ROW, TableSchema};

use crate::file_report::Source;
use crate::header::Layout;
use crate::reading::Reading;
use crate::record::{Cell, Record};
use crate::row::{RowFault, RowReader, Texts, check_needed, column_of, fill_season, is_left_blank};
use crate::time::Zones;
use crate::value::Value;
use crate::whereabouts::Finder;
use crate::wide::narrow;

/// Longest cell that is read, in bytes; a longer one is no value that a person wrote.
pub(crate) const LONGEST_CELL: usize = 1 << 16;
/// Letters of a row that are kept with it when it is set aside.
const LONGEST_RAW: usize = 1 << 16;

/// Code of a row of a plan's sheet that nobody filled in.
pub(crate) const NOT_FILLED_IN: &str = "not_filled_in";

/// What the rows of a table are read by. It does not change while they are read, so that several threads can share it.
pub(crate) struct Rules<'s> {
    pub source: &'s Source,
    /// The `[[source]]` block that is about the file.
    pub rule: Option<&'s SourceRule>,
    pub reading: Reading,
    pub schema: &'static TableSchema,
    pub kept: &'static TableSchema,
    pub season_column: usize,
    /// Whether the file has no row of names.
    pub without_header: bool,
    /// Number of columns of a table whose cells have places of their own.
    pub width: Option<usize>,
}

impl Rules<'_> {
    /// Whether the row is the example of a blank sheet.
    pub fn is_example(&self, record: &dyn Record) -> bool {
        first_filled(record).eq_ignore_ascii_case(EXAMPLE_ROW)
    }

    /// Whether a person said that this row is no row of the table.
    pub fn is_skipped(&self, number: i64, record: &dyn Record) -> bool {
        self.rule.is_some_and(|rule| {
            rule.skip_rows.iter().any(|row| i64::from(*row) == number)
                || !rule.skip_rows_with.is_empty() && {
                    let first = first_filled(record);
                    rule.skip_rows_with.iter().any(|word| word.trim().eq_ignore_ascii_case(&first))
                }
        })
    }

    /// Whether a row has cells right of the last named column that are only passed over.
    pub fn has_cells_beyond(&self, layout: &Layout, record: &dyn Record) -> bool {
        self.width.is_some()
            && !self.without_header
            && has_cells_behind(record, layout.columns)
            && record.too_long(LONGEST_CELL).is_none()
    }

    /// The kept rows that a row gives: one, or several where the table is wide; or why it is set aside.
    pub fn values<'r, 'f: 'r>(
        &'r self,
        layout: &'r Layout,
        zones: &'r Zones,
        finder: &mut Finder<'f>,
        (number, record): (i64, &'r dyn Record),
        texts: &'r Texts,
    ) -> Result<Vec<Vec<Value<'r>>>, RowFault> {
        if let Some(cell) = record.too_long(LONGEST_CELL) {
            return Err(RowFault {
                code: "cell_too_long",
                message: format!("column {}: the cell holds more than {LONGEST_CELL} letters", cell + 1),
                remedy: "look for a quote that is not closed, or shorten the text".into(),
            });
        }
        if self.width.is_none() {
            check_shape(record, layout.columns, self.without_header)?;
        }
        let reader = self.reader(layout, zones);
        let mut kept: Vec<Vec<Value>> = if layout.each.is_empty() {
            vec![reader.values(record, texts, None)?]
        } else {
            layout.each.iter().map(|each| reader.values(record, texts, Some(each))).collect::<Result<_, _>>()?
        };
        if layout.each.is_empty() && kept.first().is_some_and(|values| is_left_blank(self.schema, values)) {
            return Err(RowFault {
                code: NOT_FILLED_IN,
                message: "only what the plan says stands in this row; nothing was written into it".into(),
                remedy: String::new(),
            });
        }
        narrow(layout, &mut kept)?;
        for values in &mut kept {
            if values[self.season_column] == Value::Missing {
                fill_season(self.schema, values);
            }
            if let Err(mut fault) = finder.fill(values).and_then(|()| check_needed(self.schema, layout, values)) {
                if self.rule.is_some() {
                    let skip = "; if this is no row of the table, pass over it in the [[source]] block";
                    fault.remedy += &format!("{skip}: skip_rows = [{number}]");
                }
                return Err(fault);
            }
        }
        // Before the first kept row of a wide one goes: it is kept whole or not at all.
        if kept.iter().any(|values| !matches!(values[self.season_column], Value::Integer(_))) {
            return Err(RowFault {
                code: "missing_value",
                message: "no season and no date to take it from".into(),
                remedy: "write the year of planting in the column season".into(),
            });
        }
        Ok(kept)
    }

    /// What reads the cells of a row.
    pub fn reader<'r>(&'r self, layout: &'r Layout, zones: &'r Zones) -> RowReader<'r> {
        RowReader { schema: self.schema, layout, reading: &self.reading, zones }
    }

    /// Position of a column of the table.
    pub fn column(&self, name: &str) -> Option<usize> {
        column_of(self.schema, name)
    }
}

/// A row's text, cut where it is longer than anybody reads.
pub(crate) fn raw_text(record: &dyn Record) -> String {
    let raw = record.raw();
    match raw.char_indices().nth(LONGEST_RAW) {
        Some((end, _)) => format!("{}… (cut after {LONGEST_RAW} letters)", &raw[..end]),
        None => raw,
    }
}

/// The first cell of a row that holds anything, as text.
fn first_filled(record: &dyn Record) -> Cow<'_, str> {
    let first = (0..record.len()).map(|index| record.cell(index)).find(|cell| *cell != Cell::Empty);
    first.map(Cell::text).unwrap_or_default()
}

fn has_cells_behind(record: &dyn Record, columns: usize) -> bool {
    (columns..record.len()).any(|index| record.cell(index) != Cell::Empty)
}

/// Errors where a row has more cells than the header, or rows stand in one of its cells.
fn check_shape(record: &dyn Record, columns: usize, without_header: bool) -> Result<(), RowFault> {
    if has_cells_behind(record, columns) {
        let width = if without_header { "the first row" } else { "the header" };
        return Err(RowFault {
            code: "too_many_cells",
            message: format!("{} cells, but {width} has {columns}", record.len()),
            remedy: "look for a delimiter inside a cell; put such cells in quotes".into(),
        });
    }
    match record.swallowed(columns) {
        None => Ok(()),
        Some(cell) => Err(RowFault {
            code: "unclosed_quote",
            message: format!(
                "column {}: a quote is opened and not closed, so that following rows stand in one cell",
                cell + 1
            ),
            remedy: "remove the quote, or close it before the next delimiter; the rows it swallowed are read then"
                .into(),
        }),
    }
}
