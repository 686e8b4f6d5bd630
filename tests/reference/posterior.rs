//! The posterior against what is known in closed form, against REML, and against itself.

use crate::models::model;
use crate::near;
use evenstand_stats::{
    Design, LeastSquares, LinearFit, Lmm, Posterior, PosteriorOptions, RandomTerm, SpreadPrior, mean, quantile,
    standard_deviation,
};
use ndarray::Array2;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// `groups` groups of `per_group` rows, a slope in each; sigma 1, intercept sd 2, slope sd 0.5.
fn simulated(groups: usize, per_group: usize, seed: u64) -> Design {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut normal = || -> f64 { random.sample(StandardNormal) };
    let n = groups * per_group;
    let codes: Vec<usize> = (0..n).map(|i| i / per_group).collect();
    let x: Vec<f64> = (0..n).map(|i| (i % per_group) as f64 / (per_group - 1) as f64 * 4.0 - 2.0).collect();
    let intercepts: Vec<f64> = (0..groups).map(|_| 2.0 * normal()).collect();
    let slopes: Vec<f64> = (0..groups).map(|_| 0.5 * normal()).collect();
    let response = (0..n).map(|i| 5.0 + intercepts[codes[i]] + (1.5 + slopes[codes[i]]) * x[i] + normal()).collect();
    Design::new(
        response,
        Array2::from_shape_fn((n, 2), |(i, j)| if j == 0 { 1.0 } else { x[i] }),
        vec!["one".into(), "x".into()],
        vec![RandomTerm::intercept("group", codes.clone(), groups), RandomTerm::slope("x in group", codes, groups, x)],
        None,
    )
    .expect("valid design")
}

fn column(matrix: &Array2<f64>, j: usize) -> Vec<f64> {
    matrix.column(j).to_vec()
}

#[test]
fn the_same_seed_gives_the_same_bytes_and_another_seed_does_not() {
    let design = model("oats-quadratic").expect("typed in");
    let mut options = PosteriorOptions::new(vec![20.0, 20.0], 11);
    options.draws = 200;
    let one = Posterior::sample(&design, &options).expect("sample");
    let again = Posterior::sample(&design, &options).expect("sample");
    assert_eq!(one.sigma, again.sigma);
    assert_eq!(one.effects, again.effects);
    assert_eq!(one.coefficients, again.coefficients);
    options.seed = 12;
    assert_ne!(one.sigma, Posterior::sample(&design, &options).expect("sample").sigma);
}

#[test]
fn without_random_terms_the_posterior_is_the_one_of_least_squares() {
    // sigma² ~ RSS / chi² and coefficients ~ t with n - p degrees of freedom: the mean of sigma² is RSS / (n - p - 2), the variance of
    // a coefficient its squared standard error times (n - p) / (n - p - 2).
    let design = model("seedrate-quadratic").expect("typed in");
    let design = Design::new(design.response().to_vec(), design.fixed().clone(), design.names().to_vec(), vec![], None)
        .expect("valid design");
    let fit = LeastSquares.fit(&design).expect("fit");
    let mut options = PosteriorOptions::new(vec![], 5);
    options.draws = 20_000;
    options.thin = 5;
    let posterior = Posterior::sample(&design, &options).expect("sample");
    let variances: Vec<f64> = posterior.sigma.iter().map(|s| s * s).collect();
    // Monte Carlo error of the mean of sigma² is about 0.3%, of a standard deviation about 0.6%.
    near::relative(mean(&variances).expect("draws"), fit.residual_sum_of_squares() / 19.0, 0.015, "sigma²");
    for (j, se) in fit.standard_errors().iter().enumerate() {
        let draws = column(&posterior.coefficients, j);
        near::absolute((mean(&draws).expect("draws") - fit.coefficients()[j]) / se, 0.0, 0.03, "mean");
        near::relative(standard_deviation(&draws).expect("draws"), se * (21.0_f64 / 19.0).sqrt(), 0.02, "sd");
    }
}

