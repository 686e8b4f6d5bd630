//! Ordinary, quasi-binomial and penalised logistic regression.

use crate::counts::{cbpp, endometrial, random_counts, reordered, seeds, spector};
use crate::data::{by_name, expected, number, numbers};
use crate::near;
use evenstand_stats::{BinomialDesign, LinearFit, Logistic, StatsError};
use ndarray::{Array2, array};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::Value;

const CASES: &str = include_str!("cases/binomial.json");

/// Maximum likelihood of the check `id`; R's own stopping rule leaves about 1e-9 in coefficients and 1e-7 in standard errors.
fn agrees_with_glm(design: &BinomialDesign, id: &str) {
    let case = &expected(CASES, id)["glm"];
    let fit = Logistic::ordinary().fit(design).expect("fit");
    let se = by_name(&expected(CASES, id)["glm"]["se"], fit.names());
    near::scaled(fit.coefficients(), &by_name(&case["coef"], fit.names()), &se, 1e-7, "coefficients");
    near::scaled(&fit.standard_errors(), &se, &se, 1e-6, "standard errors");
    near::relative(fit.deviance(), number(&case["deviance"]), 1e-12, "deviance");
    near::relative(fit.null_deviance(), number(&case["null_deviance"]), 1e-12, "null deviance");
    near::relative(fit.pearson_chi_squared(), number(&case["pearson_chi2"]), 1e-8, "Pearson's chi-squared");
    near::relative(fit.log_likelihood(), number(&case["loglik"]), 1e-12, "log-likelihood");
    assert_eq!(fit.residual_df() as f64, number(&case["df"]));
    assert!(fit.record().converged && fit.notes().is_empty());
    let quasi = Logistic::ordinary().with_estimated_dispersion().fit(design).expect("fit");
    let case = &expected(CASES, id)["quasibinomial"];
    near::relative(quasi.dispersion().expect("df left"), number(&case["dispersion"]), 1e-8, "dispersion");
    near::scaled(&quasi.standard_errors(), &by_name(&case["se"], fit.names()), &se, 1e-6, "quasi standard errors");
    let contrast = quasi.contrast(&[0.0, 1.0, 0.0, 0.0]).expect("contrast");
    assert_eq!((contrast.df, contrast.method.as_str()), (fit.residual_df() as f64, "residual"));
}

#[test]
fn germination_of_seeds_by_ordinary_and_quasi_binomial_regression() {
    agrees_with_glm(&seeds(), "glmm-seeds");
}

#[test]
fn incidence_in_herds_by_ordinary_and_quasi_binomial_regression() {
    if let Some(design) = cbpp() {
        agrees_with_glm(&design, "glmm-cbpp");
    }
}

#[test]
fn grades_have_the_published_fit_and_profile_limits() {
    let case = expected(CASES, "logit-spector");
    let fit = Logistic::ordinary().fit(&spector()).expect("fit");
    let se = by_name(&case["se"], fit.names());
    near::scaled(fit.coefficients(), &by_name(&case["coef"], fit.names()), &se, 1e-6, "coefficients");
    near::scaled(&fit.standard_errors(), &se, &se, 1e-5, "standard errors");
    near::absolute(fit.log_likelihood(), number(&case["loglik"]), 1e-11, "log-likelihood");
    near::relative(fit.aic(), number(&case["aic"]), 1e-12, "AIC");
    near::relative(-0.5 * fit.null_deviance(), number(&case["null_loglik"]), 1e-12, "null log-likelihood");
    for (j, name) in fit.names().iter().enumerate() {
        let limits = numbers(&case["profile_ci"][name]);
        let found = fit.profile_interval(j, 0.95).expect("profile");
        // The expected limits come from a spline through profile points.
        near::absolute(found.low, limits[0], 2e-3 * se[j], name);
        near::absolute(found.high, limits[1], 2e-3 * se[j], name);
    }
}

