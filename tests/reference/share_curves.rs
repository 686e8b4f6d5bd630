//! Draws of clustered yes/no curves: the likelihood and the mode against the other estimators of this crate (which are held to
//! outside values), the posterior against plain integration, limits against simulated truth, and data that tell little.

use crate::near;
use evenstand_stats::{
    BetaBinomial, BinomialDesign, BinomialMixed, Line, LinearFit, Logistic, RandomTerm, ShareCurve, ShareCurves,
    ShareRow, ShareSpread, Slope, StatsError, mean, quantile,
};
use ndarray::Array2;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Beta, Distribution, StandardNormal};

/// Rows `(cluster, x, successes, trials)` of group 0.
fn rows(counts: &[(usize, f64, u32, u32)]) -> Vec<ShareRow> {
    counts.iter().map(|&(cluster, x, successes, trials)| ShareRow { group: 0, cluster, x, successes, trials }).collect()
}

fn design(rows: &[ShareRow], clusters: bool) -> BinomialDesign {
    let term = RandomTerm::intercept("cluster", rows.iter().map(|row| row.cluster).collect(), 20);
    BinomialDesign::new(
        rows.iter().map(|row| f64::from(row.successes)).collect(),
        rows.iter().map(|row| f64::from(row.trials)).collect(),
        Array2::from_shape_fn((rows.len(), 2), |(i, j)| if j == 0 { 1.0 } else { rows[i].x }),
        vec!["one".into(), "x".into()],
        if clusters { vec![term] } else { vec![] },
    )
    .expect("valid design")
}

fn fixed(standard_deviation: f64, correlation: f64) -> ShareCurves {
    ShareCurves {
        standard_deviation: ShareSpread::Fixed(standard_deviation),
        correlation: ShareSpread::Fixed(correlation),
        ..ShareCurves::new(1)
    }
}

fn curve(options: &ShareCurves, rows: &[ShareRow]) -> ShareCurve {
    options.draw(rows, 1).expect("draws").groups.remove(0).expect("a slope")
}

#[test]
fn without_spreads_the_mode_is_firths_estimate() {
    // Its own estimate is held to brglm2 and to published fits in `logistic_regression`.
    let overlapping = [(0, 1.0, 3, 5), (1, 2.0, 2, 4), (0, 3.5, 2, 6), (1, 5.0, 0, 3)];
    let separated = [(0, 150.0, 2, 2), (0, 250.0, 4, 4), (1, 400.0, 0, 2), (1, 500.0, 0, 9)];
    let none = [(0, 200.0, 0, 2), (0, 300.0, 0, 2), (1, 450.0, 0, 6)];
    let two_rows = [(0, -1.0, 1, 1), (0, 1.0, 1, 1)];
    for (name, counts) in [
        ("overlapping", &overlapping[..]),
        ("separated", &separated[..]),
        ("no successes", &none[..]),
        ("two rows", &two_rows[..]),
    ] {
        let rows = rows(counts);
        let fit = Logistic::firth().fit(&design(&rows, false)).expect("fit");
        let found = curve(&fixed(0.0, 0.0), &rows).mode;
        let errors = fit.standard_errors();
        near::scaled(&[found.intercept, found.slope], fit.coefficients(), &errors, 1e-8, name);
    }
}

#[test]
fn the_likelihood_of_clusters_is_that_of_the_mixed_model() {
    // Held to lme4 in `binomial_mixed`.
    let rows = rows(&[
        (0, 200.0, 3, 5),
        (0, 300.0, 2, 4),
        (0, 300.0, 0, 2),
        (1, 200.0, 2, 6),
        (1, 450.0, 0, 3),
        (2, 300.0, 4, 4),
        (2, 450.0, 1, 2),
        (3, 450.0, 0, 1),
    ]);
    let design = design(&rows, true);
    for (intercept, slope, deviation) in [(2.0, -0.01, 0.5), (0.0, 0.002, 1.7), (6.0, -0.02, 1e-3)] {
        for nodes in [1, 5, 9] {
            let options = ShareCurves { quadrature_nodes: nodes, ..ShareCurves::new(1) };
            let found =
                options.log_likelihood_at(&rows, &[Line { intercept, slope }], deviation, 0.0).expect("a likelihood");
            let expected = BinomialMixed::quadrature(nodes)
                .log_likelihood_at(&design, &[intercept, slope], &[deviation])
                .expect("a likelihood");
            near::absolute(found, expected, 1e-10, &format!("deviation {deviation}, {nodes} nodes"));
        }
    }
}

