//! Next season's strip trial: its settings, layout, places and times to count, what it can show, and the papers that go to the field.
//!
//! [`plan`] draws everything from a seed: the same request gives the same plan. Settings go around the default, inside the knob's limits and where digs
//! found the trench shut and the seed not too firm; layouts keep no setting to one side, one place or one neighbour; power comes
//! from the review's own strips.

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod arrangement;
mod error;
mod ground;
mod incomplete;
mod levels;
mod order;
mod papers;
mod places;
mod plan;
mod planning;
mod precision;
mod request;
mod strip_spread;
mod visits;
mod words;

#[cfg(test)]
mod made_up;

pub use error::TrialError;
pub use ground::Ground;
pub use levels::{gauge, shown};
pub use order::{OrderCheck, OrderLimits};
pub use papers::{Paper, file_stem, papers};
pub use plan::{
    Counting, DetectableWith, FieldSize, Layout, Level, Pass, Place, Plan, PlantedBy, Setting, Strip, Visit, Visits,
    Worth,
};
pub use planning::plan;
pub use precision::Precision;
pub use request::{AskedPlanter, Known, Request};
pub use visits::Expected;
pub use words::size;
