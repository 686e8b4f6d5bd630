//! Event times: what must not change a fit, and what must change it in a known way.

use crate::event_times::cosmesis;
use crate::event_times_simulated::{LOOKS, SHAPES, SPREAD, T50, drawn, quantity};
use crate::near;
use evenstand_stats::{
    EventAt, EventPredictors, EventQuantity, EventTimes, EventTimesFit, IntervalData, LinearFit, Shape, turnbull,
};
use ndarray::Array2;

fn same_fit(a: &EventTimesFit, b: &EventTimesFit, what: &str) {
    near::absolute(a.log_likelihood(), b.log_likelihood(), 2e-12, what);
    near::scaled(a.coefficients(), b.coefficients(), &a.standard_errors(), 1e-13, what);
    near::scaled(&a.standard_errors(), &b.standard_errors(), &a.standard_errors(), 1e-13, what);
}

#[test]
fn order_merging_and_splitting_of_rows_change_nothing() {
    let base = drawn(20, Shape::LogLogistic, [2.0, 0.2, 0.8], 90);
    let individuals: Vec<usize> =
        (0..base.rows()).flat_map(|row| std::iter::repeat_n(row, base.counts()[row] as usize)).collect();
    let pick = |values: &[f64], rows: &[usize]| rows.iter().map(|&row| values[row]).collect::<Vec<f64>>();
    let split =
        IntervalData::individuals(pick(base.left(), &individuals), pick(base.right(), &individuals)).expect("valid");
    let backwards: Vec<usize> = (0..base.rows()).rev().collect();
    let counts = backwards.iter().map(|&row| base.counts()[row]).collect();
    let turned =
        IntervalData::new(pick(base.left(), &backwards), pick(base.right(), &backwards), counts).expect("valid");
    for shape in SHAPES {
        let fit = EventTimes::new(shape).fit(&base).expect("a fit");
        for (other, what) in [(&split, "split"), (&turned, "turned")] {
            let second = EventTimes::new(shape).fit(other).expect("a fit");
            same_fit(&fit, &second, what);
            near::absolute(fit.aicc(), second.aicc(), 4e-12, what);
            near::absolute(turnbull(&base).log_likelihood(), turnbull(other).log_likelihood(), 1e-11, what);
            let (a, b) = (fit.goodness(5.0).expect("works"), second.goodness(5.0).expect("works"));
            near::absolute(a.cells.expect("cells").pearson, b.cells.expect("cells").pearson, 1e-12, what);
        }
        let again = EventTimes::new(shape).fit(&base).expect("a fit");
        assert_eq!(fit.coefficients(), again.coefficients(), "same input, same bytes");
    }
}

#[test]
fn a_change_of_the_time_unit_shifts_mu_and_nothing_else() {
    let days = drawn(21, Shape::Weibull, [2.0, 0.2, 0.8], 90);
    let times = |values: &[f64]| values.iter().map(|time| 24.0 * time).collect::<Vec<f64>>();
    let hours = IntervalData::new(times(days.left()), times(days.right()), days.counts().to_vec()).expect("valid");
    for shape in SHAPES {
        let (a, b) =
            (EventTimes::new(shape).fit(&days).expect("a fit"), EventTimes::new(shape).fit(&hours).expect("a fit"));
        let mut moved = a.coefficients().to_vec();
        moved[0] += 24.0_f64.ln();
        near::scaled(b.coefficients(), &moved, &a.standard_errors(), 1e-13, "shift");
        near::absolute(a.log_likelihood(), b.log_likelihood(), 1e-12, "log-likelihood");
        near::scaled(&a.standard_errors(), &b.standard_errors(), &a.standard_errors(), 1e-13, "errors");
        near::relative(quantity(&b, T50).estimate, 24.0 * quantity(&a, T50).estimate, 1e-13, "T50");
        let [p, q] = [&a, &b].map(|fit| fit.profile_interval(&SPREAD, &EventAt::intercepts(), 0.9).expect("works"));
        near::relative(q.expect("one").limits.high, 24.0 * p.expect("one").limits.high, 1e-12, "profile");
    }
}

