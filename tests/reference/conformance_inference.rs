//! Conformance of what is built on fits, and of the fits that `conformance` leaves out: Kenward-Roger, correlated terms, known variances.

use crate::brute_force::{awkward, correlated, second_stage};
use crate::models::model;
use crate::near;
use evenstand_stats::{
    Adjustment, Analysis, BetaBinomial, BinomialDesign, Cell, DegreesOfFreedom, Design, IntervalData, LeastSquares,
    LinearFit, Lmm, LmmFit, Logistic, MarginalMeans, PlannedTrial, Posterior, PosteriorOptions, Question, RandomTerm,
    SimulationOptions, SpreadPrior, StatsError, Structure, Turnbull, leave_one_group_out, parametric_bootstrap,
    simulate_power, test_random_terms, turnbull, variance_intervals,
};
use ndarray::Array2;

/// The designs that every mixed-model check runs over.
fn designs() -> Vec<(&'static str, Design)> {
    vec![("weights", awkward(0)), ("correlated", correlated(1)), ("known variances", second_stage(2))]
}

/// Rows in another order, groups numbered backwards, the response in other units.
fn changed(design: &Design, order: &[usize], backwards: bool, unit: f64) -> Design {
    let pick = |values: &[f64]| -> Vec<f64> { order.iter().map(|&i| values[i]).collect() };
    let random = design
        .random()
        .iter()
        .map(|term| RandomTerm {
            groups: order
                .iter()
                .map(|&i| if backwards { term.n_groups - 1 - term.groups[i] } else { term.groups[i] })
                .collect(),
            columns: term.columns.iter().map(|column| pick(column)).collect(),
            ..term.clone()
        })
        .collect();
    let response = pick(design.response()).iter().map(|y| unit * y).collect();
    let fixed = design.fixed().select(ndarray::Axis(0), order);
    let (names, weights) = (design.names().to_vec(), design.weights().map(&pick));
    if design.sampling_variances_known() {
        let variances: Vec<f64> = weights.expect("known").iter().map(|w| unit * unit / w).collect();
        return Design::with_sampling_variances(response, fixed, names, random, &variances).expect("valid design");
    }
    Design::new(response, fixed, names, random, weights).expect("valid design")
}

fn as_it_is(design: &Design) -> Vec<usize> {
    (0..design.n_observations()).collect()
}

/// Every row once, far from the order given.
fn mixed_up(design: &Design) -> Vec<usize> {
    let n = design.n_observations();
    let divides = |d: usize, value: usize| value.is_multiple_of(d);
    let coprime = |step: &usize| (2..=n).all(|d| !(divides(d, n) && divides(d, *step)));
    let step = (n / 2..).find(coprime).expect("a coprime step");
    (0..n).map(|i| (i * step + 1) % n).collect()
}

fn kenward_roger() -> Lmm {
    Lmm::reml().with_degrees_of_freedom(DegreesOfFreedom::KenwardRoger)
}

/// Standard errors, degrees of freedom and joint tests agree, the response of `b` measured in units `1 / unit` of those of `a`.
fn same_tests(a: &LmmFit, b: &LmmFit, unit: f64, what: &str) {
    let errors = a.standard_errors();
    let width = errors.len();
    for j in 0..width {
        let mut row = vec![0.0; width];
        row[j] = 1.0;
        let (one, other) = (a.contrast(&row).expect("contrast"), b.contrast(&row).expect("contrast"));
        near::absolute(other.estimate / unit / errors[j], one.estimate / errors[j], 1e-7, what);
        near::relative(other.std_error / unit, one.std_error, 1e-6, what);
        if one.df.is_finite() {
            near::relative(other.df, one.df, 1e-4, what);
        } else {
            assert_eq!(other.df, one.df, "{what}");
        }
    }
    let all = Array2::eye(width);
    let (one, other) = match (a.joint_test(&all), b.joint_test(&all)) {
        // Kenward and Roger's test of several rows needs moments that need not exist; then neither fit has them.
        (Err(StatsError::DegreesOfFreedom { .. }), Err(StatsError::DegreesOfFreedom { .. })) => return,
        (one, other) => (one.expect("test"), other.expect("test")),
    };
    near::relative(other.f, one.f, 1e-5, what);
    near::relative(other.p_value, one.p_value, 1e-4, what);
}