#[test]
fn the_likelihood_without_clusters_is_that_of_the_beta_binomial() {
    // Held to outside fits in `beta_binomial`.
    let counts = [(0, 1.0, 3, 5), (0, 1.0, 5, 5), (1, 2.0, 2, 4), (0, 3.5, 2, 40), (1, 5.0, 0, 3), (1, 5.0, 1, 1)];
    let rows = rows(&counts);
    for (correlation, line) in [(0.0, [0.5, -0.4]), (0.1, [0.5, -0.4]), (0.7, [-3.0, 0.8])] {
        let [intercept, slope] = line;
        let found = ShareCurves::new(1)
            .log_likelihood_at(&rows, &[Line { intercept, slope }], 0.0, correlation)
            .expect("a likelihood");
        let expected = BetaBinomial.log_likelihood_at(&design(&rows, false), &line, correlation).expect("a likelihood");
        near::absolute(found, expected, 1e-11, &format!("correlation {correlation}"));
    }
}

/// The posterior of one group at x = -1, 0, 1 with two clusters of rows of two, summed over a plain grid of all four parameters; effects by the
/// trapezoid rule. Nothing of the crate is used.
struct PlainGrid {
    /// Intercept, slope, sigma, rho, weight.
    cells: Vec<([f64; 4], f64)>,
}

const PLAIN: [(usize, f64, u32, u32); 10] = [
    (0, -1.0, 2, 2),
    (0, -1.0, 1, 2),
    (0, 0.0, 2, 2),
    (0, 0.0, 0, 2),
    (0, 1.0, 0, 2),
    (1, -1.0, 2, 2),
    (1, 0.0, 0, 2),
    (1, 0.0, 1, 2),
    (1, 1.0, 0, 2),
    (1, 1.0, 1, 2),
];

impl PlainGrid {
    const INTERCEPT_STEP: f64 = 14.0 / 42.0;
    const SLOPE_STEP: f64 = 12.0 / 44.0;

    fn new() -> Self {
        let middles = |low: f64, high: f64, count: usize| -> Vec<f64> {
            (0..count).map(|k| low + (high - low) * (k as f64 + 0.5) / count as f64).collect()
        };
        let share = |logit: f64| 1.0 / (1.0 + (-logit).exp());
        let row = |m: f64, k: u32, a: f64| match k {
            0 => (1.0 - m) * (1.0 - m + a) / (1.0 + a),
            1 => m * (1.0 - m) / (1.0 + a),
            _ => m * (m + a) / (1.0 + a),
        };
        let deviates = middles(-5.0, 5.0, 25);
        let mut cells = Vec::new();
        for rho in middles(0.0, 0.96, 10) {
            let a = rho / (1.0 - rho);
            for sigma in middles(0.0, 3.6, 12) {
                for intercept in middles(-7.0, 7.0, 42) {
                    for slope in middles(-9.0, 3.0, 44) {
                        let mut density = (-0.5 * sigma * sigma - 0.5 * (rho / 0.3) * (rho / 0.3)).exp();
                        for cluster in 0..2 {
                            let at = |z: f64| -> f64 {
                                let shares = [-1.0, 0.0, 1.0].map(|x| share(intercept + slope * x + sigma * z));
                                let rows = PLAIN.iter().filter(|row| row.0 == cluster);
                                rows.map(|&(_, x, k, _)| row(shares[(x + 1.0) as usize], k, a)).product::<f64>()
                                    * (-0.5 * z * z).exp()
                            };
                            density *= deviates.iter().map(|z| at(*z)).sum::<f64>();
                        }
                        let (mut s0, mut s1, mut s2) = (0.0, 0.0, 0.0);
                        for &(_, x, _, n) in &PLAIN {
                            let m = share(intercept + slope * x);
                            let w = f64::from(n) * m * (1.0 - m);
                            (s0, s1, s2) = (s0 + w, s1 + w * x, s2 + w * x * x);
                        }
                        cells.push(([intercept, slope, sigma, rho], density * (s0 * s2 - s1 * s1).sqrt()));
                    }
                }
            }
        }
        let total: f64 = cells.iter().map(|(_, weight)| weight).sum();
        cells.iter_mut().for_each(|(_, weight)| *weight /= total);
        Self { cells }
    }

