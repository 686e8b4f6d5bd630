//! Shapes of a response against other software, and against plain formulas written for these tests.
//!
//! Expected values: R 4.2.2 with lme4 1.1-31; see `cases/response_shapes.json` for calls and sources.

use crate::data::number;
use crate::models::{jackson_1962, model, potassium, seedrate};
use crate::near;
use crate::response_optimum::{case, check_optimum, noisy};
use evenstand_stats::{
    Design, FiellerSet, FittedShape, Interval, LeastSquares, LinearFit, Lmm, RandomTerm, ResponseFrame, ResponseShape,
    ShapeComparison, Side, StatsError, optimum_profile_set,
};
use ndarray::Array2;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

#[test]
fn plateau_joints_their_profile_sets_and_aicc_agree() {
    for ((x, y), id) in [(potassium(), "plateau-potassium"), (jackson_1962(), "plateau-corn-jackson1962")] {
        let values = case(id);
        let n = x.len() as f64;
        let range = x[x.len() - 1] - x[0];
        let frame = ResponseFrame::plain(y, x).expect("frame");
        for (shape, name) in [
            (ResponseShape::LinearPlateau(Side::Right), "linear_plateau"),
            (ResponseShape::QuadraticPlateau(Side::Right), "quadratic_plateau"),
        ] {
            let fit = FittedShape::fit(&frame, shape).expect("fit");
            let expected = &values[name];
            let joint = fit.joint().expect("a joint");
            // Both searches compare function values, which are flat to rounding within about 1e-8 of the joint.
            near::relative(joint.estimate, number(&expected["joint"]), 1e-6, name);
            let least = LeastSquares.fit(fit.design()).expect("fit");
            near::relative(least.residual_sum_of_squares(), number(&expected["rss"]), 1e-8, name);
            near::relative(least.coefficients()[0], number(&expected["plateau"]), 1e-6, name);
            near::relative(least.coefficients()[1], number(&expected["slope"]), 1e-6, name);
            let set = fit.joint_set(0.95).expect("a set");
            assert_eq!(set.pieces.len(), 1, "{id} {name}");
            assert!(!set.open_low && !set.open_high);
            // The expected limits sit on a grid.
            let profile = &expected["profile95"];
            near::absolute(set.pieces[0].low, number(&profile["lower"]), 1e-3 * range, name);
            near::absolute(set.pieces[0].high, number(&profile["upper"]), 1e-3 * range, name);
        }
        for (shape, name) in [
            (ResponseShape::Flat, "constant"),
            (ResponseShape::Linear, "linear"),
            (ResponseShape::Quadratic, "quadratic"),
            (ResponseShape::LinearPlateau(Side::Right), "linear_plateau"),
            (ResponseShape::QuadraticPlateau(Side::Right), "quadratic_plateau"),
        ] {
            let fit = FittedShape::fit(&frame, shape).expect("fit");
            // The expected values leave the constants of the likelihood out.
            let found = fit.aicc() - n * (1.0 + (2.0 * std::f64::consts::PI).ln());
            near::absolute(found, number(&values["aicc"][name]), 1e-7, &format!("{id} {name}"));
        }
    }
}

#[test]
fn a_joint_on_a_value_of_x_is_said_to_have_a_kink() {
    let (x, y) = potassium();
    let frame = ResponseFrame::plain(y, x).expect("frame");
    let fit = FittedShape::fit(&frame, ResponseShape::LinearPlateau(Side::Right)).expect("fit");
    let joint = fit.joint().expect("a joint");
    assert!(joint.at_level && !joint.at_edge && joint.estimate == 56.0);
    assert!(fit.notes().iter().any(|note| note.code == "joint-at-level"));
}