#[test]
fn order_labels_and_units_change_no_test_of_any_mixed_model() {
    for (what, design) in designs() {
        for lmm in [Lmm::reml(), Lmm::maximum_likelihood(), kenward_roger()] {
            let fit = lmm.fit(&design).expect("fit");
            let moved = lmm.fit(&changed(&design, &mixed_up(&design), true, 1.0)).expect("fit");
            same_tests(&fit, &moved, 1.0, what);
            let scaled = lmm.fit(&changed(&design, &as_it_is(&design), false, 4448.2)).expect("fit");
            same_tests(&fit, &scaled, 4448.2, what);
            for (a, b) in fit.correlations().iter().zip(moved.correlations()) {
                near::absolute(b.correlation, a.correlation, 1e-5, what);
            }
        }
    }
}

#[test]
fn fitting_again_gives_the_same_bytes_for_every_mixed_model_and_every_question() {
    for (what, design) in designs() {
        for lmm in [Lmm::reml(), Lmm::maximum_likelihood(), kenward_roger()] {
            let (one, two) = (lmm.fit(&design).expect("fit"), lmm.fit(&design).expect("fit"));
            assert_eq!(one.coefficients(), two.coefficients(), "{what}");
            assert_eq!((one.theta(), one.criterion()), (two.theta(), two.criterion()), "{what}");
            assert_eq!(one.covariance(), two.covariance(), "{what}");
            assert_eq!(one.optimum(), two.optimum(), "{what}");
            assert_eq!(one.conditional_modes(), two.conditional_modes(), "{what}");
            let all = Array2::eye(one.names().len());
            assert_eq!(one.joint_test(&all), two.joint_test(&all), "{what}");
        }
        let fit = Lmm::reml().fit(&design).expect("fit");
        let intervals = || variance_intervals(&design, &fit, 0.9).expect("intervals");
        assert_eq!(intervals(), intervals(), "{what}");
    }
}

#[test]
fn profile_intervals_likelihood_ratios_and_influence_follow_order_and_units() {
    let design = awkward(1);
    let fit = Lmm::reml().fit(&design).expect("fit");
    let intervals = variance_intervals(&design, &fit, 0.9).expect("intervals");
    let smaller = design.with_random(design.random()[..3].to_vec()).expect("valid");
    let test = test_random_terms(&Lmm::reml().fit(&smaller).expect("fit"), &fit).expect("test");
    let term = &design.random()[0];
    let influence = leave_one_group_out(
        &design.with_random(vec![term.clone()]).expect("valid"),
        &{ Lmm::reml().fit(&design.with_random(vec![term.clone()]).expect("valid")).expect("fit") },
        &term.groups,
        term.n_groups,
    )
    .expect("influence");
    for (order, unit) in [(mixed_up(&design), 1.0), (as_it_is(&design), 1e3)] {
        let other = changed(&design, &order, false, unit);
        let other_fit = Lmm::reml().fit(&other).expect("fit");
        for (a, b) in intervals.iter().zip(variance_intervals(&other, &other_fit, 0.9).expect("intervals")) {
            near::absolute(b.interval.low / unit / fit.sigma(), a.interval.low / fit.sigma(), 1e-5, &a.term);
            near::absolute(b.interval.high / unit / fit.sigma(), a.interval.high / fit.sigma(), 1e-4, &a.term);
        }
        let other_smaller = other.with_random(other.random()[..3].to_vec()).expect("valid");
        let again = test_random_terms(&Lmm::reml().fit(&other_smaller).expect("fit"), &other_fit).expect("test");
        near::absolute(again.statistic, test.statistic, 1e-8, "likelihood ratio");
        let alone = other.with_random(vec![other.random()[0].clone()]).expect("valid");
        let alone_fit = Lmm::reml().fit(&alone).expect("fit");
        let moved =
            leave_one_group_out(&alone, &alone_fit, &alone.random()[0].groups, term.n_groups).expect("influence");
        for (a, b) in influence.iter().zip(&moved) {
            let (a, b) = (a.cooks_distance.expect("told"), b.cooks_distance.expect("told"));
            near::absolute(b, a, 1e-6, "Cook's distance");
        }
    }
}

