//! Sparse symmetric matrices and their Cholesky factors.
//!
//! Two factorisations, because two likelihoods ask for different things: linear mixed models scale one matrix again and again and solve
//! for whole blocks; models of counts change the matrix itself with every weight and need entries of its inverse.

mod cholesky;
mod matrix;
mod reweighted;

pub(crate) use cholesky::{NumericCholesky, SymbolicCholesky};
pub(crate) use matrix::SymmetricSparse;
pub(crate) use reweighted::ReweightedCholesky;
