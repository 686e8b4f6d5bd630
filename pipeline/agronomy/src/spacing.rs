//! How evenly plants stand along the row: spacings, their classes around the intended spacing, and their variation.
//!
//! Classes and indices are those of Kachman & Smith (1995, Transactions of the ASAE 38(2):379-387), as Iowa State's "Plant
//! uniformity measurements" gives them; which side of a class is closed follows Bracy & Parish, who cite ISO 7256-1 (1984).
//!
//! A plant spacing is not a seed spacing: a dead seed reads as a skip.

use thiserror::Error;

/// Relative distance within which a spacing lies on a class line.
///
/// 30.0 cm is 1.5 × 20.0 cm, and must stay a single when both were read in inches, or as the difference of two positions
/// far along a tape. Conversion moves them by parts in 10^15 and the difference by parts in 10^13; no tape reads parts in
/// 10^9.
const ON_THE_LINE: f64 = 1e-9;

/// Upper limit of precision worth the name, 1/√12: the value where singles are spread evenly over their whole class.
pub const PRECISION_UPPER_LIMIT: f64 = 0.288_675_134_594_812_9;

/// Why positions or spacings cannot be used.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum SpacingError {
    /// A position is infinite or not a number.
    #[error("position {number} is {found}, not a finite number\nLeave that plant out, or the sample.")]
    PositionNotFinite {
        /// Which position, counted from one.
        number: usize,
        /// What stood there.
        found: f64,
    },
    /// A spacing is negative, infinite or not a number.
    #[error("spacing {number} is {found}, not a finite number of zero or more\nLeave that spacing out.")]
    SpacingNotUsable {
        /// Which spacing, counted from one.
        number: usize,
        /// What stood there.
        found: f64,
    },
    /// The intended spacing is not a positive number.
    #[error(
        "the intended spacing is {found}, not a finite number above zero\n\
         Give the seed spacing, or the seed rate and the row spacing."
    )]
    TheoreticalNotPositive {
        /// What was given.
        found: f64,
    },
}

/// Spacings between neighbouring plants, from positions along the row in any order; n − 1 of them, in the same unit.
///
/// # Errors
/// When a position is not finite.
pub fn consecutive_spacings(positions: &[f64]) -> Result<Vec<f64>, SpacingError> {
    if let Some(index) = positions.iter().position(|position| !position.is_finite()) {
        return Err(SpacingError::PositionNotFinite { number: index + 1, found: positions[index] });
    }
    let mut sorted = positions.to_vec();
    sorted.sort_by(f64::total_cmp);
    Ok(sorted.windows(2).map(|pair| pair[1] - pair[0]).collect())
}

/// Mean of the numbers; `None` of none.
fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

/// Standard deviation of all spacings, divisor n − 1, in their unit; `None` of fewer than two.
pub fn spacing_standard_deviation(spacings: &[f64]) -> Option<f64> {
    let mean = mean(spacings)?;
    if spacings.len() < 2 {
        return None;
    }
    let squares: f64 = spacings.iter().map(|spacing| (spacing - mean).powi(2)).sum();
    Some((squares / (spacings.len() - 1) as f64).sqrt())
}

/// Coefficient of variation of all spacings, a ratio: standard deviation (n − 1) over their mean.
///
/// `None` of fewer than two spacings and of a mean of zero. It needs no intended spacing, and is raised by skips and
/// doubles as much as by unsteady singles.
pub fn spacing_cv(spacings: &[f64]) -> Option<f64> {
    let deviation = spacing_standard_deviation(spacings)?;
    let mean = mean(spacings)?;
    if mean > 0.0 { Some(deviation / mean) } else { None }
}

/// Spacings counted into the five classes around the theoretical spacing X.
#[derive(Debug, Clone, PartialEq)]
pub struct SpacingClasses {
    /// Up to 0.5 X: two plants where one was meant.
    pub multiples: usize,
    /// Above 0.5 X, up to 1.5 X.
    pub singles: usize,
    /// Above 1.5 X, up to 2.5 X: one place left out.
    pub one_skip: usize,
    /// Above 2.5 X, up to 3.5 X: two places left out.
    pub two_skips: usize,
    /// Above 3.5 X: three places left out, or more.
    pub more_skips: usize,
    theoretical: f64,
    singles_mean: Option<f64>,
    singles_deviation: Option<f64>,
}

/// Indices that count intended places instead of spacings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CountingForm {
    /// `N′ = n2 + 2 n3 + 3 n4 + 4 n5`, the places that the spacings cover.
    pub places: usize,
    /// `n1 / N′`.
    pub multiple_share: f64,
    /// `(N − 2 n1) / N′`.
    pub quality_share: f64,
    /// `(n3 + 2 n4 + 3 n5) / N′`.
    pub miss_share: f64,
}

