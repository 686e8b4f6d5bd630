//! Event times known only to intervals, with a share of individuals for whom the event never happens.

mod data;
mod innermost;
mod normal;
mod shape;
mod turnbull;

pub use data::IntervalData;
pub use shape::Shape;
pub use turnbull::{Mass, Turnbull, turnbull};
