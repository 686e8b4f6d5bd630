//! Regression of counts `k` of `n` with a logit link: ordinary and penalised logistic regression, the beta-binomial, and
//! mixed models with normal effects on the logit.

mod beta_binomial;
mod coefficients;
mod columns;
mod design;
mod kernel;
mod laplace;
mod linfa_logistic;
mod logistic;
mod logistic_profile;
mod logistic_result;
mod mixed;
mod mixed_result;
mod mixed_search;
mod objective;
mod quadrature;
mod separation;

pub use beta_binomial::{BetaBinomial, BetaBinomialFit};
pub use design::BinomialDesign;
pub use linfa_logistic::{LogisticModel, LogisticParams, LogisticValidParams};
pub use logistic::Logistic;
pub use logistic_result::LogisticFit;
pub use mixed::BinomialMixed;
pub use mixed_result::{BinomialMixedFit, RandomDeviation};
pub use separation::Separation;

pub(crate) use kernel::probabilities;
pub(crate) use quadrature::hermite_nodes;