fn agrees_with_firth(design: &BinomialDesign, case: &Value) {
    let fit = Logistic::firth().fit(design).expect("fit");
    let se = by_name(&case["wald_se"], fit.names());
    near::scaled(fit.coefficients(), &by_name(&case["coef"], fit.names()), &se, 1e-8, "coefficients");
    near::scaled(&fit.standard_errors(), &se, &se, 1e-7, "standard errors");
    near::absolute(fit.log_likelihood(), number(&case["penalised_loglik"]), 1e-10, "penalised log-likelihood");
    for (j, name) in fit.names().iter().enumerate() {
        let found = fit.profile_interval(j, 0.95).expect("profile");
        near::relative(found.low, number(&case["profile_ci_lower"][name]), 1e-6, name);
        near::relative(found.high, number(&case["profile_ci_upper"][name]), 1e-6, name);
        let test = fit.profile_test(j, 0.0).expect("test");
        near::relative(test.statistic, number(&case["profile_chisq"][name]), 1e-8, name);
        near::relative(test.p_value, number(&case["profile_p"][name]), 1e-8, name);
    }
    assert!(fit.record().converged && fit.is_penalised() && fit.separation().is_none());
}

#[test]
fn grades_by_penalised_likelihood() {
    agrees_with_firth(&spector(), &expected(CASES, "logit-spector")["firth"]);
}

#[test]
fn separated_cancer_grades_by_penalised_likelihood() {
    if let Some(design) = endometrial() {
        agrees_with_firth(&design, &expected(CASES, "firth-endometrial"));
    }
}

#[test]
fn separated_cancer_grades_have_no_ordinary_fit_and_are_told_so() {
    let Some(design) = endometrial() else { return };
    let fit = Logistic::ordinary().fit(&design).expect("fit");
    let found = fit.separation().expect("separated");
    assert_eq!((found.columns.as_slice(), found.directions.as_slice()), (&["NV".to_string()][..], &[1.0][..]));
    assert!(!found.complete && found.rows == 13);
    assert_eq!(fit.coefficients()[1], f64::INFINITY);
    assert_eq!(fit.notes()[0].code, "separation");
    assert!(!fit.record().converged && fit.record().reason.contains("no finite maximum"));
    assert!(fit.notes()[0].message.contains("`NV` runs to plus infinity"), "{}", fit.notes()[0].message);
    let refused = StatsError::NoFiniteMaximum { column: "NV".into() };
    assert_eq!(fit.contrast(&[0.0, 1.0, 0.0, 0.0]).expect_err("no estimate"), refused);
    assert_eq!(fit.profile_interval(1, 0.95).expect_err("no estimate"), refused);
    // The other coefficients are those of the rows that are not told apart, without the column.
    let rows: Vec<usize> = (0..design.n_observations()).filter(|&i| design.fixed()[[i, 1]] == 0.0).collect();
    let rest = reordered(&design, &rows);
    let rest = Logistic::ordinary().fit(&rest).expect("fit");
    assert_eq!(rest.names(), ["(Intercept)", "PI", "EH"]);
    for (j, k) in [(0, 0), (2, 1), (3, 2)] {
        near::relative(fit.coefficients()[j], rest.coefficients()[k], 1e-7, "limit");
        near::relative(fit.standard_errors()[j], rest.standard_errors()[k], 1e-7, "its standard error");
    }
    near::absolute(fit.log_likelihood(), rest.log_likelihood(), 1e-9, "the least upper bound of the log-likelihood");
    let row = [0.0, 0.0, 1.0, -0.5];
    let (whole, part) = (fit.contrast(&row).expect("contrast"), rest.contrast(&[0.0, 1.0, -0.5]).expect("contrast"));
    near::relative(whole.estimate, part.estimate, 1e-7, "contrast");
    near::relative(whole.std_error, part.std_error, 1e-7, "contrast");
}

#[test]
fn a_group_of_successes_only_is_finite_with_the_penalty() {
    // 10 of 10 against 4 of 10. The penalty of a saturated two-group model adds half a success and half a failure to each group.
    let columns = array![[1.0, 0.0], [1.0, 1.0]];
    let names = vec!["one".to_string(), "b".to_string()];
    let design = BinomialDesign::new(vec![4.0, 10.0], vec![10.0, 10.0], columns, names, vec![]).expect("valid design");
    let fit = Logistic::firth().fit(&design).expect("fit");
    near::relative(fit.coefficients()[0], (4.5_f64 / 6.5).ln(), 1e-12, "intercept");
    near::relative(fit.coefficients()[1], (10.5_f64 / 0.5).ln() - (4.5_f64 / 6.5).ln(), 1e-12, "difference");
    assert!(Logistic::ordinary().fit(&design).expect("fit").separation().is_some());
}

