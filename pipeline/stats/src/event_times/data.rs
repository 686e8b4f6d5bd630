//! When something happened, known only to an interval between two looks.

use crate::checks::check_length;
use crate::error::{Result, StatsError};

/// The largest count that is still exact as a floating-point number.
const MOST: u64 = 1 << 53;

/// How many individuals had their event in each interval `(left, right]`; checked once, here.
///
/// `left = 0` says that the event had happened by the first look (left-censored), `right = ∞` that it had not happened by the
/// last one (right-censored). Times are in any unit, counted from a common start. Intervals may overlap, repeat and come in any
/// order, and a count may be zero; counts are whole because every standard error rests on the number of individuals.
#[derive(Debug, Clone, PartialEq)]
pub struct IntervalData {
    left: Vec<f64>,
    right: Vec<f64>,
    counts: Vec<u64>,
}

impl IntervalData {
    /// Keeps n intervals with their counts.
    ///
    /// # Errors
    /// Lengths that differ; an interval with `left < 0`, `left ≥ right`, a left end that is not finite, a right end that is NaN,
    /// or reaching from 0 to ∞; more than 2^53 individuals; no event at all (every interval with a count reaches to infinity, or there is no count).
    pub fn new(left: Vec<f64>, right: Vec<f64>, counts: Vec<u64>) -> Result<Self> {
        check_length("the right ends", right.len(), left.len())?;
        check_length("the counts", counts.len(), left.len())?;
        for (position, (&left, &right)) in left.iter().zip(&right).enumerate() {
            let refuse = |problem| Err(StatsError::EventInterval { position, left, right, problem });
            if !(left.is_finite() && left >= 0.0) {
                return refuse("the left end must be a finite number that is not negative");
            }
            if !(right > left) {
                return refuse("the right end must be later than the left end, or infinite");
            }
            if left == 0.0 && right == f64::INFINITY {
                return refuse("it covers all time and says nothing");
            }
        }
        let data = Self { left, right, counts };
        if data.total() > MOST {
            return Err(StatsError::OutOfRange {
                what: "the number of individuals",
                value: data.total() as f64,
                expected: "at most 2^53, beyond which counts are not exact",
            });
        }
        if data.total() == 0 {
            return Err(StatsError::EventTimes {
                reason: "no individual was counted".into(),
                advice: "give at least one interval with a count above zero",
            });
        }
        if data.events() == 0 {
            return Err(StatsError::EventTimes {
                reason: format!("none of the {} individuals had the event by the last look", data.total()),
                advice: "report the count itself; no time can be estimated",
            });
        }
        Ok(data)
    }

    /// One individual per interval.
    ///
    /// # Errors
    /// As [`IntervalData::new`].
    pub fn individuals(left: Vec<f64>, right: Vec<f64>) -> Result<Self> {
        let counts = vec![1; left.len()];
        Self::new(left, right, counts)
    }

    /// Intervals from running totals at ascending look times, out of `total` individuals.
    ///
    /// `None` is a look that was not made; the events it would have split belong to one longer interval. Events seen at the first
    /// look happened between 0 and then. The individuals not seen by the last look form a last interval to infinity. Intervals
    /// without events are kept with count zero. A look at time 0 is left out when nothing had happened yet.
    ///
    /// # Errors
    /// Lengths that differ; times that are negative, not finite or not ascending; a running total that falls, or exceeds `total`;
    /// events at time 0; no look made; no event.
    pub fn from_cumulative(times: &[f64], cumulative: &[Option<u64>], total: u64) -> Result<Self> {
        check_length("the running totals", cumulative.len(), times.len())?;
        let (mut left, mut right, mut counts) = (Vec::new(), Vec::new(), Vec::new());
        let (mut last_time, mut last_count) = (0.0, 0);
        let mut previous = f64::NEG_INFINITY;
        for (position, (&time, look)) in times.iter().zip(cumulative).enumerate() {
            if !time.is_finite() {
                return Err(StatsError::NotFinite { what: "the look times".into(), position, value: time });
            }
            if time < 0.0 || time <= previous {
                return Err(StatsError::LookTime { position, time, previous: previous.max(0.0) });
            }
            previous = time;
            let Some(count) = *look else { continue };
            if count < last_count || count > total || (time == 0.0 && count > 0) {
                let allowed = if time == 0.0 { 0 } else { total };
                return Err(StatsError::RunningTotal { position, found: count, least: last_count, most: allowed });
            }
            if time > 0.0 {
                left.push(last_time);
                right.push(time);
                counts.push(count - last_count);
            }
            (last_time, last_count) = (time, count);
        }
        if right.is_empty() {
            return Err(StatsError::TooFewValues { what: "a record of event times", needed: 1, found: 0 });
        }
        left.push(last_time);
        right.push(f64::INFINITY);
        counts.push(total - last_count);
        Self::new(left, right, counts)
    }

