//! Timed work of the statistical core: seeded data, cases with names, a plain timer.
//!
//! The binary `compare` runs the cases and prints the table; see `README.md` beside this crate.

pub mod cases;
pub mod inputs;
pub mod machine;
pub mod network;
pub mod pages;
pub mod table;
pub mod timer;
pub mod usual;
