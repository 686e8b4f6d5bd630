//! The likelihood of a mixed model written out with the full n × n covariance matrix, sharing no code with the crate.

use crate::near;
use evenstand_stats::{
    Criterion, DegreesOfFreedom, Design, LinearFit, Lmm, LmmFit, RandomTerm, StatsError, Structure, deviance_at,
};
use ndarray::Array2;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Log determinant and inverse of a symmetric positive definite matrix by Gauss-Jordan elimination.
pub fn invert(mut a: Vec<Vec<f64>>) -> (f64, Vec<Vec<f64>>) {
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

/// Covariance of the response over sigma², `W⁻¹ + Σ Z_k Λ_kΛ_k' Z_k'`, n × n.
fn covariance(design: &Design, theta: &[f64]) -> Vec<Vec<f64>> {
    let n = design.n_observations();
    let mut h = vec![vec![0.0; n]; n];
    let mut next = 0;
    for i in 0..n {
        h[i][i] += 1.0 / design.weights().map_or(1.0, |w| w[i]);
    }
    for term in design.random() {
        let q = term.n_columns();
        let own = &theta[next..next + term.n_parameters()];
        next += own.len();
        // Λ row by row from its columns, or theta on the diagonal.
        let mut factor = vec![vec![0.0; q]; q];
        let mut read = 0;
        for column in 0..q {
            match term.structure {
                Structure::Common => factor[column][column] = own[0],
                Structure::Correlated => {
                    for row in factor.iter_mut().skip(column) {
                        row[column] = own[read];
                        read += 1;
                    }
                }
            }
        }
        let image = |row: usize, c: usize| -> f64 { (0..q).map(|a| term.columns[a][row] * factor[a][c]).sum() };
        for i in 0..n {
            for j in (0..n).filter(|&j| term.groups[i] == term.groups[j]) {
                h[i][j] += (0..q).map(|c| image(i, c) * image(j, c)).sum::<f64>();
            }
        }
    }
    h
}

/// Generalised least squares coefficients at theta from the full covariance.
pub fn coefficients(design: &Design, theta: &[f64]) -> Vec<f64> {
    let (n, p) = (design.n_observations(), design.rank());
    let x = design.fixed();
    let (_, inverse) = invert(covariance(design, theta));
    let hx = |i: usize, c: usize| -> f64 { (0..n).map(|j| inverse[i][j] * x[[j, c]]).sum() };
    let hx: Vec<Vec<f64>> = (0..n).map(|i| (0..p).map(|c| hx(i, c)).collect()).collect();
    let information = (0..p).map(|a| (0..p).map(|b| (0..n).map(|i| x[[i, a]] * hx[i][b]).sum()).collect()).collect();
    let (_, solved) = invert(information);
    let xy: Vec<f64> = (0..p).map(|c| (0..n).map(|i| hx[i][c] * design.response()[i]).sum()).collect();
    (0..p).map(|a| (0..p).map(|b| solved[a][b] * xy[b]).sum()).collect()
}

/// `-2 log L` at theta from the full covariance, sigma profiled out.
pub fn deviance(design: &Design, theta: &[f64], criterion: Criterion) -> f64 {
    let n = design.n_observations();
    let p = design.rank();
    let x = design.fixed();
    let (log_h, inverse) = invert(covariance(design, theta));
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
    if design.sampling_variances_known() {
        return log_h + extra + df * (2.0 * std::f64::consts::PI).ln() + sum;
    }
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

/// 40 rows with correlated intercepts and slopes, blocks, and five columns with one standard deviation.
pub fn correlated(seed: u64) -> Design {
    let base = awkward(seed);
    let (field, block) = (&base.random()[0].groups, &base.random()[1]);
    let x: Vec<f64> = (0..40).map(|i| base.fixed()[[i, 1]]).collect();
    let bumps = (0..5).map(|k| x.iter().map(|x| (-(x - 0.5 * k as f64 + 1.0).powi(2)).exp()).collect()).collect();
    base.with_random(vec![
        RandomTerm::correlated("field", field.clone(), 5, vec![("one".into(), vec![1.0; 40]), ("x".into(), x)]),
        block.clone(),
        RandomTerm::smooth("bumps", bumps),
    ])
    .expect("valid design")
}

/// The response of `awkward` as estimates with known variances, with one group per row for their spread.
pub fn second_stage(seed: u64) -> Design {
    let base = awkward(seed);
    let variances: Vec<f64> = (0..40).map(|i| 0.05 + 0.002 * f64::from(i)).collect();
    Design::with_sampling_variances(
        base.response().to_vec(),
        base.fixed().clone(),
        base.names().to_vec(),
        vec![base.random()[0].clone(), RandomTerm::intercept("row", (0..40).collect(), 40)],
        &variances,
    )
    .expect("valid design")
}

#[test]
fn correlated_and_smooth_terms_have_the_full_covariance_likelihood() {
    for seed in 0..4 {
        let design = correlated(seed);
        for theta in [[0.5, 0.2, 0.3, 1.0, 0.4], [1.0, -2.0, 0.0, 0.0, 3.0], [0.0, 0.7, 0.2, 0.5, 0.0]] {
            for criterion in [Criterion::Reml, Criterion::MaximumLikelihood] {
                let found = deviance_at(&design, &theta, criterion).expect("deviance");
                near::absolute(found, deviance(&design, &theta, criterion), 1e-9, "deviance");
            }
        }
        let fit = Lmm::reml().fit(&design).expect("fit");
        assert!(fit.optimum().converged, "seed {seed}: {:?}", fit.optimum());
        no_neighbour_is_better(&design, &fit);
    }
}

#[test]
fn known_sampling_variances_have_the_full_covariance_likelihood() {
    for seed in 0..4 {
        let design = second_stage(seed);
        for theta in [[0.0, 0.0], [0.5, 0.2], [2.0, 1.0]] {
            for criterion in [Criterion::Reml, Criterion::MaximumLikelihood] {
                let found = deviance_at(&design, &theta, criterion).expect("deviance");
                near::absolute(found, deviance(&design, &theta, criterion), 1e-9, "deviance");
            }
        }
        let fit = Lmm::reml().fit(&design).expect("fit");
        assert_eq!(fit.sigma(), 1.0);
        assert_eq!(fit.variance_components().len(), 2);
        no_neighbour_is_better(&design, &fit);
    }
}

fn no_neighbour_is_better(design: &Design, fit: &LmmFit) {
    for k in 0..fit.theta().len() {
        for change in [-0.1, -0.01, 0.01, 0.1] {
            let mut theta = fit.theta().to_vec();
            theta[k] += change;
            let other = deviance(design, &theta, Criterion::Reml);
            assert!(other >= fit.criterion() - 1e-9, "theta {k}, change {change}");
        }
    }
}

/// Kenward & Roger's quantities from n × n matrices: adjusted covariance of the coefficients, and A1, A2 for given rows.
fn kenward_roger(design: &Design, fit: &LmmFit, rows: &[Vec<f64>]) -> (Vec<Vec<f64>>, f64, f64) {
    type Matrix = Vec<Vec<f64>>;
    let n = design.n_observations();
    let product = |a: &Matrix, b: &Matrix| -> Matrix {
        a.iter()
            .map(|row| (0..b[0].len()).map(|j| row.iter().zip(b).map(|(x, line)| x * line[j]).sum()).collect())
            .collect()
    };
    let transposed = |a: &Matrix| -> Matrix { (0..a[0].len()).map(|j| a.iter().map(|row| row[j]).collect()).collect() };
    let trace = |a: &Matrix| -> f64 { a.iter().enumerate().map(|(i, row)| row[i]).sum() };
    let combine = |a: &Matrix, b: &Matrix, factor: f64| -> Matrix {
        a.iter().zip(b).map(|(x, y)| x.iter().zip(y).map(|(x, y)| x + factor * y).collect()).collect()
    };
    let variance = fit.sigma().powi(2);
    let v: Matrix =
        covariance(design, fit.theta()).iter().map(|row| row.iter().map(|x| x * variance).collect()).collect();
    let mut parts: Vec<Matrix> = Vec::new();
    for term in design.random() {
        let q = term.n_columns();
        let pairs: Vec<Vec<(usize, usize)>> = match term.structure {
            Structure::Common => vec![(0..q).map(|a| (a, a)).collect()],
            Structure::Correlated => (0..q).flat_map(|a| (0..=a).map(move |b| vec![(a, b)])).collect(),
        };
        for list in pairs {
            let entry = |i: usize, j: usize| -> f64 {
                if term.groups[i] != term.groups[j] {
                    return 0.0;
                }
                let z = |c: usize, row: usize| term.columns[c][row];
                list.iter()
                    .map(|&(a, b)| if a == b { z(a, i) * z(a, j) } else { z(a, i) * z(b, j) + z(b, i) * z(a, j) })
                    .sum()
            };
            parts.push((0..n).map(|i| (0..n).map(|j| entry(i, j)).collect()).collect());
        }
    }
    if !design.sampling_variances_known() {
        let diagonal = |i: usize| 1.0 / design.weights().map_or(1.0, |w| w[i]);
        parts.push((0..n).map(|i| (0..n).map(|j| if i == j { diagonal(i) } else { 0.0 }).collect()).collect());
    }
    let (_, inverse) = invert(v);
    let x: Matrix = design.fixed().rows().into_iter().map(|row| row.to_vec()).collect();
    let vx = product(&inverse, &x);
    let (_, phi) = invert(product(&transposed(&x), &vx));
    let p: Vec<Matrix> = parts
        .iter()
        .map(|part| {
            combine(&vec![vec![0.0; phi.len()]; phi.len()], &product(&transposed(&vx), &product(part, &vx)), -1.0)
        })
        .collect();
    let scaled: Vec<Matrix> = parts.iter().map(|part| product(&inverse, part)).collect();
    let count = parts.len();
    let mut information = vec![vec![0.0; count]; count];
    let mut q = vec![vec![Vec::new(); count]; count];
    for r in 0..count {
        for s in 0..count {
            q[r][s] = product(&transposed(&vx), &product(&parts[r], &product(&scaled[s], &vx)));
            information[r][s] = 0.5
                * (trace(&product(&scaled[r], &scaled[s])) - 2.0 * trace(&product(&phi, &q[r][s]))
                    + trace(&product(&product(&phi, &p[r]), &product(&phi, &p[s]))));
        }
    }
    let (_, w) = invert(information);
    let mut middle = vec![vec![0.0; phi.len()]; phi.len()];
    for r in 0..count {
        for s in 0..count {
            let part = combine(&q[r][s], &product(&p[r], &product(&phi, &p[s])), -1.0);
            middle = combine(&middle, &part, w[r][s]);
        }
    }
    let adjusted = combine(&phi, &product(&phi, &product(&middle, &phi)), 2.0);
    let l: Matrix = rows.to_vec();
    let (_, inner) = invert(product(&l, &product(&phi, &transposed(&l))));
    let theta = product(&transposed(&l), &product(&inner, &l));
    let (mut a1, mut a2) = (0.0, 0.0);
    for r in 0..count {
        for s in 0..count {
            let [one, two] = [r, s].map(|k| product(&product(&theta, &phi), &product(&p[k], &phi)));
            a1 += w[r][s] * trace(&one) * trace(&two);
            a2 += w[r][s] * trace(&product(&one, &two));
        }
    }
    (adjusted, a1, a2)
}

#[test]
fn kenward_roger_equals_the_formulas_of_the_paper_written_with_full_matrices() {
    for seed in 0..4 {
        for design in [awkward(seed), correlated(seed), second_stage(seed)] {
            let fit = Lmm::reml().with_degrees_of_freedom(DegreesOfFreedom::KenwardRoger).fit(&design);
            let fit = fit.expect("the information is regular in these designs");
            for rows in [vec![vec![0.0, 1.0, 0.0]], vec![vec![0.0, 1.0, 0.5], vec![1.0, 0.0, 1.0]]] {
                let (adjusted, a1, a2) = kenward_roger(&design, &fit, &rows);
                for i in 0..3 {
                    near::relative(fit.covariance()[[i, i]], adjusted[i][i], 1e-7, "adjusted covariance");
                }
                if rows.len() == 1 {
                    let contrast = fit.contrast(&rows[0]).expect("contrast");
                    near::relative(contrast.df, 2.0 / a2, 1e-6, "degrees of freedom of a contrast");
                    assert_eq!(contrast.method, "kenward-roger");
                    continue;
                }
                // Kenward & Roger (1997), page 988, in the letters of the paper with l = 2.
                let (l, b) = (2.0, (a1 + 6.0 * a2) / 4.0);
                let g = (3.0 * a1 - 6.0 * a2) / (4.0 * a2);
                let [c1, c2, c3] = [g, l - g, l + 2.0 - g].map(|c| c / (3.0 * l + 2.0 * (1.0 - g)));
                let e = 1.0 / (1.0 - a2 / l);
                let v = (1.0 + c1 * b) / ((1.0 - c2 * b).powi(2) * (1.0 - c3 * b));
                let rho = v / (2.0 * e * e);
                let m = 4.0 + (l + 2.0) / (l * rho - 1.0);
                let test = fit.joint_test(&Array2::from_shape_fn((2, 3), |(i, j)| rows[i][j]));
                if !(m > 0.0 && m / (e * (m - 2.0)) > 0.0) {
                    // No F distribution has these moments; the formulas then give a negative F.
                    assert!(matches!(test, Err(StatsError::DegreesOfFreedom { .. })), "{test:?}");
                    continue;
                }
                let test = test.expect("test");
                near::relative(test.denominator_df, m, 1e-6, "degrees of freedom of a joint test");
            }
        }
    }
}
