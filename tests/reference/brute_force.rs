//! The likelihood of a mixed model written out with the full n × n covariance matrix, sharing no code with the crate.

use crate::near;
use evenstand_stats::{Criterion, Design, Lmm, RandomTerm, deviance_at};
use ndarray::Array2;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Log determinant and inverse of a symmetric positive definite matrix by Gauss-Jordan elimination.
fn invert(mut a: Vec<Vec<f64>>) -> (f64, Vec<Vec<f64>>) {
    let n = a.len();
    let mut inverse: Vec<Vec<f64>> = (0..n).map(|i| (0..n).map(|j| f64::from(u8::from(i == j))).collect()).collect();
    let mut log_determinant = 0.0;
    for k in 0..n {
        let pivot = a[k][k];
        log_determinant += pivot.ln();
        for j in 0..n {
            a[k][j] /= pivot;
            inverse[k][j] /= pivot;
        }
        for i in (0..n).filter(|&i| i != k) {
            let factor = a[i][k];
            for j in 0..n {
                a[i][j] -= factor * a[k][j];
                inverse[i][j] -= factor * inverse[k][j];
            }
        }
    }
    (log_determinant, inverse)
}

/// `-2 log L` at theta from the covariance `H = W⁻¹ + Σ theta_k² Z_k Z_k'`, sigma profiled out.
fn deviance(design: &Design, theta: &[f64], criterion: Criterion) -> f64 {
    let n = design.n_observations();
    let p = design.rank();
    let x = design.fixed();
    let mut h = vec![vec![0.0; n]; n];
    for i in 0..n {
        h[i][i] += 1.0 / design.weights().map_or(1.0, |w| w[i]);
        for (term, theta) in design.random().iter().zip(theta) {
            let z = |row: usize| term.covariate.as_ref().map_or(1.0, |c| c[row]);
            for j in (0..n).filter(|&j| term.groups[i] == term.groups[j]) {
                h[i][j] += theta * theta * z(i) * z(j);
            }
        }
    }
    let (log_h, inverse) = invert(h);
    let times =
        |v: &dyn Fn(usize) -> f64| -> Vec<f64> { (0..n).map(|i| (0..n).map(|j| inverse[i][j] * v(j)).sum()).collect() };
    let hx: Vec<Vec<f64>> = (0..p).map(|c| times(&|j| x[[j, c]])).collect();
    let information = (0..p).map(|a| (0..p).map(|b| (0..n).map(|i| x[[i, a]] * hx[b][i]).sum()).collect()).collect();
    let (log_information, covariance) = invert(information);
    let xy: Vec<f64> = (0..p).map(|c| (0..n).map(|i| hx[c][i] * design.response()[i]).sum()).collect();
    let beta: Vec<f64> = (0..p).map(|a| (0..p).map(|b| covariance[a][b] * xy[b]).sum()).collect();
    let residual = |i: usize| design.response()[i] - (0..p).map(|c| x[[i, c]] * beta[c]).sum::<f64>();
    let image = times(&residual);
    let sum: f64 = (0..n).map(|i| residual(i) * image[i]).sum();
    let (df, extra) = match criterion {
        Criterion::Reml => ((n - p) as f64, log_information),
        Criterion::MaximumLikelihood => (n as f64, 0.0),
    };
    log_h + extra + df * (1.0 + (2.0 * std::f64::consts::PI * sum / df).ln())
}

/// 40 rows with nested blocks, a crossed factor, a slope and weights; nothing balanced.
pub fn awkward(seed: u64) -> Design {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let n = 40;
    let mut unit = || random.random::<f64>() - 0.5;
    let field: Vec<usize> = (0..n).map(|i| (i * i) % 5).collect();
    let block: Vec<usize> = (0..n).map(|i| field[i] * 3 + (i / 7) % 3).collect();
    let machine: Vec<usize> = (0..n).map(|i| (i * 7) % 4).collect();
    let x: Vec<f64> = (0..n).map(|_| 3.0 * unit()).collect();
    let response =
        (0..n).map(|i| 2.0 + x[i] + (field[i] as f64).sin() + 0.4 * (block[i] as f64).cos() + unit()).collect();
    let fixed = Array2::from_shape_fn((n, 3), |(i, j)| x[i].powi(j as i32));
    let weights = (0..n).map(|_| 1.5 + 2.0 * unit()).collect();
    Design::new(
        response,
        fixed,
        ["one", "x", "x2"].map(String::from).to_vec(),
        vec![
            RandomTerm::intercept("field", field.clone(), 5),
            RandomTerm::intercept("block", block, 15),
            RandomTerm::slope("x in field", field, 5, x),
            RandomTerm::intercept("machine", machine, 4),
        ],
        Some(weights),
    )
    .expect("valid design")
}

#[test]
fn the_criterion_equals_the_full_covariance_likelihood_anywhere() {
    for seed in 0..4 {
        let design = awkward(seed);
        for theta in [[0.0; 4], [1.0; 4], [0.3, 2.0, 0.0, 0.7], [5.0, 0.01, 1.3, 20.0], [0.0, 0.0, 3.0, 0.0]] {
            for criterion in [Criterion::Reml, Criterion::MaximumLikelihood] {
                let found = deviance_at(&design, &theta, criterion).expect("deviance");
                near::absolute(found, deviance(&design, &theta, criterion), 1e-9, "deviance");
            }
        }
    }
}

#[test]
fn no_neighbouring_theta_is_better_than_the_optimum() {
    for seed in 0..6 {
        let design = awkward(seed);
        let fit = Lmm::reml().fit(&design).expect("fit");
        assert!(fit.optimum().converged, "{:?}", fit.optimum());
        for k in 0..4 {
            for change in [-0.1, -0.01, 0.01, 0.1] {
                let mut theta = fit.theta().to_vec();
                theta[k] = (theta[k] + change).abs();
                let other = deviance(&design, &theta, Criterion::Reml);
                assert!(other >= fit.criterion() - 1e-9, "seed {seed}, term {k}, change {change}");
            }
        }
    }
}
