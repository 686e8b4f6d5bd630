//! Power in closed form against other software and a printed example, and against simulation.

use crate::data::{Table, expected, number, numbers};
use crate::models::Columns;
use crate::near;
use evenstand_stats::distribution::{f_quantile, noncentral_f_sf, noncentral_t_cdf, noncentral_t_sf, t_quantile};
use evenstand_stats::{
    Analysis, BlockPlan, PlannedTrial, Quadratic, Question, RandomTerm, SimulatedPower, SimulationOptions, StatsError,
    TrialSeries, detectable_difference, difference_power, simulate_power,
};
use ndarray::Array2;
use serde_json::Value;

const CASES: &str = include_str!("cases/comparisons.json");

fn values() -> Value {
    expected(CASES, "power-rcb")["values"].clone()
}

fn list<'a>(values: &'a Value, name: &str) -> &'a Vec<Value> {
    values[name].as_array().expect("a list")
}

fn count(value: &Value) -> usize {
    value.as_u64().expect("a count") as usize
}

#[test]
fn the_f_test_of_complete_blocks_has_the_power_r_computes() {
    for entry in list(&values(), "rcb_F") {
        let means = numbers(&entry["mu"]);
        let plan = BlockPlan::complete(means.len(), count(&entry["blocks"])).expect("plan");
        let found = plan.f_power(&means, number(&entry["sigma"]), number(&entry["alpha"])).expect("power");
        near::relative(found.noncentrality, number(&entry["lambda"]), 1e-13, "noncentrality");
        assert_eq!(found.denominator_df, number(&entry["df2"]));
        // R's noncentral beta stops its sum at 1e-9.
        near::absolute(found.power, number(&entry["power"]), 1e-9, &entry.to_string());
    }
}

#[test]
fn the_t_test_of_a_pair_has_the_power_r_computes() {
    for entry in list(&values(), "rcb_pair_t") {
        let plan = BlockPlan::complete(count(&entry["treatments"]), count(&entry["blocks"])).expect("plan");
        let pair = [1.0, -1.0, 0.0, 0.0];
        let (delta, sigma, alpha) = (number(&entry["delta"]), number(&entry["sigma"]), number(&entry["alpha"]));
        let found = plan.contrast_power(&pair, delta, sigma, alpha).expect("power");
        near::relative(found.noncentrality, number(&entry["ncp"]), 1e-13, "noncentrality");
        near::relative(found.power, number(&entry["power_two_sided"]), 1e-9, &entry.to_string());
        let back = plan.detectable_contrast(&pair, found.power, sigma, alpha).expect("difference");
        near::relative(back, delta, 1e-10, "detectable difference");
    }
}

#[test]
fn a_series_of_trials_has_the_power_r_computes_and_one_trial_is_refused() {
    for entry in list(&values(), "multi_field_pair") {
        let plan = BlockPlan::complete(2, count(&entry["blocks"])).expect("plan");
        let series = TrialSeries::new(plan, count(&entry["fields"]), number(&entry["sd_treatment_by_field"]));
        if count(&entry["fields"]) == 1 {
            assert!(matches!(series, Err(StatsError::OutOfRange { .. })));
            continue;
        }
        let series = series.expect("series");
        let (delta, sigma) = (number(&entry["delta"]), number(&entry["sigma"]));
        let found = series.contrast_power(&[1.0, -1.0], delta, sigma, 0.05).expect("power");
        near::relative(found.std_error.expect("a contrast"), number(&entry["se"]), 1e-13, "standard error");
        near::relative(found.power, number(&entry["power_two_sided"]), 1e-9, &entry.to_string());
        let back = series.detectable_contrast(&[1.0, -1.0], found.power, sigma, 0.05).expect("difference");
        near::relative(back, delta, 1e-10, "detectable difference");
        let (enough, power) =
            TrialSeries::enough_for_contrast(plan, 1.5, &[1.0, -1.0], delta, sigma, 0.05, found.power - 1e-9)
                .expect("enough");
        assert_eq!(enough.trials(), count(&entry["fields"]));
        near::absolute(power.power, found.power, 1e-12, "power");
    }
}