#[test]
fn groups_fitted_together_with_their_own_parameters_are_the_groups_fitted_apart() {
    let parts =
        [drawn(30, Shape::LogLogistic, [2.0, 0.2, 0.8], 90), drawn(31, Shape::LogLogistic, [2.2, 0.15, 0.6], 70)];
    let join = |take: &dyn Fn(&IntervalData) -> Vec<f64>| parts.iter().flat_map(take).collect::<Vec<f64>>();
    let counts = parts.iter().flat_map(|part| part.counts().to_vec()).collect();
    let data = IntervalData::new(join(&|p| p.left().to_vec()), join(&|p| p.right().to_vec()), counts).expect("valid");
    let first = parts[0].rows();
    let own = Array2::from_shape_fn((data.rows(), 2), |(i, j)| f64::from(u8::from((i < first) == (j == 0))));
    let names = || vec!["first".to_string(), "second".to_string()];
    let predictors = EventPredictors::intercepts(data.rows()).with_location(own.clone(), names()).expect("valid");
    let predictors = predictors.with_log_scale(own.clone(), names()).expect("valid");
    let predictors = predictors.with_logit_limit(own, names()).expect("valid");
    let joint = EventTimes::log_logistic().fit_with(&data, &predictors).expect("a fit");
    let apart = [0, 1].map(|k| EventTimes::log_logistic().fit(&parts[k]).expect("a fit"));
    near::absolute(joint.log_likelihood(), apart[0].log_likelihood() + apart[1].log_likelihood(), 1e-12, "sum");
    let at = EventAt::intercepts();
    for (k, alone) in apart.iter().enumerate() {
        let here = predictors.at(k * first);
        for j in 0..3 {
            near::relative(joint.coefficients()[2 * j + k], alone.coefficients()[j], 1e-13, "coefficient");
        }
        for asked in [T50, SPREAD, EventQuantity::Limit] {
            let a = joint.quantity(&asked, &here).expect("works").expect("exists");
            near::relative(a.std_error, quantity(alone, asked).std_error, 1e-13, "error");
            let p = joint.profile_interval(&asked, &here, 0.95).expect("works").expect("exists");
            let q = alone.profile_interval(&asked, &at, 0.95).expect("works").expect("exists");
            near::relative(p.limits.low, q.limits.low, 1e-12, "low");
            near::relative(p.limits.high, q.limits.high, 1e-12, "high");
        }
    }
    assert_eq!(joint.names()[3], "log scale second");
    // The difference of the two locations as a contrast and as a joint test of one row.
    let row = [1.0, -1.0, 0.0, 0.0, 0.0, 0.0];
    let contrast = joint.contrast(&row).expect("works");
    let variance = apart[0].covariance()[[0, 0]] + apart[1].covariance()[[0, 0]];
    near::relative(contrast.std_error, variance.sqrt(), 1e-13, "contrast");
    let test = joint.joint_test(&Array2::from_shape_vec((1, 6), row.to_vec()).expect("a row")).expect("works");
    near::relative(test.p_value, contrast.p_value(), 1e-9, "p-value");
    let robust = joint.robust(&(0..data.rows()).map(|row| row % 7).collect::<Vec<usize>>()).expect("clusters");
    assert_eq!(robust.contrast(&row).expect("works").df, 6.0);
    // Goodness of fit adds up over the groups, degrees of freedom too.
    let tests = [&joint, &apart[0], &apart[1]].map(|fit| fit.goodness(3.0).expect("works"));
    let cells = tests.clone().map(|test| test.cells.expect("cells"));
    near::relative(cells[0].likelihood_ratio, cells[1].likelihood_ratio + cells[2].likelihood_ratio, 1e-12, "G2");
    assert_eq!(cells[0].df, cells[1].df + cells[2].df);
    near::absolute(
        tests[0].largest_difference,
        tests[1].largest_difference.max(tests[2].largest_difference),
        1e-13,
        "largest",
    );
}

#[test]
fn goodness_of_fit_accepts_the_true_shape_and_refuses_a_wrong_one() {
    let mut rejected = 0;
    for seed in 0..200 {
        let fit =
            EventTimes::log_normal().fit(&drawn(9000 + seed, Shape::LogNormal, [2.0, 0.3, 0.8], 400)).expect("a fit");
        let cells = fit.goodness(5.0).expect("works").cells.expect("cells");
        assert_eq!(cells.df, cells.cells as i64 - 4);
        rejected += u32::from(cells.pearson_p.expect("df") < 0.05);
    }
    println!("rejected {rejected} of 200 true curves at 5 per cent");
    // 10 expected with a standard deviation of 3.1.
    assert!((1..=20).contains(&rejected), "{rejected}");
    let looks: Vec<Option<u64>> = [0, 0, 150, 160, 165, 170, 300, 310].map(Some).to_vec();
    let two_flushes = IntervalData::from_cumulative(&LOOKS, &looks, 400).expect("valid");
    let goodness = EventTimes::log_logistic().fit(&two_flushes).expect("a fit").goodness(5.0).expect("works");
    assert!(goodness.largest_difference > 0.05 && goodness.cells.expect("cells").pearson_p.expect("df") < 1e-6);
    let overlapping = EventTimes::weibull().without_limit().fit(&cosmesis("Rad")).expect("a fit");
    assert_eq!(overlapping.goodness(5.0).expect("works").cells, None);
}
