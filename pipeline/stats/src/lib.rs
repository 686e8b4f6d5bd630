//! Linear and binomial mixed models, interval-censored event times, response shapes, and honest intervals.
//!
//! This crate knows numbers, groups and columns. It does not know where they come from: no files, no units, no crops.
//!
//! # The way through
//!
//! 1. Build a [`Design`]: a response, fixed columns with names, [`RandomTerm`]s and optional weights or known sampling variances. Everything
//!    is checked here, and columns that depend on earlier ones are dropped and listed. [`OrthogonalPolynomial`] makes well-behaved columns.
//! 2. Fit it. [`LeastSquares`] uses the fixed columns only. [`Lmm`] adds random terms, by restricted or by maximum likelihood: nested or
//!    crossed, intercepts, slopes, correlated or not, or the columns of a spline. [`baseline`] is the independent solver that every fit is
//!    compared with.
//! 3. Ask. Every fit is a [`LinearFit`] and answers `contrast` (a [`Contrast`] with limits and p-value) and `joint_test` (a [`JointTest`]).
//!    Degrees of freedom are exact for least squares, and Satterthwaite's or Kenward and Roger's for mixed models ([`DegreesOfFreedom`]);
//!    which ones were used stands in the answer.
//! 4. Doubt. [`variance_intervals`] by the likelihood's profile, [`test_random_terms`] on the edge at zero, [`leave_one_group_out`]. Where a
//!    standard deviation rests on a handful of groups, [`Posterior`] draws with a half-normal prior on it.
//! 5. Compare. [`MarginalMeans`] estimates chosen cells; a [`ComparisonFamily`] of them is adjusted for looking more than once, and
//!    [`BestComparisons`] tell which can still be the best.
//! 6. Shape. A [`ShapeComparison`] of candidate [`ResponseShape`]s over one variable, weighted by AICc and averaged; [`QuadraticOptimum`] for
//!    where a quadratic is best, with sets that stay honest when the curvature is not told from zero.
//! 7. Derive. [`parametric_bootstrap`] and [`group_bootstrap`] count failures instead of dropping them; [`CoefficientDraws`]; [`Refits`] of
//!    one design to many responses.
//! 8. Plan. [`BlockPlan`] and [`TrialSeries`] give power in closed form, [`simulate_power`] that of any layout.
//!
//! Other kinds of data have doors of their own and answer alike:
//!
//! - counts `k` of `n`, a [`BinomialDesign`]: [`Logistic`] regression (ordinary, quasi-binomial, or Firth's for separated data),
//!   [`BinomialMixed`] for grouped and overdispersed counts, and [`BetaBinomial`]; [`ShareCurves`] draws clustered curves of them and
//!   where these cross a limit, separated or not;
//! - times known only to lie between two looks, of individuals some of whom never have the event, [`IntervalData`]: [`turnbull`] without a
//!   curve, [`EventTimes`] with one.
//!
//! Beside the fits stand [`distribution`] functions, [`holm`] adjustment, [`clopper_pearson`] and [`wilson`] intervals, and
//! summaries of draws ([`quantile`] and friends). Users of linfa find least squares ([`LeastSquaresParams`]) and logistic regression
//! ([`LogisticParams`]) with its `Fit`, `Predict` and checked parameters.
//!
//! # Promises
//!
//! Bad input is an error that names the value ([`StatsError`]); a doubtful result is a result with a [`Note`]. The same input gives the
//! same bytes, on any number of processors. Nothing panics on data, and nothing is called converged when the gradient says no.
//!
//! # Limits
//!
//! Binomial mixed models take uncorrelated terms of one column and answer with z intervals, too short with very few groups. The draws of
//! [`Posterior`] take one standard deviation per term. Kenward-Roger needs restricted likelihood and blocks of at most 4000 effects.