#[test]
fn the_lack_of_fit_of_a_blocked_trial_agrees_and_does_not_depend_on_blocks_being_random() {
    let table = seedrate();
    let (x, y) = (table.numbers("rate"), table.numbers("yield"));
    let block = table.factor("rep");
    let indicators = Array2::from_shape_fn((24, 4), |(i, j)| f64::from(u8::from(block.codes[i] == j)));
    let names = (0..4).map(|j| format!("block {j}")).collect();
    let fixed = ResponseFrame::new(y.clone(), x.clone(), indicators, names, vec![], None).expect("frame");
    let fit = FittedShape::fit(&fixed, ResponseShape::Quadratic).expect("fit");
    let values = case("optimum-seedrate");
    let test = fit.lack_of_fit().expect("levels are left");
    near::relative(test.f, number(&values["lack_of_fit"]["f"]), 1e-10, "F");
    near::relative(test.p_value, number(&values["lack_of_fit"]["p"]), 1e-10, "p");
    check_optimum(&fit.optimum(0.0).expect("optimum"), &values, 1e-9, "seedrate");
    // The flat shape leaves all five differences between levels: the F test of the analysis of variance.
    let flat = FittedShape::fit(&fixed, ResponseShape::Flat).expect("fit");
    let anova = case("anova-seedrate-rcb");
    near::relative(flat.lack_of_fit().expect("levels").f, number(&anova["f"][1]), 1e-10, "F of levels");
    // Complete blocks: the same tests with random blocks.
    let random = RandomTerm::intercept("block", block.codes.clone(), 4);
    let mixed = ResponseFrame::new(y, x, Array2::zeros((24, 0)), vec![], vec![random], None).expect("frame");
    for shape in [ResponseShape::Flat, ResponseShape::Quadratic] {
        let least = FittedShape::fit(&fixed, shape).expect("fit");
        let with_random = FittedShape::fit(&mixed, shape).expect("fit");
        let (a, b) = (least.lack_of_fit().expect("levels"), with_random.lack_of_fit().expect("levels"));
        near::relative(b.f, a.f, 1e-6, shape.name());
        near::relative(b.denominator_df, a.denominator_df, 1e-3, shape.name());
    }
}

/// Residual sum of squares of `y` on `columns` by the normal equations, solved by elimination.
fn plain_rss(columns: &[Vec<f64>], y: &[f64]) -> f64 {
    let p = columns.len();
    let product = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| x * y).sum::<f64>();
    let mut a: Vec<Vec<f64>> = (0..p)
        .map(|i| (0..p).map(|j| product(&columns[i], &columns[j])).chain([product(&columns[i], y)]).collect())
        .collect();
    for k in 0..p {
        for i in (0..p).filter(|&i| i != k) {
            let pivot = a[k].clone();
            let factor = a[i][k] / pivot[k];
            a[i].iter_mut().zip(pivot).for_each(|(value, above)| *value -= factor * above);
        }
    }
    let fitted = |row: usize| (0..p).map(|k| a[k][p] / a[k][k] * columns[k][row]).sum::<f64>();
    (0..y.len()).map(|i| (y[i] - fitted(i)).powi(2)).sum()
}

#[test]
fn no_joint_on_a_fine_grid_beats_the_one_found() {
    for seed in 0..12 {
        let top = 25.0 + 4.0 * seed as f64;
        let (x, covariate, y) = noisy(seed, |x| 0.1 * x.min(top));
        let columns = Array2::from_shape_fn((24, 1), |(i, _)| covariate[i]);
        let frame = ResponseFrame::new(y.clone(), x.clone(), columns, vec!["z".into()], vec![], None).expect("frame");
        for (shape, power) in
            [(ResponseShape::LinearPlateau(Side::Right), 1), (ResponseShape::QuadraticPlateau(Side::Right), 2)]
        {
            let rss = |joint: f64| {
                let slope = x.iter().map(|x| (joint - x).max(0.0).powi(power)).collect();
                plain_rss(&[vec![1.0; 24], covariate.clone(), slope], &y)
            };
            let fit = FittedShape::fit(&frame, shape).expect("fit");
            let found = LeastSquares.fit(fit.design()).expect("fit").residual_sum_of_squares();
            let grid: Vec<f64> = (0..=7000).map(|k| 20.0 + f64::from(k) / 100.0).collect();
            let best = grid.iter().map(|&joint| rss(joint)).fold(f64::INFINITY, f64::min);
            assert!(found <= best * (1.0 + 1e-10), "seed {seed} {}: {found} above {best}", shape.name());
            near::relative(rss(fit.joint().expect("joint").estimate), found, 1e-9, shape.name());
            // The profile set is where the same formula stays below the F quantile.
            let set = fit.joint_set(0.9).expect("set");
            let limit = evenstand_stats::distribution::f_quantile(0.9, 1.0, 20.0);
            for joint in grid.iter().step_by(37) {
                let f = (rss(*joint) - found) / (found / 20.0);
                if (f - limit).abs() > 1e-3 {
                    assert_eq!(set.contains(*joint), f < limit, "seed {seed} {} at {joint}", shape.name());
                }
            }
        }
    }
}

