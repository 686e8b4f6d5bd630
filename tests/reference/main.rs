//! The statistical core against outside values: certified sets, published data fitted by other software, and a plain dense
//! likelihood written for these tests alone. `cases/` holds the expected values with their sources.

mod analysis_of_variance;
mod beta_binomial;
mod binomial_mixed;
mod brute_force;
mod conformance;
mod counts;
mod data;
mod distributions;
mod linear_regression;
mod logistic_regression;
mod mixed_models;
mod models;
mod near;
mod posterior;
mod scale;
