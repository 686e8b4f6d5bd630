//! Tables on disk: Parquet, provenance and replacement in one step.
//!
//! - [`replace_folder`] builds a whole folder aside and exchanges it for the old one, so that a reader, or a run
//!   killed at any moment, finds the old folder or the new one and never a mixture;
//! - [`check_folder`] holds every file of such a folder against the digest it was made with;
//! - [`KeptWriter`] receives the rows of `ingest` and writes `store/`: one folder a table, one Parquet file a source
//!   file and season, and a manifest; [`KeptStore`] reads it;
//! - [`NewResults`] and [`read_result`] do the same for `results/`: CSV, Parquet and a `datapackage.json`.
//!
//! Nothing here depends on the clock: the same rows give the same bytes.

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod error;
mod folder;
mod formula;
mod hash;
mod inventory;
mod kept;
mod parquet_file;
mod remembered;
mod results;
mod totals_file;

pub use error::StoreError;
pub use folder::{NewFolder, Replaced, replace_folder, replace_folder_by, tidy, tidy_all_in};
pub use hash::{sha256_of_bytes, sha256_of_file, sha256_of_files};
pub use inventory::{CheckedFolder, check_folder, contents_of, made_from, note_made_from};
pub use kept::{Input, KeptStore, KeptWriter, Manifest, ReadFrom, SeasonFiles, SourceEntry, Written};
pub use remembered::Remembered;
pub use results::{NewResults, ResultTable, check_results, read_result, read_result_parts};
pub use totals_file::{read_strip_totals, write_strip_totals};