    fn expect(&self, value: impl Fn(&[f64; 4]) -> f64) -> f64 {
        self.cells.iter().map(|(at, weight)| weight * value(at)).sum()
    }
}

#[test]
fn the_draws_have_the_distribution_that_plain_integration_gives() {
    let grid = PlainGrid::new();
    let options = ShareCurves { points: 20_000, draws: 40_000, cells: [24, 20], ..ShareCurves::new(5) };
    let drawn = options.draw(&rows(&PLAIN), 1).expect("draws");
    let found = drawn.groups[0].as_ref().expect("a slope");
    assert!(found.effective_sample_size > 10_000.0, "{}", found.effective_sample_size);
    let average = |values: &[f64]| mean(values).expect("draws");
    let part = |value: &dyn Fn(&Line) -> f64| average(&found.lines.iter().map(value).collect::<Vec<f64>>());
    // Of 40 000 draws means are good to 0.01 of a standard deviation, shares to 0.005; the rest is the plain grid's coarseness.
    near::absolute(part(&|line| line.intercept), grid.expect(|at| at[0]), 0.02, "mean intercept");
    near::absolute(part(&|line| line.slope), grid.expect(|at| at[1]), 0.02, "mean slope");
    near::absolute(part(&|line| line.slope.powi(2)), grid.expect(|at| at[1] * at[1]), 0.1, "square of the slope");
    near::absolute(average(&drawn.standard_deviations), grid.expect(|at| at[2]), 0.01, "mean deviation");
    near::absolute(average(&drawn.correlations), grid.expect(|at| at[3]), 0.01, "mean correlation");
    let falling = grid.expect(|at| f64::from(u8::from(at[1] < 0.0)));
    near::absolute(found.slope_probability(Slope::Falling), falling, 0.003, "probability that it falls");
    let kept = found.monotone(Slope::Falling);
    for share in [0.1, 0.5] {
        let logit = f64::ln(share / (1.0 - share));
        let crossings = kept.crossing(share).expect("a share");
        for limit in [-0.5, 0.0, 0.5, 1.0, 1.5, 2.5] {
            // A cell of the grid counts by the part of it, of 5 × 5 parts, on this side of the limit.
            let below = |at: &[f64; 4]| {
                let parts = [-0.4, -0.2, 0.0, 0.2, 0.4];
                let inside = |a: f64, b: f64| {
                    let (intercept, slope) = (at[0] + a * PlainGrid::INTERCEPT_STEP, at[1] + b * PlainGrid::SLOPE_STEP);
                    slope < 0.0 && logit - intercept >= limit * slope
                };
                let count = parts.iter().flat_map(|&a| parts.map(|b| (a, b))).filter(|&(a, b)| inside(a, b)).count();
                count as f64 / 25.0
            };
            let drawn = crossings.iter().filter(|x| **x <= limit).count() as f64 / crossings.len() as f64;
            near::absolute(drawn, grid.expect(below) / falling, 0.01, &format!("crossing of {share} below {limit}"));
        }
    }
}

/// Rows from the model itself: fields with a spread of `deviation`, rows of two with correlation 0.1, the share falling through a tenth at
/// 350 of 150 to 550.
fn simulated(fields: usize, levels: usize, strips: usize, random: &mut ChaCha8Rng) -> Vec<ShareRow> {
    let precision = 1.0 / (0.1 / 0.9);
    let mut rows = Vec::new();
    for cluster in 0..fields {
        let effect: f64 = 0.5 * random.sample::<f64, _>(StandardNormal);
        for strip in 0..strips {
            let x = 150.0 + 400.0 * (strip % levels) as f64 / (levels - 1) as f64;
            let mean = 1.0 / (1.0 + (-(0.1_f64 / 0.9).ln() + 0.012 * (x - 350.0) - effect).exp());
            let share = Beta::new(mean * precision, (1.0 - mean) * precision).expect("above zero").sample(random);
            let successes = (0..2).map(|_| u32::from(random.random::<f64>() < share)).sum();
            rows.push(ShareRow { group: 0, cluster, x, successes, trials: 2 });
        }
    }
    rows
}

