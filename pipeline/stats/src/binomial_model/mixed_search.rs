//! The search for coefficients and standard deviations together.
//!
//! The criterion is an even function of every theta, so the search may pass through zero: a standard deviation of zero is a
//! minimum like any other, and Newton's method goes straight to it.

use crate::dense::{cholesky_in_place, inverse_from_cholesky, solve_lower, solve_lower_transpose};
use crate::newton::{Local, minimise};
use crate::search_record::{SearchRecord, newton_decrement};

/// An approximate `-log L` (less constants) of coefficients on the basis followed by one theta per term.
pub(super) trait Marginal {
    /// Standard deviation of each term for a theta of one.
    fn units(&self) -> &[f64];

    /// Value and gradient; `None` where numbers overflow.
    fn evaluate(&mut self, point: &[f64]) -> Option<(f64, Vec<f64>)>;

    /// Approximate second derivatives by the coefficients at the last evaluation, which was at `point`; positive definite.
    fn coefficient_information(&self, point: &[f64]) -> Vec<f64>;

    /// For each term the effects and their conditional standard deviations at the last evaluation, which was at `point`.
    fn effects(&mut self, point: &[f64]) -> Vec<(Vec<f64>, Vec<f64>)>;

    /// Logits of the rows at the modes, at the last evaluation.
    fn logits(&self) -> &[f64];
}

pub(super) struct Found {
    pub(super) point: Vec<f64>,
    pub(super) value: f64,
    /// Inverse of the second derivatives by all parameters; `None` where these are not positive definite.
    pub(super) covariance: Option<Vec<f64>>,
    pub(super) record: SearchRecord,
}

const STEP_LIMIT: usize = 60;

/// No coefficient or theta moves further in one step. Not twice the start of a theta: a step to its mirror image gains nothing, and
/// the search would go to and fro.
const LONGEST_STEP: f64 = 0.7;

/// A theta below this is compared with zero: it moves logits by a thousandth.
const NEAR_ZERO: f64 = 1e-3;

/// Differences of gradients over this share of a standard error leave about seven digits in second derivatives: the cubic term of a
/// log-likelihood is small on that scale, and gradients are exact to about twelve digits.
const DIFFERENCE: f64 = 1e-3;

/// Share of a theta over which the search takes its one-sided differences.
const ROUGH_DIFFERENCE: f64 = 1e-4;

/// Minimises `model` from `start`, which holds `rank` coefficients and then the thetas. `None` when it has no value there.
pub(super) fn search(model: &mut impl Marginal, start: &[f64], rank: usize) -> Option<Found> {
    let mut evaluations = 0;
    let mut from = start.to_vec();
    let mut steps = 0;
    let mut held = vec![false; start.len()];
    let minimum = loop {
        let found =
            minimise(|point| local(model, point, rank, &held, &mut evaluations), &from, STEP_LIMIT, LONGEST_STEP)?;
        steps += found.steps;
        // Thetas near zero are set to it, if that costs nothing, and stay there.
        let mut zeroed = found.point.clone();
        let mut changed = false;
        for k in rank..zeroed.len() {
            if zeroed[k].abs() < NEAR_ZERO && !held[k] {
                zeroed[k] = 0.0;
                changed = true;
            }
        }
        let costs_nothing = |value: f64| value <= found.local.value + 1e-9 * (1.0 + found.local.value.abs()).sqrt();
        if changed && model.evaluate(&zeroed).is_some_and(|(value, _)| costs_nothing(value)) {
            (rank..zeroed.len()).for_each(|k| held[k] |= zeroed[k] == 0.0);
            from = zeroed;
        } else {
            break found;
        }
    };
    let mut record = SearchRecord::of(&minimum, evaluations);
    record.steps = steps;
    finish(model, minimum.point, minimum.local, &held, record)
}

