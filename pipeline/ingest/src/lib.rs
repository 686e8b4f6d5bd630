//! Files in the wild become checked tables.
//!
//! [`kind_of`] tells from a file's name which raw table it is; a [`Mapping`] says it of any other file. Each format has a
//! reader that hands over rows of cells (`record`): text (`delimited`, `columns_of_text`), workbooks, Parquet, task data.
//! `table_file` takes rows from any of them: the header is matched to the schema once (`header`, `mapped_header`), then
//! every cell is read by the type and unit of its column (`row`, `value`, `time`), and rows go to a
//! [`Sink`](evenstand_tables::Sink) in batches, so that a file of any size passes in constant memory. A row that cannot be
//! used is set aside with its text and the reason; rows kept and rows set aside add up to the rows read. A file whose
//! header cannot be understood is set aside as a whole.
//!
//! A file that cannot be read so gets a proposal: a `[[source]]` block made from its first rows, with questions
//! ([`look_at_text`], [`look_at_parquet`]).
//!
//! Fields come first ([`read_order`]): their time zones are needed to read the local times of every other table.

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod batch;
mod block;
mod block_reader;
#[cfg(test)]
mod block_tests;
mod column_rows;
mod columnar;
mod columns;
mod columns_of_text;
mod contained;
mod delimited;
mod error;
mod file_report;
mod format;
mod given;
mod header;
mod header_rows;
mod kind;
mod mapped_header;
mod mapping;
mod plain;
mod plain_cells;
mod propose;
mod reading;
mod record;
mod row;
mod rules;
mod same_rows;
mod strip_file;
mod table_file;
mod task_log;
mod task_survey;
mod text_file;
mod time;
mod value;
mod whereabouts;
mod wide;
mod workbook_file;

pub use columnar::read_parquet;
pub use error::IngestError;
pub use file_report::{FileReport, Source, Surroundings};
pub use format::Format;
pub use kind::{kind_of, read_order};
pub use mapping::Mapping;
pub use propose::{FirstRows, Proposal, ask_for_the_day, look_at_parquet, look_at_text, look_at_workbook};
pub use same_rows::{SameRows, Sketch};
pub use strip_file::{Outlines, read_strips};
pub use task_log::read_task_data;
pub use task_survey::{TaskSurvey, survey_task_data};
pub use text_file::read_text;
pub use time::Zones;
pub use whereabouts::{StripTime, Whereabouts};
pub use workbook_file::read_workbook;
