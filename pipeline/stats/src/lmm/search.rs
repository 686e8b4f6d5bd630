//! From several starts to one optimum, with thetas on the boundary treated as results.

use super::coordinates::Coordinates;
use super::layout::Layout;
use super::optimizer::{Search, UPPER_LIMIT, bounded_search, curvature_factor, newton};
use crate::derivatives::{STEP, slopes};

/// What is minimised, as a function of thetas in units of their terms.
pub(super) trait Objective {
    /// Infinite where numbers overflow.
    fn value(&mut self, point: &[f64]) -> f64;

    /// Value and derivatives; `None` where numbers overflow or the derivatives are not to be had.
    fn with_slopes(&mut self, point: &[f64]) -> Option<(f64, Vec<f64>)>;
}

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
/// Accuracy of a search from another start, after which it is compared with the one before.
const ROUGH: f64 = 0.02;
/// Points nearer than this are on their way to the same optimum.
const SAME: f64 = 0.1;
/// Below this a search near another optimum asks whether a theta is zero.
const EDGE: f64 = 0.03;
/// A criterion lower by less than this share of its size is not lower: rounding of the sums.
const ROUNDING: f64 = 1e-11;

/// Minimises `objective` from every start (at least one), then decides zero or not for each diagonal theta and polishes the rest.
pub(super) fn minimise(objective: &mut impl Objective, layout: &Layout, starts: &[Vec<f64>]) -> Found {
    let lower: Vec<f64> = layout.parameters.iter().map(|p| if p.is_diagonal() { 0.0 } else { -UPPER_LIMIT }).collect();
    let mut counted = Counted { objective, evaluations: 0 };
    let mut start = &starts[0];
    let mut search: Search = bounded_search(|at| counted.value(at), start, &lower, 0.5, 1e-4);
    for other in &starts[1..] {
        let mut candidate = bounded_search(|at| counted.value(at), other, &lower, 0.5, ROUGH);
        if candidate.value >= search.value && same_place(&candidate.point, &search.point) {
            continue;
        }
        if candidate.finished {
            candidate = bounded_search(|at| counted.value(at), &candidate.point, &lower, ROUGH, 1e-4);
        }
        // A search that failed has no value and must lose, whichever comes first.
        if search.value.is_nan() || candidate.value < search.value - ROUNDING * (1.0 + search.value.abs()) {
            (start, search) = (other, candidate);
        }
    }
    let mut settled = false;
    let mut largest_gradient = 0.0;
    for _round in 0..4 {
        set_small_to_zero(&mut counted, layout, &mut search.point);
        (settled, largest_gradient) = polish(&mut counted, layout, &mut search.point);
        if !settled {
            let again = bounded_search(|at| counted.value(at), &search.point, &lower, 0.1, 1e-8);
            if again.finished {
                search.point = again.point;
            }
            set_small_to_zero(&mut counted, layout, &mut search.point);
            (settled, largest_gradient) = polish(&mut counted, layout, &mut search.point);
        }
        let Some(released) = leaves_zero(&mut counted, layout, &search.point) else {
            break;
        };
        search = bounded_search(|at| counted.value(at), &released, &lower, SMALL, 1e-6);
    }
    let reason = if settled {
        SETTLED.to_string()
    } else {
        format!("the Newton polish did not settle; bounded search: {}", search.reason)
    };
    Found {
        start: start.clone(),
        point: search.point,
        evaluations: counted.evaluations,
        reason,
        converged: settled,
        largest_gradient,
    }
}

fn same_place(a: &[f64], b: &[f64]) -> bool {
    a.iter().zip(b).all(|(a, b)| (a - b).abs() < SAME * (1.0 + b.abs()))
}

/// A place to begin from: the optimum of another response to the same design, not on the edge.
#[derive(Debug, Clone)]
pub(super) struct Near {
    start: Vec<f64>,
    coordinates: Coordinates,
    /// Factor of the second derivatives there, of the other response.
    curvature: Option<Vec<f64>>,
}

impl Near {
    pub(super) fn new(objective: &mut impl Objective, layout: &Layout, start: Vec<f64>) -> Self {
        let coordinates = Coordinates::new(layout, &start);
        let mut local = |at: &[f64]| with_slopes(objective, &coordinates, at);
        let curvature = curvature_factor(&mut local, &coordinates.origin());
        Self { start, coordinates, curvature }
    }
}

/// Minimises `objective` by Newton steps from a place that should be near; a whole search from there if they do not settle.
pub(super) fn minimise_near(objective: &mut impl Objective, layout: &Layout, near: &Near) -> Found {
    let mut counted = Counted { objective, evaluations: 0 };
    let coordinates = &near.coordinates;
    let inside = |at: &[f64]| {
        let theta = coordinates.theta(at);
        coordinates.active().iter().all(|&k| !layout.parameters[k].is_diagonal() || theta[k] > EDGE)
    };
    let local = |at: &[f64]| inside(at).then(|| with_slopes(&mut counted, coordinates, at)).flatten();
    let polished = newton(local, &coordinates.origin(), near.curvature.clone());
    let mut point = coordinates.theta(&polished.point);
    let (mut settled, mut largest_gradient) = (polished.settled, polished.largest_gradient);
    if !settled && polished.point.iter().all(|value| value.is_finite()) {
        let before = point.clone();
        set_small_to_zero(&mut counted, layout, &mut point);
        if point != before {
            (settled, largest_gradient) = polish(&mut counted, layout, &mut point);
        }
    }
    if settled && leaves_zero(&mut counted, layout, &point).is_none() {
        let (start, evaluations) = (near.start.clone(), counted.evaluations);
        return Found { start, point, evaluations, reason: SETTLED.into(), converged: true, largest_gradient };
    }
    let evaluations = counted.evaluations;
    let found = minimise(objective, layout, std::slice::from_ref(&near.start));
    Found { evaluations: found.evaluations + evaluations, ..found }
}

