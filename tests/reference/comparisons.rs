//! Distributions for several comparisons and what is built on them, against other software, published tables and formulas by hand.

use crate::data::{expected, number};
use crate::near;
use evenstand_stats::distribution::{self, MaximumT, Sides};
use evenstand_stats::{
    Adjustment, BestComparisons, Cell, ComparisonFamily, Contrast, Design, Direction, LeastSquares, MarginalMeans,
    StatsError, can_be_best,
};
use ndarray::Array2;
use serde_json::Value;

const CASES: &str = include_str!("cases/comparisons.json");

fn entries(id: &str) -> Vec<Value> {
    expected(CASES, id)["values"].as_array().expect("a list").clone()
}

#[test]
fn noncentral_t_and_f_agree_with_thirty_digit_quadrature() {
    for entry in entries("dist-noncentral-t") {
        let [t, df, shift] = ["t", "df", "ncp"].map(|name| number(&entry[name]));
        let sf = distribution::noncentral_t_sf(t, df, shift);
        near::relative(sf, number(&entry["sf"]), 1e-12, &entry.to_string());
        near::absolute(sf + distribution::noncentral_t_cdf(t, df, shift), 1.0, 1e-13, &entry.to_string());
    }
    for entry in entries("dist-noncentral-f") {
        let [f, df1, df2, shift] = ["f", "df1", "df2", "ncp"].map(|name| number(&entry[name]));
        let sf = distribution::noncentral_f_sf(f, df1, df2, shift);
        near::relative(sf, number(&entry["sf"]), 1e-12, &entry.to_string());
        near::absolute(sf + distribution::noncentral_f_cdf(f, df1, df2, shift), 1.0, 1e-12, &entry.to_string());
    }
}

#[test]
fn the_studentized_range_agrees_with_scipy_to_ten_digits() {
    for entry in entries("dist-studentized-range") {
        let [p, df, q] = ["p", "df", "q"].map(|name| number(&entry[name]));
        let k = entry["k"].as_u64().expect("a count") as usize;
        near::relative(distribution::studentized_range_quantile(p, k, df), q, 1e-10, &entry.to_string());
        near::absolute(distribution::studentized_range_cdf(q, k, df), p, 1e-11, &entry.to_string());
    }
}

/// Upper 5 and 1 % points of the studentized range as printed in Pearson & Hartley (1966), Biometrika Tables for Statisticians,
/// volume 1; the last rows for a known standard deviation.
#[test]
fn the_studentized_range_rounds_to_the_printed_table() {
    for (p, k, df, printed) in [
        (0.95, 3, 10.0, 3.88),
        (0.95, 4, 12.0, 4.20),
        (0.95, 5, 20.0, 4.23),
        (0.99, 3, 10.0, 5.27),
        (0.95, 2, f64::INFINITY, 2.77),
        (0.95, 10, f64::INFINITY, 4.47),
        (0.95, 20, f64::INFINITY, 5.01),
    ] {
        near::absolute(distribution::studentized_range_quantile(p, k, df), printed, 0.005, &format!("{p} {k} {df}"));
    }
}

#[test]
fn the_two_sided_dunnett_distribution_agrees_with_scipy() {
    for entry in entries("dist-dunnett-two-sided") {
        let k = entry["k"].as_u64().expect("a count") as usize;
        let df = number(&entry["df"]);
        let maximum = MaximumT::equicorrelated(k, number(&entry["rho"]), Sides::Two).expect("valid");
        near::relative(maximum.quantile(0.95, df).value, number(&entry["c95"]), 1e-9, &entry.to_string());
        near::relative(maximum.quantile(0.99, df).value, number(&entry["c99"]), 1e-9, &entry.to_string());
        near::relative(maximum.sf(2.5, df).value, number(&entry["p_at_2.5"]), 1e-9, &entry.to_string());
    }
}

