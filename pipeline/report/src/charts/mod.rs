//! Charts: sketched as shapes, painted with plotters.

mod axis;
pub(crate) mod condition;
pub(crate) mod dig_panel;
pub(crate) mod field;
mod labels;
pub(crate) mod lanes;
mod marks;
mod paint;
pub(crate) mod panel;
pub(crate) mod sketch;

pub(crate) use paint::{png, svg};