#[test]
fn units_and_centring_of_x_move_the_optimum_as_they_should_and_change_no_weight() {
    let (x, covariate, y) = noisy(7, |x| 3.0 - 0.001 * (x - 55.0).powi(2));
    let frame = |x: Vec<f64>| {
        let columns = Array2::from_shape_fn((24, 1), |(i, _)| covariate[i]);
        let groups = RandomTerm::intercept("group", (0..24).map(|i| i / 6).collect(), 4);
        ResponseFrame::new(y.clone(), x, columns, vec!["z".into()], vec![groups], None).expect("frame")
    };
    let shapes = [
        ResponseShape::Flat,
        ResponseShape::Linear,
        ResponseShape::Quadratic,
        ResponseShape::LinearPlateau(Side::Right),
    ];
    let plain = ShapeComparison::new(&frame(x.clone()), &shapes).expect("comparison");
    let moved =
        ShapeComparison::new(&frame(x.iter().map(|x| 1000.0 * x + 3e5).collect()), &shapes).expect("comparison");
    near::scaled(moved.weights(), plain.weights(), &[1.0; 4], 1e-7, "weights");
    near::absolute(plain.weights().iter().sum(), 1.0, 1e-14, "sum of weights");
    let optimum = |comparison: &ShapeComparison| {
        comparison.get(ResponseShape::Quadratic).expect("fitted").optimum(0.0).expect("optimum")
    };
    let (a, b) = (optimum(&plain), optimum(&moved));
    near::relative(b.estimate().expect("estimate"), 1000.0 * a.estimate().expect("estimate") + 3e5, 1e-8, "estimate");
    near::relative(b.delta_std_error().expect("error"), 1000.0 * a.delta_std_error().expect("error"), 1e-6, "error");
    near::relative(b.df(), a.df(), 1e-6, "df");
    let joint =
        |comparison: &ShapeComparison| comparison.get(shapes[3]).expect("fitted").joint().expect("joint").estimate;
    near::relative(joint(&moved), 1000.0 * joint(&plain) + 3e5, 1e-6, "joint");
    let at = |comparison: &ShapeComparison, x: f64| comparison.averaged_curve(&[x]).expect("a point").remove(0);
    let (a, b) = (at(&plain, 42.0), at(&moved, 342_000.0));
    near::relative(b.estimate, a.estimate, 1e-7, "averaged");
    near::relative(b.std_error, a.std_error, 1e-5, "averaged error");
}

#[test]
fn a_mirrored_x_swaps_the_plateau_shapes() {
    let (x, _, y) = noisy(3, |x| 0.1 * x.min(40.0));
    let right = ResponseFrame::plain(y.clone(), x.clone()).expect("frame");
    let left = ResponseFrame::plain(y, x.iter().map(|x| -x).collect()).expect("frame");
    for (a, b) in [
        (ResponseShape::LinearPlateau(Side::Right), ResponseShape::LinearPlateau(Side::Left)),
        (ResponseShape::QuadraticPlateau(Side::Right), ResponseShape::QuadraticPlateau(Side::Left)),
    ] {
        let (a, b) = (FittedShape::fit(&right, a).expect("fit"), FittedShape::fit(&left, b).expect("fit"));
        near::absolute(a.aicc(), b.aicc(), 1e-9, "AICc");
        near::relative(-b.joint().expect("joint").estimate, a.joint().expect("joint").estimate, 1e-6, "joint");
        let (c, d) = (a.curve(30.0).expect("curve"), b.curve(-30.0).expect("curve"));
        near::relative(d.estimate, c.estimate, 1e-6, "curve");
        near::relative(d.std_error, c.std_error, 1e-6, "error");
        let (c, d) = (a.joint_set(0.95).expect("set"), b.joint_set(0.95).expect("set"));
        near::relative(-d.pieces[0].low, c.pieces[0].high, 1e-6, "limits");
    }
}

