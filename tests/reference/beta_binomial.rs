//! Beta-binomial regression, and logistic regression through linfa's traits.

use crate::counts::{cbpp, endometrial, random_counts, reordered, seeds, spector};
use crate::data::{by_name, expected, number};
use crate::near;
use evenstand_stats::{BetaBinomial, BinomialDesign, LinearFit, Logistic, LogisticParams, StatsError};
use linfa::prelude::*;
use ndarray::{Array1, Array2, array};
use statrs::function::beta::ln_beta;

const CASES: &str = include_str!("cases/binomial.json");

/// The likelihood at the expected estimates, then the estimates. Expected standard errors come from differences of values: five digits.
fn agrees(design: &BinomialDesign, id: &str) {
    let case = &expected(CASES, id)["betabinomial"];
    let names = design.names();
    let (beta, se) = (by_name(&case["coef"], names), by_name(&case["se"], names));
    let at = BetaBinomial.log_likelihood_at(design, &beta, number(&case["rho"])).expect("likelihood");
    near::absolute(at, number(&case["loglik"]), 1e-10, "log-likelihood at the expected estimates");
    let fit = BetaBinomial.fit(design).expect("fit");
    assert!(fit.record().converged && fit.notes().is_empty(), "{:?} {:?}", fit.record(), fit.notes());
    near::scaled(fit.coefficients(), &beta, &se, 1e-6, "coefficients");
    near::scaled(&fit.standard_errors(), &se, &se, 5e-5, "standard errors");
    near::relative(fit.correlation(), number(&case["rho"]), 1e-6, "correlation");
    near::relative(fit.precision(), number(&case["phi"]), 1e-6, "precision");
    near::absolute(fit.log_likelihood(), number(&case["loglik"]), 1e-10, "log-likelihood");
    near::relative(fit.aic(), number(&case["aic"]), 1e-10, "AIC");
    assert!(fit.std_error_of_log_precision().expect("not at the limit") > 0.0);
}

#[test]
fn germination_of_seeds_by_a_beta_binomial() {
    agrees(&seeds(), "glmm-seeds");
}

#[test]
fn incidence_in_herds_by_a_beta_binomial() {
    if let Some(design) = cbpp() {
        agrees(&design, "glmm-cbpp");
    }
}

#[test]
fn the_likelihood_is_that_of_beta_functions_and_its_limit_is_binomial() {
    let design = random_counts(25, 30, 8, vec![]);
    let beta = [0.3, -0.9, 0.4];
    for rho in [1e-3, 0.02, 0.4, 0.95] {
        let phi = 1.0 / rho - 1.0;
        let plain: f64 = (0..25)
            .map(|i| {
                let (k, n) = (design.successes()[i], design.trials()[i]);
                let logit: f64 = (0..3).map(|j| design.fixed()[[i, j]] * beta[j]).sum();
                let m = 1.0 / (1.0 + (-logit).exp());
                let choose = -(n + 1.0).ln() - ln_beta(k + 1.0, n - k + 1.0);
                choose + ln_beta(k + m * phi, n - k + (1.0 - m) * phi) - ln_beta(m * phi, (1.0 - m) * phi)
            })
            .sum();
        let found = BetaBinomial.log_likelihood_at(&design, &beta, rho).expect("likelihood");
        // Beta functions of a large phi cancel to about ten digits.
        near::absolute(found, plain, 1e-8, "beta functions");
    }
    let binomial = Logistic::ordinary().fit(&design).expect("fit");
    let at = |rho| BetaBinomial.log_likelihood_at(&design, binomial.coefficients(), rho).expect("likelihood");
    near::absolute(at(0.0), binomial.log_likelihood(), 1e-11, "the limit");
    near::absolute((at(1e-10) - at(0.0)) * 1e2, (at(1e-8) - at(0.0)) * 1.0, 1e-6, "a straight line towards it");
}