const SETTLED: &str = "the last Newton step was below 1e-8 of every standard deviation";

/// An objective that counts how often it is asked.
struct Counted<'a, O> {
    objective: &'a mut O,
    evaluations: usize,
}

impl<O: Objective> Objective for Counted<'_, O> {
    fn value(&mut self, point: &[f64]) -> f64 {
        self.evaluations += 1;
        self.objective.value(point)
    }

    fn with_slopes(&mut self, point: &[f64]) -> Option<(f64, Vec<f64>)> {
        self.evaluations += 1;
        self.objective.with_slopes(point)
    }
}

/// Puts small diagonal thetas to zero where that does not raise the function.
fn set_small_to_zero(objective: &mut impl Objective, layout: &Layout, point: &mut Vec<f64>) {
    for k in 0..point.len() {
        if !layout.parameters[k].is_diagonal() || point[k] == 0.0 || point[k] >= SMALL {
            continue;
        }
        let before = objective.value(point);
        let mut trial = point.clone();
        trial[k] = 0.0;
        let trial = layout.canonical(&trial);
        if objective.value(&trial) <= before + ROUNDING * (1.0 + before.abs()) {
            *point = trial;
        }
    }
}

/// Newton on the thetas that can move; diagonal ones that vanish on the way become zero. Says whether it settled, and the largest slope.
fn polish(objective: &mut impl Objective, layout: &Layout, point: &mut Vec<f64>) -> (bool, f64) {
    loop {
        let coordinates = Coordinates::new(layout, point);
        if coordinates.active().is_empty() {
            return (true, 0.0);
        }
        let polished = newton(|at| with_slopes(objective, &coordinates, at), &coordinates.origin(), None);
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

/// Value and derivatives by the coordinates; by differences of values where the objective has no derivatives.
fn with_slopes(objective: &mut impl Objective, coordinates: &Coordinates, at: &[f64]) -> Option<(f64, Vec<f64>)> {
    let theta = coordinates.theta(at);
    if let Some((value, by_theta)) = objective.with_slopes(&theta) {
        return Some((value, coordinates.slopes(&theta, &by_theta)));
    }
    let mut value_at = |at: &[f64]| Some(objective.value(&coordinates.theta(at))).filter(|value| value.is_finite());
    Some((value_at(at)?, slopes(value_at, at, STEP)?))
}

/// A point off the boundary that is lower than `point`, if a zero diagonal theta should not be zero.
fn leaves_zero(objective: &mut impl Objective, layout: &Layout, point: &[f64]) -> Option<Vec<f64>> {
    if !(0..point.len()).any(|k| point[k] == 0.0 && layout.parameters[k].is_diagonal()) {
        return None;
    }
    let here = objective.value(point);
    let mut released = point.to_vec();
    for k in 0..point.len() {
        if point[k] != 0.0 || !layout.parameters[k].is_diagonal() {
            continue;
        }
        released[k] = RELEASE;
        if objective.value(&released) < here - ROUNDING * (1.0 + here.abs()) {
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

    /// Without derivatives.
    struct Values<F>(F);

    impl<F: FnMut(&[f64]) -> f64> Objective for Values<F> {
        fn value(&mut self, point: &[f64]) -> f64 {
            (self.0)(point)
        }

        fn with_slopes(&mut self, _: &[f64]) -> Option<(f64, Vec<f64>)> {
            None
        }
    }

    /// As many scalar terms as there are arguments.
    fn scalars(number: usize) -> Layout {
        let terms: Vec<RandomTerm> =
            (0..number).map(|k| RandomTerm::intercept(format!("term {k}"), vec![0, 0, 1, 1], 2)).collect();
        Layout::new(&terms)
    }

    #[test]
    fn a_minimum_on_the_boundary_is_exactly_zero() {
        // Even in both arguments; decreasing towards zero in the first.
        let found = minimise(
            &mut Values(|p: &[f64]| p[0].powi(2) + (p[1].powi(2) - 0.09).powi(2)),
            &scalars(2),
            &[vec![1.0, 1.0]],
        );
        assert_eq!(found.point[0], 0.0);
        assert!((found.point[1] - 0.3).abs() < 1e-8);
        assert!(found.converged);
    }

    #[test]
    fn a_start_at_zero_is_left_when_the_function_falls_away_from_it() {
        let found = minimise(&mut Values(|p: &[f64]| (p[0].powi(2) - 4.0).powi(2)), &scalars(1), &[vec![0.0]]);
        assert!((found.point[0] - 2.0).abs() < 1e-8);
    }

    #[test]
    fn a_small_but_real_argument_is_kept() {
        let found = minimise(&mut Values(|p: &[f64]| 1e4 * (p[0].powi(2) - 1e-4).powi(2)), &scalars(1), &[vec![1.0]]);
        assert!((found.point[0] - 0.01).abs() < 1e-8);
    }
}
