//! What is said about variances: profile intervals, tests on the edge at zero, and influence of groups.

use crate::brute_force::{awkward, correlated, deviance, second_stage};
use crate::models::model;
use crate::near;
use evenstand_stats::{
    Criterion, Design, LinearFit, Lmm, RandomTerm, deviance_at, leave_one_group_out, test_fixed_columns,
    test_random_terms, variance_intervals,
};
use ndarray::Array2;

#[test]
fn profile_intervals_of_the_dyestuff_data_are_the_published_ones() {
    // Bates (2010), lme4: Mixed-effects Modeling with R, chapter 1, 95 % intervals by maximum likelihood; quoted from memory.
    let design = model("dyestuff").expect("typed in");
    let fit = Lmm::maximum_likelihood().fit(&design).expect("fit");
    let intervals = variance_intervals(&design, &fit, 0.95).expect("intervals");
    for (found, (low, high)) in intervals.iter().zip([(12.19854, 84.06305), (38.22998, 67.65770)]) {
        // The published ends are read off splines through a few profiled points, ours are solved for.
        near::relative(found.interval.low, low, 3e-4, &found.term);
        near::relative(found.interval.high, high, 3e-4, &found.term);
    }
}

#[test]
fn profile_intervals_of_a_correlated_term_are_the_published_ones() {
    // Bates and others (2015), J. Stat. Soft. 67(1), section 5.1, sleepstudy by maximum likelihood; quoted from memory, as printed.
    let Some(design) = model("sleepstudy-corr") else { return };
    let fit = Lmm::maximum_likelihood().fit(&design).expect("fit");
    let intervals = variance_intervals(&design, &fit, 0.95).expect("intervals");
    for (found, (low, high)) in intervals.iter().zip([(14.3815, 37.7160), (3.8012, 8.7533), (22.8983, 28.8580)]) {
        near::absolute(found.interval.low, low, 1e-3, &found.term);
        near::absolute(found.interval.high, high, 1e-3, &found.term);
    }
}

#[test]
fn the_ends_of_an_interval_lie_exactly_one_rise_above_the_smallest_deviance() {
    // One term: the profile over theta alone is known from the full covariance matrix, on a fine grid of sigma.
    let base = awkward(1);
    let design = base.with_random(vec![base.random()[0].clone()]).expect("valid");
    let fit = Lmm::reml().fit(&design).expect("fit");
    let interval = variance_intervals(&design, &fit, 0.9).expect("intervals")[0].interval;
    let n = 40.0;
    let profile = |value: f64| -> f64 {
        let at = |sigma: f64| {
            // The profiled criterion puts sigma at its best; back to a given sigma by its quadratic form.
            let theta = value / sigma;
            let best = deviance(&design, &[theta], Criterion::Reml);
            let sum = sum_of_squares(&design, theta);
            let df = n - 3.0;
            best - df * (1.0 + (sum / df).ln()) + df * (sigma * sigma).ln() + sum / (sigma * sigma)
        };
        (1..600).map(|k| at(fit.sigma() * (0.7 + k as f64 / 1000.0))).fold(f64::INFINITY, f64::min)
    };
    for end in [interval.low, interval.high] {
        if end > 0.0 {
            // 2.705543454095404: the 90 % point of chi-squared with one degree of freedom.
            near::absolute(profile(end) - fit.criterion(), 2.705_543_454_095_404, 1e-4, "rise");
        }
    }
    assert!(interval.high > 0.0);
}

/// r²(theta) from two values of the criterion with known sigma.
fn sum_of_squares(design: &Design, theta: f64) -> f64 {
    // A response twice as large has four times the sum; the criterion of known sigma differs by three times the sum.
    let known = |factor: f64| {
        let response = design.response().iter().map(|y| factor * y).collect();
        let variances: Vec<f64> = design.weights().expect("weights").iter().map(|w| 1.0 / w).collect();
        let same = Design::with_sampling_variances(
            response,
            design.fixed().clone(),
            design.names().to_vec(),
            design.random().to_vec(),
            &variances,
        )
        .expect("valid");
        deviance(&same, &[theta], Criterion::Reml)
    };
    (known(2.0) - known(1.0)) / 3.0
}

#[test]
fn an_interval_that_holds_zero_starts_at_zero() {
    let Some(design) = model("dyestuff2-boundary") else { return };
    let fit = Lmm::reml().fit(&design).expect("fit");
    let intervals = variance_intervals(&design, &fit, 0.95).expect("intervals");
    assert_eq!((intervals[0].estimate, intervals[0].interval.low), (0.0, 0.0));
    assert!(intervals[0].interval.high > 0.5 && intervals[0].interval.high < 4.0);
    assert!(variance_intervals(&design, &fit, 1.0).is_err());
}

