//! The report: from the result tables of a review to a page that a grower reads, and to charts.
//!
//! The report computes nothing. Everything it says stands in a table of `results/`; it puts numbers into words and
//! pictures, rounds them to the digits they have, and can be thrown away and made again.
//!
//! - [`Results`] are the tables as rows. Any may be empty: what is missing is left out or said to be missing.
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

mod answer;
mod aside;
mod calendar;
mod charts;
mod condition_tables;
mod difference_seen;
mod dig_chart;
mod dig_limit;
mod dig_list;
mod dig_numbers;
mod dig_says;
mod dig_stand;
mod error;
mod evidence_behind;
mod field_chart;
mod fields;
mod font;
mod gauge;
mod ground;
mod growers;
mod hardware;
mod how_sure;
mod in_short;
#[cfg(test)]
mod made_up;
#[cfg(test)]
mod made_up_decision;
#[cfg(test)]
mod made_up_digs;
mod method;
mod missing;
mod next_trial;
mod number;
mod overview;
mod page;
mod picture;
mod render;
mod research;
mod response;
mod results;
mod review_markdown;
mod scheme;
mod scope;
mod set_actual;
mod shape_seen;
mod since_last;
mod slug;
mod strip_says;
mod telemetry;
mod templates;
mod terminal;
mod units;
mod what_can_be_best;
mod why;

pub use error::ReportError;
pub use render::render;
pub use results::Results;
pub use terminal::starting_points_text;

/// What [`render`] wrote.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Summary {
    /// Charts drawn; each is an SVG and a PNG file.
    pub charts: usize,
    /// Pages written, in both systems of units.
    pub pages: usize,
}