/// Dunnett (1955), J. Am. Stat. Assoc. 50, 1096 (one-sided), and Dunnett (1964), Biometrics 20, 482 (two-sided), 5 %.
#[test]
fn dunnett_constants_round_to_the_printed_tables() {
    for (sides, k, df, printed) in [
        (Sides::Two, 2, 10.0, 2.57),
        (Sides::Two, 3, 12.0, 2.68),
        (Sides::Two, 5, 20.0, 2.73),
        (Sides::One, 2, 10.0, 2.15),
        (Sides::One, 3, 10.0, 2.34),
        (Sides::One, 4, 20.0, 2.30),
        (Sides::One, 2, f64::INFINITY, 1.92),
    ] {
        let maximum = MaximumT::equicorrelated(k, 0.5, sides).expect("valid");
        near::absolute(maximum.quantile(0.95, df).value, printed, 0.0051, &format!("{sides:?} {k} {df}"));
    }
}

/// `P(all |T_i| ≤ c)` by Genz's separation of variables on the Cholesky factor of a positive definite correlation, with a
/// plain average over pseudo-random points; shares nothing with the crate but the normal distribution.
fn separated(correlation: &Array2<f64>, c: f64, df: f64, points: u64) -> f64 {
    let m = correlation.nrows();
    let mut lower = vec![vec![0.0_f64; m]; m];
    for i in 0..m {
        for j in 0..=i {
            let inner: f64 = (0..j).map(|k| lower[i][k] * lower[j][k]).sum();
            let left = correlation[[i, j]] - inner;
            lower[i][j] = if i == j { left.sqrt() } else { left / lower[j][j] };
        }
    }
    let generators: Vec<f64> = [2.0_f64, 3.0, 5.0, 7.0, 11.0, 13.0, 17.0].iter().map(|p| p.sqrt()).collect();
    let mut sum = 0.0;
    for point in 1..=points {
        let u = |k: usize| (2.0 * (point as f64 * generators[k]).fract() - 1.0).abs().clamp(1e-12, 1.0 - 1e-12);
        let s = (distribution::chi_squared_quantile(u(0), df) / df).sqrt();
        let mut y = vec![0.0; m];
        let mut product = 1.0;
        for i in 0..m {
            let shift: f64 = (0..i).map(|k| lower[i][k] * y[k]).sum();
            let low = distribution::normal_cdf((-c * s - shift) / lower[i][i]);
            let high = distribution::normal_cdf((c * s - shift) / lower[i][i]);
            product *= high - low;
            if i + 1 < m {
                let inside = (low + u(i + 1) * (high - low)).clamp(1e-15, 1.0 - 1e-15);
                y[i] = distribution::normal_quantile(inside);
            }
        }
        sum += product;
    }
    sum / points as f64
}

#[test]
fn sampled_directions_agree_with_separation_of_variables_for_general_correlations() {
    let correlation = ndarray::array![
        [1.0, 0.62, -0.31, 0.12],
        [0.62, 1.0, 0.05, 0.40],
        [-0.31, 0.05, 1.0, -0.52],
        [0.12, 0.40, -0.52, 1.0]
    ];
    let maximum = MaximumT::new(&correlation, Sides::Two).expect("valid");
    assert!(!maximum.is_exact());
    for (c, df) in [(1.0, 5.0), (2.4, 5.0), (2.6, 17.5)] {
        let found = maximum.cdf(c, df);
        near::absolute(found.value, separated(&correlation, c, df, 20_000), 3e-4 + found.error, &format!("{c} {df}"));
    }
}

