//! Newton's method for smooth functions with analytic derivatives.

use crate::dense::{cholesky_in_place, dot, solve_lower, solve_lower_transpose};

/// A function and its derivatives at one point.
#[derive(Debug, Clone)]
pub(crate) struct Local {
    pub(crate) value: f64,
    /// First derivatives (size).
    pub(crate) gradient: Vec<f64>,
    /// Second derivatives (size × size, row-major, symmetric). An approximation that is positive definite also works, more slowly.
    pub(crate) hessian: Vec<f64>,
}

/// Where the search ended.
#[derive(Debug, Clone)]
pub(crate) struct Minimum {
    pub(crate) point: Vec<f64>,
    /// The function at `point`.
    pub(crate) local: Local,
    /// Newton steps taken.
    pub(crate) steps: usize,
    /// True when the expected gain of one more step is below rounding and the second derivatives are positive definite.
    pub(crate) converged: bool,
    /// Why the search stopped, in words.
    pub(crate) reason: String,
}

/// Minimises `function` from `start`; `None` when it has no value there.
///
/// `function` gives `None` outside its domain; the step is then shortened. Where the second derivatives are not positive definite
/// their diagonal is raised until they are. `longest` bounds each coordinate of a step, for functions that are far from quadratic.
pub(crate) fn minimise(
    mut function: impl FnMut(&[f64]) -> Option<Local>,
    start: &[f64],
    limit: usize,
    longest: f64,
) -> Option<Minimum> {
    let mut point = start.to_vec();
    let mut local = function(&point).filter(|local| local.value.is_finite())?;
    let mut reason = format!("the limit of {limit} steps was reached");
    let mut converged = false;
    let mut steps = 0;
    while steps < limit {
        let Some((mut step, positive)) = newton_step(&local) else {
            reason = "the second derivatives are not finite".into();
            break;
        };
        let gain = -0.5 * dot(&step, &local.gradient);
        if positive && gain < 1e-15 * (1e-2 + local.value.abs()) {
            // One last full step costs nothing and takes the point from half to nearly all digits.
            let trial: Vec<f64> = point.iter().zip(&step).map(|(p, s)| p + s).collect();
            if let Some(last) = function(&trial).filter(|last| last.value <= local.value + rounding(local.value)) {
                (point, local) = (trial, last);
                steps += 1;
            }
            converged = true;
            reason = "one more step would gain less than rounding".into();
            break;
        }
        let length = step.iter().fold(0.0_f64, |m, s| m.max(s.abs()));
        if length > longest {
            step.iter_mut().for_each(|s| *s *= longest / length);
        }
        let mut share = 1.0;
        let mut moved = false;
        let before = local.value;
        for _ in 0..40 {
            let trial: Vec<f64> = point.iter().zip(&step).map(|(p, s)| p + share * s).collect();
            if let Some(next) = function(&trial).filter(|next| next.value <= local.value + rounding(local.value)) {
                (point, local) = (trial, next);
                moved = true;
                break;
            }
            share *= 0.5;
        }
        if !moved {
            reason = "no shorter step lowered the function".into();
            break;
        }
        steps += 1;
        // Sums over many terms are rounded by more than the rule above asks for; steps that no longer lower them would go on for ever.
        if positive && gain < rounding(before) && share == 1.0 && !(local.value < before) {
            converged = true;
            reason = "one more step would gain less than rounding".into();
            break;
        }
    }
    Some(Minimum { point, local, steps, converged, reason })
}

fn rounding(value: f64) -> f64 {
    1e-13 * (1.0 + value.abs())
}

/// The step, and whether the second derivatives were positive definite as they are.
fn newton_step(local: &Local) -> Option<(Vec<f64>, bool)> {
    let size = local.gradient.len();
    let largest = (0..size).map(|k| local.hessian[k * size + k].abs()).fold(0.0, f64::max);
    if !(largest.is_finite() && local.gradient.iter().all(|g| g.is_finite())) {
        return None;
    }
    let mut raise = 0.0;
    for _ in 0..40 {
        let mut factor = local.hessian.clone();
        (0..size).for_each(|k| factor[k * size + k] += raise);
        if cholesky_in_place(&mut factor, size) {
            let mut step: Vec<f64> = local.gradient.iter().map(|g| -g).collect();
            solve_lower(&factor, size, &mut step);
            solve_lower_transpose(&factor, size, &mut step);
            return Some((step, raise == 0.0));
        }
        raise = if raise == 0.0 { 1e-3 * largest.max(1e-8) } else { 4.0 * raise };
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rosenbrock's valley, minimum 0 at (1, 1).
    fn valley(p: &[f64]) -> Option<Local> {
        let (x, y) = (p[0], p[1]);
        Some(Local {
            value: (1.0 - x).powi(2) + 100.0 * (y - x * x).powi(2),
            gradient: vec![-2.0 * (1.0 - x) - 400.0 * x * (y - x * x), 200.0 * (y - x * x)],
            hessian: vec![2.0 - 400.0 * (y - 3.0 * x * x), -400.0 * x, -400.0 * x, 200.0],
        })
    }

    #[test]
    fn a_curved_valley_is_followed_to_its_end() {
        let found = minimise(valley, &[-1.2, 1.0], 100, 1.0).expect("has a value");
        assert!(found.converged, "{}", found.reason);
        assert!((found.point[0] - 1.0).abs() < 1e-12 && (found.point[1] - 1.0).abs() < 1e-12);
    }

    #[test]
    fn a_function_without_a_minimum_is_not_called_converged() {
        let slope = |p: &[f64]| Some(Local { value: -p[0], gradient: vec![-1.0], hessian: vec![0.0] });
        assert!(!minimise(slope, &[0.0], 50, 1.0).expect("has a value").converged);
        assert!(minimise(|_| None, &[0.0], 50, 1.0).is_none());
    }

    #[test]
    fn steps_out_of_the_domain_are_shortened() {
        // x - log x, defined above zero, minimum at 1.
        let function = |p: &[f64]| {
            (p[0] > 0.0).then(|| Local {
                value: p[0] - p[0].ln(),
                gradient: vec![1.0 - 1.0 / p[0]],
                hessian: vec![p[0].powi(-2)],
            })
        };
        let found = minimise(function, &[5.0], 50, f64::INFINITY).expect("has a value");
        assert!(found.converged && (found.point[0] - 1.0).abs() < 1e-12);
    }
}
