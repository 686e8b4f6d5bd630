//! Small random designs of the worst kinds through every door: each must end in an error in words or in numbers that mean something.
//!
//! Rows may repeat, cells be empty, factors be aliased or of one level, groups be one; responses may be zero, constant, exactly linear or
//! offset by 1e9 or 1e150; scales run from 1e-150 to 1e150, weights may be zero; counts may be separated, all zero or all successes. Asserted for every estimator: no panic,
//! no NaN among coefficients, standard errors, degrees of freedom and p-values without a note, and no search called converged where the
//! criterion itself, looked at from here, says no.

mod answers;
mod counts_and_times;
mod frames;
mod linear;
mod mixed;