/// A one-way layout with the given group sizes and a response without pattern.
fn one_way(sizes: &[usize]) -> (Design, Vec<Cell>) {
    let codes: Vec<usize> = sizes.iter().enumerate().flat_map(|(g, n)| std::iter::repeat_n(g, *n)).collect();
    let response = (0..codes.len()).map(|i| ((i * i * 7 + 3 * i) % 11) as f64 + codes[i] as f64).collect();
    let k = sizes.len();
    let fixed = Array2::from_shape_fn((codes.len(), k), |(i, j)| f64::from(u8::from(codes[i] == j)));
    let names: Vec<String> = (0..k).map(|j| format!("g{j}")).collect();
    let cells = names
        .iter()
        .enumerate()
        .map(|(j, name)| Cell::new(name.clone(), (0..k).map(|l| f64::from(u8::from(l == j))).collect()))
        .collect();
    (Design::new(response, fixed, names, vec![], None).expect("valid design"), cells)
}

#[test]
fn unequal_groups_against_a_control_are_integrated_and_agree_with_separation_of_variables() {
    let (design, cells) = one_way(&[3, 8, 5, 4]);
    let fit = LeastSquares.fit(&design).expect("fit");
    let means = MarginalMeans::new(&design, &fit, &cells).expect("means");
    let family = means.against_control("g0").expect("family");
    // Correlation of the differences from the control: sqrt(n_i / (n_i + n_0)) times the same of j.
    let loading = |n: f64| (n / (n + 3.0)).sqrt();
    near::absolute(family.correlation()[[0, 1]], loading(8.0) * loading(5.0), 1e-12, "correlation");
    let adjusted = family.adjust(Adjustment::Dunnett, 0.95).expect("adjusted");
    assert!(adjusted.method.contains("integrated"), "{}", adjusted.method);
    let row = &adjusted.rows[1];
    let inside = separated(family.correlation(), row.t.abs(), row.df, 20_000);
    near::absolute(row.adjusted_p, 1.0 - inside, 3e-4, "p");
    let constant = 0.5 * row.interval.width() / row.std_error;
    near::absolute(separated(family.correlation(), constant, row.df, 20_000), 0.95, 3e-4, "constant");
}

#[test]
fn single_step_all_pairs_equals_tukey_when_balanced_and_is_sharper_than_tukey_kramer_when_not() {
    let (design, cells) = one_way(&[4, 4, 4]);
    let fit = LeastSquares.fit(&design).expect("fit");
    let family = MarginalMeans::new(&design, &fit, &cells).expect("means").all_pairs().expect("family");
    let tukey = family.adjust(Adjustment::Tukey, 0.95).expect("adjusted");
    assert_eq!(tukey.rows, family.adjust(Adjustment::SingleStep, 0.95).expect("adjusted").rows);
    // The same family by its correlation alone is singular (three differences of three means) and must agree.
    let free = ComparisonFamily::new(
        tukey.rows.iter().map(|row| row.name.clone()).collect(),
        family.contrasts().to_vec(),
        family.correlation(),
    )
    .expect("family");
    for (a, b) in tukey.rows.iter().zip(&free.adjust(Adjustment::SingleStep, 0.95).expect("adjusted").rows) {
        near::absolute(b.adjusted_p, a.adjusted_p, 1e-5 + b.adjusted_p_error, &a.name);
        near::relative(b.interval.width(), a.interval.width(), 1e-3, &a.name);
    }
    let (design, cells) = one_way(&[2, 9, 4]);
    let fit = LeastSquares.fit(&design).expect("fit");
    let family = MarginalMeans::new(&design, &fit, &cells).expect("means").all_pairs().expect("family");
    let kramer = family.adjust(Adjustment::Tukey, 0.95).expect("adjusted");
    let exact = family.adjust(Adjustment::SingleStep, 0.95).expect("adjusted");
    // Hayter (1984): Tukey-Kramer is conservative in one-way layouts.
    for (a, b) in kramer.rows.iter().zip(&exact.rows) {
        assert!(b.interval.width() < a.interval.width() * 1.0001, "{}", a.name);
        assert!(b.interval.width() > a.interval.width() * 0.95, "{}", a.name);
    }
}