/// Montgomery, Design and Analysis of Experiments, plasma etching example, and the help pages of R's `power.t.test` and `power.anova.test`.
#[test]
fn completely_randomised_layouts_of_textbooks_have_their_printed_power() {
    let values = values();
    for entry in list(&values, "montgomery") {
        let [lambda, df1, df2] = ["lambda", "df1", "df2"].map(|name| number(&entry[name]));
        let critical = f_quantile(0.99, df1, df2);
        near::relative(noncentral_f_sf(critical, df1, df2, lambda), number(&entry["power"]), 1e-9, "montgomery");
    }
    let critical = t_quantile(0.975, 38.0);
    let upper = noncentral_t_sf(critical, 38.0, 10.0_f64.sqrt());
    near::relative(upper, number(&values["power_t_test"]["power"]), 1e-9, "power.t.test");
    let strict = upper + noncentral_t_cdf(-critical, 38.0, 10.0_f64.sqrt());
    near::relative(strict, number(&values["power_t_test"]["strict"]), 1e-9, "power.t.test, strict");
    // Sample sizes that R solved for, to its uniroot tolerance of 1e-4 in n.
    let n = number(&values["n_for_90"]);
    let df = 2.0 * (n - 1.0);
    let power = noncentral_t_sf(t_quantile(0.975, df), df, (n / 2.0).sqrt());
    near::absolute(power, 0.9, 1e-6, "power.t.test, n for 0.9");
    // Four groups, variance 1 between and 3 within, power 0.8.
    let n = number(&values["anova_n"]);
    let df = 4.0 * (n - 1.0);
    let power = noncentral_f_sf(f_quantile(0.95, 3.0, df), 3.0, df, n);
    near::absolute(power, 0.8, 1e-6, "power.anova.test, n for 0.8");
}

#[test]
fn the_number_of_blocks_found_is_enough_and_one_less_is_not() {
    let means = [0.0, 2.0, 4.0, 3.0];
    let (plan, power) = BlockPlan::enough_for_f(&means, 3.0, 0.05, 0.8).expect("enough");
    assert!(power.power >= 0.8);
    let fewer = BlockPlan::complete(4, plan.blocks() - 1).expect("plan").f_power(&means, 3.0, 0.05).expect("power");
    assert!(fewer.power < 0.8);
    // From the list of R above: nine blocks give 0.7745, ten 0.8196.
    let (plan, _) = BlockPlan::enough_for_contrast(&[1.0, -1.0, 0.0, 0.0], 4.0, 3.0, 0.05, 0.8).expect("enough");
    assert_eq!(plan.blocks(), 10);
    let hopeless = BlockPlan::enough_for_contrast(&[1.0, -1.0], 0.0, 3.0, 0.05, 0.8);
    assert!(matches!(hopeless, Err(StatsError::NotPossible { .. })));
    assert!(BlockPlan::enough_for_f(&means, 3.0, 0.05, 0.01).is_err());
    assert!(BlockPlan::complete(4, 3).expect("plan").contrast_power(&[1.0, 1.0, 0.0, 0.0], 1.0, 1.0, 0.05).is_err());
}

#[test]
fn balanced_incomplete_blocks_have_their_known_efficiency_and_impossible_ones_are_refused() {
    // Cochran & Cox (1957), Experimental Designs, chapter 11: 4 treatments in 6 blocks of 2 have efficiency 0.67, 7 in 7 of 3 have 0.78.
    for (t, b, k, replicates, efficiency, df) in [(4, 6, 2, 3, 2.0 / 3.0, 3.0), (7, 7, 3, 3, 7.0 / 9.0, 8.0)] {
        let plan = BlockPlan::balanced_incomplete(t, b, k).expect("plan");
        assert_eq!((plan.replicates(), plan.error_df()), (replicates, df));
        near::relative(plan.efficiency(), efficiency, 1e-14, "efficiency");
    }
    for (t, b, k) in [(4, 5, 3), (5, 5, 3), (16, 8, 6), (3, 4, 4)] {
        assert!(matches!(BlockPlan::balanced_incomplete(t, b, k), Err(StatsError::NotPossible { .. })), "{t} {b} {k}");
    }
    let full = BlockPlan::balanced_incomplete(4, 5, 4).expect("plan");
    assert_eq!(full, BlockPlan::complete(4, 5).expect("plan"));
}

