//! Logistic mixed models: published counts, dense and integrated likelihoods written for these tests alone, conformance, and scale.

use crate::counts::{cbpp, random_counts, reordered, seeds};
use crate::data::{by_name, expected, number};
use crate::near;
use evenstand_stats::{BinomialDesign, BinomialMixed, BinomialMixedFit, LinearFit, Logistic, RandomTerm, StatsError};
use ndarray::{Array2, array};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;
use std::f64::consts::PI;
use std::time::Instant;

const CASES: &str = include_str!("cases/binomial.json");

/// The likelihood at the expected estimates, then the estimates, then their standard errors.
///
/// The expected optimum has derivatives of about 1e-8, so estimates agree to eight digits of a standard error. Its second derivatives
/// come from differences of values, which leave five digits.
fn agrees(design: &BinomialDesign, id: &str) {
    let case = expected(CASES, id);
    for (method, key) in [
        (BinomialMixed::laplace(), "laplace"),
        (BinomialMixed::quadrature(1), "laplace"),
        (BinomialMixed::quadrature(5), "agq5"),
        (BinomialMixed::quadrature(9), "agq9"),
        (BinomialMixed::quadrature(25), "agq25"),
    ] {
        let case = &case[key];
        let names = design.names();
        let (beta, se) = (by_name(&case["fixef"], names), by_name(&case["se"], names));
        let at = method.log_likelihood_at(design, &beta, &[number(&case["sd"])]).expect("likelihood");
        near::absolute(at, number(&case["loglik"]), 1e-10, "log-likelihood at the expected estimates");
        let fit = method.fit(design).expect("fit");
        assert!(fit.record().converged, "{:?}", fit.record());
        assert!(fit.notes().is_empty(), "{:?}", fit.notes());
        near::scaled(fit.coefficients(), &beta, &se, 1e-7, key);
        let deviation = &fit.random_deviations()[0];
        near::relative(deviation.standard_deviation, number(&case["sd"]), 2e-7, "standard deviation");
        near::absolute(fit.log_likelihood(), number(&case["loglik"]), 1e-10, "log-likelihood");
        near::relative(fit.aic(), number(&case["aic"]), 1e-10, "AIC");
        near::scaled(&fit.standard_errors(), &se, &se, 5e-5, "standard errors");
        let spread = deviation.std_error_of_log.expect("not zero");
        near::relative(spread, number(&case["se_log_sd"]), 5e-5, "standard error of the log standard deviation");
    }
}

/// The modes of lme4 rest on its own estimates, which are about 1e-5 from the maximum.
fn modes_agree(fit: &BinomialMixedFit, id: &str, label: impl Fn(usize) -> String) {
    let modes = &fit.conditional_modes()[0].modes;
    for (group, mode) in modes.iter().enumerate() {
        let expected = number(&expected(CASES, id)["lme4_laplace"]["blups"][label(group).as_str()]);
        near::absolute(*mode, expected, 5e-6, "conditional mode");
    }
}

#[test]
fn germination_of_seeds_with_an_effect_per_plate() {
    let design = seeds();
    agrees(&design, "glmm-seeds");
    modes_agree(&BinomialMixed::laplace().fit(&design).expect("fit"), "glmm-seeds", |group| format!("P{}", group + 1));
}

#[test]
fn incidence_in_herds_with_an_effect_per_herd() {
    let Some(design) = cbpp() else { return };
    agrees(&design, "glmm-cbpp");
    modes_agree(&BinomialMixed::laplace().fit(&design).expect("fit"), "glmm-cbpp", |group| (group + 1).to_string());
}

/// Lower Cholesky factor, written out.
fn cholesky(a: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let n = a.len();
    let mut l = vec![vec![0.0; n]; n];
    for i in 0..n {
        for j in 0..=i {
            let rest = a[i][j] - (0..j).map(|k| l[i][k] * l[j][k]).sum::<f64>();
            l[i][j] = if i == j { rest.sqrt() } else { rest / l[j][j] };
        }
    }
    l
}

/// `log p(k | logit)` with the binomial coefficient as a product.
fn log_probability(k: f64, n: f64, logit: f64) -> f64 {
    let choose: f64 = (0..k as u64).map(|j| ((n - j as f64) / (k - j as f64)).ln()).sum();
    choose + k * logit - n * (1.0 + logit.exp()).ln()
}