#[test]
fn limits_hold_the_truth_about_as_often_as_they_say() {
    let mut random = ChaCha8Rng::seed_from_u64(8);
    let mut held = 0;
    for seed in 0..60 {
        let rows = simulated(5, 5, 10, &mut random);
        let options = ShareCurves { draws: 1000, points: 700, ..ShareCurves::new(seed) };
        let crossings: Vec<f64> = curve(&options, &rows)
            .monotone(Slope::Falling)
            .crossing(0.1)
            .expect("a share")
            .into_iter()
            .map(|x| x.clamp(150.0, 550.0))
            .collect();
        let limit = |p: f64| quantile(&crossings, p).expect("draws");
        held += u32::from(limit(0.05) <= 350.0 && 350.0 <= limit(0.95));
    }
    // 90 % of 60 is 54; three binomial standard errors are 7.
    assert!((47..60).contains(&held), "{held} of 60");
}

#[test]
fn a_cluster_not_yet_seen_differs_by_the_spread() {
    let found = curve(&fixed(0.8, 0.0), &rows(&PLAIN));
    let typical = found.crossing(0.5).expect("a share");
    let new = found.crossing_of_new_cluster(0.5).expect("a share");
    let shifts: Vec<f64> =
        found.lines.iter().zip(typical.iter().zip(&new)).map(|(line, (a, b))| (a - b) * line.slope).collect();
    near::absolute(mean(&shifts).expect("draws"), 0.0, 0.06, "mean shift");
    let square = mean(&shifts.iter().map(|shift| shift * shift).collect::<Vec<f64>>()).expect("draws");
    near::absolute(square.sqrt(), 0.8, 0.04, "spread of the shifts");
}

#[test]
fn a_group_without_a_slope_leaves_the_others_alone() {
    let mut both = rows(&PLAIN);
    let alone = ShareCurves::new(3).draw(&both, 1).expect("draws");
    both.extend([(9, 1), (12, 0)].map(|(cluster, successes)| ShareRow {
        group: 1,
        cluster,
        x: 300.0,
        successes,
        trials: 1,
    }));
    let drawn = ShareCurves::new(3).draw(&both, 3).expect("draws");
    assert_eq!(drawn.groups[0], alone.groups[0]);
    let message = |group: usize| drawn.groups[group].as_ref().expect_err("no slope").to_string();
    assert!(message(1).contains("the curve of group 1") && message(1).contains("300"), "{}", message(1));
    assert!(message(2).contains("it has no rows"));
    let none = ShareCurves::new(3)
        .draw(&both[PLAIN.len()..].iter().map(|r| ShareRow { group: 0, ..*r }).collect::<Vec<_>>(), 1);
    let none = none.expect("an answer without curves");
    assert!(none.groups[0].is_err() && none.standard_deviations.is_empty());
}