#[test]
fn draws_of_the_posterior_scale_with_the_response_and_keep_to_any_order_of_rows() {
    let design = model("oats-quadratic").expect("typed in");
    assert!(design.random().iter().all(|term| term.structure == Structure::Common));
    let options = |unit: f64| PosteriorOptions {
        draws: 60,
        burn_in: 200,
        thin: 2,
        seed: 3,
        priors: vec![SpreadPrior::HalfNormal(20.0 * unit); 2],
        mean_only: vec![],
    };
    let one = Posterior::sample(&design, &options(1.0)).expect("sample");
    for (order, unit) in [(mixed_up(&design), 1.0), (as_it_is(&design), 1024.0)] {
        let other = Posterior::sample(&changed(&design, &order, false, unit), &options(unit)).expect("sample");
        for draw in 0..60 {
            near::relative(other.sigma[draw] / unit, one.sigma[draw], 1e-6, "sigma");
            for k in 0..2 {
                let (a, b) = (one.standard_deviations[[draw, k]], other.standard_deviations[[draw, k]] / unit);
                near::absolute(b, a, 1e-5 * one.sigma[draw], "standard deviation");
            }
        }
    }
}

#[test]
fn bootstrapped_statistics_scale_with_the_response() {
    let design = model("seedrate-quadratic").expect("typed in");
    let values = |unit: f64| {
        let design = changed(&design, &as_it_is(&design), false, unit);
        let fit = Lmm::reml().fit(&design).expect("fit");
        let again = parametric_bootstrap(&design, &fit, 20, 7, |fit| vec![fit.coefficients()[1], fit.sigma()]);
        again.expect("bootstrap").values(1).expect("a statistic")
    };
    for (a, b) in values(1.0).iter().zip(values(1000.0)) {
        near::relative(b, 1000.0 * a, 1e-6, "sigma of a replicate");
    }
}

#[test]
fn simulated_power_does_not_depend_on_units() {
    let trial = |unit: f64| PlannedTrial {
        fixed: Array2::from_shape_fn((16, 2), |(i, j)| if j == 0 { 1.0 } else { (i % 2) as f64 }),
        names: vec!["one".into(), "treated".into()],
        mean: (0..16).map(|i| unit * (i % 2) as f64).collect(),
        random: vec![(RandomTerm::intercept("block", (0..16).map(|i| i / 4).collect(), 4), 0.8 * unit)],
        sigma: 0.9 * unit,
    };
    let question = Question::Contrast { row: vec![0.0, 1.0], alpha: 0.05 };
    let options = SimulationOptions { runs: 150, seed: 5 };
    for analysis in [Analysis::LeastSquares, Analysis::Mixed] {
        let power = |unit: f64| simulate_power(&trial(unit), analysis, &question, options).expect("simulation");
        assert_eq!(power(1.0), power(1024.0), "{analysis:?}");
    }
}

#[test]
fn turnbull_masses_do_not_depend_on_order_splitting_or_the_unit_of_time() {
    let rows = [(0.0, 2.0, 3), (1.0, 3.0, 2), (2.0, 5.0, 4), (3.0, f64::INFINITY, 2), (1.0, 5.0, 6), (4.0, 6.0, 1)];
    let masses = |rows: &[(f64, f64, u64)]| -> Turnbull {
        let (left, rest): (Vec<f64>, Vec<(f64, u64)>) = rows.iter().map(|(l, r, n)| (*l, (*r, *n))).unzip();
        let (right, counts) = rest.into_iter().unzip();
        turnbull(&IntervalData::new(left, right, counts).expect("valid"))
    };
    let one = masses(&rows);
    assert_eq!(one.masses(), masses(&rows).masses(), "the same bytes");
    let mut moved = rows.to_vec();
    moved.rotate_left(2);
    moved.push((2.0, 5.0, 1));
    moved.iter_mut().find(|row| row.2 == 4).expect("listed").2 = 3;
    let scaled: Vec<(f64, f64, u64)> = rows.iter().map(|(l, r, n)| (24.0 * l, 24.0 * r, *n)).collect();
    for (other, unit) in [(masses(&moved), 1.0), (masses(&scaled), 24.0)] {
        near::absolute(other.log_likelihood(), one.log_likelihood(), 1e-9, "log-likelihood");
        for (a, b) in one.masses().iter().zip(other.masses()) {
            assert_eq!((b.left, b.right), (unit * a.left, unit * a.right));
            near::absolute(b.mass, a.mass, 1e-7, "mass");
        }
    }
}

