//! The course of emergence of one sample: cumulative plants at each inspection, and when a count was reached.

use thiserror::Error;

/// Counts closer than this, relative to the larger of the target and one plant, are the same count.
///
/// A target such as `0.1 × 30` may lie one unit in the last place above the count 3. On a plateau of that count the
/// difference would move the answer to the plateau's far end.
const SAME_COUNT: f64 = 1e-9;

/// Cumulative plants of one sample, or of pooled samples, at increasing times.
///
/// Times are hours after planting throughout the project. The arithmetic does not depend on it: with days, a rate comes
/// out per day. Between two inspections a course is a straight line; before the first nothing is known of it, and after
/// the last it stays where it was.
#[derive(Debug, Clone, PartialEq)]
pub struct Course {
    times: Vec<f64>,
    cumulative: Vec<f64>,
}

/// When a course reached a count.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Crossing {
    /// At this time, in the unit of the course's times.
    At(f64),
    /// The count was already passed at the first inspection: left-censored, so the time is unknown.
    BeforeFirstInspection,
    /// The count was not reached by the last inspection.
    Never,
}

impl Crossing {
    /// The time, or `None` where it is not known.
    pub fn time(self) -> Option<f64> {
        match self {
            Crossing::At(time) => Some(time),
            Crossing::BeforeFirstInspection | Crossing::Never => None,
        }
    }
}

/// Why times and counts do not make a course. Inspections are numbered from one.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum CourseError {
    /// No inspection at all.
    #[error("an emergence course needs one inspection or more, and none was given")]
    Empty,
    /// Times and counts are not pairs.
    #[error("{times} inspection times stand beside {counts} counts\nGive one count to each time.")]
    LengthsDiffer {
        /// Number of times.
        times: usize,
        /// Number of counts.
        counts: usize,
    },
    /// A time is infinite or not a number.
    #[error("the time of inspection {inspection} is {found}, not a finite number\nLeave that inspection out.")]
    TimeNotFinite {
        /// Number of the inspection.
        inspection: usize,
        /// The time found.
        found: f64,
    },
    /// A time does not come after the one before it.
    #[error(
        "inspection {inspection} at {found} does not come after the one before it at {previous}\n\
         Sort the inspections, and keep one count of two taken at the same time."
    )]
    TimesNotIncreasing {
        /// Number of the inspection.
        inspection: usize,
        /// The time before it.
        previous: f64,
        /// The time found.
        found: f64,
    },
    /// A count is negative, infinite or not a number.
    #[error(
        "the count of inspection {inspection} is {found}, not a finite number of zero or more\nLeave that inspection out."
    )]
    CountNotUsable {
        /// Number of the inspection.
        inspection: usize,
        /// The count found.
        found: f64,
    },
}

impl Course {
    /// A course of `times` (hours after planting) and `cumulative` plants at those times, of equal length.
    ///
    /// Counts that fall are taken as they are, since plants die and people miscount: ask [`Course::first_fall`] and tell
    /// the person. Counts need not be whole, because pooling interpolates.
    ///
    /// # Errors
    /// When there is no inspection, when the lengths differ, when times are not finite and strictly increasing, and when
    /// a count is negative or not finite.
    pub fn new(times: Vec<f64>, cumulative: Vec<f64>) -> Result<Course, CourseError> {
        if times.len() != cumulative.len() {
            return Err(CourseError::LengthsDiffer { times: times.len(), counts: cumulative.len() });
        }
        if times.is_empty() {
            return Err(CourseError::Empty);
        }
        for (index, (&time, &count)) in times.iter().zip(&cumulative).enumerate() {
            let inspection = index + 1;
            if !time.is_finite() {
                return Err(CourseError::TimeNotFinite { inspection, found: time });
            }
            if index > 0 && time <= times[index - 1] {
                return Err(CourseError::TimesNotIncreasing { inspection, previous: times[index - 1], found: time });
            }
            if !(count.is_finite() && count >= 0.0) {
                return Err(CourseError::CountNotUsable { inspection, found: count });
            }
        }
        Ok(Course { times, cumulative })
    }

    /// Times of the inspections, increasing.
    pub fn times(&self) -> &[f64] {
        &self.times
    }

    /// Plants that were up at each inspection.
    pub fn cumulative(&self) -> &[f64] {
        &self.cumulative
    }