#[test]
fn with_many_groups_and_wide_priors_the_posterior_agrees_with_reml() {
    let design = simulated(150, 5, 1);
    let fit = Lmm::reml().fit(&design).expect("fit");
    let posterior = Posterior::sample(&design, &PosteriorOptions::new(vec![100.0, 100.0], 2)).expect("sample");
    // Posterior means and REML differ by order 1 / groups; posterior standard deviations here are about 6% (intercept) and 9% (slope).
    near::relative(mean(&posterior.sigma).expect("draws"), fit.sigma(), 0.02, "sigma");
    for k in 0..2 {
        let found = mean(&column(&posterior.standard_deviations, k)).expect("draws");
        near::relative(found, fit.variance_components()[k].standard_deviation, 0.04, "standard deviation");
    }
    for (j, se) in fit.standard_errors().iter().enumerate() {
        let draws = column(&posterior.coefficients, j);
        near::absolute((mean(&draws).expect("draws") - fit.coefficients()[j]) / se, 0.0, 0.1, "coefficient");
        near::relative(standard_deviation(&draws).expect("draws"), *se, 0.08, "its spread");
    }
    let modes = fit.conditional_modes();
    for (k, term) in modes.iter().enumerate() {
        let first = posterior.effect_offset(k).expect("a term");
        for g in [0, 70, 149] {
            let draws = column(&posterior.effects, first + g);
            let distance = (mean(&draws).expect("draws") - term.modes[g]) / term.conditional_sd[g];
            near::absolute(distance, 0.0, 0.15, "effect");
        }
    }
    assert_eq!(posterior.effect_offset(2), Some(300));
    assert!((0.15..0.6).contains(&posterior.acceptance_rate), "{}", posterior.acceptance_rate);
    for size in &posterior.effective_sample_size {
        assert!(*size > 300.0, "{:?}", posterior.effective_sample_size);
    }
}

#[test]
fn ninety_percent_intervals_cover_the_simulated_truth_about_as_often_as_they_say() {
    // 60 trials of 12 groups, sampled briefly. A count of 60 at 90% has standard deviation 2.3; 48 is 2.6 below 54. Priors are not the simulating
    // distribution, so exact coverage is not expected.
    let truth = [1.0, 2.0, 0.5, 5.0, 1.5];
    let mut covered = [0; 5];
    for seed in 0..60 {
        let design = simulated(12, 6, 100 + seed);
        let mut options = PosteriorOptions::new(vec![5.0, 5.0], seed);
        (options.burn_in, options.draws, options.thin) = (1000, 400, 3);
        let posterior = Posterior::sample(&design, &options).expect("sample");
        let draws = [
            posterior.sigma.clone(),
            column(&posterior.standard_deviations, 0),
            column(&posterior.standard_deviations, 1),
            column(&posterior.coefficients, 0),
            column(&posterior.coefficients, 1),
        ];
        for (k, values) in draws.iter().enumerate() {
            let low = quantile(values, 0.05).expect("draws");
            let high = quantile(values, 0.95).expect("draws");
            covered[k] += u32::from(low <= truth[k] && truth[k] <= high);
        }
    }
    assert!(covered.iter().all(|count| *count >= 48), "{covered:?} of 60");
}

#[test]
fn a_prior_that_forbids_variation_gives_the_common_line() {
    let design = simulated(8, 6, 3);
    let posterior = Posterior::sample(&design, &PosteriorOptions::new(vec![1e-4, 1e-4], 1)).expect("sample");
    let plain = Design::new(design.response().to_vec(), design.fixed().clone(), design.names().to_vec(), vec![], None)
        .expect("valid design");
    let fit = LeastSquares.fit(&plain).expect("fit");
    near::relative(mean(&posterior.sigma).expect("draws"), fit.sigma(), 0.05, "sigma");
    let largest = posterior.standard_deviations.iter().fold(0.0_f64, |m, v| m.max(*v));
    assert!(largest < 1e-3, "{largest}");
}

#[test]
fn with_three_groups_the_prior_scale_bounds_the_standard_deviation() {
    // Three groups say little about a standard deviation; the draws must not run far beyond the prior.
    let design = simulated(3, 8, 9);
    let posterior = Posterior::sample(&design, &PosteriorOptions::new(vec![3.0, 1.0], 4)).expect("sample");
    for (k, scale) in [3.0, 1.0].into_iter().enumerate() {
        let upper = quantile(&column(&posterior.standard_deviations, k), 0.99).expect("draws");
        assert!(upper < 4.0 * scale, "{upper}");
    }
}

