//! What must hold for every fit, whatever the data: order, labels and units do not matter, and the same input gives the same bytes.
//!
//! Which test says so for which estimator; names without a file are here or in `conformance_inference`.
//!
//! - Least squares: everything in `least_squares_repeats_its_bytes_and_follows_order_and_units`.
//! - Mixed models (weights, slopes, correlated terms, known variances; both likelihoods, Satterthwaite and Kenward-Roger): rows and labels in
//!   `order_labels_and_units_change_no_test_of_any_mixed_model` and `row_order_and_group_numbers_change_nothing`; response there and in
//!   `units_of_the_response_scale_the_answer`; columns in `units_of_a_column_and_of_a_slope_scale_the_answer`; weights in
//!   `a_common_factor_of_all_weights_moves_only_sigma`; bytes in
//!   `fitting_again_gives_the_same_bytes_for_every_mixed_model_and_every_question`; refits in `scale::refits_are_the_fits_of_the_same_responses`.
//! - Profile intervals, tests of random terms, influence: `profile_intervals_likelihood_ratios_and_influence_follow_order_and_units`.
//! - Posterior: rows and response in `draws_of_the_posterior_scale_with_the_response_and_keep_to_any_order_of_rows`; bytes in
//!   `posterior::the_same_seed_gives_the_same_bytes_and_another_seed_does_not`. New labels draw other numbers.
//! - Bootstrap: response in `bootstrapped_statistics_scale_with_the_response`; bytes and threads in
//!   `bootstrap::one_thread_and_several_give_the_same_bytes_and_another_seed_does_not`.
//! - Means and comparisons: `marginal_means_and_comparisons_repeat_their_bytes_and_follow_order_and_units`,
//!   `comparisons::comparisons_do_not_depend_on_the_order_of_means_and_scale_with_the_response`.
//! - Shapes: rows and bytes in `response_shapes::the_order_of_rows_changes_nothing`; x in
//!   `response_shapes::units_and_centring_of_x_move_the_optimum_as_they_should_and_change_no_weight`.
//! - Logistic and Firth: `logistic_regression::order_units_and_splitting_of_rows_change_nothing`. Beta-binomial: rows in
//!   `beta_binomial::no_neighbour_is_better_and_order_changes_nothing`; columns and bytes in
//!   `units_of_columns_move_no_beta_binomial_and_fits_of_counts_repeat_their_bytes`. Binomial mixed models: everything in
//!   `binomial_mixed::order_labels_units_and_refitting_change_nothing`.
//! - Event times: `event_times_conformance::order_merging_and_splitting_of_rows_change_nothing` and
//!   `event_times_conformance::a_change_of_the_time_unit_shifts_mu_and_nothing_else`. Turnbull: everything in
//!   `turnbull_masses_do_not_depend_on_order_splitting_or_the_unit_of_time`.
//! - Simulated power: units in `simulated_power_does_not_depend_on_units`; bytes and threads in
//!   `power::a_simulation_repeats_itself_on_any_number_of_threads_and_moves_with_its_seed`.

use crate::brute_force::awkward;
use crate::near;
use evenstand_stats::{Criterion, Design, LeastSquares, LinearFit, Lmm, RandomTerm, baseline, deviance_at};
use ndarray::Array2;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// The same design with rows in another order and groups numbered in another way.
fn shuffled(design: &Design) -> Design {
    let n = design.n_observations();
    // 27 and 40 have no common divisor, so this visits every row once.
    let order: Vec<usize> = (0..n).map(|i| (i * 27 + 5) % n).collect();
    let random = design
        .random()
        .iter()
        .map(|term| RandomTerm {
            name: term.name.clone(),
            groups: order.iter().map(|&i| term.n_groups - 1 - term.groups[i]).collect(),
            n_groups: term.n_groups,
            columns: term.columns.iter().map(|c| order.iter().map(|&i| c[i]).collect()).collect(),
            ..term.clone()
        })
        .collect();
    Design::new(
        order.iter().map(|&i| design.response()[i]).collect(),
        Array2::from_shape_fn(design.fixed().dim(), |(i, j)| design.fixed()[[order[i], j]]),
        design.names().to_vec(),
        random,
        design.weights().map(|w| order.iter().map(|&i| w[i]).collect()),
    )
    .expect("valid design")
}

/// The same design with response, columns and weights in other units, or other random terms.
fn changed(design: &Design, response: f64, column: f64, weight: f64, random: Vec<RandomTerm>) -> Design {
    let mut fixed = design.fixed().clone();
    fixed.column_mut(1).mapv_inplace(|value| column * value);
    Design::new(
        design.response().iter().map(|y| response * y).collect(),
        fixed,
        design.names().to_vec(),
        random,
        design.weights().map(|w| w.iter().map(|value| weight * value).collect()),
    )
    .expect("valid design")
}