impl SpacingClasses {
    /// The classes of `spacings` around the theoretical spacing, both in the same unit.
    ///
    /// Upper class lines belong to the class below them; a spacing within 10^-9 (relative) of a line lies on it.
    /// Put spacings of several samples behind one another; never take one across the gap between samples.
    ///
    /// # Errors
    /// When a spacing is negative or not finite, or the theoretical spacing is not above zero.
    pub fn of(spacings: &[f64], theoretical: f64) -> Result<SpacingClasses, SpacingError> {
        if !(theoretical.is_finite() && theoretical > 0.0) {
            return Err(SpacingError::TheoreticalNotPositive { found: theoretical });
        }
        let mut classes = SpacingClasses {
            multiples: 0,
            singles: 0,
            one_skip: 0,
            two_skips: 0,
            more_skips: 0,
            theoretical,
            singles_mean: None,
            singles_deviation: None,
        };
        let mut singles = Vec::new();
        for (index, &spacing) in spacings.iter().enumerate() {
            if !(spacing.is_finite() && spacing >= 0.0) {
                return Err(SpacingError::SpacingNotUsable { number: index + 1, found: spacing });
            }
            let up_to = |multiple: f64| spacing <= multiple * theoretical * (1.0 + ON_THE_LINE);
            if up_to(0.5) {
                classes.multiples += 1;
            } else if up_to(1.5) {
                classes.singles += 1;
                singles.push(spacing);
            } else if up_to(2.5) {
                classes.one_skip += 1;
            } else if up_to(3.5) {
                classes.two_skips += 1;
            } else {
                classes.more_skips += 1;
            }
        }
        classes.singles_mean = mean(&singles);
        classes.singles_deviation = spacing_standard_deviation(&singles);
        Ok(classes)
    }

    /// Number of spacings.
    pub fn spacings(&self) -> usize {
        self.multiples + self.singles + self.misses()
    }

    /// Number of spacings with a skip in them.
    pub fn misses(&self) -> usize {
        self.one_skip + self.two_skips + self.more_skips
    }

    fn share(&self, count: usize) -> Option<f64> {
        (self.spacings() > 0).then(|| count as f64 / self.spacings() as f64)
    }

    /// Multiples index, `n1 / N`, a fraction; `None` without a spacing.
    pub fn multiple_share(&self) -> Option<f64> {
        self.share(self.multiples)
    }

    /// Quality-of-feed index, `n2 / N`, a fraction; `None` without a spacing.
    pub fn quality_share(&self) -> Option<f64> {
        self.share(self.singles)
    }

    /// Miss index, `(n3 + n4 + n5) / N`, a fraction; `None` without a spacing.
    pub fn miss_share(&self) -> Option<f64> {
        self.share(self.misses())
    }

    /// The counting form of ISO 7256-1 (formulas from memory); the three shares add up to one.
    ///
    /// `None` where no place was covered, and where there are so many multiples (`2 n1 > N`) that the quality of feed
    /// would be negative.
    pub fn counting_form(&self) -> Option<CountingForm> {
        let places = self.singles + 2 * self.one_skip + 3 * self.two_skips + 4 * self.more_skips;
        let fed = self.spacings().checked_sub(2 * self.multiples)?;
        if places == 0 {
            return None;
        }
        let share = |count: usize| count as f64 / places as f64;
        Some(CountingForm {
            places,
            multiple_share: share(self.multiples),
            quality_share: share(fed),
            miss_share: share(self.one_skip + 2 * self.two_skips + 3 * self.more_skips),
        })
    }

    /// Precision, a ratio: standard deviation of the singles (n − 1) over the theoretical spacing.
    ///
    /// `None` with fewer than two singles. See [`PRECISION_UPPER_LIMIT`]. (The divisor X is that of Kachman & Smith, from
    /// memory.)
    pub fn precision(&self) -> Option<f64> {
        Some(self.singles_deviation? / self.theoretical)
    }