    /// Time of the first inspection.
    pub fn first_time(&self) -> f64 {
        self.times[0]
    }

    /// Time of the last inspection.
    pub fn last_time(&self) -> f64 {
        self.times[self.times.len() - 1]
    }

    /// The count at the last inspection: the plants that finally emerged and stayed.
    pub fn final_count(&self) -> f64 {
        self.cumulative[self.cumulative.len() - 1]
    }

    /// Index (from zero) of the first inspection that counted fewer plants than the one before it.
    ///
    /// `None` where counts never fall. A fall means lost plants or a miscount, and is for the person to judge.
    pub fn first_fall(&self) -> Option<usize> {
        self.cumulative.windows(2).position(|pair| pair[1] < pair[0]).map(|index| index + 1)
    }

    /// Plants that came up since the inspection before, one number an inspection.
    ///
    /// The first is the first count itself: up by then, whenever it was. Negative where counts fall.
    pub fn newly_emerged(&self) -> Vec<f64> {
        let mut previous = 0.0;
        self.cumulative
            .iter()
            .map(|&count| {
                let new = count - previous;
                previous = count;
                new
            })
            .collect()
    }

    /// Plants that were up by `time`, on the straight line between inspections.
    ///
    /// `None` before the first inspection (and for a time that is not a number); the last count after the last one.
    pub fn count_at(&self, time: f64) -> Option<f64> {
        if time.is_nan() || time < self.first_time() {
            return None;
        }
        let after = self.times.partition_point(|&inspection| inspection <= time);
        if after == self.times.len() {
            return Some(self.final_count());
        }
        let (start, end) = (self.times[after - 1], self.times[after]);
        let (low, high) = (self.cumulative[after - 1], self.cumulative[after]);
        Some(low + (high - low) * ((time - start) / (end - start)))
    }

    /// When `count` plants were up for the first time.
    ///
    /// The rule is closed: an inspection that counted exactly the target is when it was reached, with no interpolation
    /// past it. Otherwise the straight line between the two inspections around the target decides. (The open rule of
    /// some software jumps over the inspection that hit the target and answers later.) A target that is not a number is
    /// never reached.
    pub fn time_to(&self, count: f64) -> Crossing {
        let tolerance = SAME_COUNT * count.abs().max(1.0);
        let Some(index) = self.cumulative.iter().position(|&reached| reached >= count - tolerance) else {
            return Crossing::Never;
        };
        let reached = self.cumulative[index];
        if reached <= count + tolerance {
            return Crossing::At(self.times[index]);
        }
        if index == 0 {
            return Crossing::BeforeFirstInspection;
        }
        let (start, end) = (self.times[index - 1], self.times[index]);
        let low = self.cumulative[index - 1];
        Crossing::At(start + (end - start) * ((count - low) / (reached - low)))
    }

