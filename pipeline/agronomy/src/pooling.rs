//! The samples of one strip as one course, and the plants of it that were up on time.

use crate::emergence::Course;

/// Inspections closer than this, in the unit of the times, are one inspection.
const SAME_TIME: f64 = 1e-9;

/// The sum of several samples' courses, at all times at which one of them was inspected; `None` without a sample.
///
/// Each sample lies on the straight lines between its own inspections and stays at its last count afterwards. Before its
/// first inspection a sample is known only where that inspection found nothing: it was 0 before. So the pooled course
/// starts at the latest first inspection among the samples that had plants at theirs, or, where none had, at the earliest
/// of all.
///
/// Counts between a sample's inspections need not be whole, so of a course pooled over unequal visits only the times,
/// and what [`on_time_count`] gives, are worth comparing.
pub fn pool(samples: &[Course]) -> Option<Course> {
    let had_plants = samples.iter().filter(|sample| sample.cumulative()[0] > 0.0).map(Course::first_time);
    let start = had_plants.reduce(f64::max).or_else(|| samples.iter().map(Course::first_time).reduce(f64::min))?;
    let mut times: Vec<f64> =
        samples.iter().flat_map(|sample| sample.times().iter().copied()).filter(|&time| time >= start).collect();
    times.sort_by(f64::total_cmp);
    times.dedup_by(|later, earlier| *later - *earlier <= SAME_TIME);
    let cumulative =
        times.iter().map(|&time| samples.iter().map(|sample| sample.count_at(time).unwrap_or(0.0)).sum()).collect();
    // Fails only where a sum of finite counts overflows.
    Course::new(times, cumulative).ok()
}

/// Plants that were up no later than a window after the strip's own tenth plant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OnTime {
    /// Plants up by the end of the window; not always whole, since the end lies between inspections.
    pub plants: f64,
    /// T10, the time when a tenth of the finally emerged plants were up.
    pub t10: f64,
    /// The course ended before the window did, so plants that came up later inside the window may be missing.
    pub ended_early: bool,
}

/// The plants up no later than `window_h` after T10, by linear interpolation in time; `None` where T10 is not known.
///
/// Also `None` for a window that is negative or not a number.
pub fn on_time_count(course: &Course, window_h: f64) -> Option<OnTime> {
    if window_h.is_nan() || window_h < 0.0 {
        return None;
    }
    let t10 = course.time_to_share(0.1).time()?;
    let window_end = t10 + window_h;
    Some(OnTime { plants: course.count_at(window_end)?, t10, ended_early: window_end > course.last_time() + SAME_TIME })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::emergence::Crossing;

    fn course(times: &[f64], cumulative: &[f64]) -> Course {
        Course::new(times.to_vec(), cumulative.to_vec()).expect("a valid course")
    }

    #[test]
    fn samples_with_the_same_visits_are_added() {
        let pooled = pool(&[course(&[1.0, 2.0, 3.0], &[0.0, 4.0, 9.0]), course(&[1.0, 2.0, 3.0], &[2.0, 5.0, 6.0])])
            .expect("two samples");
        assert_eq!(pooled, course(&[1.0, 2.0, 3.0], &[2.0, 9.0, 15.0]));
    }

    #[test]
    fn samples_are_interpolated_to_each_others_visits_and_held_afterwards() {
        let pooled =
            pool(&[course(&[0.0, 2.0], &[0.0, 4.0]), course(&[0.0, 1.0, 4.0], &[0.0, 3.0, 9.0])]).expect("two samples");
        // At 2 the second lies a third of the way from 3 to 9; at 4 the first is held at 4.
        assert_eq!(pooled, course(&[0.0, 1.0, 2.0, 4.0], &[0.0, 5.0, 9.0, 13.0]));
    }

    #[test]
    fn a_sample_that_had_plants_at_its_first_visit_hides_what_was_before() {
        let early = course(&[1.0, 2.0, 3.0], &[0.0, 2.0, 4.0]);
        let late = course(&[2.0, 3.0], &[6.0, 8.0]);
        assert_eq!(pool(&[early, late]), Some(course(&[2.0, 3.0], &[8.0, 12.0])));
    }

    #[test]
    fn a_sample_that_was_empty_at_its_first_visit_was_empty_before() {
        let early = course(&[1.0, 2.0, 3.0], &[0.0, 2.0, 4.0]);
        let late = course(&[2.0, 3.0], &[0.0, 8.0]);
        assert_eq!(pool(&[early, late]), Some(course(&[1.0, 2.0, 3.0], &[0.0, 2.0, 12.0])));
    }

    #[test]
    fn the_order_of_the_samples_does_not_matter_and_one_sample_is_itself() {
        let first = course(&[1.0, 3.0, 5.0], &[1.0, 2.0, 7.0]);
        let second = course(&[2.0, 4.0, 6.0], &[0.0, 3.0, 8.0]);
        assert_eq!(pool(&[first.clone(), second.clone()]), pool(&[second, first.clone()]));
        assert_eq!(pool(std::slice::from_ref(&first)), Some(first));
        assert_eq!(pool(&[]), None);
    }

    #[test]
    fn plants_up_within_the_window_are_counted_on_the_line() {
        // 20 plants; a tenth is up at 24 h; 24 h later half of the line from 2 to 20 is done.
        let course = course(&[0.0, 24.0, 72.0], &[0.0, 2.0, 20.0]);
        let found = on_time_count(&course, 24.0).expect("T10 is known");
        assert_eq!(found, OnTime { plants: 11.0, t10: 24.0, ended_early: false });
        let whole = on_time_count(&course, 48.0).expect("T10 is known");
        assert_eq!(whole, OnTime { plants: 20.0, t10: 24.0, ended_early: false });
    }

    #[test]
    fn a_course_that_ends_inside_the_window_says_so() {
        let course = course(&[0.0, 24.0, 48.0], &[0.0, 2.0, 20.0]);
        let found = on_time_count(&course, 48.0).expect("T10 is known");
        assert!(found.ended_early);
        assert_eq!(found.plants, 20.0);
    }

    #[test]
    fn without_t10_there_is_no_on_time_count() {
        let late_first_visit = course(&[100.0, 124.0], &[10.0, 20.0]);
        assert_eq!(late_first_visit.time_to_share(0.1), Crossing::BeforeFirstInspection);
        assert_eq!(on_time_count(&late_first_visit, 48.0), None);
        assert_eq!(on_time_count(&course(&[1.0, 2.0], &[0.0, 0.0]), 48.0), None);
        assert_eq!(on_time_count(&course(&[0.0, 2.0], &[0.0, 9.0]), -1.0), None);
        assert_eq!(on_time_count(&course(&[0.0, 2.0], &[0.0, 9.0]), f64::NAN), None);
    }
}