#[test]
fn rows_that_tell_little_give_draws_and_no_panic() {
    let all = |successes: u32| -> Vec<ShareRow> {
        let at = |k: usize| (k % 3, 200.0 + 100.0 * (k % 4) as f64, successes, 2);
        rows(&(0..24).map(at).collect::<Vec<_>>())
    };
    let cases = [
        ("no successes", all(0)),
        ("no failures", all(2)),
        ("one cluster", rows(&[(4, 1.0, 1, 2), (4, 2.0, 0, 2), (4, 3.0, 1, 2)])),
        ("one row a cluster", rows(&[(0, 1.0, 1, 2), (1, 2.0, 0, 2), (2, 3.0, 2, 2)])),
        ("two rows", rows(&[(0, 1.0, 1, 1), (0, 2.0, 0, 1)])),
        ("many trials", rows(&[(0, 1.0, 900, 1000), (1, 2.0, 300, 1000), (1, 3.0, 2, 1000)])),
        ("far x", rows(&[(0, 1e12, 1, 2), (1, 1.001e12, 0, 2), (2, 1.002e12, 2, 2)])),
    ];
    for (name, rows) in cases {
        let options = ShareCurves { draws: 500, points: 300, ..ShareCurves::new(2) };
        let drawn = options.draw(&rows, 1).expect(name);
        let found = drawn.groups[0].as_ref().expect(name);
        let falling = found.slope_probability(Slope::Falling);
        assert!((0.0..=1.0).contains(&falling), "{name}: {falling}");
        assert!(found.effective_sample_size > 60.0, "{name}: {}", found.effective_sample_size);
        assert!(drawn.notes.is_empty(), "{name}: {:?}", drawn.notes);
        let crossings = found.crossing(0.1).expect("a share").into_iter().chain(found.share_at(2.0));
        assert!(crossings.chain(found.crossing_of_new_cluster(0.9).expect("a share")).all(|x| x.is_finite()), "{name}");
    }
    let balanced = curve(&ShareCurves::new(2), &all(0)).slope_probability(Slope::Falling);
    near::absolute(balanced, 0.5, 0.03, "nothing seen at any x tells no slope");
    // Large counts where no correlation is asked for; a message where it is, and beyond.
    let large =
        |scale: u32| rows(&[(0, 1.0, 3 * scale, 4 * scale), (1, 2.0, scale, 4 * scale), (2, 3.0, scale, 4 * scale)]);
    assert!(matches!(ShareCurves::new(1).draw(&large(1000), 1), Err(StatsError::NotPossible { .. })));
    let options = ShareCurves { correlation: ShareSpread::Fixed(0.0), ..ShareCurves::new(1) };
    assert!(matches!(options.draw(&large(1_000_000_000), 1), Err(StatsError::NotPossible { .. })));
    assert!(curve(&options, &large(200_000)).lines.iter().all(|line| line.slope.is_finite()));
    assert!(ShareCurves::new(1).draw(&[], 1).is_err());
}

#[test]
fn a_single_row_has_no_slope() {
    let drawn = ShareCurves::new(1).draw(&rows(&[(0, 1.0, 1, 2)]), 1).expect("an answer");
    assert!(matches!(drawn.groups[0], Err(StatsError::NotPossible { .. })));
}

#[test]
fn single_trials_leave_the_correlation_at_zero() {
    let single = rows(&[(0, 1.0, 1, 1), (0, 2.0, 0, 1), (1, 1.0, 1, 1), (1, 3.0, 1, 1), (1, 3.0, 0, 1)]);
    let drawn = ShareCurves::new(1).draw(&single, 1).expect("draws");
    assert!(drawn.correlations.iter().all(|value| *value == 0.0));
    assert!(drawn.standard_deviations.iter().any(|value| *value > 0.5));
}

#[test]
fn the_same_seed_gives_the_same_draws_on_any_number_of_threads() {
    let mut random = ChaCha8Rng::seed_from_u64(3);
    let rows = simulated(3, 4, 8, &mut random);
    let options = ShareCurves { draws: 300, points: 300, ..ShareCurves::new(11) };
    let alone = rayon::ThreadPoolBuilder::new().num_threads(1).build().expect("a pool");
    let first = alone.install(|| options.draw(&rows, 1)).expect("draws");
    let again = options.draw(&rows, 1).expect("draws");
    assert_eq!(first.groups, again.groups);
    assert_eq!(first.standard_deviations, again.standard_deviations);
    let other = ShareCurves { seed: 12, ..options }.draw(&rows, 1).expect("draws");
    assert_ne!(first.groups, other.groups);
}

#[test]
fn options_out_of_range_are_refused() {
    let rows = rows(&PLAIN);
    for bad in [
        fixed(-1.0, 0.0),
        fixed(0.5, 1.0),
        ShareCurves { standard_deviation: ShareSpread::HalfNormal(0.0), ..ShareCurves::new(1) },
        ShareCurves { draws: 0, ..ShareCurves::new(1) },
        ShareCurves { quadrature_nodes: 101, ..ShareCurves::new(1) },
        ShareCurves { cells: [0, 3], ..ShareCurves::new(1) },
    ] {
        assert!(matches!(bad.draw(&rows, 1), Err(StatsError::OutOfRange { .. })), "{bad:?}");
    }
}
