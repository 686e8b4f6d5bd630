//! The binary from outside, and the rules of the workspace. See `tests/README.md` for which test goes where.

#![allow(clippy::unwrap_used, missing_docs)]

mod bad_input;
mod cli;
mod demo;
mod digs;
mod floors;
mod foreign;
mod hostile_files;
mod hostile_names;
mod incremental;
mod last_season;
mod memory;
mod mutated;
mod notebook_page;
mod notebooks;
mod open_files;
mod pipeline;
mod places;
mod propose;
mod published_trials;
mod real_input;
mod sample_reviews;
mod schemas;
mod setting_findings;
mod sheets;
mod shell;
mod small_review;
mod strip_totals;
mod supply_chain;
mod support;
mod task_data;
mod telemetry;
mod telemetry_watch;
mod trial;
mod workbooks;
