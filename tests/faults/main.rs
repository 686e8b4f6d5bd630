//! What a run promises when things go wrong, and that it can be repeated: the binary from outside. See `tests/README.md` for which test goes where.

#![allow(clippy::unwrap_used, missing_docs)]

mod at_once;
mod changing;
mod damaged;
mod full;
mod killed;
mod machine;
mod network;
mod repeated;
mod reproducible;
#[path = "../suite/small_review.rs"]
mod small_review;
#[allow(dead_code)]
#[path = "../suite/support.rs"]
mod support;
mod world;
