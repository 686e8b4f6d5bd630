//! Bootstrap of anything derived from a least-squares or mixed model fit.

mod groups;
mod optimum;
mod parametric;
mod summary;

pub use groups::group_bootstrap;
pub use optimum::{OptimumBootstrap, optimum_bootstrap};
pub use parametric::{parametric_bootstrap, simulate_response};
pub use summary::{Bootstrap, BootstrapFailure, Tail};
