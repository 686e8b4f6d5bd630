//! The log-likelihood of intervals with its first and second derivatives in mu, tau = log sigma and lambda = logit d.

use super::data::IntervalData;
use super::predictors::{EventPredictors, Part};
use super::shape::{Piece, Shape, logistic, logistic_density, softplus};
use crate::newton::Local;

/// What a row says about its event.
#[derive(Debug, Clone, Copy)]
enum Kind {
    /// By the time whose log is given.
    By(f64),
    /// Between two times: their logs, and the log of their ratio.
    Between(f64, f64, f64),
    /// Not by the time whose log is given.
    After(f64),
}

/// A used row of the data.
#[derive(Debug, Clone, Copy)]
struct Row {
    index: usize,
    kind: Kind,
    count: f64,
}

/// First (3) and second (6: mm, mt, tt, ml, tl, ll) derivatives of one row's log probability in mu, tau, lambda.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct RowLocal {
    pub(super) log: f64,
    pub(super) first: [f64; 3],
    pub(super) second: [f64; 6],
}

/// The likelihood of a data set under a shape, with the layout of its parameters: location, log scale, then logit limit if any.
#[derive(Debug, Clone)]
pub(super) struct Likelihood<'a> {
    rows: Vec<Row>,
    shape: Shape,
    limited: bool,
    predictors: &'a EventPredictors,
    plain: bool,
}

impl<'a> Likelihood<'a> {
    pub(super) fn new(data: &IntervalData, predictors: &'a EventPredictors, shape: Shape, limited: bool) -> Self {
        let rows = data
            .used()
            .map(|index| {
                let (left, right) = (data.left()[index], data.right()[index]);
                let kind = if right == f64::INFINITY {
                    Kind::After(left.ln())
                } else if left == 0.0 {
                    Kind::By(right.ln())
                } else {
                    Kind::Between(left.ln(), right.ln(), ((right - left) / left).ln_1p())
                };
                Row { index, kind, count: data.counts()[index] as f64 }
            })
            .collect();
        let mut new = Self { rows, shape, limited, predictors, plain: false };
        new.plain = new.parts().iter().all(|part| part.matrix.is_none());
        new
    }

    /// The parts in use.
    pub(super) fn parts(&self) -> Vec<&'a Part> {
        let all = [&self.predictors.location, &self.predictors.log_scale, &self.predictors.logit_limit];
        all[..if self.limited { 3 } else { 2 }].to_vec()
    }

    /// Number of parameters.
    pub(super) fn size(&self) -> usize {
        self.parts().iter().map(|part| part.width()).sum()
    }

    /// Minus the log-likelihood with derivatives; `None` where it has no value.
    pub(super) fn minus(&self, point: &[f64]) -> Option<Local> {
        let local = if self.plain { self.plain_sums(point) } else { self.general_sums(point) };
        let finite = local.value.is_finite()
            && local.gradient.iter().all(|g| g.is_finite())
            && local.hessian.iter().all(|h| h.is_finite());
        finite.then_some(local)
    }

    fn plain_sums(&self, point: &[f64]) -> Local {
        let size = point.len();
        let lambda = if self.limited { point[2] } else { f64::INFINITY };
        let (mut value, mut first, mut second) = (0.0, [0.0; 3], [0.0; 6]);
        for row in &self.rows {
            let local = row_local(self.shape, row.kind, point[0], point[1], lambda);
            value -= row.count * local.log;
            (0..3).for_each(|k| first[k] -= row.count * local.first[k]);
            (0..6).for_each(|k| second[k] -= row.count * local.second[k]);
        }
        let mut hessian = vec![0.0; size * size];
        for i in 0..size {
            for j in 0..size {
                hessian[i * size + j] = second[packed(i, j)];
            }
        }
        Local { value, gradient: first[..size].to_vec(), hessian }
    }

    fn general_sums(&self, point: &[f64]) -> Local {
        let size = point.len();
        let parts = self.parts();
        let mut local = Local { value: 0.0, gradient: vec![0.0; size], hessian: vec![0.0; size * size] };
        let mut entries: Vec<(usize, f64)> = vec![(0, 0.0); size];
        for row in &self.rows {
            let found = self.row(row, point);
            local.value -= row.count * found.log;
            let mut at = 0;
            for (k, part) in parts.iter().enumerate() {
                for j in 0..part.width() {
                    entries[at] = (k, part.value(row.index, j));
                    at += 1;
                }
            }
            for i in 0..size {
                let (part_i, x_i) = entries[i];
                if x_i == 0.0 {
                    continue;
                }
                local.gradient[i] -= row.count * x_i * found.first[part_i];
                for j in 0..=i {
                    let (part_j, x_j) = entries[j];
                    local.hessian[i * size + j] -= row.count * x_i * x_j * found.second[packed(part_i, part_j)];
                }
            }
        }
        for i in 0..size {
            for j in 0..i {
                local.hessian[j * size + i] = local.hessian[i * size + j];
            }
        }
        local
    }

    fn row(&self, row: &Row, point: &[f64]) -> RowLocal {
        let (mu, tau, lambda) = linear_predictors(self.predictors, self.limited, row.index, point);
        row_local(self.shape, row.kind, mu, tau, lambda)
    }

    /// Gradient of the log-likelihood of each used row, its count included, as (row of the data, gradient).
    pub(super) fn scores(&self, point: &[f64]) -> Vec<(usize, Vec<f64>)> {
        let parts = self.parts();
        self.rows
            .iter()
            .map(|row| {
                let found = self.row(row, point);
                let gradient = parts
                    .iter()
                    .enumerate()
                    .flat_map(|(k, part)| (0..part.width()).map(move |j| (k, part.value(row.index, j))))
                    .map(|(k, x)| row.count * x * found.first[k])
                    .collect();
                (row.index, gradient)
            })
            .collect()
    }
}