/// Newton on the plain design, with normal equations by Gauss-Jordan elimination.
fn plain_newton(design: &BinomialDesign) -> (Vec<f64>, Vec<f64>) {
    let p = design.rank();
    let x = design.fixed();
    let mut beta = vec![0.0; p];
    let mut errors = vec![0.0; p];
    for _ in 0..60 {
        let mut a = vec![vec![0.0; 2 * p]; p];
        let mut score = vec![0.0; p];
        for i in 0..design.n_observations() {
            let logit: f64 = (0..p).map(|j| x[[i, j]] * beta[j]).sum();
            let share = 1.0 / (1.0 + (-logit).exp());
            for j in 0..p {
                score[j] += x[[i, j]] * (design.successes()[i] - design.trials()[i] * share);
                for l in 0..p {
                    a[j][l] += x[[i, j]] * x[[i, l]] * design.trials()[i] * share * (1.0 - share);
                }
            }
        }
        for j in 0..p {
            a[j][p + j] = 1.0;
        }
        for k in 0..p {
            let pivot = a[k][k];
            a[k].iter_mut().for_each(|v| *v /= pivot);
            for i in (0..p).filter(|&i| i != k) {
                let factor = a[i][k];
                let pivot_row = a[k].clone();
                a[i].iter_mut().zip(&pivot_row).for_each(|(v, p)| *v -= factor * p);
            }
        }
        for j in 0..p {
            beta[j] += (0..p).map(|l| a[j][p + l] * score[l]).sum::<f64>();
            errors[j] = a[j][p + j].sqrt();
        }
    }
    (beta, errors)
}

#[test]
fn a_plain_second_implementation_agrees_on_random_counts() {
    for seed in 0..8 {
        let design = random_counts(60, 12, seed, vec![]);
        let fit = Logistic::ordinary().fit(&design).expect("fit");
        let (beta, errors) = plain_newton(&design);
        near::scaled(fit.coefficients(), &beta, &errors, 1e-11, "coefficients");
        near::scaled(&fit.standard_errors(), &errors, &errors, 1e-11, "standard errors");
    }
}

#[test]
fn order_units_and_splitting_of_rows_change_nothing() {
    let design = random_counts(40, 9, 77, vec![]);
    let order: Vec<usize> = (0..40).map(|i| (i * 7 + 3) % 40).collect();
    let scaled = BinomialDesign::new(
        design.successes().to_vec(),
        design.trials().to_vec(),
        Array2::from_shape_fn((40, 3), |(i, j)| design.fixed()[[i, j]] * [1.0, 1e6, 1e-5][j]),
        design.names().to_vec(),
        vec![],
    )
    .expect("valid design");
    // One row per trial.
    let single: Vec<(usize, f64)> = (0..40)
        .flat_map(|i| (0..design.trials()[i] as usize).map(move |t| (i, t)))
        .map(|(i, t)| (i, f64::from(u8::from((t as f64) < design.successes()[i]))))
        .collect();
    let rows: Vec<usize> = single.iter().map(|row| row.0).collect();
    let split = BinomialDesign::new(
        single.iter().map(|row| row.1).collect(),
        vec![1.0; single.len()],
        design.fixed().select(ndarray::Axis(0), &rows),
        design.names().to_vec(),
        vec![],
    )
    .expect("valid design");
    for options in [Logistic::ordinary(), Logistic::firth()] {
        let fit = options.fit(&design).expect("fit");
        let again = options.fit(&design).expect("fit");
        assert_eq!((fit.coefficients(), fit.log_likelihood()), (again.coefficients(), again.log_likelihood()));
        let se = fit.standard_errors();
        for other in [options.fit(&reordered(&design, &order)).expect("fit"), options.fit(&split).expect("fit")] {
            near::scaled(other.coefficients(), fit.coefficients(), &se, 1e-10, "coefficients");
            near::scaled(&other.standard_errors(), &se, &se, 1e-10, "standard errors");
        }
        let units = options.fit(&scaled).expect("fit");
        for j in 0..3 {
            let factor = [1.0, 1e6, 1e-5][j];
            near::relative(units.coefficients()[j] * factor, fit.coefficients()[j], 1e-9, "coefficient in other units");
            let (a, b) =
                (units.profile_interval(j, 0.9).expect("profile"), fit.profile_interval(j, 0.9).expect("profile"));
            near::absolute(a.low * factor, b.low, 1e-8 * se[j], "profile limit in other units");
        }
    }
}