/// Value, gradient and second derivatives: those by thetas from differences of gradients, those by coefficients approximate.
fn local(
    model: &mut impl Marginal,
    point: &[f64],
    rank: usize,
    held: &[bool],
    evaluations: &mut usize,
) -> Option<Local> {
    let size = point.len();
    let (value, gradient) = model.evaluate(point)?;
    *evaluations += 1;
    let information = model.coefficient_information(point);
    let mut hessian = vec![0.0; size * size];
    for i in 0..rank {
        hessian[i * size..i * size + rank].copy_from_slice(&information[i * rank..(i + 1) * rank]);
    }
    for k in rank..size {
        if held[k] {
            hessian[k * size + k] = 1.0;
            continue;
        }
        // One-sided: a rough curvature only costs a step or two.
        let step = ROUGH_DIFFERENCE * point[k].abs().max(0.1);
        let mut shifted = point.to_vec();
        shifted[k] += step;
        let (_, above) = model.evaluate(&shifted)?;
        *evaluations += 1;
        let column: Vec<f64> = above.iter().zip(&gradient).map(|(a, b)| (a - b) / step).collect();
        for i in (0..size).filter(|&i| !held[i]) {
            // A pair of thetas gets its second derivative twice; the later one stands.
            hessian[i * size + k] = column[i];
            hessian[k * size + i] = column[i];
        }
    }
    let gradient = gradient.iter().zip(held).map(|(g, held)| if *held { 0.0 } else { *g }).collect();
    Some(Local { value, gradient, hessian })
}

/// Change of the gradient per unit of parameter `k`, by central differences.
fn difference(model: &mut impl Marginal, point: &[f64], k: usize, step: f64) -> Option<Vec<f64>> {
    let mut shifted = point.to_vec();
    shifted[k] = point[k] + step;
    let (_, above) = model.evaluate(&shifted)?;
    shifted[k] = point[k] - step;
    let (_, below) = model.evaluate(&shifted)?;
    Some(above.iter().zip(&below).map(|(a, b)| (a - b) / (2.0 * step)).collect())
}

/// Second derivatives by all parameters, last Newton steps with them, and the model left at the end point.
fn finish(
    model: &mut impl Marginal,
    mut point: Vec<f64>,
    mut rough: Local,
    held: &[bool],
    mut record: SearchRecord,
) -> Option<Found> {
    let size = point.len();
    let mut scale = vec![1.0; size];
    if cholesky_in_place(&mut rough.hessian, size) {
        let inverse = inverse_from_cholesky(&rough.hessian, size, size);
        (0..size).for_each(|k| scale[k] = inverse[k * size + k].sqrt());
    }
    let mut hessian = vec![0.0; size * size];
    for k in 0..size {
        if held[k] {
            // At a theta of zero all mixed derivatives vanish, because the criterion is even in it.
            hessian[k * size + k] = 1.0;
            continue;
        }
        let column = difference(model, &point, k, DIFFERENCE * scale[k])?;
        record.evaluations += 2;
        for i in (0..size).filter(|&i| !held[i]) {
            hessian[i * size + k] += 0.5 * column[i];
            hessian[k * size + i] += 0.5 * column[i];
        }
    }
    let free_gradient = |gradient: Vec<f64>| -> Vec<f64> {
        gradient.iter().zip(held).map(|(g, h)| if *h { 0.0 } else { *g }).collect()
    };
    let (value, gradient) = model.evaluate(&point)?;
    let mut local = Local { value, gradient: free_gradient(gradient), hessian };
    record.distance_left = newton_decrement(&local);
    let mut factor = local.hessian.clone();
    if !cholesky_in_place(&mut factor, size) {
        record.converged = false;
        record.reason = "the second derivatives at the end are not positive definite".into();
        return Some(Found { point, value: local.value, covariance: None, record });
    }
    // The search ends when the value no longer shows a gain; the gradient shows several digits more.
    for _ in 0..3 {
        if !(record.distance_left > 1e-9 && record.distance_left < 1e-2) {
            break;
        }
        let mut step: Vec<f64> = local.gradient.iter().map(|g| -g).collect();
        solve_lower(&factor, size, &mut step);
        solve_lower_transpose(&factor, size, &mut step);
        let trial: Vec<f64> = point.iter().zip(&step).map(|(p, s)| p + s).collect();
        let (value, gradient) = model.evaluate(&trial)?;
        record.evaluations += 1;
        let next = Local { value, gradient: free_gradient(gradient), hessian: local.hessian.clone() };
        let distance = newton_decrement(&next);
        if !(distance < record.distance_left) {
            break;
        }
        (point, local, record.distance_left) = (trial, next, distance);
        record.steps += 1;
    }
    // A point a millionth of a standard error from the maximum is the maximum for every purpose.
    record.converged = record.distance_left < 1e-6;
    if record.converged {
        record.reason = "the next Newton step is below a millionth of a standard error".into();
    }
    let (value, _) = model.evaluate(&point)?;
    Some(Found { point, value, covariance: Some(inverse_from_cholesky(&factor, size, size)), record })
}