/// Laplace's approximation with effects b on their own scale and dense matrices: mode of the joint density by Newton, then
/// `log p(y, b) + q/2 log 2π - ½ log |-∂²|`. Standard deviations must not be zero.
fn dense_laplace(design: &BinomialDesign, beta: &[f64], sd: &[f64]) -> f64 {
    let n = design.n_observations();
    let offset: Vec<usize> =
        (0..sd.len()).map(|k| design.random()[..k].iter().map(|term| term.n_groups).sum()).collect();
    let size: usize = design.random().iter().map(|term| term.n_groups).sum();
    let mut z = vec![vec![0.0; size]; n];
    let mut prior = vec![0.0; size];
    for (k, term) in design.random().iter().enumerate() {
        for i in 0..n {
            z[i][offset[k] + term.groups[i]] = term.columns[0][i];
        }
        (0..term.n_groups).for_each(|g| prior[offset[k] + g] = sd[k] * sd[k]);
    }
    let fixed: Vec<f64> = (0..n).map(|i| (0..beta.len()).map(|j| design.fixed()[[i, j]] * beta[j]).sum()).collect();
    let mut b = vec![0.0; size];
    for round in 0..80 {
        let logit: Vec<f64> = (0..n).map(|i| fixed[i] + (0..size).map(|g| z[i][g] * b[g]).sum::<f64>()).collect();
        let p: Vec<f64> = logit.iter().map(|x| 1.0 / (1.0 + (-x).exp())).collect();
        let mut h = vec![vec![0.0; size]; size];
        let mut score: Vec<f64> = (0..size).map(|g| -b[g] / prior[g]).collect();
        for g in 0..size {
            h[g][g] += 1.0 / prior[g];
            for i in 0..n {
                score[g] += z[i][g] * (design.successes()[i] - design.trials()[i] * p[i]);
                for l in 0..size {
                    h[g][l] += design.trials()[i] * p[i] * (1.0 - p[i]) * z[i][g] * z[i][l];
                }
            }
        }
        let l = cholesky(&h);
        if round == 79 {
            let density: f64 =
                (0..n).map(|i| log_probability(design.successes()[i], design.trials()[i], logit[i])).sum();
            let effects: f64 = (0..size).map(|g| -0.5 * (b[g] * b[g] / prior[g] + prior[g].ln())).sum();
            return density + effects - (0..size).map(|g| l[g][g].ln()).sum::<f64>();
        }
        for g in 0..size {
            score[g] = (score[g] - (0..g).map(|k| l[g][k] * score[k]).sum::<f64>()) / l[g][g];
        }
        for g in (0..size).rev() {
            score[g] = (score[g] - (g + 1..size).map(|k| l[k][g] * score[k]).sum::<f64>()) / l[g][g];
        }
        // Halved at first, so that far starts do not overshoot.
        let share = if round < 5 { 0.5 } else { 1.0 };
        b.iter_mut().zip(&score).for_each(|(b, s)| *b += share * s);
    }
    unreachable!("the loop returns in its last round")
}

/// Nested, crossed, one group per row, and a slope; nothing balanced; a group without rows.
fn awkward(seed: u64) -> BinomialDesign {
    let n = 36;
    let field: Vec<usize> = (0..n).map(|i| (i * i) % 5).collect();
    let block: Vec<usize> = (0..n).map(|i| field[i] * 3 + (i / 7) % 3).collect();
    let machine: Vec<usize> = (0..n).map(|i| (i * 7 + i / 5) % 4).collect();
    let slope = (0..n).map(|i| ((i * 5) % 11) as f64 / 5.0 - 1.0).collect();
    let terms = vec![
        RandomTerm::intercept("field", field.clone(), 6),
        RandomTerm::intercept("block", block, 15),
        RandomTerm::slope("slope in field", field, 6, slope),
        RandomTerm::intercept("row", (0..n).collect(), n),
        RandomTerm::intercept("machine", machine, 4),
    ];
    random_counts(n, 15, seed, terms)
}