#[test]
fn likelihood_ratio_joint_and_single_tests_belong_together() {
    let design = random_counts(80, 20, 5, vec![]);
    let fit = Logistic::ordinary().fit(&design).expect("fit");
    let smaller = BinomialDesign::new(
        design.successes().to_vec(),
        design.trials().to_vec(),
        design.fixed().select(ndarray::Axis(1), &[0, 1]),
        design.names()[..2].to_vec(),
        vec![],
    )
    .expect("valid design");
    let smaller = Logistic::ordinary().fit(&smaller).expect("fit");
    let nested = fit.likelihood_ratio_test(&smaller).expect("nested");
    let held = fit.profile_test(2, 0.0).expect("profile");
    near::absolute(nested.statistic, held.statistic, 1e-10, "dropping a column or holding it at zero");
    assert!(smaller.likelihood_ratio_test(&fit).is_err());
    // A profile limit is where the test is exactly at its level.
    let limits = fit.profile_interval(2, 0.95).expect("profile");
    for limit in [limits.low, limits.high] {
        near::absolute(fit.profile_test(2, limit).expect("test").p_value, 0.05, 1e-9, "p-value at the limit");
    }
    let contrast = fit.contrast(&[0.0, 0.0, 1.0]).expect("contrast");
    let joint = fit.joint_test(&array![[0.0, 0.0, 1.0]]).expect("joint");
    assert_eq!((contrast.df, contrast.method.as_str()), (f64::INFINITY, "z"));
    // Two routes of statrs, which agree to about ten digits.
    near::relative(joint.p_value, contrast.p_value(), 1e-9, "z test and chi-squared test");
    near::relative(
        contrast.interval(0.95).high - contrast.estimate,
        1.959963984540054 * contrast.std_error,
        1e-10,
        "z",
    );
}

#[test]
fn a_dependent_column_is_dropped_with_a_note() {
    let base = random_counts(30, 9, 3, vec![]);
    let fixed =
        Array2::from_shape_fn((30, 4), |(i, j)| if j < 3 { base.fixed()[[i, j]] } else { base.fixed()[[i, 1]] - 2.0 });
    let names = ["one", "x", "x2", "again"].map(String::from).to_vec();
    let design = BinomialDesign::new(base.successes().to_vec(), base.trials().to_vec(), fixed, names, vec![])
        .expect("valid design");
    assert_eq!(design.aliased(), ["again"]);
    let fit = Logistic::ordinary().fit(&design).expect("fit");
    assert_eq!(fit.notes()[0].code, "aliased");
    assert_eq!(design.estimable_row(&[1.0, 0.5, 0.25, -1.5]).expect("estimable"), [1.0, 0.5, 0.25]);
    assert!(design.estimable_row(&[1.0, 0.5, 0.25, 0.0]).is_err());
}

/// True when the likelihood of `1, x` has no finite maximum: no success lies below a failure, or none above. A group in which both
/// happen counts on both sides, and one x alone only separates when it is all or nothing.
fn cut_exists(x: &[f64], k: &[f64], n: &[f64]) -> bool {
    let among = |wanted: &dyn Fn(usize) -> bool| -> (f64, f64) {
        (0..x.len())
            .filter(|&i| wanted(i))
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), i| (low.min(x[i]), high.max(x[i])))
    };
    let (success_low, success_high) = among(&|i| k[i] > 0.0);
    let (failure_low, failure_high) = among(&|i| k[i] < n[i]);
    failure_high <= success_low || success_high <= failure_low
}

