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

fn column<T: Copy + Into<f64>>(matrix: &Array2<T>, j: usize) -> Vec<f64> {
    matrix.column(j).iter().map(|value| (*value).into()).collect()
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
fn a_term_may_keep_its_means_alone_and_nothing_else_changes() {
    let design = simulated(20, 5, 1);
    let all = PosteriorOptions { draws: 50, ..PosteriorOptions::new(vec![1.0, 1.0], 2) };
    let some = PosteriorOptions { mean_only: vec![0], ..all.clone() };
    let (all, some) =
        (Posterior::sample(&design, &all).expect("sample"), Posterior::sample(&design, &some).expect("sample"));
    assert_eq!((some.effect_offset(0), some.effect_offset(1), some.effect_offset(2)), (None, Some(0), Some(20)));
    assert_eq!(all.sigma, some.sigma);
    for group in 0..20 {
        assert_eq!(column(&all.effects, 20 + group), column(&some.effects, group));
        for term in 0..2 {
            let draws = column(&all.effects, 20 * term + group);
            let found = some.mean_effect(term, group).expect("an effect");
            near::absolute(found, mean(&draws).expect("draws"), 1e-12, "mean");
        }
    }
    assert_eq!((some.mean_effect(0, 20), some.mean_effect(2, 0)), (None, None));
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
    // Proposals do not hang on the position, so the more of them are taken the better.
    assert!((0.6..1.0).contains(&posterior.acceptance_rate), "{}", posterior.acceptance_rate);
    for size in &posterior.effective_sample_size {
        assert!(*size > 900.0, "{:?}", posterior.effective_sample_size);
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
        let options =
            PosteriorOptions { draws: 20_000, burn_in: 4000, thin: 4, seed: 3, priors: vec![prior], mean_only: vec![] };
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

/// A nested layout of blocks in fields: with lambda = sigma² + n tau_b² and mu = lambda + b n tau_f², the joint density of the three spreads is
/// `sigma^-(N-FB) exp(-SSW / 2 sigma²) lambda^-(F(B-1)/2) exp(-SSB / 2 lambda) mu^-((F-1)/2) exp(-SSF / 2 mu)` times the priors, integrated on a grid of
/// their logarithms. The prior of the field's spread is so wide that four fields leave it a tail up to a hundred times its median: the draws have
/// to reach it, and come back.
#[test]
fn spreads_of_blocks_in_fields_are_drawn_as_integrated_under_a_prior_that_says_little() {
    let (fields, blocks, each) = (4, 3, 4);
    let rows = fields * blocks * each;
    let block: Vec<usize> = (0..rows).map(|row| row / each).collect();
    let field: Vec<usize> = block.iter().map(|block| block / blocks).collect();
    let wave = |at: usize, speed: f64| (speed * at as f64).sin();
    let response: Vec<f64> =
        (0..rows).map(|row| 0.5 * wave(field[row], 2.3) + 0.4 * wave(block[row], 1.7) + wave(row, 1.9)).collect();
    let mean_where = |keep: &dyn Fn(usize) -> bool| {
        let kept: Vec<f64> = (0..rows).filter(|row| keep(*row)).map(|row| response[row]).collect();
        mean(&kept).expect("rows")
    };
    let of_block: Vec<f64> = (0..fields * blocks).map(|code| mean_where(&|row| block[row] == code)).collect();
    let of_field: Vec<f64> = (0..fields).map(|code| mean_where(&|row| field[row] == code)).collect();
    let overall = mean_where(&|_| true);
    let within: f64 = (0..rows).map(|row| (response[row] - of_block[block[row]]).powi(2)).sum();
    let of_blocks: f64 = (0..rows).map(|row| (of_block[block[row]] - of_field[field[row]]).powi(2)).sum();
    let of_fields: f64 = (0..rows).map(|row| (of_field[field[row]] - overall).powi(2)).sum();
    let scales = [50.0, 0.5];
    let terms = vec![
        RandomTerm::intercept("field", field.clone(), fields),
        RandomTerm::intercept("block", block.clone(), fields * blocks),
    ];
    let design =
        Design::new(response.clone(), Array2::ones((rows, 1)), vec!["one".into()], terms, None).expect("valid");
    let usual = Posterior::sample(&design, &PosteriorOptions::new(scales.to_vec(), 1)).expect("sample");
    assert!(usual.effective_sample_size.iter().all(|size| *size > 250.0), "{:?}", usual.effective_sample_size);
    let mut options = PosteriorOptions::new(scales.to_vec(), 3);
    (options.draws, options.burn_in) = (40_000, 4000);
    let draws = Posterior::sample(&design, &options).expect("sample").standard_deviations;
    let step = 0.05;
    let grid: Vec<f64> = (0..260).map(|number| (f64::from(number).mul_add(step, -8.5)).exp()).collect();
    let mut mass = [vec![0.0; grid.len()], vec![0.0; grid.len()]];
    for (f, tau_f) in grid.iter().enumerate() {
        for (b, tau_b) in grid.iter().enumerate() {
            // In the logarithm of a spread its density is the spread times that of the spread.
            let prior = tau_f.ln() + tau_b.ln() - 0.5 * ((tau_f / scales[0]).powi(2) + (tau_b / scales[1]).powi(2));
            let at = |number: i32| {
                let log_sigma = f64::from(number) * step;
                let variance = (2.0 * log_sigma).exp();
                let lambda = variance + each as f64 * tau_b * tau_b;
                let mu = lambda + (blocks * each) as f64 * tau_f * tau_f;
                let likelihood = (rows - fields * blocks) as f64 * variance.ln()
                    + within / variance
                    + (fields * (blocks - 1)) as f64 * lambda.ln()
                    + of_blocks / lambda
                    + (fields - 1) as f64 * mu.ln()
                    + of_fields / mu;
                (prior - 0.5 * likelihood).exp()
            };
            let density: f64 = (-25..15).map(at).sum();
            mass[0][f] += density;
            mass[1][b] += density;
        }
    }
    for (term, mass) in mass.iter().enumerate() {
        let drawn = column(&draws, term);
        let total: f64 = mass.iter().sum();
        for share in [0.1, 0.25, 0.5, 0.75, 0.9, 0.97] {
            let mut sum = 0.0;
            let at = mass.iter().position(|part| {
                sum += part;
                sum >= share * total
            });
            let edge = grid[at.expect("all of it is on the grid")] * (0.5 * step).exp();
            let below = drawn.iter().filter(|tau| **tau <= edge).count() as f64 / drawn.len() as f64;
            // Monte Carlo error of a share among some 5000 effective draws is 0.007 at most.
            near::absolute(below, sum / total, 0.02, "share of draws below a quantile");
        }
    }
}

/// Two terms with the same groups and the same prior: the likelihood knows the sum of their variances alone, the prior too, so the density of the two
/// spreads is the same all along a quarter of a circle, and their angle is uniform from 0 to a right angle. Steps of a walk that were reflected at
/// zero while they hang together are not symmetric, and crowd the ends of the arc.
#[test]
fn of_two_spreads_that_cannot_be_told_apart_every_mixture_is_as_likely() {
    let (groups, each) = (40, 3);
    let codes: Vec<usize> = (0..groups * each).map(|row| row / each).collect();
    let mut random = ChaCha8Rng::seed_from_u64(8);
    let mut normal = || -> f64 { random.sample(StandardNormal) };
    let effects: Vec<f64> = (0..groups).map(|_| normal()).collect();
    let response = codes.iter().map(|group| effects[*group] + normal()).collect();
    let twice = ["one", "other"].map(|name| RandomTerm::intercept(name, codes.clone(), groups));
    let design = Design::new(response, Array2::ones((groups * each, 1)), vec!["one".into()], twice.to_vec(), None)
        .expect("valid design");
    let mut options = PosteriorOptions::new(vec![5.0, 5.0], 17);
    (options.draws, options.burn_in, options.thin) = (40_000, 4000, 4);
    let posterior = Posterior::sample(&design, &options).expect("sample");
    let quarters: Vec<f64> = posterior
        .standard_deviations
        .rows()
        .into_iter()
        .map(|pair| pair[0].atan2(pair[1]) * 2.0 / std::f64::consts::PI)
        .collect();
    for share in [0.02, 0.1, 0.3, 0.5, 0.7, 0.9, 0.98] {
        let below = quarters.iter().filter(|angle| **angle <= share).count() as f64 / quarters.len() as f64;
        near::absolute(below, share, 0.015, &format!("share of angles below {share}"));
    }
}
