//! From several starts to one optimum, with thetas on the boundary treated as results.

use super::coordinates::Coordinates;
use super::layout::Layout;
use super::optimizer::{Search, UPPER_LIMIT, bounded_search, newton};

/// Where the search ended; arguments are thetas in units of their terms.
pub(super) struct Found {
    pub(super) start: Vec<f64>,
    pub(super) point: Vec<f64>,
    pub(super) evaluations: usize,
    pub(super) reason: String,
    pub(super) converged: bool,
    pub(super) largest_gradient: f64,
}

/// Below this a theta is tried at zero.
const SMALL: f64 = 0.05;
/// Below this a theta that Newton still drives down is zero: its variance is below 1e-8 of the residual's.
const VANISHED: f64 = 1e-4;
/// Distance from zero at which a zero theta is checked; the criterion is even in theta, so a slope test says nothing.
const RELEASE: f64 = 1e-3;
/// A criterion lower by less than this share of its size is not lower: rounding of the sums.
const ROUNDING: f64 = 1e-11;

/// Minimises `function` from every start (at least one), then decides zero or not for each diagonal theta and polishes the rest.
pub(super) fn minimise(mut function: impl FnMut(&[f64]) -> f64, layout: &Layout, starts: &[Vec<f64>]) -> Found {
    let lower: Vec<f64> = layout.parameters.iter().map(|p| if p.is_diagonal() { 0.0 } else { -UPPER_LIMIT }).collect();
    let mut evaluations = 0;
    let mut start = &starts[0];
    let mut search: Search = bounded_search(&mut function, start, &lower, 0.5, 1e-4);
    evaluations += search.evaluations;
    for other in &starts[1..] {
        let candidate = bounded_search(&mut function, other, &lower, 0.5, 1e-4);
        evaluations += candidate.evaluations;
        // A search that failed has no value and must lose, whichever comes first.
        if search.value.is_nan() || candidate.value < search.value - ROUNDING * (1.0 + search.value.abs()) {
            (start, search) = (other, candidate);
        }
    }
    let mut settled = false;
    let mut largest_gradient = 0.0;
    for _round in 0..4 {
        let mut counted = |point: &[f64]| {
            evaluations += 1;
            function(point)
        };
        set_small_to_zero(&mut counted, layout, &mut search.point);
        (settled, largest_gradient) = polish(&mut counted, layout, &mut search.point);
        if !settled {
            let again = bounded_search(&mut counted, &search.point, &lower, 0.1, 1e-8);
            if again.finished {
                search.point = again.point;
            }
            set_small_to_zero(&mut counted, layout, &mut search.point);
            (settled, largest_gradient) = polish(&mut counted, layout, &mut search.point);
        }
        let Some(released) = leaves_zero(&mut counted, layout, &search.point) else {
            break;
        };
        search = bounded_search(&mut counted, &released, &lower, SMALL, 1e-6);
    }
    let reason = if settled {
        "the last Newton step was below 1e-8 of every standard deviation".to_string()
    } else {
        format!("the Newton polish did not settle; bounded search: {}", search.reason)
    };
    Found { start: start.clone(), point: search.point, evaluations, reason, converged: settled, largest_gradient }
}

/// Puts small diagonal thetas to zero where that does not raise the function.
fn set_small_to_zero(function: &mut impl FnMut(&[f64]) -> f64, layout: &Layout, point: &mut Vec<f64>) {
    for k in 0..point.len() {
        if !layout.parameters[k].is_diagonal() || point[k] == 0.0 || point[k] >= SMALL {
            continue;
        }
        let before = function(point);
        let mut trial = point.clone();
        trial[k] = 0.0;
        let trial = layout.canonical(&trial);
        if function(&trial) <= before + ROUNDING * (1.0 + before.abs()) {
            *point = trial;
        }
    }
}

/// Newton on the thetas that can move; diagonal ones that vanish on the way become zero. Says whether it settled, and the largest slope.
fn polish(function: &mut impl FnMut(&[f64]) -> f64, layout: &Layout, point: &mut Vec<f64>) -> (bool, f64) {
    loop {
        let coordinates = Coordinates::new(layout, point);
        if coordinates.active().is_empty() {
            return (true, 0.0);
        }
        let polished = newton(
            |at| {
                let value = function(&coordinates.theta(at));
                value.is_finite().then_some(value)
            },
            &coordinates.origin(),
        );
        *point = coordinates.theta(&polished.point);
        let mut vanished = false;
        for &k in coordinates.active() {
            if layout.parameters[k].is_diagonal() && point[k] < VANISHED {
                point[k] = 0.0;
                vanished = true;
            }
        }
        if !vanished {
            return (polished.settled, polished.largest_gradient);
        }
        *point = layout.canonical(point);
    }
}

/// A point off the boundary that is lower than `point`, if a zero diagonal theta should not be zero.
fn leaves_zero(function: &mut impl FnMut(&[f64]) -> f64, layout: &Layout, point: &[f64]) -> Option<Vec<f64>> {
    let here = function(point);
    let mut released = point.to_vec();
    for k in 0..point.len() {
        if point[k] != 0.0 || !layout.parameters[k].is_diagonal() {
            continue;
        }
        released[k] = RELEASE;
        if function(&released) < here - ROUNDING * (1.0 + here.abs()) {
            released[k] = SMALL;
            return Some(released);
        }
        released[k] = 0.0;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random_term::RandomTerm;

    /// As many scalar terms as there are arguments.
    fn scalars(number: usize) -> Layout {
        let terms: Vec<RandomTerm> =
            (0..number).map(|k| RandomTerm::intercept(format!("term {k}"), vec![0, 0, 1, 1], 2)).collect();
        Layout::new(&terms)
    }

    #[test]
    fn a_minimum_on_the_boundary_is_exactly_zero() {
        // Even in both arguments; decreasing towards zero in the first.
        let found = minimise(|p| p[0].powi(2) + (p[1].powi(2) - 0.09).powi(2), &scalars(2), &[vec![1.0, 1.0]]);
        assert_eq!(found.point[0], 0.0);
        assert!((found.point[1] - 0.3).abs() < 1e-8);
        assert!(found.converged);
    }

    #[test]
    fn a_start_at_zero_is_left_when_the_function_falls_away_from_it() {
        let found = minimise(|p| (p[0].powi(2) - 4.0).powi(2), &scalars(1), &[vec![0.0]]);
        assert!((found.point[0] - 2.0).abs() < 1e-8);
    }

    #[test]
    fn a_small_but_real_argument_is_kept() {
        let found = minimise(|p| 1e4 * (p[0].powi(2) - 1e-4).powi(2), &scalars(1), &[vec![1.0]]);
        assert!((found.point[0] - 0.01).abs() < 1e-8);
    }
}