#[test]
fn the_laplace_likelihood_equals_the_dense_one_anywhere() {
    for seed in 0..4 {
        let design = awkward(seed);
        for (beta, sd) in [
            ([0.4, 0.8, 0.0], [0.5, 0.4, 0.3, 0.2, 0.6]),
            ([-1.0, 2.0, 0.7], [2.0, 0.05, 1.0, 1.5, 0.1]),
            ([0.0, 0.0, 0.0], [0.01, 1.0, 0.2, 3.0, 1.0]),
        ] {
            let found = BinomialMixed::laplace().log_likelihood_at(&design, &beta, &sd).expect("likelihood");
            near::absolute(found, dense_laplace(&design, &beta, &sd), 1e-9, "Laplace");
        }
    }
}

#[test]
fn no_neighbour_is_better_than_the_laplace_optimum() {
    for seed in 0..4 {
        let design = awkward(seed);
        let fit = BinomialMixed::laplace().fit(&design).expect("fit");
        assert!(fit.record().converged, "seed {seed}: {:?}", fit.record());
        let sd: Vec<f64> = fit.random_deviations().iter().map(|d| d.standard_deviation).collect();
        let best = fit.log_likelihood();
        let at = |beta: &[f64], sd: &[f64]| {
            BinomialMixed::laplace().log_likelihood_at(&design, beta, sd).expect("likelihood")
        };
        near::absolute(at(fit.coefficients(), &sd), best, 1e-10, "the likelihood of the fit");
        for change in [-0.1, -0.01, 0.01, 0.1] {
            for k in 0..sd.len() {
                let mut other = sd.clone();
                other[k] = (other[k] + change).abs();
                assert!(at(fit.coefficients(), &other) <= best + 1e-9, "seed {seed}, term {k}, change {change}");
            }
            for j in 0..3 {
                let mut other = fit.coefficients().to_vec();
                other[j] += change;
                assert!(at(&other, &sd) < best, "seed {seed}, coefficient {j}, change {change}");
            }
        }
        for (deviation, term) in fit.random_deviations().iter().zip(design.random()) {
            let noted =
                fit.notes().iter().any(|n| n.code == "boundary" && n.message.contains(&format!("`{}`", term.name)));
            assert_eq!(deviation.standard_deviation == 0.0, noted, "zero and its note go together");
        }
    }
}

/// The exact likelihood of a random intercept by the trapezoid rule, which for such integrands is exact to rounding.
fn integrated(design: &BinomialDesign, beta: &[f64], sd: f64) -> f64 {
    let term = &design.random()[0];
    let points = 4000;
    (0..term.n_groups)
        .map(|group| {
            let rows: Vec<usize> = (0..design.n_observations()).filter(|&i| term.groups[i] == group).collect();
            let sum: f64 = (0..=points)
                .map(|m| {
                    let u = -12.0 + 24.0 * f64::from(m) / f64::from(points);
                    let log: f64 = rows
                        .iter()
                        .map(|&i| {
                            let fixed: f64 = (0..beta.len()).map(|j| design.fixed()[[i, j]] * beta[j]).sum();
                            log_probability(design.successes()[i], design.trials()[i], fixed + sd * u)
                        })
                        .sum();
                    (log - 0.5 * u * u).exp()
                })
                .sum();
            (sum * 24.0 / f64::from(points) / (2.0 * PI).sqrt()).ln()
        })
        .sum()
}

#[test]
fn many_nodes_give_the_integrated_likelihood() {
    for seed in 0..3 {
        let design = random_counts(30, 6, seed, vec![RandomTerm::intercept("g", (0..30).map(|i| i % 7).collect(), 8)]);
        for (beta, sd) in [([0.4, 0.8, 0.0], 0.7), ([-1.0, 0.2, 1.0], 2.5), ([0.0, 0.0, 0.5], 0.0)] {
            let found = BinomialMixed::quadrature(40).log_likelihood_at(&design, &beta, &[sd]).expect("likelihood");
            near::absolute(found, integrated(&design, &beta, sd), 1e-10, "quadrature");
        }
    }
}

