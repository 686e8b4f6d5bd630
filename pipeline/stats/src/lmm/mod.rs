//! Linear mixed models with scalar random terms, by profiled likelihood.

mod degrees_of_freedom;
mod fit;
mod optimizer;
mod posterior;
mod profile;
mod proposal;
mod result;
mod search;

pub use fit::{Lmm, deviance_at};
pub use optimizer::OptimumRecord;
pub use posterior::{Posterior, PosteriorOptions};
pub use profile::Criterion;
pub use result::{ConditionalModes, LmmFit, VarianceComponent};
