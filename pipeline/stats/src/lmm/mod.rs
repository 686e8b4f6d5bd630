//! Linear mixed models by profiled likelihood.

mod coordinates;
mod degrees_of_freedom;
mod fit;
mod kenward_roger;
mod layout;
mod optimizer;
mod posterior;
mod products;
mod profile;
mod proposal;
mod result;
mod search;

pub use degrees_of_freedom::DegreesOfFreedom;
pub use fit::{Lmm, deviance_at};
pub use optimizer::OptimumRecord;
pub use posterior::{Posterior, PosteriorOptions};
pub use profile::Criterion;
pub use result::{ConditionalModes, Correlation, LmmFit, VarianceComponent};