#[test]
fn the_standard_error_of_a_plateau_curve_counts_its_joint_in() {
    // Quadratic plateau, textbook delta method: columns 1, d/dk and d/dj at the estimate.
    let (x, _, y) = noisy(9, |x| 6.0 - 0.003 * (60.0_f64 - x).max(0.0).powi(2));
    let frame = ResponseFrame::plain(y.clone(), x.clone()).expect("frame");
    let fit = FittedShape::fit(&frame, ResponseShape::QuadraticPlateau(Side::Right)).expect("fit");
    let joint = fit.joint().expect("joint").estimate;
    let k = fit.restricted().coefficients()[1];
    let row = |x: f64| [1.0, -(joint - x).max(0.0).powi(2), -2.0 * k * (joint - x).max(0.0)];
    let fixed = Array2::from_shape_fn((24, 3), |(i, j)| row(x[i])[j]);
    let names = ["p", "k", "j"].map(String::from).to_vec();
    let linearised = LeastSquares.fit(&Design::new(y, fixed, names, vec![], None).expect("design")).expect("fit");
    for x in [12.0, 30.0, 55.0, 85.0] {
        let curve = fit.curve(x).expect("curve");
        let plain = linearised.contrast(&row(x)).expect("contrast");
        near::relative(curve.std_error, plain.std_error, 1e-6, "error");
        near::relative(curve.estimate, plain.estimate, 1e-6, "estimate");
        assert_eq!(curve.df, 21.0);
    }
}

#[test]
fn the_averaged_curve_is_the_published_formula() {
    let (x, _, y) = noisy(5, |x| 0.03 * x);
    let frame = ResponseFrame::plain(y, x).expect("frame");
    let shapes = [ResponseShape::Linear, ResponseShape::Quadratic, ResponseShape::LinearPlateau(Side::Right)];
    let comparison = ShapeComparison::new(&frame, &shapes).expect("comparison");
    let aicc: Vec<f64> = comparison.candidates().iter().map(FittedShape::aicc).collect();
    let total: f64 = aicc.iter().map(|a| (-0.5 * (a - aicc[0])).exp()).sum();
    for point in comparison.averaged_curve(&[15.0, 45.0, 88.0]).expect("curve") {
        let parts: Vec<(f64, f64, f64)> = comparison
            .candidates()
            .iter()
            .zip(&aicc)
            .map(|(fit, a)| {
                let c = fit.curve(point.x).expect("curve");
                ((-0.5 * (a - aicc[0])).exp() / total, c.estimate, c.std_error)
            })
            .collect();
        let mean: f64 = parts.iter().map(|(w, f, _)| w * f).sum();
        let error: f64 = parts.iter().map(|(w, f, s)| w * (s * s + (f - mean).powi(2)).sqrt()).sum();
        near::relative(point.estimate, mean, 1e-12, "mean");
        near::relative(point.std_error, error, 1e-12, "error");
    }
    // One shape alone: its own t interval.
    let alone = ShapeComparison::new(&frame, &[ResponseShape::Linear]).expect("comparison");
    let found = alone.averaged_curve(&[30.0]).expect("curve")[0].interval(0.95);
    let own = alone.best().curve(30.0).expect("curve").interval(0.95);
    near::relative(found.low, own.low, 1e-12, "low");
    near::relative(found.high, own.high, 1e-12, "high");
    let nothing = comparison.averaged_difference(&[30.0], 30.0).expect("difference").remove(0);
    assert_eq!((nothing.estimate, nothing.std_error, nothing.interval(0.95).width()), (0.0, 0.0, 0.0));
}