#[test]
fn simpler_adjustments_are_ordered_and_their_limits_follow_from_the_number_of_comparisons() {
    let (design, cells) = one_way(&[4, 3, 5, 4]);
    let fit = LeastSquares.fit(&design).expect("fit");
    let family = MarginalMeans::new(&design, &fit, &cells).expect("means").all_pairs().expect("family");
    let of = |adjustment| family.adjust(adjustment, 0.9).expect("adjusted");
    let [none, bonferroni, holm, tukey] =
        [Adjustment::None, Adjustment::Bonferroni, Adjustment::Holm, Adjustment::Tukey].map(of);
    for i in 0..6 {
        assert_eq!(none.rows[i].adjusted_p, none.rows[i].p_value);
        near::relative(none.rows[i].interval.low, family.contrasts()[i].interval(0.9).low, 1e-12, "plain limits");
        assert!(none.rows[i].p_value <= tukey.rows[i].adjusted_p + 1e-12);
        assert!(tukey.rows[i].adjusted_p <= bonferroni.rows[i].adjusted_p + 1e-12);
        assert!(holm.rows[i].adjusted_p <= bonferroni.rows[i].adjusted_p);
        assert_eq!(holm.rows[i].interval, bonferroni.rows[i].interval);
        let factor = distribution::t_quantile(1.0 - 0.05 / 6.0, 12.0);
        let width = 2.0 * factor * bonferroni.rows[i].std_error;
        near::relative(bonferroni.rows[i].interval.width(), width, 1e-12, "limits");
    }
    assert!(holm.method.contains("limits are Bonferroni's"), "{}", holm.method);
    assert!(matches!(family.adjust(Adjustment::Dunnett, 0.95), Err(StatsError::NotPossible { .. })));
    assert!(family.adjust(Adjustment::None, 1.0).is_err());
}

#[test]
fn an_empty_cell_is_named_and_not_invented() {
    // Two factors of two levels with an interaction whose last cell has no plots.
    let fixed = ndarray::array![
        [1.0, 0.0, 0.0, 0.0],
        [1.0, 0.0, 0.0, 0.0],
        [1.0, 1.0, 0.0, 0.0],
        [1.0, 1.0, 0.0, 0.0],
        [1.0, 0.0, 1.0, 0.0],
        [1.0, 0.0, 1.0, 0.0]
    ];
    let names = ["one", "a2", "b2", "a2:b2"].map(String::from).to_vec();
    let design = Design::new(vec![1.0, 2.0, 4.0, 3.0, 7.0, 9.0], fixed, names, vec![], None).expect("valid design");
    let fit = LeastSquares.fit(&design).expect("fit");
    let row = |a: f64, b: f64| vec![1.0, a, b, a * b];
    let all = [
        Cell::new("a1 b1", row(0.0, 0.0)),
        Cell::new("a2 b2", row(1.0, 1.0)),
        Cell::average("a1", &[row(0.0, 0.0), row(0.0, 1.0)], None).expect("average"),
        Cell::average("a2", &[row(1.0, 0.0), row(1.0, 1.0)], Some(&[3.0, 1.0])).expect("average"),
    ];
    let means = MarginalMeans::new(&design, &fit, &all).expect("means");
    let names: Vec<&str> = means.means().iter().map(|mean| mean.name.as_str()).collect();
    assert_eq!(names, ["a1 b1", "a1"]);
    near::absolute(means.means()[1].contrast.estimate, 0.5 * (1.5 + 8.0), 1e-12, "a1");
    let missing: Vec<(&str, &str)> =
        means.missing().iter().map(|cell| (cell.name.as_str(), cell.column.as_str())).collect();
    assert_eq!(missing, [("a2 b2", "a2:b2"), ("a2", "a2:b2")]);
    let refused = means.against_control("a2 b2").expect_err("not estimable").to_string();
    assert!(refused.contains("a2:b2"), "{refused}");
    assert!(means.against_control("nobody").is_err());
    assert!(MarginalMeans::new(&design, &fit, &[all[0].clone(), all[0].clone()]).is_err());
}

