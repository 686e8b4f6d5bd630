//! Linear mixed models and the questions put to them.

use super::answers::check_fit;
use super::frames::{design, groups, over_seeds, scale};
use super::linear::what_follows;
use evenstand_stats::{
    Bootstrap, Criterion, DegreesOfFreedom, Design, LinearFit, Lmm, LmmFit, Posterior, PosteriorOptions, Refits,
    SpreadPrior, deviance_at, group_bootstrap, leave_one_group_out, parametric_bootstrap, test_random_terms,
    variance_intervals,
};
use ndarray::Array2;

/// What the criterion says around the optimum: nothing lower beyond rounding, along any theta.
fn looks_settled(design: &Design, fit: &LmmFit, criterion: Criterion) -> Option<String> {
    if !fit.optimum().converged {
        return None;
    }
    let here = fit.criterion();
    for k in 0..fit.theta().len() {
        for change in [0.97, 1.03, 0.0] {
            let mut theta = fit.theta().to_vec();
            // A start is of the size of its term; far from zero there may be another valley, which is not asked after.
            let size = fit.optimum().start[k].abs().min(1.0);
            theta[k] = if theta[k] == 0.0 { 1e-2 * (2.0 - change) * size } else { theta[k] * change };
            // A criterion of this size is itself rounded; a curved one rises by its square.
            let allowed = 1e-7 * (1.0 + here.abs());
            if deviance_at(design, &theta, criterion).is_ok_and(|other| other < here - allowed) {
                return Some(format!("{:?}: {theta:?} is lower", fit.optimum()));
            }
        }
    }
    None
}

/// What the gradient of the criterion says, by central differences: where a step against it promises more than the criterion is rounded by,
/// the search was not at its end.
fn gradient_says_no(design: &Design, fit: &LmmFit, criterion: Criterion) -> Option<String> {
    if !fit.optimum().converged {
        return None;
    }
    let here = fit.criterion();
    let allowed = 1e-7 * (1.0 + here.abs());
    for (k, &at) in fit.theta().iter().enumerate() {
        if at == 0.0 {
            continue;
        }
        let step = 1e-3 * at.abs();
        let moved = |change: f64| {
            let mut theta = fit.theta().to_vec();
            theta[k] += change;
            deviance_at(design, &theta, criterion).ok()
        };
        let (Some(above), Some(below)) = (moved(step), moved(-step)) else { continue };
        let gradient = (above - below) / (2.0 * step);
        let curvature = (above - 2.0 * here + below) / (step * step);
        // Half the square of the gradient over the curvature is what a Newton step would win; without curvature, what one step does.
        let promised = if curvature > 0.0 { gradient * gradient / (2.0 * curvature) } else { gradient.abs() * step };
        if promised > allowed {
            return Some(format!(
                "{:?}: the gradient of theta {k} at {at} is {gradient}, which promises {promised}",
                fit.optimum()
            ));
        }
    }
    None
}

#[test]
fn mixed_models_and_what_follows_from_them() {
    over_seeds(700, |random| {
        let Some(design) = design(random) else { return vec![] };
        let mut wrong = Vec::new();
        let reml = Lmm::reml();
        let options = [
            (reml, Criterion::Reml),
            (Lmm::maximum_likelihood(), Criterion::MaximumLikelihood),
            (reml.with_degrees_of_freedom(DegreesOfFreedom::KenwardRoger), Criterion::Reml),
        ];
        for (k, (lmm, criterion)) in options.into_iter().enumerate() {
            let Ok(fit) = lmm.fit(&design) else { continue };
            let what = format!("mixed model {k}");
            wrong.extend(check_fit(&fit, &what));
            if k < 2 {
                wrong.extend(looks_settled(&design, &fit, criterion).map(|words| format!("{what}: {words}")));
                wrong.extend(gradient_says_no(&design, &fit, criterion).map(|words| format!("{what}: {words}")));
            }
            if fit.variance_components().iter().any(|component| !(component.variance >= 0.0)) {
                wrong.push(format!("{what}: {:?}", fit.variance_components()));
            }
            let modes = fit.conditional_modes();
            if modes.iter().any(|term| term.modes.iter().chain(&term.conditional_sd).any(|value| !value.is_finite())) {
                wrong.push(format!("{what}: {modes:?}"));
            }
            if let Ok(refits) = Refits::new(&design, &fit)
                && let Ok(again) = refits.fit(design.response().iter().rev().copied().collect())
            {
                wrong.extend(check_fit(&again, &format!("{what}, refitted")));
            }
        }
        wrong
    });
}

#[test]
fn questions_to_mixed_models() {
    over_seeds(60, |random| {
        let Some(design) = design(random) else { return vec![] };
        let Ok(fit) = Lmm::reml().fit(&design) else { return vec![] };
        let mut wrong = what_follows(&design, &fit, random);
        match variance_intervals(&design, &fit, 0.9) {
            Ok(intervals) => {
                let bad = intervals.iter().find(|i| !(i.interval.low <= i.interval.high && i.interval.low >= 0.0));
                wrong.extend(bad.map(|interval| format!("profile interval {interval:?}")));
            }
            Err(error) => assert!(!error.to_string().is_empty()),
        }
        let first = design.with_random(design.random().iter().take(1).cloned().collect()).expect("checked before");
        if let Ok(smaller) = Lmm::reml().fit(&first)
            && let Ok(test) = test_random_terms(&smaller, &fit)
            && !((0.0..=1.0).contains(&test.p_value) && test.statistic >= 0.0)
        {
            wrong.push(format!("{test:?}"));
        }
        let rows = design.n_observations();
        let (codes, number) = groups(random, rows);
        if let Ok(left_out) = leave_one_group_out(&design, &fit, &codes, number) {
            let undefined = left_out.iter().any(|one| one.told.iter().flatten().any(|value| !value.is_finite()));
            if undefined {
                wrong.push(format!("left out: {left_out:?}"));
            }
        }
        let statistic = |fit: &LmmFit| vec![fit.coefficients()[0], fit.sigma()];
        if let Ok(bootstrap) = parametric_bootstrap(&design, &fit, 3, 1, statistic)
            && more_than_failures(&bootstrap)
        {
            wrong.push("the parametric bootstrap gave NaN".into());
        }
        if let Ok(bootstrap) = group_bootstrap(&design, &fit, &codes, 3, 1, |_, fit| vec![fit.sigma()])
            && more_than_failures(&bootstrap)
        {
            wrong.push("the bootstrap of groups gave NaN".into());
        }
        let terms = design.random().len();
        let options = PosteriorOptions {
            draws: 5,
            burn_in: 40,
            thin: 1,
            seed: 1,
            priors: vec![SpreadPrior::HalfNormal(scale(random)); terms],
            mean_only: vec![],
        };
        if let Ok(posterior) = Posterior::sample(&design, &options) {
            let finite = |values: &Array2<f64>| values.iter().all(|value| value.is_finite());
            if !(finite(&posterior.coefficients)
                && posterior.effects.iter().all(|value| value.is_finite())
                && finite(&posterior.standard_deviations)
                && posterior.sigma.iter().all(|value| *value > 0.0 && value.is_finite()))
            {
                wrong.push(format!("posterior: {:?} {:?}", posterior.sigma, posterior.coefficients));
            }
        }
        wrong
    });
}

/// A replicate without an answer is counted as a failure; no other NaN is allowed.
fn more_than_failures(bootstrap: &Bootstrap) -> bool {
    let undefined = |values: Vec<f64>| values.iter().filter(|value| value.is_nan()).count();
    bootstrap.values(0).is_ok_and(|values| undefined(values) > bootstrap.failures().len())
}