#[test]
fn known_sampling_variances_have_no_interval_of_the_residual() {
    let design = second_stage(2);
    let fit = Lmm::reml().fit(&design).expect("fit");
    let intervals = variance_intervals(&design, &fit, 0.95).expect("intervals");
    assert_eq!(intervals.len(), 2);
    for (k, interval) in intervals.iter().enumerate() {
        // Only the other theta is free here: a line search over it.
        let rise = |value: f64| {
            let at = |other: f64| {
                let theta = if k == 0 { [value, other] } else { [other, value] };
                deviance_at(&design, &theta, Criterion::Reml).expect("deviance")
            };
            (0..3000).map(|step| at(f64::from(step) * 1e-3)).fold(f64::INFINITY, f64::min) - fit.criterion()
        };
        near::absolute(rise(interval.interval.high), 3.841_458_820_694_124, 1e-3, &interval.term);
    }
}

#[test]
fn the_test_of_a_correlation_and_a_slope_is_that_of_the_published_deviances() {
    // REML criteria of lme4: 1743.62827 with correlated slopes, 1743.66904 uncorrelated, 1786.46508 without slopes (cases/lmm.json).
    let (Some(full), Some(slopes), Some(plain)) =
        (model("sleepstudy-corr"), model("sleepstudy-uncorr"), model("sleepstudy-intercept"))
    else {
        return;
    };
    let [full, slopes, plain] = [full, slopes, plain].map(|design| Lmm::reml().fit(&design).expect("fit"));
    let one = test_random_terms(&plain, &slopes).expect("nested");
    near::absolute(one.statistic, plain.criterion() - slopes.criterion(), 1e-12, "statistic");
    assert_eq!(one.mixture, [(0, 0.5), (1, 0.5)]);
    let two = test_random_terms(&plain, &full).expect("nested");
    assert_eq!(two.mixture, [(1, 0.5), (2, 0.5)]);
    near::absolute(two.statistic, plain.criterion() - full.criterion(), 1e-12, "statistic");
    assert!(two.p_value < 1e-9 && one.p_value < 1e-10);
    // Neither is a special case of the other in the sense of this test: terms of other names.
    assert!(test_random_terms(&slopes, &full).is_err());
    assert!(test_random_terms(&full, &plain).is_err());
}

#[test]
fn the_test_on_the_edge_keeps_its_level_where_the_plain_one_is_too_shy() {
    // 400 one-way layouts of 30 groups of 4 without any group effect: half of all statistics are zero, 5 % are rejected.
    use rand::{Rng, SeedableRng};
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(7);
    let groups: Vec<usize> = (0..120).map(|i| i / 4).collect();
    let term = RandomTerm::intercept("group", groups, 30);
    let (mut zero, mut mixture, mut plain) = (0, 0, 0);
    for _ in 0..400 {
        let response: Vec<f64> = (0..120).map(|_| random.sample(rand_distr::StandardNormal)).collect();
        let ones = Array2::ones((120, 1));
        let with = Design::new(response, ones, vec!["one".into()], vec![term.clone()], None).expect("valid");
        let without = with.with_random(vec![]).expect("valid");
        let [smaller, larger] = [without, with].map(|design| Lmm::reml().fit(&design).expect("fit"));
        let test = test_random_terms(&smaller, &larger).expect("nested");
        zero += usize::from(test.statistic < 1e-8);
        mixture += usize::from(test.p_value < 0.05);
        plain += usize::from(test.statistic > 3.841_458_820_694_124);
    }
    // Monte-Carlo errors: 0.025 and 0.011.
    assert!((160..=240).contains(&zero), "{zero} of 400 at zero");
    assert!((8..=34).contains(&mixture), "{mixture} of 400 rejected by the mixture");
    assert!(plain < mixture, "{plain} against {mixture}");
}

#[test]
fn fixed_columns_are_tested_by_maximum_likelihood_only() {
    let design = awkward(0);
    let small = Design::new(
        design.response().to_vec(),
        design.fixed().select(ndarray::Axis(1), &[0, 1]),
        design.names()[0..2].to_vec(),
        design.random().to_vec(),
        design.weights().map(<[f64]>::to_vec),
    )
    .expect("valid");
    let ml = [&small, &design].map(|design| Lmm::maximum_likelihood().fit(design).expect("fit"));
    let test = test_fixed_columns(&ml[0], &ml[1]).expect("nested");
    near::absolute(test.statistic, 2.0 * (ml[1].log_likelihood() - ml[0].log_likelihood()), 1e-10, "statistic");
    assert_eq!(test.mixture, [(1, 1.0)]);
    let reml = [&small, &design].map(|design| Lmm::reml().fit(design).expect("fit"));
    assert!(test_fixed_columns(&reml[0], &reml[1]).expect_err("refused").to_string().contains("maximum likelihood"));
}