#[cfg(test)]
mod tests {
    use super::super::design::BinomialDesign;
    use super::super::laplace::Laplace;
    use super::super::quadrature::Quadrature;
    use super::*;
    use crate::derivatives::{STEP, derivatives};
    use crate::random_term::RandomTerm;
    use ndarray::Array2;

    fn design(terms: usize) -> BinomialDesign {
        let rows = 14;
        let random = [
            RandomTerm::intercept("g", (0..rows).map(|i| i % 4).collect(), 5),
            RandomTerm::slope("s", (0..rows).map(|i| i % 3).collect(), 3, (0..rows).map(|i| i as f64 - 6.0).collect()),
            RandomTerm::intercept("row", (0..rows).collect(), rows),
        ];
        let fixed = Array2::from_shape_fn((rows, 2), |(i, j)| if j == 0 { 1.0 } else { (i as f64 * 0.7).sin() });
        let trials: Vec<f64> = (0..rows).map(|i| (i % 5 + 1) as f64).collect();
        let successes = trials.iter().enumerate().map(|(i, n)| (n * ((i * i % 7) as f64) / 6.0).floor()).collect();
        let names = vec!["one".into(), "x".into()];
        BinomialDesign::new(successes, trials, fixed, names, random[..terms].to_vec()).expect("valid design")
    }

    fn gradient_is_right(mut model: impl Marginal, point: &[f64]) {
        let (_, gradient) = model.evaluate(point).expect("a value");
        let value = |p: &[f64]| model.evaluate(p).map(|(value, _)| vec![value]);
        let numeric = derivatives(value, point, STEP).expect("values");
        for (k, found) in gradient.iter().enumerate() {
            let expected = numeric.gradient[k][0];
            assert!((found - expected).abs() < 1e-7 * (1.0 + expected.abs()), "{k}: {found} {expected}");
        }
    }

    #[test]
    fn both_approximations_have_the_gradients_they_claim() {
        gradient_is_right(Laplace::new(&design(3)), &[0.3, -0.8, 0.9, 0.4, 1.3]);
        gradient_is_right(Laplace::new(&design(3)), &[-1.3, 0.2, -0.2, 0.0, 2.5]);
        for nodes in [1, 2, 5, 12] {
            gradient_is_right(Quadrature::new(&design(1), nodes), &[0.3, -0.8, 0.9]);
            gradient_is_right(Quadrature::new(&design(1), nodes), &[-0.4, 0.5, -2.0]);
        }
    }

    #[test]
    fn one_node_is_laplace() {
        let design = design(1);
        let point = [0.1, 0.6, 1.1];
        let (a, gradient_a) = Laplace::new(&design).evaluate(&point).expect("a value");
        let (b, gradient_b) = Quadrature::new(&design, 1).evaluate(&point).expect("a value");
        assert!((a - b).abs() < 1e-12);
        assert!(gradient_a.iter().zip(&gradient_b).all(|(x, y)| (x - y).abs() < 1e-11));
    }
}