/// Treatments in blocks as rows: treatment and block of each plot.
fn blocked(plots: &[(usize, usize)], means: &[f64], sigma: f64) -> PlannedTrial {
    let text = |codes: Vec<usize>| codes.into_iter().map(|code| code.to_string());
    let rows = text(plots.iter().map(|p| p.0).collect())
        .zip(text(plots.iter().map(|p| p.1).collect()))
        .map(|(treatment, block)| vec![treatment, block])
        .collect();
    let table = Table::from_rows(&["treatment", "block"], rows);
    let design = Columns::intercept(plots.len())
        .factor("t", &table.factor("treatment"))
        .factor("b", &table.factor("block"))
        .design(vec![0.0; plots.len()], vec![]);
    PlannedTrial {
        fixed: design.fixed().clone(),
        names: design.names().to_vec(),
        mean: plots.iter().map(|(treatment, _)| means[*treatment]).collect(),
        random: vec![],
        sigma,
    }
}

fn unit(length: usize, position: usize) -> Vec<f64> {
    (0..length).map(|j| f64::from(u8::from(j == position))).collect()
}

#[track_caller]
fn agree(simulated: &SimulatedPower, closed: f64, extra: f64) {
    assert_eq!(simulated.failed_fits, 0);
    let allowed = 3.5 * (closed * (1.0 - closed) / simulated.runs as f64).sqrt() + extra;
    near::absolute(simulated.power, closed, allowed, &format!("{simulated:?}"));
}

#[test]
fn simulation_agrees_with_the_closed_form_for_complete_and_incomplete_blocks() {
    let options = SimulationOptions { runs: 4000, seed: 7 };
    let complete: Vec<(usize, usize)> = (0..6).flat_map(|b| (0..4).map(move |t| (t, b))).collect();
    let trial = blocked(&complete, &[0.0, 4.0, 1.0, 2.0], 3.0);
    let question = Question::Contrast { row: unit(trial.names.len(), 1), alpha: 0.05 };
    let simulated = simulate_power(&trial, Analysis::LeastSquares, &question, options).expect("simulation");
    let plan = BlockPlan::complete(4, 6).expect("plan");
    let closed = plan.contrast_power(&[-1.0, 1.0, 0.0, 0.0], 4.0, 3.0, 0.05).expect("power");
    agree(&simulated, closed.power, 0.0);

    let pairs: [(usize, usize); 6] = [(0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3)];
    let incomplete: Vec<(usize, usize)> = (0..12).flat_map(|b| [(pairs[b % 6].0, b), (pairs[b % 6].1, b)]).collect();
    let trial = blocked(&incomplete, &[0.0, 4.0, 1.0, 2.0], 2.0);
    let question = Question::Contrast { row: unit(trial.names.len(), 1), alpha: 0.05 };
    let simulated = simulate_power(&trial, Analysis::LeastSquares, &question, options).expect("simulation");
    let plan = BlockPlan::balanced_incomplete(4, 12, 2).expect("plan");
    let closed = plan.contrast_power(&[-1.0, 1.0, 0.0, 0.0], 4.0, 2.0, 0.05).expect("power");
    agree(&simulated, closed.power, 0.0);
}

/// Two treatments in blocks in several trials, as plots with random terms.
fn series(trials: usize, blocks: usize, difference: f64, sigma: f64, tau: f64) -> PlannedTrial {
    let plots: Vec<(usize, usize, usize)> =
        (0..trials).flat_map(|f| (0..blocks).flat_map(move |b| (0..2).map(move |t| (f, b, t)))).collect();
    let fixed = Array2::from_shape_fn((plots.len(), 2), |(i, j)| if j == 0 { 1.0 } else { plots[i].2 as f64 });
    let codes = |code: &dyn Fn(&(usize, usize, usize)) -> usize| plots.iter().map(code).collect::<Vec<usize>>();
    PlannedTrial {
        mean: plots.iter().map(|plot| difference * plot.2 as f64).collect(),
        random: vec![
            (RandomTerm::intercept("trial", codes(&|p| p.0), trials), 5.0),
            (RandomTerm::intercept("block", codes(&|p| p.0 * blocks + p.1), trials * blocks), 2.0),
            (RandomTerm::intercept("treatment in trial", codes(&|p| p.0 * 2 + p.2), trials * 2), tau),
        ],
        fixed,
        names: vec!["one".into(), "difference".into()],
        sigma,
    }
}

