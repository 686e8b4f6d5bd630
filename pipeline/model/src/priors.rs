//! How much fields, blocks, conditions and curves may differ before anything is seen: scales of half-normal priors.

use crate::response::Scale;
use crate::summary::standard_deviation;

/// Half-normal prior scales of standard deviations, on the model's scale; slope, curvature and departure are per half of the tested
/// range.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct PriorScales {
    /// Levels of field-seasons, and of blocks in them.
    pub field: f64,
    pub block: f64,
    /// A field-season's own slope and curvature.
    pub slope: f64,
    pub curvature: f64,
    /// A condition's own slope and curvature.
    pub condition_slope: f64,
    pub condition_curvature: f64,
    /// What most conditions' curves depart from a parabola by, and what one may.
    pub departure: f64,
    pub largest_departure: f64,
}

/// A field's own curve may lie about this far from the typical one, as a share of half the tested range.
const OWN_BEST: f64 = 0.25;
/// The same for a condition's.
const CONDITION_BEST: f64 = 1.0;
/// Most curves depart from a parabola by about this share of what they move, and one may by this.
const DEPARTURE: f64 = 0.05;
const LARGEST_DEPARTURE: f64 = 0.35;

impl PriorScales {
    /// Scales that are wide against what strip trials show.
    ///
    /// Levels: 0.5 for shares on the logit, 0.4 for times on the logarithm, one standard deviation for other numbers. A
    /// field whose own best lies d away has a slope that differs by 2 d times the curvature, and a field that answers more
    /// strongly a slope that differs in proportion: the scale of slopes grows with the size of the curves themselves
    /// (`linear`, `quadratic`: means of their absolute coefficients). A fixed scale was tried: where fields differed
    /// much, starts called right 80 times in 100 were right 64 times (`tests/promise`).
    pub fn of(scale: Scale, values: &[f64], linear: f64, quadratic: f64) -> Self {
        let unit = match scale {
            Scale::Logit => 0.5,
            Scale::Log => 0.4,
            Scale::Identity => {
                let spread = standard_deviation(values);
                if spread.is_finite() && spread > 0.0 { spread } else { 1.0 }
            }
        };
        Self {
            field: unit,
            block: 0.5 * unit,
            slope: 0.2 * unit + OWN_BEST * (linear + 2.0 * quadratic),
            curvature: 0.1 * unit + OWN_BEST * quadratic,
            condition_slope: 0.5 * unit + CONDITION_BEST * (linear + 2.0 * quadratic),
            condition_curvature: 0.3 * unit + CONDITION_BEST * quadratic,
            departure: 0.05 * unit + DEPARTURE * (linear + quadratic),
            largest_departure: 0.1 * unit + LARGEST_DEPARTURE * (linear + quadratic),
        }
    }
}
