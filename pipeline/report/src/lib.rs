//! The report: from the result tables of a review to a page that a grower reads, and to charts.
//!
//! The report computes nothing. Everything it says stands in a table of `results/`; it puts numbers into words and
//! pictures, rounds them to the digits they have, and can be thrown away and made again.
//!
//! - [`Results`] are the tables as rows; the long ones stay packed ([`Packed`]). Any may be empty: what is missing is left out or said to be missing.
//! - [`render`] draws one chart a field-season and one a condition and response, each as SVG and PNG, and writes
//!   `index.html`, a single file that needs no other: first a card a planter with its starting points, then why,
//!   then field by field, what was set aside, how it was worked out, and the cautions.
//! - [`starting_points_text`] says the starting points in a few lines for the terminal.
//!
//! How it hangs together: `answer` puts a planter's starting points in words for both the page and the terminal;
//! `why`, `fields` and `aside` gather the other sections, `why` with a file a question (`difference_seen`,
//! `what_can_be_best`, `how_sure`, `shape_seen`, `evidence_behind`, `dig_says`) and `next_trial`; `dig_list`, `hardware`,
//! `set_actual` and `scheme` are sections of their own; `charts` sketches shapes and paints them with plotters;
//! `response`, `gauge` and `number` are the only places where a number becomes text; `page` puts all of it into the
//! templates, which escape every name they are given.
//!
//! Units: forces come in newtons and are shown in the unit of the review; a planter without a calibration is shown
//! in its own pressure and never as a force.

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod charts;
mod error;
mod font;
#[cfg(test)]
mod made_up;
#[cfg(test)]
mod made_up_decision;
#[cfg(test)]
mod made_up_digs;
mod ordered;
mod packed;
mod page;
mod picture;
mod render;
mod results;
mod slug;
mod templates;
mod words;

pub use error::ReportError;
pub use packed::Packed;
pub use render::{Parts, Source, SourceError, render};
pub use results::Results;
pub use words::terminal::starting_points_text;

/// What [`render`] wrote.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Summary {
    /// Charts drawn; each is an SVG and a PNG file.
    pub charts: usize,
    /// Pages written, in both systems of units.
    pub pages: usize,
}
