//! Charts: sketched as shapes, painted with plotters.

pub(crate) mod along;
mod axis;
pub(crate) mod calendar;
mod canvas;
pub(crate) mod condition;
pub(crate) mod dig_panel;
pub(crate) mod field;
pub(crate) mod forest;
pub(crate) mod image;
mod labels;
pub(crate) mod lanes;
mod marks;
pub(crate) mod multiples;
mod paint;
pub(crate) mod panel;
pub(crate) mod sketch;
pub(crate) mod strip_map;
mod svg;

pub(crate) use paint::{png, svg};