#[test]
fn units_of_columns_move_no_beta_binomial_and_fits_of_counts_repeat_their_bytes() {
    let design = |unit: f64| {
        let x = |i: usize| (i as f64 * 0.9).sin();
        let fixed = Array2::from_shape_fn((14, 2), |(i, j)| if j == 0 { 1.0 } else { unit * x(i) });
        let trials: Vec<f64> = (0..14).map(|i| (8 + 3 * (i % 4)) as f64).collect();
        let successes = trials.iter().enumerate().map(|(i, n)| (n * ((i * 5 % 7) as f64) / 7.0).floor()).collect();
        BinomialDesign::new(successes, trials, fixed, vec!["one".into(), "x".into()], vec![]).expect("valid design")
    };
    let fit = BetaBinomial.fit(&design(1.0)).expect("fit");
    let scaled = BetaBinomial.fit(&design(1e6)).expect("fit");
    near::relative(scaled.coefficients()[1] * 1e6, fit.coefficients()[1], 1e-8, "coefficient");
    near::relative(scaled.correlation(), fit.correlation(), 1e-8, "correlation");
    let again = BetaBinomial.fit(&design(1.0)).expect("fit");
    assert_eq!((fit.coefficients(), fit.covariance()), (again.coefficients(), again.covariance()));
    let firth = || Logistic::firth().fit(&design(1.0)).expect("fit");
    assert_eq!((firth().coefficients(), firth().covariance()), (firth().coefficients(), firth().covariance()));
}

#[test]
fn marginal_means_and_comparisons_repeat_their_bytes_and_follow_order_and_units() {
    let design = model("seedrate-rcb").expect("typed in");
    let width = design.rank();
    let cells: Vec<Cell> = (0..width)
        .map(|level| {
            Cell::new(format!("r{level}"), (0..width).map(|j| f64::from(u8::from(j == 0 || j == level))).collect())
        })
        .collect();
    let adjusted = |order: &[usize], unit: f64| {
        let design = changed(&design, order, true, unit);
        let fit = kenward_roger().fit(&design).expect("fit");
        let means = MarginalMeans::new(&design, &fit, &cells).expect("means");
        let values: Vec<f64> = means.means().iter().map(|mean| mean.contrast.estimate).collect();
        (values, means.all_pairs().expect("family").adjust(Adjustment::Tukey, 0.95).expect("adjusted").rows)
    };
    let one = adjusted(&as_it_is(&design), 1.0);
    assert_eq!(one, adjusted(&as_it_is(&design), 1.0));
    for (order, unit) in [(mixed_up(&design), 1.0), (as_it_is(&design), 1e-3)] {
        let other = adjusted(&order, unit);
        for (a, b) in one.0.iter().zip(&other.0) {
            near::relative(b / unit, *a, 1e-9, "mean");
        }
        for (a, b) in one.1.iter().zip(&other.1) {
            near::absolute(b.adjusted_p, a.adjusted_p, 1e-6, &a.name);
        }
    }
}

#[test]
fn least_squares_repeats_its_bytes_and_follows_order_and_units() {
    let base = awkward(2);
    let design = base.with_random(vec![]).expect("valid");
    let fit = LeastSquares.fit(&design).expect("fit");
    let again = LeastSquares.fit(&design).expect("fit");
    assert_eq!((fit.coefficients(), fit.covariance()), (again.coefficients(), again.covariance()));
    for (order, unit) in [(mixed_up(&design), 1.0), (as_it_is(&design), 1e9)] {
        let other = LeastSquares.fit(&changed(&design, &order, false, unit)).expect("fit");
        let errors = fit.standard_errors();
        for j in 0..3 {
            near::absolute(other.coefficients()[j] / unit / errors[j], fit.coefficients()[j] / errors[j], 1e-12, "b");
            near::relative(other.standard_errors()[j] / unit, errors[j], 1e-12, "se");
        }
    }
}