#[test]
fn row_order_and_group_numbers_change_nothing() {
    for seed in 0..3 {
        let design = awkward(seed);
        let one = Lmm::reml().fit(&design).expect("fit");
        let other = Lmm::reml().fit(&shuffled(&design)).expect("fit");
        near::scaled(other.coefficients(), one.coefficients(), &one.standard_errors(), 1e-8, "coefficients");
        near::absolute(other.criterion(), one.criterion(), 1e-10, "criterion");
        for (a, b) in other.theta().iter().zip(one.theta()) {
            near::absolute(*a, *b, 1e-7, "theta");
        }
        for j in 0..3 {
            let mut row = [0.0; 3];
            row[j] = 1.0;
            let (a, b) = (other.contrast(&row).expect("contrast"), one.contrast(&row).expect("contrast"));
            near::relative(a.df, b.df, 1e-5, "df");
        }
    }
}

#[test]
fn units_of_the_response_scale_the_answer() {
    let design = awkward(1);
    let one = Lmm::reml().fit(&design).expect("fit");
    let scaled = Lmm::reml().fit(&changed(&design, 1000.0, 1.0, 1.0, design.random().to_vec())).expect("fit");
    near::relative(scaled.sigma(), 1000.0 * one.sigma(), 1e-8, "sigma");
    for (a, b) in scaled.coefficients().iter().zip(one.coefficients()) {
        near::relative(*a, 1000.0 * b, 1e-8, "coefficient");
    }
    // -2 log L of c y is that of y plus 2 df log c.
    near::absolute(scaled.criterion(), one.criterion() + 2.0 * 37.0 * 1000.0_f64.ln(), 1e-9, "criterion");
}

#[test]
fn units_of_a_column_and_of_a_slope_scale_the_answer() {
    let design = awkward(2);
    let one = Lmm::reml().fit(&design).expect("fit");
    let mut random = design.random().to_vec();
    random[2].columns[0].iter_mut().for_each(|value| *value *= 4448.2);
    let scaled = Lmm::reml().fit(&changed(&design, 1.0, 4448.2, 1.0, random)).expect("fit");
    near::relative(scaled.coefficients()[1], one.coefficients()[1] / 4448.2, 1e-8, "slope");
    near::absolute(scaled.theta()[2] * 4448.2, one.theta()[2], 1e-7, "theta of the slope");
    let contrast = |fit: &evenstand_stats::LmmFit| fit.contrast(&[0.0, 1.0, 0.0]).expect("contrast");
    near::relative(contrast(&scaled).df, contrast(&one).df, 1e-5, "df");
}

#[test]
fn a_common_factor_of_all_weights_moves_only_sigma() {
    let design = awkward(0);
    let one = Lmm::reml().fit(&design).expect("fit");
    let heavy = Lmm::reml().fit(&changed(&design, 1.0, 1.0, 25.0, design.random().to_vec())).expect("fit");
    near::relative(heavy.sigma(), 5.0 * one.sigma(), 1e-8, "sigma");
    near::absolute(heavy.log_likelihood(), one.log_likelihood(), 1e-9, "log-likelihood");
    for (a, b) in heavy.variance_components()[..4].iter().zip(one.variance_components()) {
        near::absolute(a.standard_deviation, b.standard_deviation, 1e-7, &a.term);
    }
}

#[test]
fn without_random_terms_the_mixed_model_is_least_squares() {
    let design = awkward(3);
    let plain = changed(&design, 1.0, 1.0, 1.0, vec![]);
    let mixed = Lmm::reml().fit(&plain).expect("fit");
    let least_squares = LeastSquares.fit(&plain).expect("fit");
    let linfa = baseline(&plain).expect("solvable");
    near::scaled(mixed.coefficients(), least_squares.coefficients(), &mixed.standard_errors(), 1e-13, "own");
    near::scaled(mixed.coefficients(), &linfa, &mixed.standard_errors(), 1e-12, "linfa");
    near::scaled(&mixed.standard_errors(), &least_squares.standard_errors(), &mixed.standard_errors(), 1e-12, "se");
    let contrast = mixed.contrast(&[0.0, 1.0, 0.0]).expect("contrast");
    assert_eq!((contrast.df, contrast.method.as_str()), (37.0, "residual"));
    let ml = Lmm::maximum_likelihood().fit(&plain).expect("fit");
    near::absolute(ml.log_likelihood(), least_squares.log_likelihood(), 1e-10, "log-likelihood");
}

#[test]
fn theta_zero_is_least_squares_in_the_criterion_too() {
    let design = awkward(3);
    let plain = changed(&design, 1.0, 1.0, 1.0, vec![]);
    for criterion in [Criterion::Reml, Criterion::MaximumLikelihood] {
        let zero = deviance_at(&design, &[0.0; 4], criterion).expect("deviance");
        near::absolute(zero, deviance_at(&plain, &[], criterion).expect("deviance"), 1e-11, "criterion");
    }
}

