//! Pure functions of the trade: no files, no tables, no settings, and no panics on data.
//!
//! Numbers arrive in many units and leave in one. [`Kind`] knows which unit suffixes belong to which kind of quantity and
//! converts with exact factors; [`closest`] finds what a mistyped name probably meant.
//!
//! How a stand came up is told by a [`Course`]: cumulative plants at each inspection of one sample. Samples of a strip are
//! added by [`pool`], and from the pooled course come the times to a tenth, half and nine tenths of the final stand
//! ([`Course::time_to_share`], with a [`Crossing`] that says when it cannot be told), the plants that were up on time
//! ([`on_time_count`]) and the indices of the germination literature ([`Course::mean_time`], [`Course::synchrony`] and
//! their neighbours).
//!
//! ```
//! use evenstand_agronomy::{Course, Crossing, on_time_count};
//!
//! // Hours after planting, and plants up in one sample. A tenth of the 40 were up at exactly 120 h.
//! let course = Course::new(vec![96.0, 120.0, 144.0, 168.0, 240.0], vec![0.0, 4.0, 24.0, 32.0, 40.0])?;
//! assert_eq!(course.time_to_share(0.1), Crossing::At(120.0));
//! let on_time = on_time_count(&course, 48.0).expect("T10 is known");
//! assert_eq!(on_time.plants, 32.0);
//! # Ok::<(), evenstand_agronomy::CourseError>(())
//! ```
//!
//! How the plants stand along the row is told by their spacings ([`consecutive_spacings`], [`spacing_cv`]) and by the
//! classes around the intended spacing ([`SpacingClasses`]). How many there should be follows from rate, row length and
//! row spacing ([`seeds_sown`], [`population_per_m2`], [`row_length_thousandth_acre_m`]).
//!
//! What they came up in is told by soil and weather: [`TextureClass`] from sand, silt and clay, [`Moisture`], [`Residue`],
//! [`SoilWarmth`], [`RainAfter`], and growing degree-days by [`daily_degree_days`] and [`ThermalClock`]. What a spade showed behind the planter is a
//! [`DigCheck`]; [`DIG_QUESTIONS`] are what is asked there, and what the trade tries first for each answer.
//!
//! Everything is computed in metres, newtons, plants per square metre, degrees Celsius and fractions. A value that is not
//! defined (a variance of one plant, a spread of none) is `None`, never a number that stands for it.

mod dig;
mod dig_questions;
mod emergence;
mod feel_guide;
mod indices;
mod levels;
mod pooling;
pub mod quantity;
mod soil;
mod spacing;
mod spelling;
mod stand;
mod texture;
mod thermal;
mod units;

pub use dig::{DigCheck, DigEffort, TrenchShut};
pub use dig_questions::{Adjustment, DIG_QUESTIONS, DigAnswer, DigQuestion};
pub use emergence::{Course, CourseError, Crossing};
pub use feel_guide::{FEEL_BANDS, FEEL_GUIDE, FeelRow};
pub use levels::{force_levels, level_width};
pub use pooling::{OnTime, on_time_count, pool};
pub use soil::{
    CONSERVATION_COVER_SHARE, Moisture, MoistureLimits, RainAfter, Residue, SoilWarmth, gravimetric_water,
    share_of_plastic_limit, volumetric_water,
};
pub use spacing::{
    CountingForm, PRECISION_UPPER_LIMIT, SpacingClasses, SpacingError, consecutive_spacings, spacing_cv,
    spacing_standard_deviation,
};
pub use spelling::closest;
pub use stand::{
    FeetInches, hoop_population_per_m2, population_from_spacing_per_m2, population_per_m2,
    row_length_thousandth_acre_m, row_length_thousandth_hectare_m, seeds_sown, theoretical_spacing_m,
};
pub use texture::{TextureClass, TextureError, TextureGroup};
pub use thermal::{TemperatureLimits, TemperatureReading, ThermalClock, daily_degree_days, degree_days_fahrenheit};
pub use units::{ColumnUnit, Conversion, Kind, SQUARE_METRES_PER_ACRE, kinds_of_suffix, label_of_suffix};
