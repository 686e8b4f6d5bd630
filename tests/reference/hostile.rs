//! Small random designs of the worst kinds through every door: each must end in an error in words or in numbers that mean something.
//!
//! Rows may repeat, cells be empty, factors be aliased or of one level, groups be one; responses may be zero, constant, exactly linear or
//! offset by 1e9; scales run from 1e-9 to 1e9; counts may be separated, all zero or all successes. Asserted for every estimator: no panic,
//! no NaN among coefficients, standard errors, degrees of freedom and p-values without a note, and no search called converged where the
//! criterion itself, looked at from here, says no.

use evenstand_stats::{
    Adjustment, BetaBinomial, BinomialDesign, BinomialMixed, Bootstrap, Cell, CoefficientDraws, Contrast, Criterion,
    DegreesOfFreedom, Design, Direction, EventTimes, IntervalData, LeastSquares, LinearFit, Lmm, LmmFit, Logistic,
    MarginalMeans, Posterior, PosteriorOptions, QuadraticOptimum, QuadraticRows, RandomTerm, Refits, ResponseFrame,
    ResponseShape, ShapeComparison, StatsError, deviance_at, group_bootstrap, leave_one_group_out,
    parametric_bootstrap, test_random_terms, turnbull, variance_intervals,
};
use ndarray::Array2;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::panic::{AssertUnwindSafe, catch_unwind};

type Random = ChaCha8Rng;

/// Runs `check` on every seed; it gives what it finds wrong. All of it is shown at once, panics included.
fn over_seeds(seeds: u64, check: impl Fn(&mut Random) -> Vec<String>) {
    let mut wrong = Vec::new();
    for seed in 0..seeds {
        let mut random = Random::seed_from_u64(seed);
        match catch_unwind(AssertUnwindSafe(|| check(&mut random))) {
            Ok(found) => wrong.extend(found.into_iter().map(|what| format!("seed {seed}: {what}"))),
            Err(_) => wrong.push(format!("seed {seed}: panicked")),
        }
    }
    assert!(wrong.is_empty(), "{} complaints, first:\n{}", wrong.len(), wrong[..wrong.len().min(25)].join("\n"));
}

fn unit(random: &mut Random) -> f64 {
    2.0 * random.random::<f64>() - 1.0
}

fn pick<T: Copy>(random: &mut Random, from: &[T]) -> T {
    from[random.random_range(0..from.len())]
}

fn scale(random: &mut Random) -> f64 {
    pick(random, &[1.0, 1.0, 1.0, 1e-9, 1e-4, 1e4, 1e9])
}

fn offset(random: &mut Random) -> f64 {
    pick(random, &[0.0, 0.0, 0.0, 1.0, 1e9, -1e9])
}

fn columns(random: &mut Random, rows: usize) -> Array2<f64> {
    let count = random.random_range(1..5);
    let mut columns: Vec<Vec<f64>> = Vec::new();
    for j in 0..count {
        let kind = if j == 0 { pick(random, &[0, 0, 0, 2, 3]) } else { random.random_range(0..8) };
        let size = scale(random);
        columns.push(match kind {
            0 => vec![1.0; rows],
            1 => vec![0.0; rows],
            2 => {
                let shift = offset(random);
                (0..rows).map(|_| size * unit(random) + shift).collect()
            }
            3 => (0..rows).map(|_| size * f64::from(random.random_range(0..3_u8))).collect(),
            4 => columns[random.random_range(0..j)].clone(),
            5 => (0..rows).map(|i| columns.iter().map(|column| size * column[i]).sum()).collect(),
            6 => (0..rows).map(|i| f64::from(u8::from(i == 0))).collect(),
            // All but equal to the column before it.
            _ => columns[j - 1].iter().map(|value| value * (1.0 + 1e-9 * unit(random))).collect(),
        });
    }
    if rows > 2 && random.random::<f64>() < 0.2 {
        let last = columns.len() - 1;
        columns.iter_mut().take(last + 1).for_each(|column| (1..rows / 2).for_each(|i| column[i] = column[0]));
    }
    Array2::from_shape_fn((rows, count), |(i, j)| columns[j][i])
}

fn names(count: usize) -> Vec<String> {
    (0..count).map(|j| format!("c{j}")).collect()
}