#[test]
fn leaving_out_a_group_equals_a_fit_of_the_other_rows_at_the_same_variances() {
    for seed in 0..4 {
        // Fields share nothing once the crossed machines are gone.
        for design in [awkward(seed), correlated(seed)] {
            let design = design.with_random(design.random()[0..2].to_vec()).expect("valid");
            let fit = Lmm::reml().fit(&design).expect("fit");
            let field = design.random()[0].groups.clone();
            let left_out = leave_one_group_out(&design, &fit, &field, 5).expect("independent fields");
            for (group, found) in left_out.iter().enumerate() {
                let rest: Vec<usize> = (0..40).filter(|&i| field[i] != group).collect();
                assert_eq!(found.rows, 40 - rest.len());
                let direct = generalised_least_squares(&design, fit.theta(), &rest);
                let coefficients = found.coefficients.as_ref().expect("estimable");
                near::scaled(coefficients, &direct, &fit.standard_errors(), 1e-9, "coefficients");
                let change: Vec<f64> = (0..3).map(|j| direct[j] - fit.coefficients()[j]).collect();
                let inverse = inverse3(fit.plain_covariance());
                let pairs = (0..3).flat_map(|j| (0..3).map(move |k| (j, k)));
                let distance = pairs.map(|(j, k)| change[j] * inverse[j][k] * change[k]).sum::<f64>() / 3.0;
                near::absolute(found.cooks_distance.expect("estimable"), distance, 1e-9, "Cook's distance");
            }
        }
    }
}

#[test]
fn groups_that_share_an_effect_cannot_be_left_out_one_by_one() {
    let design = awkward(0);
    let fit = Lmm::reml().fit(&design).expect("fit");
    let field = design.random()[0].groups.clone();
    let message = leave_one_group_out(&design, &fit, &field, 5).expect_err("machines cross fields").to_string();
    assert!(message.contains("`machine`"), "{message}");
}

#[test]
fn what_the_other_rows_tell_is_told_where_a_group_left_out_takes_a_coefficient_with_it() {
    let plain = awkward(3).with_random(awkward(3).random()[0..2].to_vec()).expect("valid");
    let field = plain.random()[0].groups.clone();
    let rest: Vec<usize> = (0..40).filter(|&i| field[i] != 4).collect();
    let own_slope = |i: usize| if field[i] == 4 { plain.fixed()[[i, 1]] } else { 0.0 };
    let like_the_square = |i: usize| plain.fixed()[[i, 2]] + own_slope(i);
    // In the other rows the fourth column is nothing, or the third one again.
    let columns: [Vec<f64>; 2] = [(0..40).map(own_slope).collect(), (0..40).map(like_the_square).collect()];
    for (fourth, known) in columns.iter().zip([vec![0, 1, 2], vec![0, 1]]) {
        let fixed = Array2::from_shape_fn((40, 4), |(i, j)| if j == 3 { fourth[i] } else { plain.fixed()[[i, j]] });
        let names = ["one", "x", "x2", "fourth"].map(String::from).to_vec();
        let weights = plain.weights().map(<[f64]>::to_vec);
        let design =
            Design::new(plain.response().to_vec(), fixed, names, plain.random().to_vec(), weights).expect("valid");
        let fit = Lmm::reml().fit(&design).expect("fit");
        let left_out = leave_one_group_out(&design, &fit, &field, 5).expect("independent fields");
        let without = &left_out[4];
        assert_eq!((&without.coefficients, without.cooks_distance), (&None, None));
        let direct = generalised_least_squares(&plain, fit.theta(), &rest);
        for (j, told) in without.told.iter().enumerate() {
            assert_eq!(told.is_some(), known.contains(&j), "coefficient {j}: {told:?}");
            if let Some(told) = told {
                near::absolute(*told, direct[j], 1e-9, "a coefficient that is told");
            }
        }
        for other in 0..4 {
            let all: Option<Vec<f64>> = left_out[other].told.iter().copied().collect();
            assert_eq!(all, left_out[other].coefficients);
            assert!(all.is_some());
        }
    }
}

/// Coefficients from the n × n covariance of the listed rows.
fn generalised_least_squares(design: &Design, theta: &[f64], rows: &[usize]) -> Vec<f64> {
    let part = |response: Vec<f64>| {
        Design::with_sampling_variances(
            response,
            design.fixed().select(ndarray::Axis(0), rows),
            design.names().to_vec(),
            design
                .random()
                .iter()
                .map(|term| RandomTerm {
                    groups: rows.iter().map(|&i| term.groups[i]).collect(),
                    columns: term.columns.iter().map(|c| rows.iter().map(|&i| c[i]).collect()).collect(),
                    ..term.clone()
                })
                .collect(),
            &rows.iter().map(|&i| 1.0 / design.weights().map_or(1.0, |w| w[i])).collect::<Vec<_>>(),
        )
        .expect("valid")
    };
    crate::brute_force::coefficients(&part(rows.iter().map(|&i| design.response()[i]).collect()), theta)
}

fn inverse3(a: &Array2<f64>) -> [[f64; 3]; 3] {
    let minor = |i: usize, j: usize| {
        let (r, s) = ((i + 1) % 3, (i + 2) % 3);
        let (c, d) = ((j + 1) % 3, (j + 2) % 3);
        a[[r, c]] * a[[s, d]] - a[[r, d]] * a[[s, c]]
    };
    let determinant: f64 = (0..3).map(|j| a[[0, j]] * minor(0, j)).sum();
    std::array::from_fn(|i| std::array::from_fn(|j| minor(j, i) / determinant))
}