#[test]
fn order_labels_units_and_refitting_change_nothing() {
    let design = awkward(1);
    let n = design.n_observations();
    let order: Vec<usize> = (0..n).map(|i| (i * 5 + 2) % n).collect();
    let fit = BinomialMixed::laplace().fit(&design).expect("fit");
    let again = BinomialMixed::laplace().fit(&design).expect("fit");
    assert_eq!(fit.coefficients(), again.coefficients());
    assert_eq!(fit.random_deviations(), again.random_deviations());
    let se = fit.standard_errors();
    // Terms in reverse, groups counted backwards, the slope's covariate and a column in other units.
    let terms = design
        .random()
        .iter()
        .rev()
        .map(|term| RandomTerm {
            groups: term.groups.iter().map(|g| term.n_groups - 1 - g).collect(),
            columns: match term.is_intercept() {
                true => term.columns.clone(),
                false => vec![term.columns[0].iter().map(|v| 1000.0 * v).collect()],
            },
            ..term.clone()
        })
        .collect();
    let fixed = Array2::from_shape_fn((n, 3), |(i, j)| design.fixed()[[i, j]] * [1.0, 1e-4, 1.0][j]);
    let other = BinomialDesign::new(
        design.successes().to_vec(),
        design.trials().to_vec(),
        fixed,
        design.names().to_vec(),
        terms,
    )
    .expect("valid design");
    let other = BinomialMixed::laplace().fit(&reordered(&other, &order)).expect("fit");
    for j in 0..3 {
        let factor = [1.0, 1e-4, 1.0][j];
        near::absolute(other.coefficients()[j] * factor, fit.coefficients()[j], 1e-7 * se[j], "coefficient");
        near::relative(other.standard_errors()[j] * factor, se[j], 1e-5, "standard error");
    }
    near::absolute(other.log_likelihood(), fit.log_likelihood(), 1e-10, "log-likelihood");
    for (k, deviation) in fit.random_deviations().iter().enumerate() {
        let found = &other.random_deviations()[4 - k];
        let factor = if deviation.term == "slope in field" { 1000.0 } else { 1.0 };
        near::absolute(found.standard_deviation * factor, deviation.standard_deviation, 1e-7, &deviation.term);
        let modes = &other.conditional_modes()[4 - k];
        let groups = modes.modes.len();
        for group in 0..groups {
            let mine = &fit.conditional_modes()[k];
            near::absolute(modes.modes[groups - 1 - group] * factor, mine.modes[group], 1e-7, "mode");
            near::absolute(modes.conditional_sd[groups - 1 - group] * factor, mine.conditional_sd[group], 1e-7, "sd");
        }
    }
}

#[test]
fn groups_that_scatter_less_than_chance_have_a_standard_deviation_of_zero() {
    // Five groups of equal shares: even less spread than binomial counts have.
    let terms = vec![RandomTerm::intercept("g", (0..10).map(|i| i / 2).collect(), 5)];
    let successes = (0..10).map(|i| f64::from(4 + i % 2 * 2)).collect();
    let design = BinomialDesign::new(successes, vec![10.0; 10], Array2::ones((10, 1)), vec!["one".into()], terms)
        .expect("valid design");
    let plain = Logistic::ordinary().fit(&design).expect("fit");
    for method in [BinomialMixed::laplace(), BinomialMixed::quadrature(15)] {
        let fit = method.fit(&design).expect("fit");
        assert!(fit.record().converged, "{:?}", fit.record());
        assert_eq!(fit.random_deviations()[0].standard_deviation, 0.0);
        assert_eq!(fit.random_deviations()[0].std_error_of_log, None);
        assert!(fit.notes().iter().any(|note| note.code == "boundary"));
        near::absolute(fit.log_likelihood(), plain.log_likelihood(), 1e-10, "that of the fixed columns alone");
        near::relative(fit.standard_errors()[0], plain.standard_errors()[0], 1e-6, "standard error");
        assert!(fit.conditional_modes()[0].modes.iter().all(|mode| *mode == 0.0));
    }
}