#[test]
fn rows_that_scatter_less_than_chance_are_binomial_with_a_note() {
    let successes = (0..10).map(|i| f64::from(4 + i % 2 * 2)).collect();
    let design = BinomialDesign::new(successes, vec![10.0; 10], Array2::ones((10, 1)), vec!["one".into()], vec![])
        .expect("valid design");
    let fit = BetaBinomial.fit(&design).expect("fit");
    let binomial = Logistic::ordinary().fit(&design).expect("fit");
    assert_eq!((fit.correlation(), fit.precision()), (0.0, f64::INFINITY));
    assert_eq!(fit.notes()[0].code, "boundary");
    assert!(fit.record().converged);
    assert_eq!(fit.coefficients(), binomial.coefficients());
    near::absolute(fit.log_likelihood(), binomial.log_likelihood(), 1e-12, "log-likelihood");
}

#[test]
fn no_neighbour_is_better_and_order_changes_nothing() {
    for seed in 20..26 {
        let design =
            random_counts(40, 25, seed, vec![evenstand_stats::RandomTerm::intercept("row", (0..40).collect(), 40)]);
        let fit = BetaBinomial.fit(&design).expect("fit");
        assert!(fit.record().converged, "{:?}", fit.record());
        let at = |beta: &[f64], rho: f64| BetaBinomial.log_likelihood_at(&design, beta, rho).expect("likelihood");
        for change in [-0.02, -0.002, 0.002, 0.02] {
            assert!(at(fit.coefficients(), (fit.correlation() + change).abs()) <= fit.log_likelihood() + 1e-10);
            for j in 0..3 {
                let mut other = fit.coefficients().to_vec();
                other[j] += change;
                assert!(at(&other, fit.correlation()) < fit.log_likelihood());
            }
        }
        let order: Vec<usize> = (0..40).map(|i| (i * 13 + 5) % 40).collect();
        let other = BetaBinomial.fit(&reordered(&design, &order)).expect("fit");
        near::scaled(other.coefficients(), fit.coefficients(), &fit.standard_errors(), 1e-8, "coefficients");
        near::absolute(other.correlation(), fit.correlation(), 1e-8, "correlation");
    }
}

#[test]
fn single_trials_and_separated_data_are_refused() {
    let refused = BetaBinomial.fit(&spector()).expect_err("single trials");
    assert!(matches!(refused, StatsError::NotPossible { .. }), "{refused}");
    let many = BinomialDesign::new(vec![3.0, 4.0], vec![1e9, 2e9], Array2::ones((2, 1)), vec!["one".into()], vec![])
        .expect("valid design");
    assert!(BetaBinomial.fit(&many).expect_err("too many").to_string().contains("trials"));
    let columns = array![[1.0, 0.0], [1.0, 0.0], [1.0, 1.0], [1.0, 1.0]];
    let names = vec!["one".to_string(), "b".to_string()];
    let design = BinomialDesign::new(vec![1.0, 2.0, 5.0, 5.0], vec![5.0; 4], columns, names, vec![]).expect("valid");
    assert_eq!(BetaBinomial.fit(&design).expect_err("separated"), StatsError::NoFiniteMaximum { column: "b".into() });
}

#[test]
fn a_data_set_of_linfa_gives_the_same_fit_and_its_probabilities() {
    let design = spector();
    let records = design.fixed().select(ndarray::Axis(1), &[1, 2, 3]);
    let single = Dataset::new(records.clone(), Array1::from_vec(design.successes().to_vec()))
        .with_feature_names(vec!["GPA", "TUCE", "PSI"]);
    let pairs = Array2::from_shape_fn((32, 2), |(i, j)| if j == 0 { design.successes()[i] } else { 1.0 });
    let double = Dataset::new(records.clone(), pairs);
    for (params, options) in
        [(LogisticParams::ordinary(), Logistic::ordinary()), (LogisticParams::firth(), Logistic::firth())]
    {
        let fit = options.fit(&design).expect("fit");
        let model = params.fit(&single).expect("fit");
        assert_eq!(model.answers().coefficients(), fit.coefficients());
        assert_eq!(model.answers().names()[1..], ["GPA", "TUCE", "PSI"]);
        assert_eq!(
            (model.intercept(), model.params().to_vec()),
            (fit.coefficients()[0], fit.coefficients()[1..].to_vec())
        );
        assert_eq!(params.fit(&double).expect("fit").answers().coefficients(), fit.coefficients());
        let predicted: Array1<f64> = model.predict(&records);
        for (found, expected) in predicted.iter().zip(fit.probabilities()) {
            near::absolute(*found, *expected, 1e-13, "probability");
        }
    }
}