#[test]
fn shapes_that_the_levels_cannot_tell_are_named_and_left_out() {
    let mut random = ChaCha8Rng::seed_from_u64(1);
    let x: Vec<f64> = (0..12).map(|i| [1.0, 2.0, 4.0][i % 3]).collect();
    let y: Vec<f64> = (0..12).map(|_| random.sample(StandardNormal)).collect();
    let frame = ResponseFrame::plain(y.clone(), x.clone()).expect("frame");
    let comparison = ShapeComparison::new(&frame, &ResponseShape::ALL).expect("comparison");
    assert_eq!(comparison.candidates().len(), 3);
    let dropped: Vec<&str> = comparison.dropped().iter().map(|shape| shape.shape.name()).collect();
    assert_eq!(dropped.len(), 5);
    for (note, name) in comparison.notes().iter().zip(dropped) {
        assert!(note.code == "shape-dropped" && note.message.contains(name), "{note:?}");
    }
    // A column that says the same as x leaves only the flat shape.
    let same = Array2::from_shape_fn((12, 1), |(i, _)| 3.0 - 2.0 * x[i]);
    let confounded = ResponseFrame::new(y.clone(), x, same, vec!["same".into()], vec![], None).expect("frame");
    let refused = FittedShape::fit(&confounded, ResponseShape::Linear);
    assert!(matches!(refused, Err(StatsError::ShapeNotEstimable { .. })));
    assert!(matches!(ResponseFrame::plain(y, vec![2.0; 12]), Err(StatsError::TooFewValues { .. })));
    let twice = ShapeComparison::new(&frame, &[ResponseShape::Flat, ResponseShape::Flat]);
    assert!(matches!(twice, Err(StatsError::OutOfRange { value: 2.0, .. })));
}

#[test]
fn a_response_without_noise_gives_errors_or_numbers_and_never_panics() {
    let x: Vec<f64> = (0..12).map(|i| f64::from(i / 2)).collect();
    for curve in [|_: f64| 1.0, |x: f64| x, |x: f64| -(x - 2.0).powi(2), |x: f64| x.min(2.5)] {
        let y: Vec<f64> = x.iter().map(|&x| curve(x)).collect();
        let frame = ResponseFrame::plain(y, x.clone()).expect("frame");
        match ShapeComparison::new(&frame, &ResponseShape::ALL) {
            Ok(comparison) => assert!(comparison.weights().iter().all(|weight| weight.is_finite())),
            Err(error) => assert!(!error.to_string().is_empty()),
        }
    }
}

#[test]
fn shapes_with_random_terms_use_the_likelihood_of_the_whole_model() {
    let Some(design) = model("corn-quadratic-locyear") else { return };
    let x: Vec<f64> = design.fixed().column(1).to_vec();
    let frame = ResponseFrame::new(
        design.response().to_vec(),
        x,
        Array2::zeros((design.n_observations(), 0)),
        vec![],
        design.random().to_vec(),
        None,
    )
    .expect("frame");
    let fit = FittedShape::fit(&frame, ResponseShape::Quadratic).expect("fit");
    // lme4: see `corn-quadratic-locyear` in cases/lmm.json.
    near::absolute(fit.maximum_likelihood().log_likelihood(), -220.858547973326, 1e-8, "log-likelihood");
    assert_eq!(fit.n_parameters(), 5);
    check_optimum(&fit.optimum(0.0).expect("optimum"), &case("optimum-corn-locyear"), 1e-6, "corn");
    let comparison = ShapeComparison::new(&frame, &ResponseShape::ALL).expect("comparison");
    let (flat, best) = (comparison.get(ResponseShape::Flat).expect("flat"), comparison.best());
    assert!(flat.aicc() > best.aicc() + 20.0);
    let plateau = comparison.get(ResponseShape::LinearPlateau(Side::Right)).expect("plateau");
    let set = plateau.joint_set(0.95).expect("set");
    assert!(set.contains(plateau.joint().expect("joint").estimate));
    let range = Interval { low: 1.0, high: 4.0 };
    let likelihood = optimum_profile_set(&frame, 0.0, 0.95, range).expect("set");
    let FiellerSet::Interval(fieller) = fit.optimum(0.0).expect("optimum").fieller_set(0.95).expect("set") else {
        panic!("not an interval")
    };
    // Maximum likelihood lets the variances answer: close to the Fieller set, not the same.
    near::relative(likelihood.pieces[0].low, fieller.low, 0.02, "low");
    near::relative(likelihood.pieces[0].high, fieller.high, 0.02, "high");
}

