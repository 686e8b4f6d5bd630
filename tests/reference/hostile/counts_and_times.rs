//! Models of counts and of event times.

use super::answers::check_fit;
use super::frames::{counts, over_seeds, pick, scale};
use evenstand_stats::{
    BetaBinomial, BinomialDesign, BinomialMixed, EventTimes, IntervalData, LinearFit, Logistic, StatsError, turnbull,
};
use rand::Rng;

/// Largest score of the binomial likelihood in units of its standard deviation, column by column.
fn largest_score(design: &BinomialDesign, probabilities: &[f64]) -> f64 {
    (0..design.rank())
        .map(|j| {
            let (mut score, mut information) = (0.0, 0.0);
            for (i, p) in probabilities.iter().enumerate() {
                let (k, n, x) = (design.successes()[i], design.trials()[i], design.fixed()[[i, j]]);
                score += x * (k - n * p);
                information += x * x * n * p * (1.0 - p);
            }
            score.abs() / information.sqrt()
        })
        .fold(0.0, f64::max)
}

#[test]
fn models_of_counts() {
    over_seeds(700, |random| {
        let Some(design) = counts(random) else { return vec![] };
        let mut wrong = Vec::new();
        for (what, options) in [
            ("logistic", Logistic::ordinary()),
            ("quasi-binomial", Logistic::ordinary().with_estimated_dispersion()),
            ("Firth", Logistic::firth()),
        ] {
            let fit = match options.fit(&design) {
                Ok(fit) => fit,
                Err(StatsError::TooFewRows { .. } | StatsError::NotPossible { .. }) if what != "Firth" => continue,
                Err(error) => {
                    wrong.push(format!("{what} refused: {error}"));
                    continue;
                }
            };
            wrong.extend(check_fit(&fit, what));
            if fit.record().converged && !fit.is_penalised() {
                let score = largest_score(&design, fit.probabilities());
                if !(score < 1e-4) {
                    wrong.push(format!("{what}: converged with a score of {score}: {:?}", fit.record()));
                }
            }
            if let Ok(limits) = fit.profile_interval(0, 0.9)
                && !(limits.low <= fit.coefficients()[0] && fit.coefficients()[0] <= limits.high)
            {
                wrong.push(format!("{what}: profile limits {limits:?} around {}", fit.coefficients()[0]));
            }
        }
        if let Ok(fit) = BetaBinomial.fit(&design) {
            wrong.extend(check_fit(&fit, "beta-binomial"));
            let at = |b: &[f64]| BetaBinomial.log_likelihood_at(&design, b, fit.correlation());
            wrong.extend(no_higher(&fit, fit.record().converged, at).map(|words| format!("beta-binomial: {words}")));
        }
        for options in [BinomialMixed::laplace(), BinomialMixed::quadrature(5)] {
            let Ok(fit) = options.fit(&design) else { continue };
            wrong.extend(check_fit(&fit, "binomial mixed model"));
            let deviations: Vec<f64> = fit.random_deviations().iter().map(|d| d.standard_deviation).collect();
            let at = |b: &[f64]| options.log_likelihood_at(&design, b, &deviations);
            wrong.extend(no_higher(&fit, fit.record().converged, at).map(|words| format!("{options:?}: {words}")));
        }
        wrong
    });
}

/// A tenth of a standard error to either side of each coefficient, nothing is higher beyond rounding.
fn no_higher(
    fit: &impl LinearFit,
    converged: bool,
    log_likelihood: impl Fn(&[f64]) -> evenstand_stats::Result<f64>,
) -> Option<String> {
    if !converged {
        return None;
    }
    let here = fit.log_likelihood();
    for (j, error) in fit.standard_errors().iter().enumerate() {
        for side in [-0.1, 0.1] {
            let mut moved = fit.coefficients().to_vec();
            moved[j] += side * error;
            if let Ok(other) = log_likelihood(&moved)
                && other > here + 1e-9 * (1.0 + here.abs())
            {
                return Some(format!("called converged at {here}, but {other} lies beside it in coefficient {j}"));
            }
        }
    }
    None
}

#[test]
fn event_times_of_every_kind() {
    over_seeds(500, |random| {
        let rows = random.random_range(1..8);
        let size = scale(random);
        let most = pick(random, &[1_u64, 2, 20, 1_000_000]);
        let (mut left, mut right, mut numbers) = (Vec::new(), Vec::new(), Vec::new());
        for _ in 0..rows {
            let from = size * f64::from(random.random_range(0..4_u8));
            let to = from + size * f64::from(random.random_range(1..4_u8));
            let open = random.random::<f64>() < 0.3;
            left.push(from);
            right.push(if open { f64::INFINITY } else { to });
            numbers.push(random.random_range(0..=most));
        }
        let Ok(data) = IntervalData::new(left, right, numbers) else { return vec![] };
        let mut wrong = Vec::new();
        let free = turnbull(&data);
        let total: f64 = free.masses().iter().map(|mass| mass.mass).sum();
        if !((total - 1.0).abs() < 1e-9) || free.converged() && !(free.gap() < 1e-9) {
            wrong.push(format!("turnbull: {total} {free:?}"));
        }
        for shape in [EventTimes::log_logistic(), EventTimes::weibull(), EventTimes::log_normal()] {
            for options in [shape, shape.without_limit()] {
                let Ok(fit) = options.fit(&data) else { continue };
                wrong.extend(check_fit(&fit, &format!("{options:?}")));
                if fit.log_likelihood() > free.log_likelihood() + 1e-6 * (1.0 + free.log_likelihood().abs()) {
                    wrong.push(format!("{options:?} is likelier than any distribution"));
                }
            }
        }
        wrong
    });
}