#[test]
fn linfa_parameters_and_data_sets_are_checked() {
    let records = array![[0.0, 1.0], [1.0, 1.0], [2.0, 1.0], [3.0, 1.0]];
    let good = Dataset::new(records.clone(), array![0.0, 1.0, 0.0, 1.0]);
    let mixed = LogisticParams::firth().with_estimated_dispersion();
    assert!(mixed.check_ref().is_err() && mixed.fit(&good).is_err());
    assert!(LogisticParams::ordinary().with_estimated_dispersion().check().is_ok());
    let not_binary = Dataset::new(records.clone(), array![0.0, 2.0, 0.0, 1.0]);
    assert!(matches!(LogisticParams::ordinary().fit(&not_binary), Err(StatsError::Count { position: 1, .. })));
    let three = Dataset::new(records.clone(), Array2::<f64>::zeros((4, 3)));
    assert!(matches!(LogisticParams::ordinary().fit(&three), Err(StatsError::Dataset { .. })));
    let weighted = Dataset::new(records.clone(), array![0.0, 1.0, 0.0, 1.0]).with_weights(Array1::ones(4));
    assert!(matches!(LogisticParams::ordinary().fit(&weighted), Err(StatsError::Dataset { .. })));
    // The constant feature repeats the intercept and is dropped; without an intercept it is kept.
    let model = LogisticParams::ordinary().fit(&good).expect("fit");
    assert_eq!((model.params()[1], model.answers().notes()[0].code), (0.0, "aliased"));
    let bare = LogisticParams::ordinary().with_intercept(false).fit(&good).expect("fit");
    near::absolute(bare.params()[1], model.intercept(), 1e-12, "the same model");
    assert_eq!(bare.intercept(), 0.0);
}

#[test]
fn predictions_of_separated_data_are_one_where_all_succeed() {
    let Some(design) = endometrial() else { return };
    let records = design.fixed().select(ndarray::Axis(1), &[1, 2, 3]);
    let data = Dataset::new(records.clone(), Array1::from_vec(design.successes().to_vec()));
    let model = LogisticParams::ordinary().fit(&data).expect("fit");
    let predicted: Array1<f64> = model.predict(&records);
    for (i, p) in predicted.iter().enumerate() {
        assert!(p.is_finite() && (design.fixed()[[i, 1]] == 0.0 || *p == 1.0));
    }
}

#[test]
fn a_hundred_thousand_trials_a_row_do_not_hide_the_maximum_behind_rounding() {
    let successes = vec![494.0, 2466.0, 4613.0, 3324.0, 1418.0, 711.0, 3908.0, 715.0, 100.0];
    let trials = vec![1887.0, 5705.0, 5105.0, 9703.0, 2380.0, 967.0, 8536.0, 9243.0, 748.0];
    let x =
        [[1.0, 0.0], [0.0, 2.0], [2.0, 1.0], [0.0, 1.0], [1.0, 2.0], [2.0, 0.0], [0.0, 2.0], [0.0, 2.0], [0.0, 2.0]];
    for factor in [1.0, 10.0] {
        let times = |counts: &[f64]| counts.iter().map(|count| factor * count).collect::<Vec<f64>>();
        let fixed = Array2::from_shape_fn((9, 2), |(i, j)| x[i][j]);
        let names = vec!["a".into(), "b".into()];
        let design =
            BinomialDesign::new(times(&successes), times(&trials), fixed, names, vec![]).expect("valid design");
        let fit = BetaBinomial.fit(&design).expect("fit");
        assert!(fit.record().converged && fit.record().evaluations < 100, "{:?}", fit.record());
    }
}