fn response(random: &mut Random, fixed: &Array2<f64>) -> Vec<f64> {
    let (rows, size) = (fixed.nrows(), scale(random));
    match random.random_range(0..8) {
        0 => vec![0.0; rows],
        1 => vec![size; rows],
        2 => fixed.rows().into_iter().map(|row| row.sum()).collect(),
        3 => (0..rows).map(|i| f64::from(u8::from(i == 0))).collect(),
        4 => (0..rows).map(|_| f64::from(random.random_range(0..2_u8))).collect(),
        5 => (0..rows).map(|i| size * (unit(random) + (i % 3) as f64)).collect(),
        _ => {
            let shift = offset(random);
            (0..rows).map(|_| size * unit(random) + shift).collect()
        }
    }
}

fn groups(random: &mut Random, rows: usize) -> (Vec<usize>, usize) {
    match random.random_range(0..5) {
        0 => (vec![0; rows], 1),
        1 => ((0..rows).collect(), rows),
        2 => ((0..rows).map(|i| 2 * (i / 2)).collect(), rows + 2),
        _ => {
            let count = random.random_range(1..6);
            ((0..rows).map(|_| random.random_range(0..count)).collect(), count)
        }
    }
}

fn random_terms(random: &mut Random, rows: usize, correlated: bool) -> Vec<RandomTerm> {
    let count = random.random_range(0..4);
    (0..count)
        .map(|k| {
            let name = format!("t{k}");
            let (codes, number) = groups(random, rows);
            let size = scale(random);
            let covariate: Vec<f64> = (0..rows).map(|_| size * unit(random)).collect();
            match random.random_range(0..if correlated { 6 } else { 4 }) {
                0 => RandomTerm::slope(name, codes, number, covariate),
                4 => RandomTerm::smooth(name, vec![covariate, vec![1.0; rows], vec![0.5; rows]]),
                5 => {
                    let both = vec![("one".into(), vec![1.0; rows]), ("x".into(), covariate)];
                    RandomTerm::correlated(name, codes, number, both)
                }
                _ => RandomTerm::intercept(name, codes, number),
            }
        })
        .collect()
}

fn design(random: &mut Random) -> Option<Design> {
    let rows = random.random_range(1..14);
    let fixed = columns(random, rows);
    let response = response(random, &fixed);
    let names = names(fixed.ncols());
    let random_terms = random_terms(random, rows, true);
    // A frame whose terms are refused is still a frame without them.
    let plain = |terms: Vec<RandomTerm>, random: &mut Random| {
        let size = scale(random);
        match random.random_range(0..6) {
            0 => {
                let variances: Vec<f64> = (0..rows).map(|_| size * (1.1 + unit(random))).collect();
                Design::with_sampling_variances(response.clone(), fixed.clone(), names.clone(), terms, &variances)
            }
            1 => {
                let weights = (0..rows).map(|_| size * (1.1 + unit(random))).collect();
                Design::new(response.clone(), fixed.clone(), names.clone(), terms, Some(weights))
            }
            _ => Design::new(response.clone(), fixed.clone(), names.clone(), terms, None),
        }
    };
    match plain(random_terms, random) {
        Ok(design) => Some(design),
        Err(error) => {
            assert!(!error.to_string().contains("NaN"), "{error}");
            plain(Vec::new(), random).ok()
        }
    }
}

/// Codes of notes that explain numbers which are not there.
const EXPLAINS: [&str; 4] = ["separation", "perfect-fit", "stopped-early", "runaway"];

