//! Bootstrap and draws of coefficients: known distributions, independence of the number of processors, and honest counting.

use crate::models::seedrate;
use crate::near;
use evenstand_stats::{
    CoefficientDraws, Design, Interval, LeastSquares, LinearFit, Lmm, QuadraticRows, RandomTerm, Tail, distribution,
    group_bootstrap, optimum_bootstrap, parametric_bootstrap, quantile, simulate_response, standard_deviation,
};
use ndarray::Array2;
use std::time::Instant;

/// The quadratic over six seeding rates in four blocks, centred; blocks random or fixed.
fn seeding(random: bool) -> (Design, QuadraticRows) {
    let table = seedrate();
    let block = table.factor("rep");
    let rate = table.numbers("rate");
    let others = if random { 1 } else { 4 };
    let fixed = Array2::from_shape_fn((24, others + 2), |(i, j)| match j {
        0 => 1.0,
        j if j < others => f64::from(u8::from(block.codes[i] == j)),
        j => (rate[i] - 87.5).powi((j + 1 - others) as i32),
    });
    let names = (0..others + 2).map(|j| format!("c{j}")).collect();
    let terms = if random { vec![RandomTerm::intercept("block", block.codes, 4)] } else { vec![] };
    let design = Design::new(table.numbers("yield"), fixed, names, terms, None).expect("design");
    let unit = |at: usize| (0..others + 2).map(|j| f64::from(u8::from(j == at))).collect();
    (design, QuadraticRows { slope: unit(others), curvature: unit(others + 1), centre: 87.5 })
}

const RANGE: Interval = Interval { low: 25.0, high: 150.0 };

#[test]
fn the_spread_of_refitted_coefficients_is_their_standard_error() {
    for random in [false, true] {
        let (design, _) = seeding(random);
        let fit = Lmm::reml().fit(&design).expect("fit");
        let bootstrap =
            parametric_bootstrap(&design, &fit, 2000, 11, |fit| fit.coefficients().to_vec()).expect("bootstrap");
        assert_eq!((bootstrap.replicates(), bootstrap.failures().len()), (2000, 0));
        for (j, error) in fit.standard_errors().iter().enumerate() {
            // Monte Carlo error of a standard deviation from 2000 draws: 1.6 %.
            near::relative(bootstrap.std_error(j).expect("spread"), *error, 0.065, "standard error");
            let limits = bootstrap.percentile(j, 0.9).expect("limits");
            let normal = 1.645 * error;
            near::absolute((limits.low - (fit.coefficients()[j] - normal)) / error, 0.0, 0.2, "lower limit");
            near::absolute((limits.high - (fit.coefficients()[j] + normal)) / error, 0.0, 0.2, "upper limit");
        }
    }
}

#[test]
fn the_share_of_curves_that_bend_upwards_on_the_seed_rate_trial_agrees() {
    // R, residual bootstrap of 4000: 0.7895 bend downwards, 0.52375 have their optimum inside; normal theory: Phi(0.8138) = 0.792.
    let (design, rows) = seeding(false);
    let fit = Lmm::reml().fit(&design).expect("fit");
    let result = optimum_bootstrap(&design, &fit, &rows, 0.0, RANGE, 4000, 5).expect("bootstrap");
    near::absolute(result.share_concave, 0.7895, 0.03, "share that bend downwards");
    near::absolute(result.share_inside, 0.52375, 0.03, "share with an inner optimum");
    near::absolute(result.share_concave, distribution::normal_cdf(0.813_798), 0.025, "normal theory");
    // Coefficients of least squares are normal: the same limits by draws of them.
    let draws = CoefficientDraws::new(&fit, f64::INFINITY, 40_000, 2).expect("draws");
    let best = draws.derive(|coefficients| rows.constrained_argmax(coefficients, 0.0, RANGE));
    let limits = result.bootstrap.percentile(0, 0.95).expect("limits");
    assert_eq!(limits.low, 25.0);
    near::absolute(limits.high, quantile(&best, 0.975).expect("quantile"), 4.0, "upper limit");
    near::relative(result.bootstrap.observed()[0], 29.148, 1e-9, "best inside the range");
    near::relative(result.bootstrap.observed()[1], 29.148, 1e-9, "optimum");
}

#[test]
fn one_thread_and_several_give_the_same_bytes_and_another_seed_does_not() {
    let (design, rows) = seeding(true);
    let fit = Lmm::reml().fit(&design).expect("fit");
    let run = |threads: usize, seed: u64| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("pool");
        pool.install(|| optimum_bootstrap(&design, &fit, &rows, 0.0, RANGE, 60, seed).expect("bootstrap"))
    };
    assert_eq!(run(1, 3), run(4, 3));
    assert_ne!(run(1, 3).bootstrap.values(2), run(1, 4).bootstrap.values(2));
}