    /// When a `share` (0 to 1) of the finally emerged plants was up: 0.1 for T10, 0.5 for T50, 0.9 for T90.
    ///
    /// [`Crossing::Never`] where nobody emerged, and for a share that is not above zero.
    pub fn time_to_share(&self, share: f64) -> Crossing {
        let everyone = self.final_count();
        if everyone > 0.0 && share > 0.0 { self.time_to(share * everyone) } else { Crossing::Never }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn course(times: &[f64], cumulative: &[f64]) -> Course {
        Course::new(times.to_vec(), cumulative.to_vec()).expect("a valid course")
    }

    #[test]
    fn times_must_be_finite_and_increase() {
        let new = |times: &[f64], counts: &[f64]| Course::new(times.to_vec(), counts.to_vec());
        assert_eq!(new(&[], &[]), Err(CourseError::Empty));
        assert_eq!(new(&[1.0], &[]), Err(CourseError::LengthsDiffer { times: 1, counts: 0 }));
        assert_eq!(
            new(&[24.0, 24.0], &[0.0, 1.0]),
            Err(CourseError::TimesNotIncreasing { inspection: 2, previous: 24.0, found: 24.0 })
        );
        assert_eq!(
            new(&[24.0, f64::INFINITY], &[0.0, 1.0]),
            Err(CourseError::TimeNotFinite { inspection: 2, found: f64::INFINITY })
        );
        assert!(matches!(new(&[f64::NAN], &[0.0]), Err(CourseError::TimeNotFinite { inspection: 1, .. })));
    }

    #[test]
    fn counts_must_be_finite_and_not_negative() {
        for bad in [-1.0, f64::NAN, f64::INFINITY] {
            let found = Course::new(vec![1.0, 2.0], vec![0.0, bad]);
            assert!(matches!(found, Err(CourseError::CountNotUsable { inspection: 2, .. })), "{bad}");
        }
    }

    #[test]
    fn an_error_names_the_inspection_and_the_next_step() {
        let message = Course::new(vec![48.0, 24.0], vec![1.0, 2.0]).expect_err("times fall").to_string();
        assert!(message.contains("inspection 2 at 24"), "{message}");
        assert_eq!(message.lines().count(), 2, "{message}");
    }

    #[test]
    fn a_fall_is_allowed_and_reported() {
        assert_eq!(course(&[1.0, 2.0, 3.0], &[0.0, 5.0, 5.0]).first_fall(), None);
        let fallen = course(&[1.0, 2.0, 3.0, 4.0], &[0.0, 8.0, 7.0, 6.0]);
        assert_eq!(fallen.first_fall(), Some(2));
        assert_eq!(fallen.final_count(), 6.0);
        assert_eq!(fallen.newly_emerged(), [0.0, 8.0, -1.0, -1.0]);
    }

    #[test]
    fn counts_between_inspections_lie_on_the_line() {
        let course = course(&[24.0, 48.0, 96.0], &[2.0, 10.0, 22.0]);
        assert_eq!(course.count_at(23.9), None);
        assert_eq!(course.count_at(f64::NAN), None);
        assert_eq!(course.count_at(24.0), Some(2.0));
        assert_eq!(course.count_at(36.0), Some(6.0));
        assert_eq!(course.count_at(48.0), Some(10.0));
        assert_eq!(course.count_at(60.0), Some(13.0));
        assert_eq!(course.count_at(96.0), Some(22.0));
        assert_eq!(course.count_at(1000.0), Some(22.0));
    }

    #[test]
    fn a_count_that_equals_the_target_is_the_target() {
        let course = course(&[1.0, 2.0, 3.0, 4.0], &[0.0, 3.0, 3.0, 30.0]);
        // A tenth of 30 stood from the second to the third inspection: the first of them counts.
        assert_eq!(course.time_to_share(0.1), Crossing::At(2.0));
        assert_eq!(course.time_to(3.0), Crossing::At(2.0));
        assert_eq!(course.time_to(3.0 + 4.0 * f64::EPSILON), Crossing::At(2.0));
        assert_eq!(course.time_to_share(1.0), Crossing::At(4.0));
    }

    #[test]
    fn times_between_inspections_lie_on_the_line() {
        let course = course(&[24.0, 48.0, 72.0], &[0.0, 10.0, 20.0]);
        assert_eq!(course.time_to_share(0.25), Crossing::At(36.0));
        assert_eq!(course.time_to_share(0.75), Crossing::At(60.0));
        assert_eq!(course.time_to(21.0), Crossing::Never);
        assert_eq!(course.time_to(f64::NAN), Crossing::Never);
    }

    #[test]
    fn a_target_passed_at_the_first_inspection_has_no_time() {
        let course = course(&[24.0, 48.0], &[5.0, 20.0]);
        assert_eq!(course.time_to_share(0.1), Crossing::BeforeFirstInspection);
        assert_eq!(course.time_to_share(0.25), Crossing::At(24.0));
        assert_eq!(course.time_to_share(0.1).time(), None);
        assert_eq!(course.time_to_share(0.25).time(), Some(24.0));
    }

    #[test]
    fn nobody_emerged_means_never() {
        let course = course(&[24.0, 48.0], &[0.0, 0.0]);
        assert_eq!(course.time_to_share(0.5), Crossing::Never);
        assert_eq!(course.time_to_share(0.0), Crossing::Never);
        assert_eq!(course.final_count(), 0.0);
    }

    #[test]
    fn one_inspection_is_a_final_stand() {
        let stand = course(&[300.0], &[31.0]);
        assert_eq!(stand.final_count(), 31.0);
        assert_eq!(stand.time_to_share(0.1), Crossing::BeforeFirstInspection);
        assert_eq!(stand.newly_emerged(), [31.0]);
    }
}
