//! Row length, population and seeds sown. Computed, never looked up: handbooks disagree in their rounding.
//!
//! All of it is one relation, `plants = population × row length × row spacing`, in metres and per square metre. A function
//! is `None` where the lengths that it divides by are not finite numbers above zero, or the count is negative or not
//! finite.

use crate::units::SQUARE_METRES_PER_ACRE;

fn positive(value: f64) -> Option<f64> {
    (value.is_finite() && value > 0.0).then_some(value)
}

fn not_negative(value: f64) -> Option<f64> {
    (value.is_finite() && value >= 0.0).then_some(value)
}

/// Length of one row, in metres, that covers a thousandth of an acre at this row spacing: `0.001 × acre / row spacing`.
///
/// Plants in it × 1000 are plants an acre.
pub fn row_length_thousandth_acre_m(row_spacing_m: f64) -> Option<f64> {
    Some(SQUARE_METRES_PER_ACRE / 1000.0 / positive(row_spacing_m)?)
}

/// Length of one row, in metres, that covers a thousandth of a hectare (10 m²) at this row spacing.
///
/// Plants in it × 1000 are plants a hectare.
pub fn row_length_thousandth_hectare_m(row_spacing_m: f64) -> Option<f64> {
    Some(10.0 / positive(row_spacing_m)?)
}

/// Plants per square metre from a count along one row: `plants / (row length × row spacing)`.
///
/// It serves the tape, where the length is chosen, and the measuring wheel, where the count is.
pub fn population_per_m2(plants: f64, row_length_m: f64, row_spacing_m: f64) -> Option<f64> {
    Some(not_negative(plants)? / (positive(row_length_m)? * positive(row_spacing_m)?))
}

/// Plants per square metre from a count inside a hoop of that diameter: `plants / (π d² / 4)`.
pub fn hoop_population_per_m2(plants: f64, diameter_m: f64) -> Option<f64> {
    let radius = positive(diameter_m)? / 2.0;
    Some(not_negative(plants)? / (std::f64::consts::PI * radius * radius))
}

/// Seeds sown in a sample: `rate × row length × row spacing`. Not rounded.
pub fn seeds_sown(rate_per_m2: f64, row_length_m: f64, row_spacing_m: f64) -> Option<f64> {
    Some(not_negative(rate_per_m2)? * positive(row_length_m)? * positive(row_spacing_m)?)
}

/// Spacing along the row, in metres, without skips and doubles: `1 / (population × row spacing)`.
pub fn theoretical_spacing_m(population_per_m2: f64, row_spacing_m: f64) -> Option<f64> {
    Some(1.0 / (positive(population_per_m2)? * positive(row_spacing_m)?))
}

/// Seed rate per square metre that a spacing along the row amounts to: `1 / (spacing × row spacing)`.
pub fn population_from_spacing_per_m2(spacing_m: f64, row_spacing_m: f64) -> Option<f64> {
    theoretical_spacing_m(spacing_m, row_spacing_m)
}

/// A length as a tape in feet shows it, rounded to the nearest inch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FeetInches {
    /// Whole feet.
    pub feet: u32,
    /// Inches beside them, 0 to 11.
    pub inches: u32,
}

impl FeetInches {
    /// The length to the nearest inch; `None` where it is negative, not finite, or beyond ten thousand kilometres.
    pub fn from_metres(length_m: f64) -> Option<FeetInches> {
        let inches = (not_negative(length_m)? / 0.0254).round();
        // The limit keeps the cast below exact.
        (inches < 4e8).then_some(FeetInches { feet: inches as u32 / 12, inches: inches as u32 % 12 })
    }
}

impl std::fmt::Display for FeetInches {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(formatter, "{} ft {} in", self.feet, self.inches)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_square_metre_is_worked_by_hand() {
        // Rows 0.5 m apart: 20 m of row are 10 m², a thousandth of a hectare.
        assert_eq!(row_length_thousandth_hectare_m(0.5), Some(20.0));
        assert_eq!(population_per_m2(80.0, 20.0, 0.5), Some(8.0));
        assert_eq!(seeds_sown(8.0, 20.0, 0.5), Some(80.0));
        assert_eq!(theoretical_spacing_m(8.0, 0.5), Some(0.25));
        assert_eq!(population_from_spacing_per_m2(0.25, 0.5), Some(8.0));
    }

    #[test]
    fn a_thousandth_acre_holds_a_thousandth_of_the_plants() {
        for row_spacing in [0.19, 0.5, 0.762, 1.016] {
            let length = row_length_thousandth_acre_m(row_spacing).expect("a row spacing");
            let population = population_per_m2(34.0, length, row_spacing).expect("a count");
            assert!((population * SQUARE_METRES_PER_ACRE - 34_000.0).abs() < 1e-8, "{row_spacing}");
        }
    }

    #[test]
    fn impossible_lengths_give_nothing() {
        for bad in [0.0, -0.5, f64::NAN, f64::INFINITY] {
            assert_eq!(row_length_thousandth_acre_m(bad), None);
            assert_eq!(row_length_thousandth_hectare_m(bad), None);
            assert_eq!(population_per_m2(3.0, bad, 0.5), None);
            assert_eq!(population_per_m2(3.0, 5.0, bad), None);
            assert_eq!(theoretical_spacing_m(bad, 0.5), None);
            assert_eq!(hoop_population_per_m2(3.0, bad), None);
            assert_eq!(seeds_sown(8.0, bad, 0.5), None);
        }
        assert_eq!(population_per_m2(-1.0, 5.0, 0.5), None);
        assert_eq!(population_per_m2(0.0, 5.0, 0.5), Some(0.0));
        assert_eq!(FeetInches::from_metres(f64::NAN), None);
        assert_eq!(FeetInches::from_metres(1e30), None);
    }

    #[test]
    fn eleven_inches_and_a_half_round_up_to_the_next_foot() {
        let tape = FeetInches::from_metres(0.0254 * 23.6).expect("a length");
        assert_eq!(tape, FeetInches { feet: 2, inches: 0 });
        assert_eq!(tape.to_string(), "2 ft 0 in");
    }
}
