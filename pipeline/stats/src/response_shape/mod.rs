//! Candidate shapes of a response over one variable, their comparison, and what they say about the optimum.

mod comparison;
mod confidence_set;
mod fitted_shape;
mod frame;
mod joint;
mod lack_of_fit;
mod optimum;
mod profile_set;
mod shape;
mod spline_basis;
mod spline_curve;

pub use comparison::{AveragedPoint, DroppedShape, ShapeComparison};
pub use confidence_set::{ConstrainedSet, FiellerSet};
pub use fitted_shape::FittedShape;
pub use frame::ResponseFrame;
pub use joint::Joint;
pub use optimum::{QuadraticOptimum, QuadraticRows};
pub(crate) use profile_set::check_range;
pub use profile_set::{ProfileSet, optimum_profile_set};
pub use shape::{ResponseShape, Side};
pub use spline_basis::SplineBasis;