#[test]
fn simulated_responses_have_the_covariance_of_the_model() {
    let groups: Vec<usize> = (0..12).map(|i| i / 3).collect();
    let slope: Vec<f64> = (0..12).map(|i| f64::from(i % 3) - 0.5).collect();
    let terms = vec![
        RandomTerm::intercept("group", groups.clone(), 4),
        RandomTerm::slope("slope", groups.clone(), 4, slope.clone()),
    ];
    let weights: Vec<f64> = (0..12).map(|i| if i % 3 == 0 { 4.0 } else { 1.0 }).collect();
    let response = vec![4.0, 5.5, 8.0, 1.0, 0.9, 1.4, 3.5, 5.0, 7.5, 9.0, 8.5, 9.6];
    let design =
        Design::new(response, Array2::ones((12, 1)), vec!["one".into()], terms, Some(weights)).expect("design");
    let fit = Lmm::reml().fit(&design).expect("fit");
    let draws: Vec<Vec<f64>> =
        (0..20_000).map(|seed| simulate_response(&design, &fit, seed).expect("response")).collect();
    let parts: Vec<f64> = fit.variance_components().iter().map(|part| part.variance).collect();
    let expected = |i: usize, j: usize| {
        let together = f64::from(u8::from(groups[i] == groups[j])) * (parts[0] + slope[i] * slope[j] * parts[1]);
        together + if i == j { parts[2] / design.weights().expect("given")[i] } else { 0.0 }
    };
    for (i, j) in [(0, 0), (1, 1), (0, 1), (1, 2), (0, 3)] {
        let centred = |draw: &Vec<f64>, i: usize| draw[i] - fit.marginal_fitted()[i];
        let found = draws.iter().map(|d| centred(d, i) * centred(d, j)).sum::<f64>() / draws.len() as f64;
        let size = (expected(i, i) * expected(j, j)).sqrt();
        // Monte Carlo error of a covariance: at most sqrt(2 / 20000) = 1 % of the size.
        near::absolute(found / size, expected(i, j) / size, 0.045, &format!("covariance of rows {i} and {j}"));
    }
}

#[test]
fn simulated_responses_follow_correlated_terms_and_known_sampling_variances() {
    let groups: Vec<usize> = (0..24).map(|i| i / 4).collect();
    let t: Vec<f64> = (0..24).map(|i| f64::from(i % 4)).collect();
    let columns = vec![("one".to_string(), vec![1.0; 24]), ("t".to_string(), t.clone())];
    let term = RandomTerm::correlated("group", groups, 6, columns);
    let wave = |i: usize| (1.3 * (i / 4 + 1) as f64).sin();
    let response = (0..24).map(|i| 2.0 * wave(i) + (0.5 + wave(i)) * t[i] + 0.3 * (7.7 * i as f64).cos()).collect();
    let variances: Vec<f64> = (0..24).map(|i| 0.05 + 0.02 * t[i]).collect();
    let names = vec!["one".to_string()];
    let design = Design::with_sampling_variances(response, Array2::ones((24, 1)), names, vec![term], &variances)
        .expect("design");
    let fit = Lmm::reml().fit(&design).expect("fit");
    let parts: Vec<f64> = fit.variance_components().iter().map(|part| part.variance).collect();
    let shared = fit.correlations()[0].covariance;
    assert!(shared > 0.1 * (parts[0] * parts[1]).sqrt(), "the terms are correlated: {shared}");
    let draws: Vec<Vec<f64>> =
        (0..20_000).map(|seed| simulate_response(&design, &fit, seed).expect("response")).collect();
    for (i, j) in [(0, 0), (3, 3), (0, 3), (1, 2), (3, 4)] {
        let together = if i / 4 == j / 4 { parts[0] + (t[i] + t[j]) * shared + t[i] * t[j] * parts[1] } else { 0.0 };
        let expected = together + if i == j { variances[i] } else { 0.0 };
        let centred = |draw: &Vec<f64>, i: usize| draw[i] - fit.marginal_fitted()[i];
        let found = draws.iter().map(|d| centred(d, i) * centred(d, j)).sum::<f64>() / draws.len() as f64;
        let size = |i: usize| parts[0] + 2.0 * t[i] * shared + t[i] * t[i] * parts[1] + variances[i];
        near::absolute((found - expected) / (size(i) * size(j)).sqrt(), 0.0, 0.045, &format!("rows {i} and {j}"));
    }
    // Resampled groups keep the known variances: sigma stays one.
    let groups = design.random()[0].groups.clone();
    let sigma = |_: &Design, fit: &evenstand_stats::LmmFit| vec![fit.sigma()];
    let bootstrap = group_bootstrap(&design, &fit, &groups, 20, 1, sigma).expect("bootstrap");
    assert!(bootstrap.values(0).expect("values").iter().all(|sigma| *sigma == 1.0));
}