#[test]
fn what_a_method_cannot_do_is_refused_in_words() {
    let refuses = |method: BinomialMixed, design: &BinomialDesign, words: &str| {
        let error = method.fit(design).expect_err("refused").to_string();
        assert!(error.contains(words), "{error}");
    };
    refuses(BinomialMixed::quadrature(9), &awkward(0), "one random term, the design has 5");
    refuses(BinomialMixed::laplace(), &random_counts(9, 4, 1, vec![]), "no random terms");
    refuses(BinomialMixed::quadrature(0), &seeds(), "from 1 to 100");
    let slope = RandomTerm::slope("s", vec![0, 0, 0, 1, 1, 1, 2, 2, 2], 3, (0..9).map(f64::from).collect());
    refuses(BinomialMixed::quadrature(9), &random_counts(9, 4, 1, vec![slope]), "`s` is a slope");
    // Separated by the column b, with groups inside.
    let columns = Array2::from_shape_fn((8, 2), |(i, j)| f64::from(u8::from(j == 0 || i >= 4)));
    let groups = RandomTerm::intercept("g", (0..8).map(|i| i % 4).collect(), 4);
    let successes = vec![2.0, 1.0, 3.0, 0.0, 5.0, 5.0, 5.0, 5.0];
    let names = vec!["one".into(), "b".into()];
    let design = BinomialDesign::new(successes, vec![5.0; 8], columns, names, vec![groups]).expect("valid design");
    let refused = BinomialMixed::laplace().fit(&design).expect_err("separated");
    assert_eq!(refused, StatsError::NoFiniteMaximum { column: "b".into() });
}

#[test]
fn groups_of_all_or_nothing_have_no_maximum_and_are_told_so() {
    // Every group succeeds always or never: the standard deviation has no finite maximum.
    let terms = vec![RandomTerm::intercept("g", (0..12).map(|i| i / 2).collect(), 6)];
    let successes = (0..12).map(|i| if (i / 2) % 2 == 0 { 8.0 } else { 0.0 }).collect();
    let design = BinomialDesign::new(successes, vec![8.0; 12], Array2::ones((12, 1)), vec!["one".into()], terms)
        .expect("valid design");
    for method in [BinomialMixed::laplace(), BinomialMixed::quadrature(15)] {
        let fit = method.fit(&design).expect("fit");
        assert!(!fit.record().converged);
        for code in ["stopped-early", "runaway"] {
            assert!(fit.notes().iter().any(|note| note.code == code), "{code} in {:?}", fit.notes());
        }
    }
}

#[test]
fn fitted_probabilities_are_those_of_the_fixed_part_and_the_modes_together() {
    let design = seeds();
    let fit = BinomialMixed::laplace().fit(&design).expect("fit");
    let modes = &fit.conditional_modes()[0].modes;
    assert_eq!(fit.probabilities().len(), modes.len(), "one plate a row");
    for ((probability, logit), mode) in fit.probabilities().iter().zip(fit.marginal_logits()).zip(modes) {
        near::absolute(*probability, 1.0 / (1.0 + (-logit - mode).exp()), 1e-9, "probability");
    }
}

#[test]
fn contrasts_are_z_tests() {
    let fit = BinomialMixed::laplace().fit(&seeds()).expect("fit");
    let contrast = fit.contrast(&[0.0, 0.0, 0.0, 1.0]).expect("contrast");
    assert_eq!((contrast.df, contrast.method.as_str()), (f64::INFINITY, "z"));
    near::relative(contrast.std_error, fit.standard_errors()[3], 1e-12, "standard error");
    let joint = fit.joint_test(&array![[0.0, 0.0, 0.0, 1.0]]).expect("joint");
    near::relative(joint.f, contrast.t().powi(2), 1e-12, "chi-squared of one row");
    assert!(fit.contrast(&[1.0]).is_err());
}

/// 1000 fields of three blocks of eight rows, about 30 trials a row; p = 12; standard deviations 0.6, 0.3 and 0.4 (per row).
fn many_fields(fields: usize, seed: u64) -> BinomialDesign {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let n = fields * 24;
    let mut effects = |count: usize, sd: f64| -> Vec<f64> {
        (0..count).map(|_| sd * random.sample::<f64, _>(StandardNormal)).collect()
    };
    let (level, within, row) = (effects(fields, 0.6), effects(3 * fields, 0.3), effects(n, 0.4));
    let condition = |i: usize| (i / 24 + (i / 8) % 2) % 4;
    let x: Vec<f64> = (0..n).map(|i| (i % 8) as f64 / 3.5 - 1.0).collect();
    let trials: Vec<f64> = (0..n).map(|_| f64::from(random.random_range(20..40_u32))).collect();
    let successes = (0..n)
        .map(|i| {
            let logit = 1.0 + 0.2 * condition(i) as f64 + 0.5 * x[i] - 0.7 * x[i] * x[i]
                + level[i / 24]
                + within[i / 8]
                + row[i];
            let p = 1.0 / (1.0 + (-logit).exp());
            (0..trials[i] as u32).map(|_| f64::from(u8::from(random.random::<f64>() < p))).sum()
        })
        .collect();
    let fixed = Array2::from_shape_fn((n, 12), |(i, j)| {
        let mine = j / 3 == 0 || condition(i) == j / 3;
        f64::from(u8::from(mine)) * [1.0, x[i], x[i] * x[i]][j % 3]
    });
    let terms = vec![
        RandomTerm::intercept("field", (0..n).map(|i| i / 24).collect(), fields),
        RandomTerm::intercept("block", (0..n).map(|i| i / 8).collect(), 3 * fields),
        RandomTerm::intercept("row", (0..n).collect(), n),
    ];
    BinomialDesign::new(successes, trials, fixed, (0..12).map(|j| format!("c{j}")).collect(), terms)
        .expect("valid design")
}