#[test]
fn small_tables_are_separated_exactly_when_a_cut_exists() {
    let mut random = ChaCha8Rng::seed_from_u64(9);
    let mut separated = 0;
    for _ in 0..600 {
        let rows = random.random_range(2..9_usize);
        let x: Vec<f64> = (0..rows).map(|_| f64::from(random.random_range(0..5_u32))).collect();
        if x.iter().all(|v| *v == x[0]) {
            continue;
        }
        let n: Vec<f64> = (0..rows).map(|_| f64::from(random.random_range(1..4_u32))).collect();
        let k: Vec<f64> = n.iter().map(|n| f64::from(random.random_range(0..=*n as u32))).collect();
        let fixed = Array2::from_shape_fn((rows, 2), |(i, j)| if j == 0 { 1.0 } else { x[i] });
        let names = vec!["one".to_string(), "x".to_string()];
        let design = BinomialDesign::new(k.clone(), n.clone(), fixed, names, vec![]).expect("valid design");
        let fit = Logistic::ordinary().fit(&design).expect("fit");
        assert_eq!(fit.separation().is_some(), cut_exists(&x, &k, &n), "x {x:?} k {k:?} n {n:?}");
        assert_eq!(fit.record().converged, fit.separation().is_none());
        separated += usize::from(fit.separation().is_some());
        let firth = Logistic::firth().fit(&design).expect("fit");
        assert!(firth.record().converged, "{:?} x {x:?} k {k:?} n {n:?}", firth.record());
        let limits = firth.profile_interval(1, 0.95).expect("profile");
        assert!(limits.contains(firth.coefficients()[1]) && limits.width() > 0.0);
    }
    assert!((100..500).contains(&separated), "{separated}: both kinds are needed");
}

#[test]
fn nothing_but_failures_takes_the_intercept_to_minus_infinity() {
    let design = BinomialDesign::new(vec![0.0; 6], vec![4.0; 6], Array2::ones((6, 1)), vec!["one".into()], Vec::new());
    let fit = Logistic::ordinary().fit(&design.expect("valid design")).expect("fit");
    assert_eq!((fit.coefficients()[0], fit.standard_errors()[0]), (f64::NEG_INFINITY, f64::INFINITY));
    assert!(fit.notes()[0].message.contains("`one` runs to minus infinity"), "{}", fit.notes()[0].message);
}

#[test]
fn nothing_but_successes_is_complete_separation_by_the_intercept() {
    let design = BinomialDesign::new(vec![4.0; 6], vec![4.0; 6], Array2::ones((6, 1)), vec!["one".into()], vec![])
        .expect("valid design");
    let fit = Logistic::ordinary().fit(&design).expect("fit");
    assert!(fit.separation().expect("separated").complete);
    assert_eq!((fit.coefficients()[0], fit.standard_errors()[0]), (f64::INFINITY, f64::INFINITY));
    near::absolute(fit.log_likelihood(), 0.0, 1e-12, "every row is certain");
    // 24.5 against 0.5: the penalty of one common probability adds half a success and half a failure.
    let firth = Logistic::firth().fit(&design).expect("fit");
    near::relative(firth.coefficients()[0], 49.0_f64.ln(), 1e-12, "with the penalty");
}

#[test]
fn rows_without_scatter_leave_no_dispersion_and_the_note_says_so() {
    let fitted = |successes: Vec<f64>| {
        let trials = vec![10.0, 10.0, 20.0, 1e6];
        let design = BinomialDesign::new(successes, trials, Array2::ones((4, 1)), vec!["one".into()], vec![]);
        Logistic::ordinary().with_estimated_dispersion().fit(&design.expect("valid design")).expect("fit")
    };
    let codes = |successes| fitted(successes).notes().iter().map(|note| note.code).collect::<Vec<_>>();
    assert_eq!(codes(vec![3.0, 3.0, 6.0, 3e5]), ["perfect-fit"]);
    // One seed of a million is scatter enough.
    assert_eq!(codes(vec![3.0, 3.0, 6.0, 3e5 + 1.0]), [""; 0]);
}
