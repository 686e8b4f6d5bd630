//! Linear mixed models by profiled likelihood.

mod batch;
mod chain;
mod coordinates;
mod degrees_of_freedom;
mod elimination;
mod fit;
mod gradient;
mod influence;
mod kenward_roger;
mod layout;
mod likelihood_profile;
mod nested_tests;
mod optimizer;
mod parting;
mod posterior;
mod products;
mod profile;
mod proposal;
mod refit;
mod remarks;
mod result;
mod search;

pub use degrees_of_freedom::DegreesOfFreedom;
pub use fit::{Lmm, deviance_at};
pub use influence::{LeftOut, leave_one_group_out};
pub(crate) use layout::relative_factors;
pub use likelihood_profile::{VarianceInterval, variance_intervals};
pub use nested_tests::{test_fixed_columns, test_random_terms};
pub use optimizer::OptimumRecord;
pub use posterior::{Posterior, PosteriorOptions, SpreadPrior};
pub use profile::Criterion;
pub use refit::Refits;
pub(crate) use remarks::{estimated_as_zero, few_groups};
pub use result::{ConditionalModes, Correlation, LmmFit, VarianceComponent};