#[test]
fn comparisons_do_not_depend_on_the_order_of_means_and_scale_with_the_response() {
    let (design, cells) = one_way(&[4, 3, 6, 3]);
    let fit = LeastSquares.fit(&design).expect("fit");
    let forward = MarginalMeans::new(&design, &fit, &cells).expect("means");
    let reversed: Vec<Cell> = cells.iter().rev().cloned().collect();
    let backward = MarginalMeans::new(&design, &fit, &reversed).expect("means");
    let a = forward.against_control("g2").expect("family").adjust(Adjustment::Dunnett, 0.95).expect("adjusted");
    let b = backward.against_control("g2").expect("family").adjust(Adjustment::Dunnett, 0.95).expect("adjusted");
    for row in &a.rows {
        let other = b.rows.iter().find(|other| other.name == row.name).expect("same names");
        near::relative(other.adjusted_p, row.adjusted_p, 1e-11, &row.name);
        near::relative(other.interval.low, row.interval.low, 1e-11, &row.name);
    }
    let response = design.response().iter().map(|y| 1e3 * y).collect();
    let scaled = Design::new(response, design.fixed().clone(), design.names().to_vec(), vec![], None).expect("valid");
    let scaled_fit = LeastSquares.fit(&scaled).expect("fit");
    let scaled = MarginalMeans::new(&scaled, &scaled_fit, &cells).expect("means");
    let c = scaled.against_control("g2").expect("family").adjust(Adjustment::Dunnett, 0.95).expect("adjusted");
    for (row, other) in a.rows.iter().zip(&c.rows) {
        near::relative(other.adjusted_p, row.adjusted_p, 1e-11, &row.name);
        near::relative(other.interval.low, 1e3 * row.interval.low, 1e-11, &row.name);
    }
}

#[test]
fn limits_against_the_best_follow_hsu_by_hand_in_a_balanced_layout() {
    let (design, cells) = one_way(&[4, 4, 4]);
    let fit = LeastSquares.fit(&design).expect("fit");
    let means = MarginalMeans::new(&design, &fit, &cells).expect("means");
    let found = means.comparisons_with_best(Direction::LargestIsBest, 0.95).expect("best");
    let values: Vec<f64> = means.means().iter().map(|mean| mean.contrast.estimate).collect();
    let spread = fit.sigma() * 0.5_f64.sqrt();
    // One-sided Dunnett constant of two comparisons with nine degrees of freedom.
    let d = MaximumT::equicorrelated(2, 0.5, Sides::One).expect("valid").quantile(0.95, 9.0).value;
    for (i, row) in found.rows.iter().enumerate() {
        let rival = (0..3).filter(|&j| j != i).map(|j| values[j]).fold(f64::NEG_INFINITY, f64::max);
        near::absolute(row.advantage, values[i] - rival, 1e-12, &row.name);
        near::absolute(row.interval.high, (values[i] - rival + d * spread).max(0.0), 1e-9, &row.name);
        near::absolute(row.interval.low, (values[i] - rival - d * spread).min(0.0), 1e-9, &row.name);
        assert_eq!(row.can_be_best(), row.p_value > 0.05, "{}", row.name);
    }
    let mirrored = means.comparisons_with_best(Direction::SmallestIsBest, 0.95).expect("best");
    assert!(!mirrored.can_be_best().is_empty());
    assert!(means.comparisons_with_best(Direction::LargestIsBest, 0.0).is_err());
}

