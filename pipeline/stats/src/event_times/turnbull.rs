//! The distribution of event times without a curve: Turnbull's maximum likelihood estimate.

use super::data::IntervalData;
use super::innermost::{Cover, innermost};
use crate::dense::{cholesky_in_place, solve_lower, solve_lower_transpose};
use crate::interval::Interval;
use crate::note::Note;

/// Largest `max_j D_j - 1` at which the search stops, D_j the average of (row covers interval j) / (row's probability).
const GAP: f64 = 1e-11;

/// Where a mass sits: somewhere in `(left, right]`, the data cannot tell where.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mass {
    /// Left end, excluded.
    pub left: f64,
    /// Right end, included; ∞ for the share that was never seen.
    pub right: f64,
    /// Probability of the interval; zero for an interval that takes none.
    pub mass: f64,
}

/// Nonparametric maximum likelihood estimate of the distribution of event times (Turnbull 1976, JRSS-B 38:290-295).
#[derive(Debug, Clone)]
pub struct Turnbull {
    masses: Vec<Mass>,
    log_likelihood: f64,
    gap: f64,
    steps: usize,
    converged: bool,
    notes: Vec<Note>,
}

/// Maximises `Σ count_i log P(left_i < T ≤ right_i)` over all distributions.
///
/// Only the innermost intervals (a left end followed by a right end with no end between) can carry mass. Steps of expectation
/// and maximisation give a start; then Newton steps on the intervals that carry mass, dropping one when it reaches zero and
/// taking in the one with the steepest gain until none is left. The optimum is certified by [`Turnbull::gap`]. It is unique: every
/// innermost interval is the last one of some row, so the rows, taken in that order, tell each mass.
pub fn turnbull(data: &IntervalData) -> Turnbull {
    let (intervals, covers) = innermost(data);
    let mut search = Search::new(covers, intervals.len());
    let (steps, converged) = search.run();
    let mut notes = Vec::new();
    if !converged {
        let message = format!("the search stopped after {steps} steps with a gap of {:.1e}", search.gap());
        notes.push(Note::new("stopped-early", message));
    }
    let masses =
        intervals.iter().zip(&search.masses).map(|(&(left, right), &mass)| Mass { left, right, mass }).collect();
    Turnbull { masses, log_likelihood: search.value(&search.masses), gap: search.gap(), steps, converged, notes }
}

impl Turnbull {
    /// The innermost intervals in ascending order with their masses, which sum to one; some masses may be zero.
    pub fn masses(&self) -> &[Mass] {
        &self.masses
    }

    /// `Σ count log P`, without a multinomial constant.
    pub fn log_likelihood(&self) -> f64 {
        self.log_likelihood
    }

    /// Largest possible gain in log-likelihood per individual, `max_j D_j - 1`: zero at the optimum (Kuhn-Tucker), and no
    /// distribution has a log-likelihood higher than this one's by more than the number of individuals times the gap.
    pub fn gap(&self) -> f64 {
        self.gap
    }

    /// Newton steps taken.
    pub fn steps(&self) -> usize {
        self.steps
    }

    /// True when the gap is below 1e-11.
    pub fn converged(&self) -> bool {
        self.converged
    }

    /// Remarks: `stopped-early`.
    pub fn notes(&self) -> &[Note] {
        &self.notes
    }

    /// Share that had the event by `time`: one number where the estimate is defined, limits inside an interval that carries mass.
    pub fn cumulative(&self, time: f64) -> Interval {
        let sum = |inside: &dyn Fn(&Mass) -> bool| self.masses.iter().filter(|m| inside(m)).map(|m| m.mass).sum();
        Interval { low: sum(&|m| m.right <= time), high: sum(&|m| m.left < time) }
    }
}

/// Masses over innermost intervals; maximises `Σ w log(row probability) - Σ w · Σ mass`, whose optimum sums to one by itself.
struct Search {
    covers: Vec<Cover>,
    total: f64,
    masses: Vec<f64>,
}

impl Search {
    fn new(covers: Vec<Cover>, size: usize) -> Self {
        let total = covers.iter().map(|cover| cover.weight).sum();
        Self { covers, total, masses: vec![1.0 / size as f64; size] }
    }

    fn value(&self, masses: &[f64]) -> f64 {
        self.covers.iter().map(|c| c.weight * masses[c.first..=c.last].iter().sum::<f64>().ln()).sum()
    }

    /// D_j for every interval.
    fn directions(&self) -> Vec<f64> {
        let mut sums = vec![0.0; self.masses.len()];
        for c in &self.covers {
            let probability: f64 = self.masses[c.first..=c.last].iter().sum();
            sums[c.first..=c.last].iter_mut().for_each(|sum| *sum += c.weight / (self.total * probability));
        }
        sums
    }

    fn gap(&self) -> f64 {
        self.directions().into_iter().fold(0.0, f64::max) - 1.0
    }