#[test]
fn a_bootstrap_test_of_a_true_hypothesis_agrees_with_the_f_test() {
    // The response of the seeding trial against a flat curve, judged by F: its exact p-value is known.
    let (design, rows) = seeding(false);
    let fit = Lmm::reml().fit(&design).expect("fit");
    let flat = design.fixed().select(ndarray::Axis(1), &[0, 1, 2, 3]);
    let names = design.names()[..4].to_vec();
    let null = Design::new(design.response().to_vec(), flat, names, vec![], None).expect("design");
    let hypothesis = Lmm::reml().fit(&null).expect("fit");
    let both = Array2::from_shape_fn((2, 6), |(i, j)| [&rows.slope, &rows.curvature][i][j]);
    let exact = fit.joint_test(&both).expect("test");
    let statistic = |fit: &evenstand_stats::LmmFit| {
        // Refit of the larger model to the response that the smaller one was fitted to.
        let response: Vec<f64> = fit.fitted().iter().zip(fit.residuals()).map(|(f, e)| f + e).collect();
        let larger =
            Design::new(response, design.fixed().clone(), design.names().to_vec(), vec![], None).expect("design");
        vec![Lmm::reml().fit(&larger).expect("fit").joint_test(&both).expect("test").f]
    };
    let bootstrap = parametric_bootstrap(&null, &hypothesis, 1999, 8, statistic).expect("bootstrap");
    near::relative(bootstrap.observed()[0], exact.f, 1e-9, "F");
    let p = bootstrap.p_value(0, exact.f, Tail::Upper).expect("p");
    near::absolute(p, exact.p_value, 0.03, "p-value");
    assert_eq!(bootstrap.p_value(0, f64::INFINITY, Tail::Upper).expect("p"), 1.0 / 2000.0);
}

#[test]
fn whole_groups_are_drawn_and_few_of_them_are_said_to_be_few() {
    let (design, rows) = seeding(true);
    let fit = Lmm::reml().fit(&design).expect("fit");
    let groups = design.random()[0].groups.clone();
    let statistic = |design: &Design, fit: &evenstand_stats::LmmFit| {
        let curvature = design.estimable_row(&rows.curvature).expect("estimable");
        vec![fit.contrast(&curvature).expect("contrast").estimate]
    };
    let bootstrap = group_bootstrap(&design, &fit, &groups, 500, 2, statistic).expect("bootstrap");
    assert_eq!(bootstrap.distinct_resamples(), Some(35.0));
    assert!(bootstrap.notes().iter().any(|note| note.code == "few-resamples"));
    // Balanced blocks: the curvature of a resample is the mean of its blocks' curvatures, so only 35 values can occur.
    let own: Vec<f64> = (0..4)
        .map(|block| {
            let keep: Vec<usize> = (0..24).filter(|&i| groups[i] == block).collect();
            let y = keep.iter().map(|&i| design.response()[i]).collect();
            let fixed = design.fixed().select(ndarray::Axis(0), &keep);
            let alone = Design::new(y, fixed, design.names().to_vec(), vec![], None).expect("design");
            LeastSquares.fit(&alone).expect("fit").coefficients()[2]
        })
        .collect();
    let mut possible = Vec::new();
    for a in 0..4 {
        for b in a..4 {
            for c in b..4 {
                for d in c..4 {
                    possible.push((own[a] + own[b] + own[c] + own[d]) / 4.0);
                }
            }
        }
    }
    let size = own.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
    for value in bootstrap.values(0).expect("values") {
        assert!(possible.iter().any(|p| (p - value).abs() < 1e-9 * size), "{value} is not a mean of four blocks");
    }
}

#[test]
fn a_statistic_without_an_answer_is_counted() {
    let (design, _) = seeding(false);
    let fit = Lmm::reml().fit(&design).expect("fit");
    let curvature = |fit: &evenstand_stats::LmmFit| fit.coefficients()[5];
    let picky = |fit: &evenstand_stats::LmmFit| vec![if curvature(fit) < 0.0 { curvature(fit) } else { f64::NAN }];
    let bootstrap = parametric_bootstrap(&design, &fit, 200, 1, picky).expect("bootstrap");
    let failed = bootstrap.failures().len();
    assert!(failed > 10 && failed < 100, "{failed}");
    assert_eq!(bootstrap.percentile(0, 0.9).expect("limits").high, f64::INFINITY);
    near::absolute(bootstrap.share(0, |_| true).expect("share"), 1.0 - failed as f64 / 200.0, 1e-14, "share");
    assert!(parametric_bootstrap(&design, &fit, 0, 1, picky).is_err());
    assert!(bootstrap.values(1).is_err());
}

