//! Records of looks of every kind: fitted to a certified maximum, remarked on, or refused in words; and the time it takes.

use crate::event_times_simulated::{LOOKS, SHAPES, SPREAD, draw, plain_log_likelihood};
use crate::near;
use evenstand_stats::{
    EventAt, EventPredictors, EventQuantity, EventTimes, EventTimesFit, IntervalData, Limit, LinearFit, Shape, Share,
    StatsError, turnbull,
};
use ndarray::Array2;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::time::Instant;

fn counted(counts: [u64; 8], total: u64) -> IntervalData {
    IntervalData::from_cumulative(&LOOKS, &counts.map(Some), total).expect("valid")
}

#[test]
fn data_that_cannot_tell_a_curve_are_refused_in_words() {
    let refusal = |data: &IntervalData, curve: EventTimes| match curve.fit(data) {
        Err(StatsError::EventTimes { reason, .. }) => reason,
        other => panic!("expected a refusal, found {other:?}"),
    };
    let nobody = IntervalData::from_cumulative(&LOOKS, &[Some(0); 8], 30);
    assert!(nobody.expect_err("refused").to_string().contains("none of the 30"));
    let at_once = counted([12; 8], 30);
    let one = counted([0, 0, 0, 12, 12, 12, 12, 12], 30);
    let two = counted([0, 0, 0, 12, 20, 20, 20, 20], 30);
    for curve in SHAPES.map(EventTimes::new) {
        assert!(refusal(&at_once, curve).contains("by the first look, at 4"));
        assert!(refusal(&one, curve).contains("only one interval holds events, from 6 to 7"));
        assert!(refusal(&two, curve).contains("two intervals that meet at 7"));
        assert!(refusal(&counted([12, 20, 20, 20, 20, 20, 20, 20], 20), curve.without_limit()).contains("meet at 4"));
        assert!(refusal(&at_once, curve.without_limit()).contains("same at every look from 4 to 18"));
        let one_look = IntervalData::from_cumulative(&[4.0], &[Some(12)], 30).expect("valid");
        assert!(refusal(&one_look, curve.without_limit()).contains("one share at time 4"));
    }
    // The same through covariates, where no rule is at hand: the search itself finds that there is no maximum.
    let x = Array2::from_shape_fn((9, 2), |(i, j)| if j == 0 { 1.0 } else { (i % 3) as f64 });
    let slope = EventPredictors::intercepts(9).with_location(x, vec!["one".into(), "x".into()]).expect("valid");
    for curve in SHAPES.map(EventTimes::new) {
        assert!(matches!(curve.fit_with(&one, &slope), Err(StatsError::EventTimes { .. })));
    }
    // A group without any event has no limit that could be estimated.
    let left = [base_left(), base_left()].concat();
    let right: Vec<f64> = [base_right(), base_right()].concat();
    let data = IntervalData::new(left, right, vec![0, 3, 8, 4, 1, 6, 0, 0, 0, 0, 0, 20]).expect("valid");
    let groups = Array2::from_shape_fn((12, 2), |(i, j)| f64::from(u8::from(j == i / 6)));
    let names = vec!["with".to_string(), "without".to_string()];
    let predictors = EventPredictors::intercepts(12).with_logit_limit(groups, names).expect("valid");
    for curve in SHAPES.map(EventTimes::new) {
        let refused = curve.fit_with(&data, &predictors).expect_err("no maximum");
        assert!(refused.to_string().contains("zero or one"), "{refused}");
    }
}

fn base_left() -> Vec<f64> {
    vec![0.0, 4.0, 5.0, 6.0, 7.0, 8.5]
}

fn base_right() -> Vec<f64> {
    vec![4.0, 5.0, 6.0, 7.0, 8.5, f64::INFINITY]
}

