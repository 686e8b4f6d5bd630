//! Event times known only to intervals, with a share of individuals for whom the event never happens.
//!
//! [`IntervalData`] is what was seen. [`turnbull`] estimates its distribution without a curve, [`EventTimes`] with one; a fit is
//! asked for a [`EventQuantity`] by the delta method or by its profile, made robust to clusters, and held against the data.

mod data;
mod fit;
mod goodness;
mod innermost;
mod likelihood;
mod model;
mod near;
mod normal;
mod predictors;
mod profile;
mod quantity;
mod search;
mod shape;
mod turnbull;

pub use data::IntervalData;
pub use fit::{EventTimesFit, Limit};
pub use goodness::{CellTest, EventGoodness};
pub use model::EventTimes;
pub use predictors::{EventAt, EventPredictors};
pub use profile::ProfileInterval;
pub use quantity::{EventEstimate, EventQuantity, IntervalScale, Share};
pub use shape::Shape;
pub use turnbull::{Mass, Turnbull, turnbull};