#[test]
fn draws_of_coefficients_have_the_t_distribution_of_the_fit() {
    let (design, rows) = seeding(false);
    let fit = LeastSquares.fit(&design).expect("fit");
    let draws = CoefficientDraws::new(&fit, 18.0, 40_000, 9).expect("draws");
    let slope = fit.contrast(&rows.slope_at(60.0)).expect("contrast");
    let values = draws.linear(&rows.slope_at(60.0)).expect("values");
    for p in [0.05, 0.25, 0.5, 0.9, 0.99] {
        let expected = distribution::t_quantile(p, 18.0);
        let found = (quantile(&values, p).expect("quantile") - slope.estimate) / slope.std_error;
        near::absolute(found, expected, 0.06, &format!("quantile {p}"));
    }
    // Posterior share of curves that bend downwards: the t probability.
    let concave = draws.derive(|b| b[5] < 0.0).iter().filter(|yes| **yes).count() as f64 / 40_000.0;
    let curvature = fit.contrast(&rows.curvature).expect("contrast");
    near::absolute(concave, distribution::t_cdf(-curvature.t(), 18.0), 0.008, "share that bend downwards");
    let many = draws.linear_many(&Array2::from_shape_fn((1, 6), |(_, j)| rows.slope_at(60.0)[j])).expect("values");
    near::relative(many[[17, 0]], values[17], 1e-10, "the same by matrix");
    // Correlations: the spread of another combination.
    let normal = CoefficientDraws::new(&fit, f64::INFINITY, 40_000, 9).expect("draws");
    let difference = rows.difference(120.0, 40.0);
    let spread = standard_deviation(&normal.linear(&difference).expect("values")).expect("spread");
    near::relative(spread, fit.contrast(&difference).expect("contrast").std_error, 0.015, "standard deviation");
    assert_eq!(
        normal.coefficients(),
        CoefficientDraws::new(&fit, f64::INFINITY, 40_000, 9).expect("draws").coefficients()
    );
    assert!(CoefficientDraws::new(&fit, 0.0, 10, 1).is_err() && CoefficientDraws::new(&fit, 5.0, 0, 1).is_err());
}

#[test]
fn a_thousand_refits_of_a_design_with_four_random_terms() {
    // 21 field-seasons of two blocks of eight rows.
    let n = 336;
    let x: Vec<f64> = (0..n).map(|i| (i % 8) as f64 / 3.5 - 1.0).collect();
    let field: Vec<usize> = (0..n).map(|i| i / 16).collect();
    let fixed = Array2::from_shape_fn((n, 9), |(i, j)| {
        let mine = j / 3 == 0 || field[i] % 3 == j / 3;
        f64::from(u8::from(mine)) * x[i].powi((j % 3) as i32)
    });
    let wave = |k: usize, step: f64| (step * (k + 1) as f64).sin();
    let response = (0..n)
        .map(|i| {
            let (f, b) = (field[i], i / 8);
            wave(f, 2.3) + 0.4 * wave(b, 7.1) + (0.5 + 0.5 * wave(f, 5.7)) * x[i] - 0.8 * x[i] * x[i]
                + 0.2 * wave(f, 3.9) * x[i] * x[i]
                + 0.6 * wave(i, 12.9898)
        })
        .collect();
    let terms = vec![
        RandomTerm::intercept("field", field.clone(), 21),
        RandomTerm::intercept("block", (0..n).map(|i| i / 8).collect(), 42),
        RandomTerm::slope("x", field.clone(), 21, x.clone()),
        RandomTerm::slope("x²", field, 21, x.iter().map(|x| x * x).collect()),
    ];
    let names = (0..9).map(|j| format!("c{j}")).collect();
    let design = Design::new(response, fixed, names, terms, None).expect("design");
    let clock = Instant::now();
    let fit = Lmm::reml().fit(&design).expect("fit");
    println!("one fit {:?}, {} evaluations", clock.elapsed(), fit.optimum().evaluations);
    let unit = |at: usize| (0..9).map(|j| f64::from(u8::from(j == at))).collect();
    let rows = QuadraticRows { slope: unit(1), curvature: unit(2), centre: 0.0 };
    let range = Interval { low: -1.0, high: 1.0 };
    let clock = Instant::now();
    let result = optimum_bootstrap(&design, &fit, &rows, 0.0, range, 1000, 1).expect("bootstrap");
    println!("1000 refits of 336 rows, 4 random terms: {:?}", clock.elapsed());
    println!("failures {}, stopped early {}", result.bootstrap.failures().len(), result.bootstrap.not_converged());
    assert_eq!(result.bootstrap.failures().len(), 0);
    let own = fit.standard_errors()[2];
    near::relative(result.bootstrap.std_error(2).expect("spread"), own, 0.15, "standard error of the curvature");
}
