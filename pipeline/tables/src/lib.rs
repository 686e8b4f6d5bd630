//! The tables of a review, described once.
//!
//! `schemas/` holds one Frictionless Table Schema file for every raw, kept and result table. This crate reads
//! those files (they are compiled in) and gives them to everybody else:
//!
//! - [`schema`] finds the [`TableSchema`] of a table: its columns with type, unit, limits and a sentence each;
//! - [`Table`] is a schema with an Arrow record batch that follows it;
//! - [`Row`] ties a Rust struct to a table, so that small tables can be worked on as `Vec<StripRow>`;
//!   the structs stand in [`rows`], and a test holds each against its schema file;
//! - [`LongTable`] keeps the rows of a long table as columns, [`PackedTable`] a table in little room;
//! - [`escaped`] and [`guarded`] make names from outside safe for XML, HTML and CSV;
//! - [`Finding`] and [`SetAside`] are what a person should look at, and the rows that could not be used.
//!
//! Arrow batches are the common currency between the stages; polars frames never leave the crate that uses them.

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod cell;
mod delimited;
mod error;
mod findings;
mod long_table;
mod markup;
mod packed_table;
mod readme;
mod record_sheet;
mod row;
pub mod rows;
mod schema;
mod table;

pub use cell::{Cell, Day, Moment};
pub use delimited::{csv_cell, guarded, is_formula, unguarded};
pub use error::TablesError;
pub use findings::{Finding, SetAside, Severity, Sink};
pub use long_table::LongTable;
pub use markup::{escaped, escaped_cell, forbidden_in_xml, showable, turns_words};
pub use packed_table::PackedTable;
pub use readme::schemas_readme;
pub use record_sheet::{EXAMPLE_ROW, EXPLANATION_SHEET};
pub use row::{Row, with_usable_numbers};
pub use schema::{Column, ColumnType, Group, TableSchema, schema, schemas};
pub use table::Table;