/// mu, tau and lambda of a row; lambda is ∞ without limit.
pub(super) fn linear_predictors(
    predictors: &EventPredictors,
    limited: bool,
    row: usize,
    point: &[f64],
) -> (f64, f64, f64) {
    let (first, rest) = point.split_at(predictors.location.width());
    let (second, third) = rest.split_at(predictors.log_scale.width());
    let lambda = if limited { predictors.logit_limit.predict(row, third) } else { f64::INFINITY };
    (predictors.location.predict(row, first), predictors.log_scale.predict(row, second), lambda)
}

fn packed(i: usize, j: usize) -> usize {
    const PLACE: [[usize; 3]; 3] = [[0, 1, 3], [1, 2, 4], [3, 4, 5]];
    PLACE[i][j]
}

/// One row. With d = logistic(lambda): an event adds log d; a row without event has probability
/// `1 - d + d S = (1 - d) (1 + exp(lambda + log S))`, S = 1 - G.
fn row_local(shape: Shape, kind: Kind, mu: f64, tau: f64, lambda: f64) -> RowLocal {
    let sigma = tau.exp();
    let z = |log_time: f64| (log_time - mu) / sigma;
    let limited = lambda < f64::INFINITY;
    match kind {
        Kind::By(high) => event(shape.by(z(high)), sigma, lambda),
        Kind::Between(low, high, width) => event(shape.between(z(low), z(high), width / sigma), sigma, lambda),
        Kind::After(low) => {
            let local = in_parameters(shape.after(z(low)), sigma);
            if !limited {
                return local;
            }
            // The chance that an individual not seen yet will still have the event.
            let still = logistic(lambda + local.log);
            let spread = logistic_density(lambda + local.log);
            let [m, t, _] = local.first;
            let [mm, mt, tt, ..] = local.second;
            let d = logistic(lambda);
            RowLocal {
                log: softplus(lambda + local.log) - softplus(lambda),
                first: [still * m, still * t, still - d],
                second: [
                    still * mm + spread * m * m,
                    still * mt + spread * m * t,
                    still * tt + spread * t * t,
                    spread * m,
                    spread * t,
                    spread - logistic_density(lambda),
                ],
            }
        }
    }
}

fn event(piece: Piece, sigma: f64, lambda: f64) -> RowLocal {
    let mut local = in_parameters(piece, sigma);
    if lambda < f64::INFINITY {
        local.log -= softplus(-lambda);
        local.first[2] = logistic(-lambda);
        local.second[5] = -logistic_density(lambda);
    }
    local
}

/// From the direction `shift` to mu: an increase of mu shifts every end by -1/sigma.
fn in_parameters(piece: Piece, sigma: f64) -> RowLocal {
    RowLocal {
        log: piece.log,
        first: [-piece.shift / sigma, piece.tau, 0.0],
        second: [
            piece.shift_shift / (sigma * sigma),
            (piece.shift - piece.shift_tau) / sigma,
            piece.tau_tau,
            0.0,
            0.0,
            0.0,
        ],
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::derivatives::{STEP, derivatives};
    use ndarray::Array2;

    #[test]
    fn the_likelihood_has_the_derivatives_it_says_with_and_without_covariates() {
        let left = vec![0.0, 2.0, 3.0, 5.0, 8.0, 0.0, 2.5, 8.0];
        let right = vec![2.0, 3.0, 5.0, 8.0, f64::INFINITY, 2.5, 8.0, f64::INFINITY];
        let data = IntervalData::new(left, right, vec![1, 4, 6, 2, 5, 0, 7, 3]).unwrap();
        let plain = EventPredictors::intercepts(8);
        let matrix = Array2::from_shape_fn((8, 2), |(i, j)| if j == 0 { 1.0 } else { (i as f64 - 3.0) / 4.0 });
        let names = || vec!["one".to_string(), "x".to_string()];
        let rich = plain.clone().with_location(matrix.clone(), names()).unwrap();
        let rich = rich.with_log_scale(matrix.clone(), names()).unwrap().with_logit_limit(matrix, names()).unwrap();
        for shape in [Shape::LogLogistic, Shape::Weibull, Shape::LogNormal] {
            for (predictors, limited, point) in [
                (&plain, false, vec![1.4, -0.6]),
                (&plain, true, vec![1.4, -0.6, 0.8]),
                (&rich, true, vec![1.4, 0.2, -0.6, 0.1, 0.8, -0.5]),
            ] {
                let likelihood = Likelihood::new(&data, predictors, shape, limited);
                assert_eq!(likelihood.size(), point.len());
                let local = likelihood.minus(&point).unwrap();
                let numeric = derivatives(|p| likelihood.minus(p).map(|l| vec![l.value]), &point, STEP).unwrap();
                for k in 0..point.len() {
                    assert!((local.gradient[k] - numeric.gradient[k][0]).abs() < 1e-6, "{shape:?} {k}");
                    let total: f64 = likelihood.scores(&point).iter().map(|(_, score)| score[k]).sum();
                    assert!((local.gradient[k] + total).abs() < 1e-12 * (1.0 + total.abs()));
                }
                for (found, expected) in local.hessian.iter().zip(&numeric.hessian) {
                    assert!((found - expected[0]).abs() < 1e-5, "{shape:?} {found} {}", expected[0]);
                }
            }
        }
    }
}