#[test]
fn a_thousand_fields_of_counts_give_back_the_simulated_standard_deviations() {
    let clock = Instant::now();
    let design = many_fields(1000, 1);
    let built = clock.elapsed();
    let fit = BinomialMixed::laplace().fit(&design).expect("fit");
    println!("24 000 rows: design {built:?}, fit {:?}, {:?}", clock.elapsed() - built, fit.record());
    assert!(fit.record().converged && fit.notes().is_empty());
    // Standard errors of these estimates are about 2.5%, 2.5% and 1%; Laplace's approximation is a little low for single rows.
    for (deviation, truth) in fit.random_deviations().iter().zip([0.6, 0.3, 0.4]) {
        near::relative(deviation.standard_deviation, truth, 0.08, &deviation.term);
    }
    near::absolute(fit.coefficients()[2], -0.7, 0.1, "curvature");
}

#[test]
fn small_tables_end_at_a_maximum_or_say_why_not() {
    let mut random = ChaCha8Rng::seed_from_u64(4);
    let (mut converged, mut zero, mut told, mut refused) = (0, 0, 0, 0);
    for _ in 0..150 {
        let rows = random.random_range(6..20_usize);
        let groups = random.random_range(2..6_usize);
        let group: Vec<usize> = (0..rows).map(|i| i % groups).collect();
        let trials: Vec<f64> = (0..rows).map(|_| f64::from(random.random_range(1..6_u32))).collect();
        let level: Vec<f64> = (0..groups).map(|_| 1.5 * random.sample::<f64, _>(StandardNormal)).collect();
        let successes: Vec<f64> = (0..rows)
            .map(|i| {
                let p = 1.0 / (1.0 + (-level[group[i]]).exp());
                (0..trials[i] as u32).map(|_| f64::from(u8::from(random.random::<f64>() < p))).sum()
            })
            .collect();
        let fixed = Array2::from_shape_fn((rows, 2), |(i, j)| if j == 0 { 1.0 } else { (i as f64).sin() });
        let terms = vec![
            RandomTerm::intercept("g", group.clone(), groups),
            RandomTerm::slope("s", group, groups, (0..rows).map(|i| (i as f64).sin()).collect()),
        ];
        let names = vec!["one".into(), "x".into()];
        let design = BinomialDesign::new(successes, trials, fixed, names, terms).expect("valid design");
        match BinomialMixed::laplace().fit(&design) {
            Ok(fit) => {
                let stopped = fit.notes().iter().any(|note| note.code == "stopped-early");
                assert_eq!(fit.record().converged, !stopped, "{:?} {:?}", fit.record(), fit.notes());
                let finite = fit.standard_errors().iter().all(|error| *error > 0.0 && error.is_finite());
                assert!(finite || stopped, "{:?}", fit.standard_errors());
                converged += usize::from(!stopped);
                told += usize::from(stopped);
                zero += usize::from(fit.random_deviations().iter().any(|d| d.standard_deviation == 0.0));
                if stopped {
                    println!("{:?} {:?}", fit.random_deviations(), fit.record());
                }
            }
            Err(StatsError::NoFiniteMaximum { .. }) => refused += 1,
            Err(error) => panic!("{error}"),
        }
    }
    println!(
        "{converged} converged, {zero} with a standard deviation of zero, {told} stopped early, {refused} separated"
    );
    assert!(converged >= 120 && zero >= 30, "{converged} {zero} {told} {refused}");
}