/// A trial like those of the next tests: field-seasons of blocks, a response that levels off, random level and slope.
fn field_seasons() -> ResponseFrame {
    let mut random = ChaCha8Rng::seed_from_u64(77);
    let mut normal = || -> f64 { random.sample(StandardNormal) };
    let n = 21 * 16;
    let x: Vec<f64> = (0..n).map(|i| [40.0, 80.0, 110.0, 150.0, 190.0, 220.0, 250.0, 300.0][i % 8]).collect();
    let field: Vec<usize> = (0..n).map(|i| i / 16).collect();
    let (level, slope): (Vec<f64>, Vec<f64>) = (0..21).map(|_| (normal(), 0.3 * normal())).unzip();
    let block: Vec<f64> = (0..42).map(|_| 0.4 * normal()).collect();
    let response = (0..n)
        .map(|i| {
            let rise = 0.02 * x[i].min(170.0) + slope[field[i]] * (x[i] - 170.0) / 130.0;
            rise + level[field[i]] + block[i / 8] + 0.5 * normal()
        })
        .collect();
    let covariate = x.iter().map(|x| (x - 170.0) / 130.0).collect();
    let terms = vec![
        RandomTerm::intercept("field", field.clone(), 21),
        RandomTerm::intercept("block", (0..n).map(|i| i / 8).collect(), 42),
        RandomTerm::slope("x", field, 21, covariate),
    ];
    ResponseFrame::new(response, x, Array2::zeros((n, 0)), vec![], terms, None).expect("frame")
}

#[test]
fn with_random_terms_no_joint_on_a_grid_of_whole_fits_beats_the_one_found() {
    let frame = field_seasons();
    let clock = std::time::Instant::now();
    let comparison = ShapeComparison::new(&frame, &ResponseShape::ALL).expect("comparison");
    println!("eight shapes of 336 rows with 3 random terms: {:?}", clock.elapsed());
    assert_eq!(comparison.best().shape(), ResponseShape::LinearPlateau(Side::Right));
    for shape in [ResponseShape::LinearPlateau(Side::Right), ResponseShape::QuadraticPlateau(Side::Right)] {
        let fit = comparison.get(shape).expect("fitted");
        let joint = fit.joint().expect("a joint");
        near::absolute(joint.deviance, fit.maximum_likelihood().criterion(), 1e-8, "deviance at the joint");
        let power = if shape == ResponseShape::LinearPlateau(Side::Right) { 1 } else { 2 };
        let x = fit.design();
        let grid = (0..40).map(|k| 80.0 + 5.5 * f64::from(k));
        let close = (-4..=4).map(|k| joint.estimate + 0.2 * f64::from(k));
        for at in grid.chain(close) {
            let column = Array2::from_shape_fn((336, 2), |(i, j)| match j {
                0 => 1.0,
                _ => (at - frame.x()[i]).max(0.0).powi(power),
            });
            let names = vec!["one".into(), "slope".into()];
            let design = Design::new(x.response().to_vec(), column, names, x.random().to_vec(), None).expect("design");
            let other = Lmm::maximum_likelihood().fit(&design).expect("fit").criterion();
            assert!(other >= joint.deviance - 1e-8, "{} at {at}: {other} below {}", shape.name(), joint.deviance);
        }
    }
}

#[test]
fn the_order_of_rows_changes_nothing() {
    let (x, covariate, y) = noisy(13, |x| 0.08 * x.min(45.0));
    let comparison = |order: &[usize]| {
        let pick = |values: &[f64]| order.iter().map(|&i| values[i]).collect::<Vec<f64>>();
        let z = pick(&covariate);
        let columns = Array2::from_shape_fn((24, 1), |(i, _)| z[i]);
        let frame = ResponseFrame::new(pick(&y), pick(&x), columns, vec!["z".into()], vec![], None).expect("frame");
        ShapeComparison::new(&frame, &ResponseShape::ALL).expect("comparison")
    };
    let plain: Vec<usize> = (0..24).collect();
    let mixed: Vec<usize> = (0..24).map(|i| (i * 7 + 5) % 24).collect();
    let (a, b, again) = (comparison(&plain), comparison(&mixed), comparison(&plain));
    near::scaled(b.weights(), a.weights(), &[1.0; 8], 1e-7, "weights");
    assert_eq!(a.weights(), again.weights(), "the same input gives the same bytes");
    for (one, other) in a.candidates().iter().zip(b.candidates()) {
        near::relative(
            other.curve(33.0).expect("curve").estimate,
            one.curve(33.0).expect("curve").estimate,
            1e-6,
            "curve",
        );
    }
}
