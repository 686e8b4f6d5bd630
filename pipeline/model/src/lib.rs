//! Questions about a review become designs, fits and answers.
//!
//! [`analyse`] takes the strips and gives the result tables that answer: curves, starting points, settings in each
//! planter's knob, comparisons, dig evidence, and what was fitted. The way through:
//!
//! 1. `response`: which numbers of a strip are modelled, on which scale and with which weight;
//! 2. `groups`: strips pooled under one curve (condition and closer; planters too, where all have weighed forces), and
//!    whether their settings varied inside field-seasons (a trial) or only between them (logs);
//! 3. `curve`: one mixed model per response, force within field-seasons apart from force between them, and draws of
//!    its posterior: curves of the typical field and of a field not yet seen;
//!    beside it the same model of shares as binomial counts, `binomial_check`;
//! 4. `levels`: can any difference between settings be seen at all, without a curve;
//! 5. `decision`: probabilities from the draws become best, window, start and evidence;
//! 6. `knob`: the same in each planter's own knob, against its own default;
//!    positions without weighed forces skip 3 to 6: `label_answer` compares them as treatments and names the start by label;
//! 7. `next_trial`: which strip trial of next season would help most, by simulating it on the draws (`preposterior`);
//! 8. `dig_window` says which forces digging allows, and bounds the start by them; `dig_start` answers where there are no stand counts; `dig_checklist` and
//!    `dig_stand` (digs against the stand) and `comparisons` stand beside them;
//! 9. `sensitivity`: what a suggestion hangs on: one field-season (`left_out`), one response, one tolerance, one way to take force;
//! 10. `field_effects`: what the best setting gains over the default in each field-season, for a forest;
//! 11. `design_checks` says what the layout, the logs and the conditions behind an answer can and cannot tell.
//!
//! [`year_on_year`] then holds the starting points against last season's.

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod analysis;
mod between_fields;
mod between_within;
mod binomial_check;
#[cfg(test)]
mod by_hand;
mod by_response;
mod comparisons;
mod condition_checks;
mod confounded;
mod contrasts;
mod covariance;
mod covariates;
mod curve;
mod curve_basis;
mod curve_tables;
mod decision;
mod design_checks;
mod dial;
mod dig_checklist;
mod dig_stand;
mod dig_start;
mod dig_window;
mod drawn;
mod draws;
mod factor_fit;
mod factor_levels;
mod factors;
mod facts;
mod field_draw;
mod field_effects;
mod frame;
mod group_answer;
mod groups;
mod hangs_on;
mod knob;
mod label_answer;
mod layout;
mod left_out;
mod levels;
mod margin_tests;
mod next_trial;
mod observations;
mod other_axis;
mod overlap;
mod own_answer;
mod pooled_closers;
mod preposterior;
mod priors;
mod response;
mod sensitivity;
mod setting_fit;
mod setting_terms;
mod shapes;
mod starting_points;
mod strip_error;
mod strip_order;
mod summary;
mod within_frame;
mod words;
mod working_fit;
mod year_on_year;

pub use analysis::{Answers, Questions, analyse, suggest, suggest_from_digs};
pub use year_on_year::{LastStart, YearOnYear, year_on_year};
