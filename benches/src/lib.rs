//! Timed work of the statistical core: seeded data, cases with names, and the table of what they took.
//!
//! `kernels.rs` times the cases with criterion, the binary `compare` prints the table; see `README.md` beside this crate.

pub mod cases;
pub mod inputs;
pub mod machine;
pub mod network;
pub mod pages;
pub mod table;
pub mod timing;
pub mod usual;
