//! Least squares, linear and logistic mixed models, and honest intervals.
//!
//! This crate knows numbers, groups and columns. It does not know where they come from: no files, no units, no crops.
//!
//! # The way through
//!
//! 1. Build a [`Design`]: a response, fixed columns with names, [`RandomTerm`]s and optional weights. Everything is checked here,
//!    and columns that depend on earlier ones are dropped and listed. [`OrthogonalPolynomial`] makes well-behaved columns for curves.
//! 2. Fit it. [`LeastSquares`] uses the fixed columns only. [`Lmm`] adds random terms, by restricted or by maximum likelihood;
//!    it needs no more than one scalar effect per group and term, and several terms may be nested, crossed, or slopes.
//!    [`baseline`] is the independent solver that every fit is compared with.
//! 3. Ask. Both fits answer `contrast` (a [`Contrast`] with limits and p-value) and `joint_test` (a [`JointTest`]). Degrees of freedom
//!    are exact for least squares and Satterthwaite's for mixed models.
//! 4. When a standard deviation rests on a handful of groups, do not trust one number: [`Posterior`] draws from the posterior
//!    with a half-normal prior on each random term's standard deviation.
//!
//! Counts `k` of `n` have a [`BinomialDesign`]: [`Logistic`] regression (ordinary, quasi-binomial, or Firth's for separated data),
//! [`BinomialMixed`] for grouped and overdispersed counts, and [`BetaBinomial`]. They answer like the other fits, with z tests.
//!
//! Beside the fits stand [`distribution`] functions, [`holm`] adjustment, [`clopper_pearson`] and [`wilson`] intervals, and
//! summaries of draws ([`quantile`] and friends).
//!
//! # Promises
//!
//! Bad input is an error that names the value ([`StatsError`]); a doubtful result is a result with a [`Note`]. The same input gives the
//! same bytes. Nothing panics on data.
//!
//! # Limits
//!
//! No correlation between random slopes and intercepts, no Kenward-Roger adjustment (a standard error given the estimated variances
//! is too short with very few groups), no responses but measurements and counts of trials.

#![cfg_attr(test, allow(clippy::unwrap_used))]
// `!(x > 0.0)` is the form that also refuses NaN; loops over several arrays by one index read like the formulas they cite.
#![allow(clippy::neg_cmp_op_on_partial_ord, clippy::needless_range_loop)]

mod adjust;
mod baseline;
mod binomial;
mod binomial_model;
mod dense;
mod derivatives;
mod design;
pub mod distribution;
mod error;
mod inference;
mod interval;
mod least_squares;
mod lmm;
mod newton;
mod note;
mod polynomial;
mod qr;
mod sparse;
mod summary;

pub use adjust::holm;
pub use baseline::baseline;
pub use binomial::{clopper_pearson, wilson};
pub use binomial_model::{
    BetaBinomial, BetaBinomialFit, BinomialDesign, BinomialMixed, BinomialMixedFit, FittedLogistic,
    LikelihoodRatioTest, Logistic, LogisticFit, LogisticParams, LogisticValidParams, RandomDeviation, SearchRecord,
    Separation,
};
pub use design::{Design, RandomTerm};
pub use error::{Result, StatsError};
pub use inference::{Contrast, JointTest, LinearFit};
pub use interval::Interval;
pub use least_squares::{LeastSquares, LeastSquaresFit};
pub use lmm::{
    ConditionalModes, Criterion, Lmm, LmmFit, OptimumRecord, Posterior, PosteriorOptions, VarianceComponent,
    deviance_at,
};
pub use note::Note;
pub use polynomial::OrthogonalPolynomial;
pub use summary::{mean, quantile, quantile_of_sorted, standard_deviation, weighted_mean};
