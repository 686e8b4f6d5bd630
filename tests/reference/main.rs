//! The statistical core against outside values: certified sets, published data fitted by other software, and a plain dense
//! likelihood written for these tests alone. `cases/` holds the expected values with their sources.

// Loops over several matrices by one index read like the formulas they check; `!(x < limit)` also refuses NaN.
#![allow(clippy::needless_range_loop, clippy::neg_cmp_op_on_partial_ord)]

mod analysis_of_variance;
mod beta_binomial;
mod binomial_mixed;
mod bootstrap;
mod brute_force;
mod comparisons;
mod conformance;
mod conformance_inference;
mod counts;
mod data;
mod distributions;
mod event_times;
mod event_times_conformance;
mod event_times_records;
mod event_times_simulated;
mod hostile;
mod linear_regression;
mod logistic_regression;
mod marginal_tests;
mod mixed_models;
mod models;
mod near;
mod posterior;
mod power;
mod response_optimum;
mod response_shapes;
mod scale;
mod share_curves;
mod spline;
mod variances;
