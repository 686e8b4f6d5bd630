//! Every door of evenstand as a function of bytes: `fn(&[u8])` that must come back, whatever the bytes are.
//!
//! [`TARGETS`] names them. Each reads as a review would, and asserts what holds for every input: rows add up, kept numbers are numbers,
//! refusals have words. `tests/replay.rs` runs the inputs of `corpus/` through them and some hundred damaged ones each ([`damage`]); the
//! program `hostile` runs as many as are asked for and tells the time and memory they took; `fuzz/` hands the same functions to a
//! fuzzer that is guided by coverage. What once failed stands in `corpus/` under a name that says what went wrong.

#![cfg_attr(test, allow(clippy::unwrap_used))]

use std::time::Duration;

mod choices;
mod corpus;
pub mod damage;
mod door;
mod files;
#[cfg(feature = "link")]
mod kept;
mod parts;
mod strips;
mod words;

pub use corpus::inputs;
pub use parts::{Parts, joined};

/// A door.
#[derive(Debug, Clone, Copy)]
pub struct Target {
    /// Its name, and that of its folder in `corpus/`.
    pub name: &'static str,
    /// What the bytes are.
    pub bytes: &'static str,
    /// Takes the bytes.
    pub run: fn(&[u8]),
    /// Damaged inputs in the ordinary run of the tests.
    pub ordinary: u64,
}

impl Target {
    /// Longest time of the processor that an input may take: whatever is longer in a reader hangs. The model works on what it is given, and the
    /// comparisons of sixty strips with every factor there is take three seconds.
    pub fn longest(&self) -> Duration {
        Duration::from_secs(if self.name == "model" { 10 } else { 2 })
    }
}

/// All doors.
pub const TARGETS: &[Target] = &[
    Target { name: "text", bytes: "delimited text", run: files::text, ordinary: 1500 },
    Target { name: "foreign_text", bytes: "a [[source]] block and its text", run: files::text, ordinary: 1500 },
    Target { name: "header_rows", bytes: "a block and a table of two header rows", run: files::text, ordinary: 500 },
    Target { name: "widths", bytes: "a block and text in fixed widths", run: files::text, ordinary: 500 },
    Target { name: "proposal", bytes: "delimited text of an unknown kind", run: files::proposal, ordinary: 500 },
    Target { name: "header", bytes: "a kind of table, then a header and rows", run: words::header, ordinary: 1500 },
    Target { name: "quantity", bytes: "quantities, one a line", run: words::quantity, ordinary: 3000 },
    Target { name: "time", bytes: "time formats, and times, one a line", run: words::time, ordinary: 1500 },
    Target { name: "settings", bytes: "evenstand.toml", run: words::settings_file, ordinary: 3000 },
    Target {
        name: "source",
        bytes: "evenstand.toml with [[source]] blocks",
        run: words::settings_file,
        ordinary: 1500,
    },
    Target { name: "xlsx", bytes: "parts of an XLSX workbook", run: files::workbook_parts, ordinary: 500 },
    Target { name: "ods", bytes: "parts of an ODS workbook", run: files::workbook_parts, ordinary: 500 },
    Target { name: "xls", bytes: "a workbook in one file", run: files::workbook, ordinary: 500 },
    Target { name: "parquet", bytes: "a Parquet file", run: files::parquet, ordinary: 500 },
    Target { name: "geojson", bytes: "GeoJSON", run: files::geojson, ordinary: 500 },
    Target { name: "geopackage", bytes: "a GeoPackage", run: files::geopackage, ordinary: 300 },
    Target { name: "shapefile", bytes: "parts of a shapefile", run: files::shapefile, ordinary: 500 },
    Target { name: "task_data", bytes: "parts of ISO 11783-10 task data", run: files::task_data, ordinary: 500 },
    Target { name: "archive", bytes: "a .zip", run: files::archive, ordinary: 500 },
    Target { name: "strip_tables", bytes: "choices for tables of strips", run: strips::strip_tables, ordinary: 500 },
    Target { name: "model", bytes: "choices for tables of strips", run: strips::model, ordinary: 60 },
    Target { name: "small_model", bytes: "choices for eight strips", run: strips::small_model, ordinary: 200 },
    #[cfg(feature = "link")]
    Target { name: "link", bytes: "choices for kept tables", run: kept::link_kept, ordinary: 200 },
];