    /// Steps taken, and whether the gap is closed.
    fn run(&mut self) -> (usize, bool) {
        let size = self.masses.len();
        for _ in 0..50 {
            let directions = self.directions();
            self.masses.iter_mut().zip(&directions).for_each(|(mass, d)| *mass *= d);
            if directions.iter().all(|d| (d - 1.0).abs() < 0.1 * GAP) {
                return (0, true);
            }
        }
        // What is small and shrinking is left out at first, as long as every row keeps an interval with mass.
        let directions = self.directions();
        let trimmed: Vec<f64> = (0..size)
            .map(|j| if directions[j] < 1.0 && self.masses[j] * (size as f64) < 1e-4 { 0.0 } else { self.masses[j] })
            .collect();
        if self.value(&trimmed).is_finite() {
            self.masses = trimmed;
        }
        let limit = 200 + 20 * size;
        for step in 0..limit {
            let directions = self.directions();
            let inside = (0..size).filter(|&j| self.masses[j] > 0.0);
            if inside.map(|j| (directions[j] - 1.0).abs()).fold(0.0, f64::max) < GAP {
                let steepest = (0..size).max_by(|&i, &j| directions[i].total_cmp(&directions[j])).unwrap_or(0);
                if directions[steepest] - 1.0 < GAP {
                    return (step, true);
                }
                let support = self.support(Some(steepest));
                if !self.newton_step(&support, &directions) {
                    return (step, false);
                }
                continue;
            }
            let support = self.support(None);
            if !self.newton_step(&support, &directions) {
                return (step, self.gap() < GAP);
            }
        }
        (limit, self.gap() < GAP)
    }

    fn support(&self, extra: Option<usize>) -> Vec<usize> {
        (0..self.masses.len()).filter(|&j| self.masses[j] > 0.0 || Some(j) == extra).collect()
    }

    /// `Σ (w / total) / P² ` over the rows that cover both intervals, for intervals of the support.
    fn information(&self, support: &[usize]) -> Vec<f64> {
        let size = support.len();
        let mut information = vec![0.0; size * size];
        for c in &self.covers {
            let probability: f64 = self.masses[c.first..=c.last].iter().sum();
            let weight = c.weight / (self.total * probability * probability);
            let from = support.partition_point(|&j| j < c.first);
            let to = support.partition_point(|&j| j <= c.last);
            for i in from..to {
                information[i * size + from..i * size + i + 1].iter_mut().for_each(|value| *value += weight);
            }
        }
        information
    }

    /// One step on the support, cut at the first mass that reaches zero. False when nothing was gained.
    fn newton_step(&mut self, support: &[usize], directions: &[f64]) -> bool {
        let size = support.len();
        let information = self.information(support);
        let largest = (0..size).map(|k| information[k * size + k]).fold(0.0, f64::max);
        let mut raise = 0.0;
        let mut step: Vec<f64>;
        loop {
            let mut factor = information.clone();
            (0..size).for_each(|k| factor[k * size + k] += raise);
            // A pivot that is all rounding counts as singular: the step along it would be noise.
            let whole = cholesky_in_place(&mut factor, size)
                && (0..size).all(|k| factor[k * size + k].powi(2) > 1e-13 * information[k * size + k]);
            if whole {
                step = support.iter().map(|&j| directions[j] - 1.0).collect();
                solve_lower(&factor, size, &mut step);
                solve_lower_transpose(&factor, size, &mut step);
                break;
            }
            raise = if raise == 0.0 { 1e-12 * largest } else { 100.0 * raise };
            if !(raise < 1e3 * largest) {
                return false;
            }
        }
        let mut share = 1.0;
        let mut reached = None;
        for (k, &j) in support.iter().enumerate() {
            if self.masses[j] + share * step[k] <= 0.0 {
                share = -self.masses[j] / step[k];
                reached = Some(j);
            }
        }
        let objective =
            |search: &Self, masses: &[f64]| search.value(masses) / search.total - masses.iter().sum::<f64>();
        let now = objective(self, &self.masses);
        for _ in 0..50 {
            let mut trial = self.masses.clone();
            for (k, &j) in support.iter().enumerate() {
                trial[j] = (trial[j] + share * step[k]).max(0.0);
            }
            if let Some(j) = reached {
                trial[j] = 0.0;
            }
            if objective(self, &trial) >= now - 4.0 * f64::EPSILON * (1.0 + now.abs()) {
                let moved = trial != self.masses;
                self.masses = trial;
                return moved;
            }
            share *= 0.5;
            reached = None;
        }
        false
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn disjoint_intervals_take_their_own_shares() {
        let data =
            IntervalData::new(vec![3.0, 0.0, 1.0, 2.0], vec![f64::INFINITY, 1.0, 2.0, 3.0], vec![4, 1, 2, 3]).unwrap();
        let found = turnbull(&data);
        let masses: Vec<f64> = found.masses().iter().map(|m| m.mass).collect();
        for (found, expected) in masses.iter().zip([0.1, 0.2, 0.3, 0.4]) {
            assert!((found - expected).abs() < 1e-15);
        }
        assert!(found.converged() && found.notes().is_empty());
        let inside = found.cumulative(1.5);
        assert!((inside.low - 0.1).abs() < 1e-15 && (inside.high - 0.3).abs() < 1e-15);
        assert_eq!(found.cumulative(2.0).width(), 0.0);
    }

    #[test]
    fn rows_that_share_one_innermost_interval_put_everything_there() {
        let found = turnbull(&IntervalData::individuals(vec![0.0, 1.0, 2.0], vec![3.0, 4.0, 5.0]).unwrap());
        assert_eq!(found.masses(), [Mass { left: 2.0, right: 3.0, mass: 1.0 }]);
        assert_eq!((found.log_likelihood(), found.gap()), (0.0, 0.0));
    }

    #[test]
    fn a_mass_that_starts_too_small_is_taken_back_in() {
        // Two touching rows and many copies of a long one: the answer 1/2 and 1/2 is reached from any start.
        let data = IntervalData::new(vec![0.0, 1.0, 0.0], vec![1.0, 2.0, 2.0], vec![3, 3, 1000]).unwrap();
        let (intervals, covers) = innermost(&data);
        let mut search = Search::new(covers, intervals.len());
        search.masses = vec![1.0, 1e-9];
        let (_, converged) = search.run();
        assert!(converged && search.gap() < 1e-10);
        assert!((search.masses[0] - 0.5).abs() < 1e-9);
    }
}