#[test]
fn limits_against_the_best_follow_hsu_by_hand_in_an_unbalanced_layout() {
    let sizes = [3_usize, 7, 4, 5];
    let (design, cells) = one_way(&sizes);
    let fit = LeastSquares.fit(&design).expect("fit");
    let means = MarginalMeans::new(&design, &fit, &cells).expect("means");
    let value = |i: usize| means.means()[i].contrast.estimate;
    let inverse = |i: usize| 1.0 / sizes[i] as f64;
    let error = |i: usize, j: usize| fit.sigma() * (inverse(i) + inverse(j)).sqrt();
    // Mean i as control: the correlation of its differences from j and l is v_i / sqrt((v_i + v_j) (v_i + v_l)).
    let constant = |i: usize| {
        let others: Vec<usize> = (0..4).filter(|&j| j != i).collect();
        let correlation = Array2::from_shape_fn((3, 3), |(a, b)| {
            let spread = (inverse(i) + inverse(others[a])) * (inverse(i) + inverse(others[b]));
            if a == b { 1.0 } else { inverse(i) / spread.sqrt() }
        });
        MaximumT::new(&correlation, Sides::One).expect("valid").quantile(0.9, 15.0).value
    };
    let found = means.comparisons_with_best(Direction::SmallestIsBest, 0.9).expect("best");
    let against = |i: usize| (0..4).filter(move |&j| j != i);
    let low_is_good = |i: usize, j: usize| value(j) - value(i);
    let upper: Vec<f64> = (0..4)
        .map(|i| against(i).map(|j| low_is_good(i, j) + constant(i) * error(i, j)).fold(f64::INFINITY, f64::min))
        .collect();
    for (i, row) in found.rows.iter().enumerate() {
        near::absolute(row.interval.high, upper[i].max(0.0), 1e-9, &row.name);
        let low = against(i)
            .filter(|&j| upper[j] > 0.0)
            .map(|j| (low_is_good(i, j) - constant(j) * error(i, j)).min(0.0))
            .fold(0.0, f64::min);
        near::absolute(row.interval.low, low, 1e-9, &row.name);
        assert!(row.interval.contains(row.advantage), "{}", row.name);
    }
    assert!(found.method.contains("integrated"), "{}", found.method);
}

#[test]
fn a_comparison_without_a_standard_error_is_noted_and_left_out_of_the_adjustment() {
    let row = |estimate: f64, std_error: f64| Contrast { estimate, std_error, df: 8.0, method: "residual".into() };
    let names = ["a", "b", "c"].map(String::from).to_vec();
    let covariance = ndarray::array![[1.0, 0.0, 0.5], [0.0, 0.0, 0.0], [0.5, 0.0, 1.0]];
    let contrasts = vec![row(2.5, 1.0), row(1.0, 0.0), row(-1.0, 1.0)];
    let family = ComparisonFamily::new(names.clone(), contrasts.clone(), &covariance).expect("family");
    for adjustment in [Adjustment::None, Adjustment::Holm, Adjustment::Bonferroni, Adjustment::SingleStep] {
        let adjusted = family.adjust(adjustment, 0.95).expect("adjusted");
        assert!(adjusted.rows[1].adjusted_p.is_nan() && adjusted.rows[1].interval.low.is_nan());
        assert!(adjusted.notes.iter().any(|note| note.code == "degenerate" && note.message.contains("`b`")));
        assert!(adjusted.rows[0].adjusted_p < 0.1 && adjusted.rows[2].interval.contains(-1.0), "{adjustment:?}");
    }
    let pair = family.adjust(Adjustment::SingleStep, 0.95).expect("adjusted").rows[0].adjusted_p;
    let expected = MaximumT::equicorrelated(2, 0.5, Sides::Two).expect("valid").sf(2.5, 8.0).value;
    near::relative(pair, expected, 1e-12, "two comparisons are left");
    let mut broken = contrasts.clone();
    broken[2].df = 0.0;
    assert!(ComparisonFamily::new(names.clone(), broken, &covariance).is_err());
    assert!(ComparisonFamily::all_pairs(names, contrasts, &covariance, 4).is_err());
}