#[test]
fn simulation_of_a_series_of_trials_agrees_with_the_closed_form() {
    let trial = series(8, 4, 2.5, 1.0, 2.0);
    let question = Question::Contrast { row: vec![0.0, 1.0], alpha: 0.05 };
    let options = SimulationOptions { runs: 1500, seed: 11 };
    let simulated = simulate_power(&trial, Analysis::Mixed, &question, options).expect("simulation");
    let plan = BlockPlan::complete(2, 4).expect("plan");
    let closed = TrialSeries::new(plan, 8, 2.0).expect("series").contrast_power(&[-1.0, 1.0], 2.5, 1.0, 0.05);
    // With tau well above the error of a mean the Satterthwaite degrees of freedom are F - 1 but for a rare run.
    agree(&simulated, closed.expect("power").power, 0.01);
    // Treating plots as replicates of the difference overstates it; the simulation shows by how much.
    let careless = simulate_power(&trial, Analysis::LeastSquares, &question, options).expect("simulation");
    assert!(careless.power < simulated.power, "the unmodelled trials swamp the error of this design");
}

fn curve_trial(curvature: f64, sigma: f64) -> (PlannedTrial, Quadratic) {
    let x: Vec<f64> = (0..24).map(|i| f64::from(i % 6)).collect();
    let curve = Quadratic { linear: vec![0.0, 1.0, 0.0], square: vec![0.0, 0.0, 1.0], low: 0.0, high: 5.0 };
    let trial = PlannedTrial {
        fixed: Array2::from_shape_fn((24, 3), |(i, j)| x[i].powi(j as i32)),
        names: ["one", "x", "x2"].map(String::from).to_vec(),
        mean: x.iter().map(|x| -curvature * (x - 2.0).powi(2)).collect(),
        random: vec![],
        sigma,
    };
    (trial, curve)
}

#[test]
fn an_optimum_is_found_often_when_the_curve_is_sharp_and_rarely_when_it_is_flat() {
    let options = SimulationOptions { runs: 1000, seed: 3 };
    let ask = |curvature: f64, question: &dyn Fn(Quadratic) -> Question| {
        let (trial, curve) = curve_trial(curvature, 1.0);
        simulate_power(&trial, Analysis::LeastSquares, &question(curve), options).expect("simulation").power
    };
    let short = |curve| Question::ShortOptimumSet { curve, alpha: 0.05, share: 0.3 };
    let near = |curve| Question::NearBest { curve, best: 2.0, tolerance: 0.25 };
    let (sharp, flat) = (ask(1.0, &short), ask(0.0, &short));
    assert!(sharp > 0.95 && flat < 0.1, "{sharp} {flat}");
    let (sharp, flat) = (ask(1.0, &near), ask(0.0, &near));
    assert!(sharp > 0.95 && flat < 0.3, "{sharp} {flat}");
}

#[test]
fn the_chance_of_a_near_best_setting_agrees_with_its_normal_approximation() {
    // The turning point -b1 / 2 b2 has the delta-method standard error when the curve is sharp.
    let (trial, curve) = curve_trial(1.0, 0.5);
    let gram = trial.fixed.t().dot(&trial.fixed);
    // Row r of the inverse that belongs to the gradient (0, -1/(2 b2), b1/(2 b2²)) at b1 = 4, b2 = -1 is found by elimination.
    let gradient = [0.0, 0.5, 2.0];
    let solved = solve_three(&gram, gradient);
    let variance: f64 = 0.25 * gradient.iter().zip(solved).map(|(g, s)| g * s).sum::<f64>();
    let tolerance = 0.1;
    let chance = 1.0 - 2.0 * evenstand_stats::distribution::normal_sf(tolerance / variance.sqrt());
    let question = Question::NearBest { curve, best: 2.0, tolerance };
    let options = SimulationOptions { runs: 4000, seed: 5 };
    let simulated = simulate_power(&trial, Analysis::LeastSquares, &question, options).expect("simulation");
    agree(&simulated, chance, 0.01);
}

