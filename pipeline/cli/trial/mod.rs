//! `evenstand trial`: arguments, questions, and what the review answers of them.

mod args;
mod known;
mod questions;
mod request;

pub use args::TrialArgs;
pub use known::ReviewFacts;
pub use questions::ask;
pub use request::{ground, request};