#[test]
fn limits_against_the_best_cover_at_their_stated_rate() {
    use rand::SeedableRng;
    use rand_distr::{Distribution, Normal};
    // Four independent means with known standard deviation one: the sharpest case is all means equal.
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(20);
    let (runs, k) = (3000, 4);
    let d = MaximumT::equicorrelated(k - 1, 0.5, Sides::One).expect("valid").quantile(0.95, f64::INFINITY).value;
    for truth in [[0.0; 4], [0.0, 0.0, 0.0, 2.0], [0.0, 1.0, 2.0, 9.0]] {
        let mut covered = 0;
        for _ in 0..runs {
            let values: Vec<f64> =
                truth.iter().map(|mean| mean + Normal::new(0.0, 1.0).expect("valid").sample(&mut rng)).collect();
            let best_other =
                |list: &[f64], i: usize| (0..k).filter(|&j| j != i).map(|j| list[j]).fold(f64::NEG_INFINITY, f64::max);
            covered += u32::from((0..k).all(|i| {
                let estimate = values[i] - best_other(&values, i);
                let true_advantage = truth[i] - best_other(&truth, i);
                let half = d * 2.0_f64.sqrt();
                (estimate - half).min(0.0) <= true_advantage && true_advantage <= (estimate + half).max(0.0)
            }));
        }
        let share = f64::from(covered) / f64::from(runs);
        // Three standard errors of the share.
        assert!(share > 0.95 - 3.0 * (0.95_f64 * 0.05 / f64::from(runs)).sqrt(), "{truth:?}: {share}");
    }
}

#[test]
fn the_short_way_to_the_means_that_can_be_best_keeps_the_same_means_as_the_limits() {
    let mut kept_all = [0, 0];
    for trial in 0..16_usize {
        let means = 3 + trial % 3;
        let wave = |number: usize, step: f64| (step * number as f64 + 0.7 * trial as f64).sin();
        let values: Vec<f64> = (0..means).map(|mean| [0.8, 2.2][trial % 2] * wave(mean, 2.3)).collect();
        let variances: Vec<f64> =
            (0..means).map(|mean| if trial % 3 == 0 { 0.5 } else { 0.6 + 0.4 * wave(mean, 1.1) }).collect();
        let df = [4.0, 11.0, 60.0][trial % 3];
        let differences = |one: usize| {
            let others: Vec<usize> = (0..means).filter(|other| *other != one).collect();
            let contrasts = others.iter().map(|other| Contrast {
                estimate: values[one] - values[*other],
                std_error: (variances[one] + variances[*other]).sqrt(),
                df,
                method: "given".into(),
            });
            let covariance = Array2::from_shape_fn((others.len(), others.len()), |(a, b)| {
                variances[one] + if a == b { variances[others[a]] } else { 0.0 }
            });
            Ok((contrasts.collect(), covariance))
        };
        let names: Vec<String> = (0..means).map(|mean| mean.to_string()).collect();
        for direction in [Direction::LargestIsBest, Direction::SmallestIsBest] {
            let limits = BestComparisons::from_differences(&names, direction, 0.9, differences).expect("limits");
            let short = can_be_best(means, direction, 0.9, differences).expect("kept");
            let short: Vec<String> = short.iter().map(usize::to_string).collect();
            assert_eq!(short, limits.can_be_best(), "trial {trial} {direction:?}");
            kept_all[usize::from(short.len() == means)] += 1;
        }
    }
    assert!(kept_all.iter().all(|count| *count > 4), "some sets are whole, some are not: {kept_all:?}");
}

#[test]
fn a_shared_studentized_range_is_the_one_made_afresh() {
    let shared = distribution::StudentizedRange::shared(5).expect("five means");
    let fresh = distribution::StudentizedRange::new(5).expect("five means");
    for q in [0.5, 2.0, 4.1, 9.0] {
        assert_eq!(shared.sf(q, 12.0), fresh.sf(q, 12.0));
    }
    assert!(distribution::StudentizedRange::shared(1).is_none());
    assert!(distribution::StudentizedRange::shared(201).is_none());
}
