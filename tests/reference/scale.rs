//! Designs of the size of many fields: right answers, and the time they took (printed, not judged: machines differ).

use crate::near;
use evenstand_stats::{DegreesOfFreedom, Design, LinearFit, Lmm, Posterior, PosteriorOptions, RandomTerm, Refits};
use ndarray::Array2;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;
use std::time::Instant;

/// `fields` fields of three blocks of eight rows: a quadratic curve with its own location and level in each of four conditions (p = 12).
/// Standard deviations: residual 0.5, field 0.8, block 0.3, slopes (if wanted) 0.4 and 0.2.
fn many_fields(fields: usize, slopes: bool, seed: u64) -> Design {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut normal = || -> f64 { random.sample(StandardNormal) };
    let n = fields * 24;
    let field: Vec<usize> = (0..n).map(|i| i / 24).collect();
    let block: Vec<usize> = (0..n).map(|i| i / 8).collect();
    let x: Vec<f64> = (0..n).map(|i| (i % 8) as f64 / 3.5 - 1.0).collect();
    let square: Vec<f64> = x.iter().map(|x| x * x).collect();
    let mut effects = |count: usize, sd: f64| -> Vec<f64> { (0..count).map(|_| sd * normal()).collect() };
    let level = effects(fields, 0.8);
    let within = effects(3 * fields, 0.3);
    let scale = f64::from(u8::from(slopes));
    let (linear, curved) = (effects(fields, 0.4 * scale), effects(fields, 0.2 * scale));
    let noise = effects(n, 0.5);
    let condition = |i: usize| (i / 24 + (i / 8) % 2) % 4;
    let response = (0..n)
        .map(|i| {
            1.0 + 0.2 * condition(i) as f64 + (0.5 + linear[field[i]]) * x[i] - (0.7 - curved[field[i]]) * square[i]
                + level[field[i]]
                + within[block[i]]
                + noise[i]
        })
        .collect();
    let fixed = Array2::from_shape_fn((n, 12), |(i, j)| {
        let mine = j / 3 == 0 || condition(i) == j / 3;
        f64::from(u8::from(mine)) * [1.0, x[i], square[i]][j % 3]
    });
    let mut terms =
        vec![RandomTerm::intercept("field", field.clone(), fields), RandomTerm::intercept("block", block, 3 * fields)];
    if slopes {
        terms.push(RandomTerm::slope("x", field.clone(), fields, x));
        terms.push(RandomTerm::slope("x²", field, fields, square));
    }
    let names = (0..12).map(|j| format!("c{j}")).collect();
    Design::new(response, fixed, names, terms, None).expect("valid design")
}

#[test]
fn a_thousand_fields_give_back_the_simulated_standard_deviations() {
    let clock = Instant::now();
    let design = many_fields(1000, false, 1);
    let built = clock.elapsed();
    let fit = Lmm::reml().fit(&design).expect("fit");
    println!(
        "24 000 rows: design {built:?}, fit {:?}, {} evaluations",
        clock.elapsed() - built,
        fit.optimum().evaluations
    );
    assert!(fit.optimum().converged);
    assert_eq!(fit.notes(), []);
    // Standard errors of these estimates are about 2.5%, 2% and 0.5%.
    for (component, truth) in fit.variance_components().iter().zip([0.8, 0.3, 0.5]) {
        near::relative(component.standard_deviation, truth, 0.08, &component.term);
    }
    near::absolute(fit.coefficients()[2], -0.7, 0.06, "curvature");
}

