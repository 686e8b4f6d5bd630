//! Workbooks that people left behind, workbooks made here, and files that mean harm, against what must be read.
//!
//! What the open workbooks hold was worked out from their raw parts with another language's XML reader, and for XLS
//! with another library; see `corpus.rs`. Where those files are absent the test says `skipped`.

#![allow(clippy::unwrap_used)]

mod corpus;
mod hostile;
mod made;
mod ods;
mod second_reader;
mod support;
mod xls;