fn check_fit(fit: &dyn LinearFit, what: &str) -> Vec<String> {
    let mut wrong = Vec::new();
    let explained = fit.notes().iter().any(|note| EXPLAINS.contains(&note.code));
    let mut complain = |bad: bool, about: String| {
        if bad && !explained {
            wrong.push(format!("{what}: {about}"));
        }
    };
    let width = fit.coefficients().len();
    complain(fit.coefficients().iter().any(|b| !b.is_finite()), format!("coefficients {:?}", fit.coefficients()));
    complain(
        fit.standard_errors().iter().any(|s| !(s.is_finite() && *s >= 0.0)),
        format!("standard errors {:?} for {:?}", fit.standard_errors(), fit.coefficients()),
    );
    for j in 0..width {
        let mut row = vec![0.0; width];
        row[j] = 1.0;
        match fit.contrast(&row) {
            Ok(contrast) => complain(!meaningful(&contrast), format!("{contrast:?}")),
            Err(error) => complain(true, format!("contrast {j}: {error}")),
        }
    }
    match fit.joint_test(&Array2::eye(width)) {
        Ok(test) => complain(
            !((0.0..=1.0).contains(&test.p_value) && test.denominator_df > 0.0 && test.f >= 0.0),
            format!("{test:?}"),
        ),
        // Kenward and Roger's test of several rows needs moments that need not exist.
        Err(StatsError::DegreesOfFreedom { .. }) => {}
        Err(error) => complain(true, format!("joint test: {error}")),
    }
    complain(fit.aic().is_nan() || fit.aicc().is_nan(), format!("AIC {} {}", fit.aic(), fit.aicc()));
    wrong
}

fn meaningful(contrast: &Contrast) -> bool {
    let limits = contrast.interval(0.95);
    contrast.df > 0.0
        && contrast.std_error >= 0.0
        && (0.0..=1.0).contains(&contrast.p_value())
        && !limits.low.is_nan()
        && !limits.high.is_nan()
}

#[test]
fn least_squares_and_what_follows_from_it() {
    over_seeds(1500, |random| {
        let Some(design) = design(random) else { return vec![] };
        let fit = match LeastSquares.fit(&design) {
            Ok(fit) => fit,
            Err(error) => return vec![format!("least squares refused a checked design: {error}")],
        };
        let mut wrong = check_fit(&fit, "least squares");
        if random.random_range(0..8) == 0 {
            wrong.extend(what_follows(&design, &fit, random));
        }
        wrong
    });
}

fn what_follows(design: &Design, fit: &impl LinearFit, random: &mut Random) -> Vec<String> {
    let mut wrong = Vec::new();
    // Correlations without structure are averaged over many directions, so most seeds leave them out.
    let (directions, adjustments) = if random.random_range(0..20) == 0 { (true, 4) } else { (false, 2) };
    let width = design.rank() + design.aliased().len();
    let cells: Vec<Cell> = (0..random.random_range(1..4))
        .map(|k| Cell::new(format!("m{k}"), (0..width).map(|_| f64::from(random.random_range(0..2_u8))).collect()))
        .collect();
    match MarginalMeans::new(design, fit, &cells) {
        Err(error) => wrong.push(format!("means: {error}")),
        Ok(means) => {
            let families = [means.all_pairs(), means.against_control("m0")];
            for family in families.into_iter().flatten() {
                let all = [Adjustment::Holm, Adjustment::Tukey, Adjustment::Dunnett, Adjustment::SingleStep];
                for adjustment in all.into_iter().take(adjustments) {
                    let Ok(adjusted) = family.adjust(adjustment, 0.95) else { continue };
                    let noted = adjusted.notes.iter().any(|note| note.code == "degenerate");
                    let defined = |p: f64| (0.0..=1.0).contains(&p);
                    if !noted && !adjusted.rows.iter().all(|row| defined(row.adjusted_p) && defined(row.p_value)) {
                        wrong.push(format!("{adjustment:?}: {:?}", adjusted.rows));
                    }
                }
            }
            if let Some(Ok(best)) = directions.then(|| means.comparisons_with_best(Direction::LargestIsBest, 0.9))
                && best.rows.iter().any(|row| row.p_value.is_nan() || row.interval.low.is_nan())
            {
                wrong.push(format!("best: {best:?}"));
            }
        }
    }
    if design.rank() >= 2 {
        let unit = |j: usize| (0..design.rank()).map(|k| f64::from(u8::from(k == j))).collect();
        let rows = QuadraticRows { slope: unit(design.rank() - 2), curvature: unit(design.rank() - 1), centre: 0.0 };
        if let Ok(optimum) = QuadraticOptimum::new(fit, &rows, 0.0) {
            let limits = optimum.delta_interval(0.9);
            let undefined = limits.is_some_and(|limits| limits.low.is_nan() || limits.high.is_nan());
            if undefined || optimum.estimate().is_some_and(f64::is_nan) {
                wrong.push(format!("optimum {:?} {limits:?}", optimum.estimate()));
            }
            let _ = optimum.fieller_set(0.9);
            let _ = optimum.constrained_set(0.9, evenstand_stats::Interval { low: 0.0, high: 1.0 });
        }
    }
    if let Ok(draws) = CoefficientDraws::new(fit, f64::INFINITY, 3, 1)
        && draws.coefficients().iter().any(|value| !value.is_finite())
    {
        wrong.push("draws of coefficients are not finite".into());
    }
    wrong
}