#[test]
fn kenward_roger_needs_no_matrix_of_rows_by_rows() {
    let design = many_fields(1000, false, 1);
    let clock = Instant::now();
    let fit = Lmm::reml().with_degrees_of_freedom(DegreesOfFreedom::KenwardRoger).fit(&design).expect("fit");
    let contrast = fit.contrast(&unit(2)).expect("contrast");
    println!("24 000 rows, Kenward-Roger: {:?}", clock.elapsed());
    let other = Lmm::reml().fit(&design).expect("fit").contrast(&unit(2)).expect("contrast");
    // With a thousand fields the adjustment is negligible and the two methods meet; neither is a copy of the other.
    near::relative(contrast.std_error, other.std_error, 1e-5, "standard error");
    near::relative(contrast.df, other.df, 1e-2, "degrees of freedom");
    assert!(contrast.df > 1000.0);
}

fn unit(at: usize) -> Vec<f64> {
    (0..12).map(|j| f64::from(u8::from(j == at))).collect()
}

#[test]
fn slopes_in_every_field_are_found_too() {
    let design = many_fields(400, true, 2);
    let clock = Instant::now();
    let fit = Lmm::reml().fit(&design).expect("fit");
    println!("9 600 rows, four terms: {:?}, {} evaluations", clock.elapsed(), fit.optimum().evaluations);
    assert!(fit.optimum().converged, "{:?}", fit.optimum());
    for (component, truth) in fit.variance_components().iter().zip([0.8, 0.3, 0.4, 0.2, 0.5]) {
        near::relative(component.standard_deviation, truth, 0.15, &component.term);
    }
}

#[test]
fn a_usual_trial_is_sampled_well_within_the_default_number_of_steps() {
    let design = many_fields(16, true, 3);
    let clock = Instant::now();
    let posterior = Posterior::sample(&design, &PosteriorOptions::new(vec![2.0; 4], 1)).expect("sample");
    println!("384 rows, 16 fields, 5,000 factorisations: {:?}", clock.elapsed());
    println!("effective sample sizes {:?}", posterior.effective_sample_size);
    for size in &posterior.effective_sample_size {
        assert!(*size > 100.0, "{:?}", posterior.effective_sample_size);
    }
}

#[test]
fn refits_are_the_fits_of_the_same_responses() {
    for base in [many_fields(6, true, 5), crate::brute_force::correlated(1), crate::brute_force::second_stage(1)] {
        let first = Lmm::reml().fit(&base).expect("fit");
        let refits = Refits::new(&base, &first).expect("own design");
        for seed in 0..10 {
            let mut random = ChaCha8Rng::seed_from_u64(seed);
            let mut noise = || 0.3 * random.sample::<f64, _>(StandardNormal);
            let response: Vec<f64> = base.response().iter().map(|y| y + noise()).collect();
            let again = refits.fit(response.clone()).expect("fit");
            let fresh = Lmm::reml().fit(&base.with_response(response).expect("finite")).expect("fit");
            near::absolute(again.criterion(), fresh.criterion(), 1e-8, "criterion");
            near::scaled(again.coefficients(), fresh.coefficients(), &fresh.standard_errors(), 1e-6, "coefficients");
            let row: Vec<f64> = (0..fresh.names().len()).map(|j| f64::from(u8::from(j == 1))).collect();
            let [a, b] = [&again, &fresh].map(|fit| fit.contrast(&row).expect("contrast"));
            near::relative(a.df, b.df, 1e-4, "degrees of freedom");
        }
    }
}

#[test]
fn refits_take_a_fraction_of_a_first_fit() {
    for (fields, replicates) in [(14, 200), (1000, 5)] {
        let design = many_fields(fields, fields < 100, 6);
        let first = Lmm::reml().fit(&design).expect("fit");
        let refits = Refits::new(&design, &first).expect("own design");
        let clock = Instant::now();
        let converged = (0..replicates)
            .filter(|replicate| {
                let shift = 0.01 * (replicate % 7) as f64;
                let response = design.response().iter().enumerate().map(|(i, y)| y + shift * (i % 5) as f64).collect();
                refits.fit(response).expect("fit").optimum().converged
            })
            .count();
        println!("{} rows, {replicates} refits: {:?}", design.n_observations(), clock.elapsed());
        assert_eq!(converged, replicates);
    }
}