fn solve_three(matrix: &Array2<f64>, right: [f64; 3]) -> [f64; 3] {
    let determinant = |m: &dyn Fn(usize, usize) -> f64| {
        m(0, 0) * (m(1, 1) * m(2, 2) - m(1, 2) * m(2, 1)) - m(0, 1) * (m(1, 0) * m(2, 2) - m(1, 2) * m(2, 0))
            + m(0, 2) * (m(1, 0) * m(2, 1) - m(1, 1) * m(2, 0))
    };
    let whole = determinant(&|i, j| matrix[[i, j]]);
    [0, 1, 2].map(|k| determinant(&|i, j| if j == k { right[i] } else { matrix[[i, j]] }) / whole)
}

#[test]
fn a_simulation_repeats_itself_on_any_number_of_threads_and_moves_with_its_seed() {
    let trial = series(4, 2, 2.0, 1.0, 1.0);
    let question = Question::Contrast { row: vec![0.0, 1.0], alpha: 0.05 };
    let run = |seed| {
        simulate_power(&trial, Analysis::Mixed, &question, SimulationOptions { runs: 200, seed }).expect("simulation")
    };
    let first = run(1);
    let single = rayon::ThreadPoolBuilder::new().num_threads(1).build().expect("a pool");
    assert_eq!(first, single.install(|| run(1)));
    assert!((2..20).any(|seed| run(seed).successes != first.successes));
    near::relative(first.std_error, (first.power * (1.0 - first.power) / 200.0).sqrt(), 1e-14, "standard error");
    assert!(first.interval.contains(first.power));
}

#[test]
fn questions_and_layouts_that_make_no_sense_are_refused() {
    let options = SimulationOptions { runs: 10, seed: 1 };
    let (trial, curve) = curve_trial(1.0, 1.0);
    let ask = |trial: &PlannedTrial, question: &Question, options| {
        simulate_power(trial, Analysis::LeastSquares, question, options)
    };
    let fine = Question::Contrast { row: vec![0.0, 1.0, 0.0], alpha: 0.05 };
    assert!(ask(&trial, &fine, options).is_ok());
    assert!(ask(&trial, &fine, SimulationOptions { runs: 0, seed: 1 }).is_err());
    assert!(ask(&PlannedTrial { sigma: 0.0, ..trial.clone() }, &fine, options).is_err());
    assert!(ask(&PlannedTrial { mean: vec![0.0; 3], ..trial.clone() }, &fine, options).is_err());
    assert!(ask(&trial, &Question::Contrast { row: vec![1.0], alpha: 0.05 }, options).is_err());
    assert!(ask(&trial, &Question::Contrast { row: vec![1.0; 3], alpha: 0.0 }, options).is_err());
    let backwards = Quadratic { low: 5.0, high: 0.0, ..curve.clone() };
    assert!(ask(&trial, &Question::ShortOptimumSet { curve: backwards, alpha: 0.05, share: 0.5 }, options).is_err());
    assert!(ask(&trial, &Question::NearBest { curve, best: f64::NAN, tolerance: 1.0 }, options).is_err());
}

#[test]
fn sizes_and_levels_at_the_ends_of_their_ranges_are_refused() {
    let refused = |found: evenstand_stats::Result<_>| matches!(found, Err(StatsError::OutOfRange { .. }));
    for (std_error, df, alpha) in
        [(0.0, 5.0, 0.05), (f64::INFINITY, 5.0, 0.05), (1.0, 0.0, 0.05), (1.0, 5.0, 0.0), (1.0, 5.0, 1.0)]
    {
        assert!(refused(difference_power(1.0, std_error, df, alpha)), "{std_error} {df} {alpha}");
    }
    let difference = |power: f64, alpha: f64| detectable_difference(1.0, 5.0, power, alpha);
    for (power, alpha) in [(0.05, 0.05), (1.0, 0.05), (0.04, 0.05), (0.8, 1.0)] {
        assert!(matches!(difference(power, alpha), Err(StatsError::OutOfRange { .. })), "{power} {alpha}");
    }
    assert!(difference(0.8, 0.05).is_ok_and(|difference| difference > 0.0));
}