    /// Number of intervals, n.
    pub fn rows(&self) -> usize {
        self.left.len()
    }

    /// Left ends (n).
    pub fn left(&self) -> &[f64] {
        &self.left
    }

    /// Right ends (n); ∞ where the event was not seen.
    pub fn right(&self) -> &[f64] {
        &self.right
    }

    /// Individuals in each interval (n).
    pub fn counts(&self) -> &[u64] {
        &self.counts
    }

    /// Number of individuals.
    pub fn total(&self) -> u64 {
        self.counts.iter().fold(0, |sum, count| sum.saturating_add(*count))
    }

    /// Number of individuals whose event was seen.
    pub fn events(&self) -> u64 {
        self.counts.iter().zip(&self.right).filter(|(_, right)| right.is_finite()).map(|(count, _)| count).sum()
    }

    /// The latest time at which anybody was looked at.
    pub fn last_look(&self) -> f64 {
        self.used()
            .map(|row| if self.right[row].is_finite() { self.right[row] } else { self.left[row] })
            .fold(0.0, f64::max)
    }

    /// Rows that hold somebody.
    pub(super) fn used(&self) -> impl Iterator<Item = usize> + '_ {
        (0..self.rows()).filter(|&row| self.counts[row] > 0)
    }

    /// The given rows only; nothing is checked again, so it may hold no event.
    pub(super) fn subset(&self, rows: &[usize]) -> Self {
        Self {
            left: rows.iter().map(|&row| self.left[row]).collect(),
            right: rows.iter().map(|&row| self.right[row]).collect(),
            counts: rows.iter().map(|&row| self.counts[row]).collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn running_totals_become_intervals_and_a_look_not_made_joins_two() {
        let data =
            IntervalData::from_cumulative(&[2.0, 3.0, 5.0, 8.0], &[Some(1), None, Some(4), Some(4)], 10).unwrap();
        assert_eq!(data.left(), [0.0, 2.0, 5.0, 8.0]);
        assert_eq!(data.right(), [2.0, 5.0, 8.0, f64::INFINITY]);
        assert_eq!(data.counts(), [1, 3, 0, 6]);
        assert_eq!((data.total(), data.events(), data.last_look()), (10, 4, 8.0));
    }

    #[test]
    fn a_falling_running_total_is_refused_with_its_position() {
        let refused = IntervalData::from_cumulative(&[1.0, 2.0, 3.0], &[Some(2), Some(5), Some(4)], 10);
        assert_eq!(refused, Err(StatsError::RunningTotal { position: 2, found: 4, least: 5, most: 10 }));
        let above = IntervalData::from_cumulative(&[1.0, 2.0], &[Some(2), Some(11)], 10);
        assert_eq!(above, Err(StatsError::RunningTotal { position: 1, found: 11, least: 2, most: 10 }));
        assert!(matches!(
            IntervalData::from_cumulative(&[1.0, 1.0], &[Some(2), Some(3)], 10),
            Err(StatsError::LookTime { position: 1, .. })
        ));
        assert!(IntervalData::from_cumulative(&[1.0], &[None], 10).is_err());
    }

    #[test]
    fn intervals_that_say_nothing_or_run_backwards_are_refused_with_their_position() {
        let bad = [(2.0, 2.0), (3.0, 1.0), (-1.0, 2.0), (f64::NAN, 2.0), (1.0, f64::NAN), (0.0, f64::INFINITY)];
        for (left, right) in bad {
            let refused = IntervalData::individuals(vec![1.0, left], vec![2.0, right]);
            assert!(matches!(refused, Err(StatsError::EventInterval { position: 1, .. })), "({left}, {right}]");
        }
        let many = IntervalData::new(vec![1.0, 2.0], vec![2.0, f64::INFINITY], vec![u64::MAX, 7]);
        assert!(matches!(many, Err(StatsError::OutOfRange { .. })));
        let nobody = IntervalData::new(vec![1.0, 2.0], vec![2.0, f64::INFINITY], vec![0, 7]);
        assert!(nobody.unwrap_err().to_string().contains("none of the 7 individuals"));
    }
}
