//! Values that handbooks, papers and documented examples print, against what the agronomy crate computes.
//!
//! Every table names its source. Where the source printed fewer digits than a double has, the tolerance is half of the
//! last printed digit; values worked out from a stated formula are held to near machine precision. Data that cannot be
//! passed on is read from a shared folder beside the repository, and the test says `skipped` where that is absent.

mod germination;
mod row_length;
mod shared;
mod soil;
mod spacing;
mod texture;
mod thermal;
mod units;