#[test]
fn scales_must_be_positive_and_one_per_term() {
    let design = model("dyestuff").expect("typed in");
    assert!(Posterior::sample(&design, &PosteriorOptions::new(vec![], 1)).is_err());
    assert!(Posterior::sample(&design, &PosteriorOptions::new(vec![0.0], 1)).is_err());
}

/// One-way layout: with lambda = sigma² + n tau², the joint density of (log sigma, tau) is
/// `sigma^-(N-G) exp(-SSW / 2 sigma²) lambda^-((G-1)/2) exp(-SSB / 2 lambda) prior(tau)`; the distribution of tau is integrated on a grid.
#[test]
fn the_spread_of_a_one_way_layout_is_drawn_as_integrated_under_either_prior() {
    let (groups, each) = (5, 4);
    let codes: Vec<usize> = (0..groups * each).map(|row| row / each).collect();
    let response: Vec<f64> =
        codes.iter().enumerate().map(|(row, group)| 0.6 * (*group as f64).cos() + (1.9 * row as f64).sin()).collect();
    let mean_of = |group: usize| response[group * each..(group + 1) * each].iter().sum::<f64>() / each as f64;
    let overall = (0..groups).map(mean_of).sum::<f64>() / groups as f64;
    let within: f64 = codes.iter().zip(&response).map(|(group, value)| (value - mean_of(*group)).powi(2)).sum();
    let between: f64 = (0..groups).map(|group| each as f64 * (mean_of(group) - overall).powi(2)).sum();
    let design = Design::new(
        response.clone(),
        Array2::ones((groups * each, 1)),
        vec!["one".into()],
        vec![RandomTerm::intercept("group", codes.clone(), groups)],
        None,
    )
    .expect("valid design");
    type Density = fn(f64) -> f64;
    let normal: Density = |tau| -0.5 * (tau / 0.8).powi(2);
    let tapered: Density = |tau| -0.5 * (tau / 1.5).powi(2) - (tau / 0.1).powi(2).ln_1p();
    let priors = [SpreadPrior::HalfNormal(0.8), SpreadPrior::TaperedCauchy { scale: 0.1, slab: 1.5 }];
    let mut medians = Vec::new();
    for (prior, density) in priors.into_iter().zip([normal, tapered]) {
        let options = PosteriorOptions { draws: 20_000, burn_in: 4000, thin: 4, seed: 3, priors: vec![prior] };
        let draws = column(&Posterior::sample(&design, &options).expect("sample").standard_deviations, 0);
        let grid: Vec<f64> = (0..1500).map(|step| (f64::from(step) + 0.5) * 0.004).collect();
        let weights: Vec<f64> = grid
            .iter()
            .map(|tau| {
                let at = |step: i32| {
                    let log_sigma = f64::from(step) * 0.02;
                    let variance = (2.0 * log_sigma).exp();
                    let lambda = variance + each as f64 * tau * tau;
                    (density(*tau)
                        - (groups * (each - 1)) as f64 * log_sigma
                        - within / (2.0 * variance)
                        - 0.5 * (groups - 1) as f64 * lambda.ln()
                        - between / (2.0 * lambda))
                        .exp()
                };
                (-150..150).map(at).sum::<f64>()
            })
            .collect();
        let total: f64 = weights.iter().sum();
        for share in [0.1, 0.25, 0.5, 0.75, 0.9] {
            let mut sum = 0.0;
            let at = weights.iter().position(|weight| {
                sum += weight;
                sum >= share * total
            });
            let wanted = grid[at.expect("inside")];
            let below = draws.iter().filter(|tau| **tau <= wanted).count() as f64 / draws.len() as f64;
            // Effective sizes above 3000: standard errors below 0.01.
            near::absolute(below, share, 0.03, &format!("{prior:?}, share {share}"));
            if share == 0.5 {
                medians.push(wanted);
            }
        }
    }
    assert!(medians[1] < 0.7 * medians[0], "the tapered prior draws towards zero: {medians:?}");
}
