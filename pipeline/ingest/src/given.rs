//! What a `[[source]]` block gives to every row alike, judged once before the rows.

use evenstand_tables::{ColumnType, TableSchema};
use jiff::tz::TimeZone;

use crate::header::{HeaderFault, Layout, Origin};
use crate::reading::Reading;
use crate::record::Cell;
use crate::time::Zones;
use crate::value::{CellContext, read_cell};

/// Errors where a constant cannot be read, or the name of a column that becomes rows: every row would be set aside for it.
pub(crate) fn check_given(
    schema: &TableSchema,
    layout: &Layout,
    reading: &Reading,
    zones: &Zones,
) -> Result<(), HeaderFault> {
    let context = CellContext { reading, zones, zone: &|| TimeZone::UTC };
    let read = |index: usize, cell: Cell| {
        let column = &schema.columns[index];
        let text = (column.column_type == ColumnType::String).then(|| cell.text());
        let read = read_cell(column, &layout.feeds[index], cell, text.as_deref(), &context);
        read.map(|_| ())
            .map_err(|fault| (fault.code, format!("found \"{}\", expected {}", fault.found, fault.expected)))
    };
    for (index, feed) in layout.feeds.iter().enumerate() {
        let Origin::Constant(constant) = &feed.origin else { continue };
        read(index, constant.as_cell()).map_err(|(code, problem)| HeaderFault {
            code,
            message: format!("{}: {problem}", feed.label),
            remedy: "correct it under constants in the block".into(),
        })?;
    }
    let Some((name_to, _)) = layout.each_to else { return Ok(()) };
    for each in &layout.each {
        read(name_to, Cell::of(&each.name)).map_err(|(code, problem)| HeaderFault {
            code,
            message: format!(
                "the name of the column \"{}\" goes to {}: {problem}",
                each.label, layout.feeds[name_to].label
            ),
            remedy: format!(
                "say what it stands for in the [[source]] block, under wide.names: \"{}\" = \"…\"; where the names count \
                 days, say from which one: wide.day_zero = \"2025-04-28\"",
                each.label
            ),
        })?;
    }
    Ok(())
}