/// What the criterion says around the optimum: nothing lower beyond rounding, along any theta.
fn looks_settled(design: &Design, fit: &LmmFit, criterion: Criterion) -> Option<String> {
    if !fit.optimum().converged {
        return None;
    }
    let here = fit.criterion();
    for k in 0..fit.theta().len() {
        for change in [0.97, 1.03, 0.0] {
            let mut theta = fit.theta().to_vec();
            theta[k] = if theta[k] == 0.0 { 1e-2 * (2.0 - change) } else { theta[k] * change };
            // A criterion of this size is itself rounded; a curved one rises by its square.
            let allowed = 1e-7 * (1.0 + here.abs());
            if deviance_at(design, &theta, criterion).is_ok_and(|other| other < here - allowed) {
                return Some(format!("{:?}: {theta:?} is lower", fit.optimum()));
            }
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
            let undefined = left_out.iter().any(|one| {
                one.coefficients.as_ref().is_some_and(|values| values.iter().any(|value| !value.is_finite()))
            });
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
        let options = PosteriorOptions { draws: 5, burn_in: 40, thin: 1, seed: 1, scales: vec![scale(random); terms] };
        if let Ok(posterior) = Posterior::sample(&design, &options) {
            let finite = |values: &Array2<f64>| values.iter().all(|value| value.is_finite());
            if !(finite(&posterior.coefficients)
                && finite(&posterior.effects)
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

fn counts(random: &mut Random) -> Option<BinomialDesign> {
    let rows = random.random_range(1..12);
    let fixed = columns(random, rows);
    let most = pick(random, &[1_u32, 1, 4, 30, 1000]);
    let trials: Vec<f64> = (0..rows).map(|_| f64::from(random.random_range(1..=most))).collect();
    let kind = random.random_range(0..6);
    let cut = fixed[[random.random_range(0..rows), fixed.ncols() - 1]];
    let successes = trials
        .iter()
        .enumerate()
        .map(|(i, &n)| match kind {
            0 => 0.0,
            1 => n,
            2 => n * f64::from(u8::from(fixed[[i, fixed.ncols() - 1]] > cut)),
            3 => (0.3 * n).floor(),
            _ => f64::from(random.random_range(0..=n as u32)),
        })
        .collect();
    let terms = random_terms(random, rows, false);
    let names = names(fixed.ncols());
    let plain =
        |terms| BinomialDesign::new(Vec::clone(&successes), trials.clone(), fixed.clone(), names.clone(), terms);
    plain(terms).or_else(|_| plain(Vec::new())).ok()
}

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

#[test]
fn shapes_of_a_response() {
    over_seeds(150, |random| {
        let rows = random.random_range(2..12);
        let (size, shift, levels) = (scale(random), offset(random), random.random_range(1..8_u8));
        let x: Vec<f64> = (0..rows).map(|_| shift + size * f64::from(random.random_range(0..levels))).collect();
        let fixed = Array2::from_shape_fn((rows, 2), |(i, j)| if j == 0 { 1.0 } else { x[i] });
        let response = response(random, &fixed);
        let Ok(frame) = ResponseFrame::plain(response, x.clone()) else { return vec![] };
        let Ok(comparison) = ShapeComparison::new(&frame, &ResponseShape::ALL) else { return vec![] };
        let mut wrong = Vec::new();
        let total: f64 = comparison.weights().iter().sum();
        if !((total - 1.0).abs() < 1e-9) {
            wrong.push(format!("weights {:?}", comparison.weights()));
        }
        for fit in comparison.candidates() {
            match fit.curve(x[0]) {
                Ok(contrast) if !meaningful(&contrast) && fit.notes().is_empty() => {
                    wrong.push(format!("{:?}: {contrast:?}", fit.shape()));
                }
                _ => {}
            }
        }
        wrong
    });
}
