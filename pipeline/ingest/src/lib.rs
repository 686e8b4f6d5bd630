//! Files in the wild become checked tables.
//!
//! [`kind_of`] tells from a file's name which raw table it is. [`read_csv`] reads one file as a stream: the header
//! is matched to the schema once (`header`), then every cell is read by the type and unit of its column
//! (`value`, `time`), and rows go to a [`Sink`](evenstand_tables::Sink) in batches, so that a file of any size
//! passes in constant memory. A row that cannot be used is set aside with its text and the reason; rows kept and rows
//! set aside add up to the rows read. A file whose header cannot be understood is set aside as a whole.
//!
//! Fields come first ([`read_order`]): their time zones are needed to read the local times of every other table.

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod batch;
mod csv_file;
mod error;
mod header;
mod kind;
mod time;
mod value;

pub use csv_file::{FileReport, Source, read_csv};
pub use error::IngestError;
pub use kind::{kind_of, read_order};
pub use time::Zones;
