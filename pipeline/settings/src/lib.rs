//! What a person decides about a review: `evenstand.toml`, checked once.
//!
//! [`Settings::parse`] takes the text of the file and gives every choice with its default filled in: planters and
//! their calibration ([`Planter`], [`Knob`]), the condition scheme ([`ConditionScheme`]), the choices of the analysis
//! ([`Analysis`]), tolerances, time zone and display units. A missing file is the same as an empty one.
//! Errors name the key, what was found there and what was expected.

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod analysis;
mod condition;
mod dig;
mod display;
mod error;
mod hardware;
mod last_season;
mod place;
mod planter;
mod reckoning;
mod review;
mod source;
mod telemetry;
mod weather;
mod weighed;

pub use analysis::{Analysis, Axis, Clock, Tolerances};
pub use condition::{ConditionPart, ConditionScheme, TextureLimits};
pub use dig::Dig;
pub use display::Display;
pub use error::SettingsError;
pub use hardware::Hardware;
pub use last_season::LastSeason;
pub use place::Place;
pub use planter::{Actuator, Calibration, Knob, Planter, Position};
pub use review::Settings;
pub use source::{ChannelRule, ColumnRule, SourceRule, WideRule};
pub use telemetry::Telemetry;
pub use weather::{DegreeDays, Weather};
pub use weighed::{CalibrationShape, FittedForce, Reading, Weighed, mean_and_deviation};