    /// Precision as other authors divide it: standard deviation of the singles over their own mean.
    pub fn precision_over_mean(&self) -> Option<f64> {
        // Singles lie above half of a positive spacing, so their mean is positive.
        Some(self.singles_deviation? / self.singles_mean?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn counts(spacings: &[f64], theoretical: f64) -> [usize; 5] {
        let classes = SpacingClasses::of(spacings, theoretical).expect("usable spacings");
        [classes.multiples, classes.singles, classes.one_skip, classes.two_skips, classes.more_skips]
    }

    #[test]
    fn positions_in_any_order_give_the_gaps_between_neighbours() {
        assert_eq!(consecutive_spacings(&[0.5, 0.0, 0.25, 1.0]), Ok(vec![0.25, 0.25, 0.5]));
        assert_eq!(consecutive_spacings(&[3.0]), Ok(vec![]));
        assert_eq!(consecutive_spacings(&[]), Ok(vec![]));
        assert!(matches!(
            consecutive_spacings(&[0.0, f64::NAN]),
            Err(SpacingError::PositionNotFinite { number: 2, .. })
        ));
    }

    #[test]
    fn a_spacing_on_a_line_belongs_to_the_class_below_it() {
        assert_eq!(counts(&[10.0, 30.0, 50.0, 70.0, 70.1], 20.0), [1, 1, 1, 1, 1]);
        assert_eq!(counts(&[10.001, 30.001, 50.001, 70.001], 20.0), [0, 1, 1, 1, 1]);
        assert_eq!(counts(&[0.0], 20.0), [1, 0, 0, 0, 0]);
    }

    #[test]
    fn ties_hold_in_every_unit_and_far_along_the_tape() {
        // Each pair is exactly 0.5 X and 1.5 X on paper, with X = 20 cm; the unit and the tape add the noise.
        for scale in [1.0, 0.01, 10.0, 1.0 / 2.54, 1.0 / 30.48, 0.01 / 0.9144] {
            assert_eq!(counts(&[10.0 * scale, 30.0 * scale], 20.0 * scale), [1, 1, 0, 0, 0], "{scale}");
            for start in [0.0, 1.7, 93.1, 411.3] {
                let positions = [start, start + 10.0 * scale, start + 10.0 * scale + 30.0 * scale];
                let spacings = consecutive_spacings(&positions).expect("finite");
                assert_eq!(counts(&spacings, 20.0 * scale), [1, 1, 0, 0, 0], "{scale} from {start}");
            }
        }
    }

    #[test]
    fn shares_add_up_and_are_missing_without_spacings() {
        let classes = SpacingClasses::of(&[5.0, 20.0, 20.0, 40.0], 20.0).expect("usable");
        assert_eq!(classes.multiple_share(), Some(0.25));
        assert_eq!(classes.quality_share(), Some(0.5));
        assert_eq!(classes.miss_share(), Some(0.25));
        let form = classes.counting_form().expect("places were covered");
        assert_eq!(form, CountingForm { places: 4, multiple_share: 0.25, quality_share: 0.5, miss_share: 0.25 });
        let empty = SpacingClasses::of(&[], 20.0).expect("nothing wrong with it");
        assert_eq!(empty.multiple_share(), None);
        assert_eq!(empty.counting_form(), None);
        assert_eq!(empty.precision(), None);
    }

    #[test]
    fn more_doubles_than_spacings_can_hold_have_no_counting_form() {
        let classes = SpacingClasses::of(&[1.0, 1.0, 20.0], 20.0).expect("usable");
        assert_eq!(classes.counting_form(), None);
        assert_eq!(classes.precision(), None);
    }

    #[test]
    fn precision_looks_at_singles_alone() {
        // Singles 18 and 22: deviation 2√2 over 20.
        let classes = SpacingClasses::of(&[1.0, 18.0, 22.0, 90.0], 20.0).expect("usable");
        let expected = 8.0_f64.sqrt() / 20.0;
        assert!((classes.precision().expect("two singles") - expected).abs() < 1e-15);
        assert!((classes.precision_over_mean().expect("two singles") - expected).abs() < 1e-15);
        assert!((PRECISION_UPPER_LIMIT - 12.0_f64.sqrt().recip()).abs() < 1e-16);
    }

    #[test]
    fn variation_is_worked_by_hand() {
        // 10, 20, 30: mean 20, deviation 10.
        assert_eq!(spacing_standard_deviation(&[10.0, 20.0, 30.0]), Some(10.0));
        assert_eq!(spacing_cv(&[10.0, 20.0, 30.0]), Some(0.5));
        assert_eq!(spacing_cv(&[10.0]), None);
        assert_eq!(spacing_cv(&[]), None);
        assert_eq!(spacing_cv(&[0.0, 0.0]), None);
    }

    #[test]
    fn unusable_numbers_are_refused_with_their_place() {
        assert_eq!(
            SpacingClasses::of(&[20.0, -1.0], 20.0),
            Err(SpacingError::SpacingNotUsable { number: 2, found: -1.0 })
        );
        for bad in [0.0, -20.0, f64::INFINITY] {
            assert_eq!(SpacingClasses::of(&[20.0], bad), Err(SpacingError::TheoreticalNotPositive { found: bad }));
        }
        assert!(SpacingClasses::of(&[20.0], f64::NAN).is_err());
    }
}