#![cfg_attr(test, allow(clippy::unwrap_used))]
// `!(x > 0.0)` is the form that also refuses NaN; loops over several arrays by one index read like the formulas they cite.
#![allow(clippy::neg_cmp_op_on_partial_ord, clippy::needless_range_loop)]

mod adjust;
mod aliasing;
mod baseline;
mod best;
mod binomial;
mod binomial_model;
mod blocked_ranks;
mod bootstrap;
mod checks;
mod coefficient_draws;
mod combinations;
mod comparisons;
mod dense;
mod derivatives;
mod design;
pub mod distribution;
mod error;
mod event_times;
mod inference;
mod interval;
mod least_squares;
mod likelihood_ratio;
mod linfa_least_squares;
mod lmm;
mod marginal_means;
mod newton;
mod note;
mod polynomial;
mod power;
mod qr;
mod random_effects;
mod random_term;
mod response_shape;
mod search_record;
mod share_limit;
mod simulate_power;
mod sparse;
mod summary;
mod threads;

pub use adjust::holm;
pub use baseline::baseline;
pub use best::{AgainstBest, BestComparisons, Direction, can_be_best};
pub use binomial::{clopper_pearson, wilson};
pub use binomial_model::{
    BetaBinomial, BetaBinomialFit, BinomialDesign, BinomialMixed, BinomialMixedFit, Logistic, LogisticFit,
    LogisticModel, LogisticParams, LogisticValidParams, RandomDeviation, Separation,
};
pub use blocked_ranks::{RankAssociation, blocked_rank_association};
pub use bootstrap::{
    Bootstrap, BootstrapFailure, OptimumBootstrap, Tail, group_bootstrap, optimum_bootstrap, parametric_bootstrap,
    simulate_response,
};
pub use coefficient_draws::CoefficientDraws;
pub use comparisons::{Adjustment, Comparison, ComparisonFamily, Comparisons};
pub use design::Design;
pub use error::{Result, StatsError};
pub use event_times::{
    CellTest, EventAt, EventEstimate, EventGoodness, EventPredictors, EventQuantity, EventTimes, EventTimesFit,
    IntervalData, IntervalScale, Limit, Mass, ProfileInterval, Shape, Share, Turnbull, turnbull,
};
pub use inference::{Contrast, JointTest, LinearFit};
pub use interval::Interval;
pub use least_squares::{LeastSquares, LeastSquaresFit};
pub use likelihood_ratio::LikelihoodRatio;
pub use linfa_least_squares::{LeastSquaresModel, LeastSquaresParams, LeastSquaresValidParams};
pub use lmm::{
    ConditionalModes, Correlation, Criterion, DegreesOfFreedom, LeftOut, Lmm, LmmFit, OptimumRecord, Posterior,
    PosteriorOptions, Refits, SpreadPrior, VarianceComponent, VarianceInterval, deviance_at, leave_one_group_out,
    test_fixed_columns, test_random_terms, variance_intervals,
};
pub use marginal_means::{Cell, MarginalMean, MarginalMeans, MissingCell};
pub use note::Note;
pub use polynomial::OrthogonalPolynomial;
pub use power::{BlockPlan, Power, TrialSeries, detectable_difference, difference_power};
pub use random_term::{RandomTerm, Structure};
pub use response_shape::{
    AveragedPoint, ConstrainedSet, DroppedShape, FiellerSet, FittedShape, Joint, ProfileSet, QuadraticOptimum,
    QuadraticRows, ResponseFrame, ResponseShape, ShapeComparison, Side, SplineBasis, optimum_profile_set,
};
pub use search_record::SearchRecord;
pub use share_limit::{Line, ShareCurve, ShareCurveDraws, ShareCurves, ShareRow, ShareSpread, Slope};
pub use simulate_power::{
    Analysis, PlannedTrial, Quadratic, Question, SimulatedPower, SimulationOptions, simulate_power,
};
pub use summary::{limits, mean, quantile, quantile_of_sorted, standard_deviation, weighted_mean};