#[test]
fn events_that_still_go_on_at_the_last_look_are_remarked_on_and_leave_limits_open() {
    let data = counted([0, 1, 3, 6, 10, 16, 26, 41], 100);
    let fit = EventTimes::log_logistic().fit(&data).expect("a fit");
    assert!(fit.notes().iter().any(|note| note.code == "still-going-on"), "{:?}", fit.notes());
    let late = EventQuantity::Quantile { p: 0.9, of: Share::Happening };
    let interval = fit.profile_interval(&late, &EventAt::intercepts(), 0.95).expect("works").expect("exists");
    assert!(interval.limits.low > 10.0 && interval.limits.high > 60.0, "{interval:?}");
    let limit =
        fit.profile_interval(&EventQuantity::Limit, &EventAt::intercepts(), 0.95).expect("works").expect("exists");
    assert!(limit.limits.high == 1.0 && limit.high_open, "{limit:?}");
    let finished = counted([0, 5, 20, 35, 40, 40, 40, 40], 50);
    let fit = EventTimes::log_logistic().fit(&finished).expect("a fit");
    assert!(fit.notes().is_empty(), "{:?}", fit.notes());
    assert_eq!(fit.quantity(&EventQuantity::Quantile { p: 0.9, of: Share::All }, &EventAt::intercepts()), Ok(None));
}

#[test]
fn everybody_having_the_event_is_a_limit_of_one() {
    let data = counted([0, 5, 20, 35, 40, 40, 40, 40], 40);
    for shape in SHAPES {
        let fit = EventTimes::new(shape).fit(&data).expect("a fit");
        assert_eq!(fit.limit_status(), Limit::AtOne);
        assert!(fit.notes().iter().any(|note| note.code == "limit-at-one"));
        let limit =
            fit.profile_interval(&EventQuantity::Limit, &EventAt::intercepts(), 0.95).expect("works").expect("one");
        // All of 40 and none left: d^40 has fallen by the quantile where d = exp(-1.92 / 40).
        near::relative(limit.limits.low, (-0.5 * 3.841_458_820_694_124_f64 / 40.0).exp(), 1e-10, "lower limit of d");
    }
}

/// No other maximum of the plain likelihood stands higher than the one found, d = 1 included.
fn nothing_higher_on_a_grid(fit: &EventTimesFit) {
    for mu in (0..30).map(|k| 0.5 + 0.1 * f64::from(k)) {
        for sigma in (0..16).map(|k| 0.02 * 1.35_f64.powi(k)) {
            for d in (1..=20).map(|k| 0.05 * f64::from(k)) {
                let value = plain_log_likelihood(fit.shape(), fit.data(), mu, sigma, d);
                // Where an interval has no probability the plain form gives minus infinity or, by rounding, no number.
                assert!(
                    value.is_nan() || value <= fit.log_likelihood() + 1e-9,
                    "{mu} {sigma} {d}: {value} above {fit:?}"
                );
            }
        }
    }
}

/// No sane record fails: any counts that are not refused in words end at a certified maximum.
#[test]
fn drawn_records_of_every_kind_are_fitted_or_refused_in_words() {
    let mut random = ChaCha8Rng::seed_from_u64(77);
    let (mut fitted, mut refused) = (0, 0);
    for round in 0..3000 {
        let total = random.random_range(1..60);
        let truth = [random.random_range(0.8..3.2), random.random_range(0.03..1.2), random.random_range(0.1..1.0)];
        let shape = SHAPES[random.random_range(0..3)];
        let mut seen = draw(&mut random, shape, truth, &LOOKS, total);
        seen.iter_mut().skip(1).for_each(|look| *look = look.filter(|_| random.random::<f64>() > 0.15));
        let Ok(data) = IntervalData::from_cumulative(&LOOKS, &seen, total) else { continue };
        for curve in SHAPES.map(EventTimes::new) {
            match curve.fit(&data) {
                Ok(fit) => {
                    fitted += 1;
                    assert!(fit.record().converged, "{data:?} {:?}", fit.record());
                    assert!(fit.log_likelihood() <= turnbull(&data).log_likelihood() + 1e-9, "above the free maximum");
                    assert!(fit.standard_errors().iter().all(|error| error.is_finite() && *error > 0.0), "{data:?}");
                    if round % 10 == 0 {
                        nothing_higher_on_a_grid(&fit);
                    }
                    let predictors = EventPredictors::intercepts(data.rows());
                    let estimated = fit.limit_status() == Limit::Estimated;
                    let this = if estimated { curve } else { curve.without_limit() };
                    let (_, gradient) =
                        this.log_likelihood_at(&data, &predictors, fit.coefficients()).expect("a value");
                    for (slope, error) in gradient.iter().zip(fit.standard_errors()) {
                        near::absolute(slope * error, 0.0, 2e-8, "gradient in standard errors");
                    }
                }
                Err(StatsError::EventTimes { reason, .. }) => {
                    refused += 1;
                    // Half of the draws are steep enough for one jump between two looks; nothing else stands in the way.
                    assert!(reason.contains("sigma cannot be estimated"), "{reason}: {data:?}");
                }
                Err(other) => panic!("{other} on {data:?}"),
            }
        }
    }
    println!("fitted {fitted}, refused {refused}");
    assert!(fitted > 6000 && refused > 1000);
}