#[test]
fn fitted_values_and_residuals_add_up_to_the_response() {
    let design = awkward(1);
    let fit = Lmm::reml().fit(&design).expect("fit");
    for i in 0..40 {
        near::absolute(fit.fitted()[i] + fit.residuals()[i], design.response()[i], 1e-13, "row");
    }
    // Z'We = b / theta² and, with an intercept column, 1'We = 0: the effects of every intercept term sum to zero.
    let modes = fit.conditional_modes();
    for term in modes {
        if term.term != "x in field" {
            near::absolute(term.modes.iter().sum(), 0.0, 1e-8, &term.term);
        }
    }
}

#[test]
fn a_term_inside_the_fixed_columns_is_refused_by_name() {
    let fixed = Array2::from_shape_fn((6, 3), |(i, j)| f64::from(u8::from(i / 2 == j)));
    let term = RandomTerm::intercept("site", vec![0, 0, 1, 1, 2, 2], 3);
    let design = Design::new(
        vec![1.0, 2.0, 4.0, 3.0, 6.0, 7.0],
        fixed,
        ["a", "b", "c"].map(String::from).to_vec(),
        vec![term],
        None,
    )
    .expect("valid design");
    let message = Lmm::reml().fit(&design).expect_err("not identifiable").to_string();
    assert!(message.contains("`site`"), "{message}");
}

#[test]
fn a_response_without_noise_is_refused() {
    let fixed = Array2::from_shape_fn((6, 2), |(i, j)| (i as f64).powi(j as i32));
    let term = RandomTerm::intercept("site", vec![0, 0, 1, 1, 2, 2], 3);
    let response = (0..6).map(|i| 0.1 + 0.3 * f64::from(i)).collect();
    let design = Design::new(response, fixed, vec!["one".into(), "x".into()], vec![term], None).expect("valid design");
    assert!(Lmm::reml().fit(&design).is_err());
}

/// A small trial: `fields` fields of three blocks of four strips, a curve, and slopes in every field. True variances are often zero.
fn small_trial(fields: usize, seed: u64) -> Design {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut normal = || -> f64 { random.sample(StandardNormal) };
    let n = fields * 12;
    let field: Vec<usize> = (0..n).map(|i| i / 12).collect();
    let x: Vec<f64> = (0..n).map(|i| (i % 4) as f64 / 1.5 - 1.0).collect();
    let square: Vec<f64> = x.iter().map(|x| x * x).collect();
    let size = [0.0, 0.3, 2.0][seed as usize % 3];
    let level: Vec<f64> = (0..fields).map(|_| size * normal()).collect();
    let slope: Vec<f64> = (0..fields).map(|_| size * normal()).collect();
    let response = (0..n).map(|i| level[field[i]] + (1.0 + slope[field[i]]) * x[i] - square[i] + normal()).collect();
    let fixed = Array2::from_shape_fn((n, 3), |(i, j)| x[i].powi(j as i32));
    let terms = vec![
        RandomTerm::intercept("field", field.clone(), fields),
        RandomTerm::intercept("block", (0..n).map(|i| i / 4).collect(), 3 * fields),
        RandomTerm::slope("x", field.clone(), fields, x),
        RandomTerm::slope("x²", field, fields, square),
    ];
    Design::new(response, fixed, ["one", "x", "x²"].map(String::from).to_vec(), terms, None).expect("valid design")
}

#[test]
fn the_search_settles_on_small_trials_of_every_kind() {
    let mut on_boundary = 0;
    for seed in 0..60 {
        let design = small_trial(2 + seed as usize % 5, seed);
        for (lmm, criterion) in
            [(Lmm::reml(), Criterion::Reml), (Lmm::maximum_likelihood(), Criterion::MaximumLikelihood)]
        {
            let fit = lmm.fit(&design).expect("fit");
            assert!(fit.optimum().converged, "seed {seed}: {:?}", fit.optimum());
            assert!(fit.optimum().largest_gradient < 1e-5, "seed {seed}: {:?}", fit.optimum());
            on_boundary += u32::from(fit.theta().contains(&0.0));
            // No point of a coarse grid over the whole range is better, nor a nudge of any single theta.
            let mut others: Vec<Vec<f64>> =
                (0..81usize).map(|code| (0..4).map(|k| [0.0, 0.4, 2.0][code / 3_usize.pow(k) % 3]).collect()).collect();
            for k in 0..4 {
                for change in [-0.003, 0.003] {
                    let mut theta = fit.theta().to_vec();
                    theta[k] = (theta[k] + change).abs();
                    others.push(theta);
                }
            }
            for theta in others {
                let value = deviance_at(&design, &theta, criterion).expect("deviance");
                assert!(value >= fit.criterion() - 1e-8, "seed {seed}: {theta:?} is better than {:?}", fit.theta());
            }
            for row in [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]] {
                let contrast = fit.contrast(&row).expect("contrast");
                assert!(contrast.df > 0.0 && contrast.std_error > 0.0, "seed {seed}: {contrast:?}");
            }
        }
    }
    assert!(on_boundary > 30, "the boundary was hardly visited: {on_boundary} of 120");
}
