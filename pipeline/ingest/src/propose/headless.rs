//! Tables without a row of names.

use evenstand_tables::{ColumnType, TableSchema};

use super::block::{quoted, some};
use super::columns::own_name;
use super::compose::file_lines;
use super::dates::dates;
use super::{Context, Proposal, not_recognised};

/// Cells of a column that are shown.
const SHOWN: usize = 3;

/// A block in which every column is a question: without names only the name of the file says what it is.
pub(super) fn propose(context: &Context, schema: Option<&'static TableSchema>) -> Proposal {
    let Some(schema) = schema.filter(|_| context.table.rows > 0) else { return not_recognised(context) };
    let mut block = file_lines(context, &schema.name);
    let time =
        schema.columns.iter().find(|column| matches!(column.column_type, ColumnType::Date | ColumnType::Datetime));
    let names: Vec<&str> = schema.columns.iter().map(own_name).collect();
    let mut dated = false;
    for column in &context.table.columns {
        let cells: Vec<String> = column.filled().collect();
        let found = dates(cells.iter().map(String::as_str));
        let shown: Vec<String> = column.distinct().into_iter().collect();
        let Some(reference) = &column.reference else { continue };
        match time {
            Some(time) if !dated && found.are_dates() && found.either.is_none() && found.unread.is_empty() => {
                dated = true;
                block.columns.unsure(format!("{} = {}", time.name, quoted(reference)), "the first column of dates");
                if !found.formats.is_empty() {
                    block.top.sure(format!("time_formats = {}", super::block::list(&found.formats)));
                }
            }
            _ => block.columns.open(
                format!("{} = {}", names.first().copied().unwrap_or_default(), quoted(reference)),
                format!("holds {}; which is it: {}", some(&shown, SHOWN), names.join(", ")),
            ),
        }
    }
    Proposal { kind: Some(schema.name.as_str()), questions: block.questions(), block: block.text(), undated: None }
}
