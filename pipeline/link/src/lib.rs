//! Kept tables become one row a strip.
//!
//! [`link`] takes the kept tables of a review and gives, strip by strip, how the closing system was set (`force`),
//! in what condition (`condition`) and how the crop came up (`emergence`, `stand`), with everything a person should
//! look at as findings. Samples and telemetry rows of a strip are pooled: the strip is the unit that a setting was given
//! to, and nothing inside it counts as a replicate.
//!
//! Telemetry is never read whole: `telemetry` streams it through polars, whose frames do not leave that file.

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod calibration;
mod checks;
mod condition;
mod condition_labels;
mod condition_note;
mod condition_scheme;
mod counts;
mod course_counts;
mod course_findings;
mod course_fits;
mod course_lag;
mod course_misfit;
#[cfg(test)]
mod course_simulation;
mod courses;
mod degree_days;
mod digs;
mod emergence;
mod error;
mod fields;
mod fitted_times;
mod force;
mod hardware;
mod key;
mod measures;
mod outlines;
mod rain_after;
mod recorded;
mod set_actual;
mod sources;
mod stand;
mod strip_totals;
mod strips;
mod telemetry;
mod telemetry_columns;
mod telemetry_findings;
mod telemetry_sums;
mod telemetry_watch;
mod traced;
mod traces;

pub use error::LinkError;
pub use strips::{Kept, Linked, link};
pub use telemetry::{SettingLogs, read_logs, strip_totals};
pub use traced::Traced;
