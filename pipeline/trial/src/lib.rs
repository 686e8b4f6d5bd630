//! Next season's strip trial: its settings, layout, places and times to count, what it can show, and the papers that go to the field.

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod error;
mod ground;
mod papers;
mod plan;

#[cfg(test)]
mod made_up;

pub use error::TrialError;
pub use ground::Ground;
pub use papers::{Paper, papers};
pub use plan::{
    Counting, DetectableWith, FieldSize, Layout, Level, Pass, Place, Plan, PlantedBy, Setting, Strip, Visit, Visits,
    Worth,
};