#[test]
fn a_thousand_records_of_eight_looks() {
    let mut random = ChaCha8Rng::seed_from_u64(99);
    let records: Vec<IntervalData> = (0..1000)
        .map(|_| {
            let seen = draw(&mut random, Shape::LogLogistic, [2.0, 0.12, 0.9], &LOOKS, 180);
            IntervalData::from_cumulative(&LOOKS, &seen, 180).expect("valid")
        })
        .collect();
    for shape in SHAPES {
        let start = Instant::now();
        let sum: f64 =
            records.iter().map(|data| EventTimes::new(shape).fit(data).expect("a fit").coefficients()[0]).sum();
        println!("{shape:?}: 1,000 fits in {:.1} ms", 1e3 * start.elapsed().as_secs_f64());
        if shape == Shape::LogLogistic {
            // Standard error of the mean about 0.0006.
            near::absolute(sum / 1000.0, 2.0, 0.002, "mean of mu");
        }
    }
    let fit = EventTimes::log_logistic().fit(&records[0]).expect("a fit");
    let start = Instant::now();
    let profile = fit.profile_interval(&SPREAD, &EventAt::intercepts(), 0.95).expect("works").expect("exists");
    println!("one profile interval: {} profiles in {:.3} ms", profile.evaluations, 1e3 * start.elapsed().as_secs_f64());
    assert!(profile.evaluations < 60);
}

/// The certificate on overlapping intervals of every kind, and agreement with plain self-consistency steps.
#[test]
fn turnbull_reaches_its_certificate_on_drawn_overlapping_intervals() {
    let mut random = ChaCha8Rng::seed_from_u64(31);
    let mut steps = 0;
    for round in 0..60 {
        let size = if round < 50 { 40 } else { 400 };
        let (mut left, mut right) = (Vec::new(), Vec::new());
        for _ in 0..size {
            let time: f64 = -30.0 * random.random::<f64>().ln();
            let (before, after) = (random.random_range(0.5..20.0), random.random_range(0.5..20.0));
            let low: f64 = f64::max(0.0, time - before).round();
            left.push(low);
            right.push(if random.random::<f64>() < 0.2 && low > 0.0 {
                f64::INFINITY
            } else {
                (time + after).round().max(low + 1.0)
            });
        }
        let data = IntervalData::individuals(left, right).expect("valid");
        let found = turnbull(&data);
        assert!(found.converged() && found.gap() < 1e-10, "round {round}: gap {:e}", found.gap());
        near::absolute(found.masses().iter().map(|mass| mass.mass).sum(), 1.0, 1e-11, "sum of masses");
        steps = steps.max(found.steps());
        if round < 5 {
            let free = self_consistent(&data, found.masses().iter().map(|m| (m.left, m.right)).collect());
            near::absolute(found.log_likelihood(), free, 1e-6, "self-consistency");
        }
    }
    println!("at most {steps} steps");
}

/// Log-likelihood after many plain steps of expectation and maximisation.
fn self_consistent(data: &IntervalData, intervals: Vec<(f64, f64)>) -> f64 {
    let inside = |row: usize, j: usize| data.left()[row] <= intervals[j].0 && intervals[j].1 <= data.right()[row];
    let mut masses = vec![1.0 / intervals.len() as f64; intervals.len()];
    let probability =
        |masses: &[f64], row: usize| -> f64 { (0..masses.len()).filter(|&j| inside(row, j)).map(|j| masses[j]).sum() };
    for _ in 0..20_000 {
        let mut next = vec![0.0; masses.len()];
        for row in 0..data.rows() {
            let whole = probability(&masses, row) * data.rows() as f64;
            (0..masses.len()).filter(|&j| inside(row, j)).for_each(|j| next[j] += masses[j] / whole);
        }
        masses = next;
    }
    (0..data.rows()).map(|row| probability(&masses, row).ln()).sum()
}
