//! Is the simulation itself right? Truths are where they are said to be, and the judge gives what they give.

use evenstand_tables::rows::StripRow;

use crate::rivals::starts;
use crate::scenarios::{large, scenarios, world};
use crate::season::strips;
use crate::truth::{Truth, tested};
use crate::world::{CENTRE_N, Condition, Curve, Delivery, FORCES, HALF_RANGE_N, Noise, TOLERANCE, World};

const QUIET: Noise = Noise { field: 0.0, block: 0.0, strip: 0.0, dispersion: 1.0 };

fn quiet(curve: Curve) -> World {
    world("", CENTRE_N, vec![Condition { noise: QUIET, ..large(curve, 3) }])
}

/// The typical field's best forces under a curve, lightest and heaviest.
fn best(curve: Curve) -> (f64, f64) {
    let world = quiet(curve);
    Truth::new(&world, &world.conditions[0]).typical_best()
}

#[test]
fn the_best_force_is_where_the_curve_says() {
    let (low, high) = best(Curve::parabola(0.5, 1.0));
    assert!(low <= 245.0 && high >= 245.0 && high - low < 8.0, "{low} {high}");
    let (low, high) = best(Curve::Hump { best: -0.2, left: 2.0, right: 0.4 });
    assert!(low <= 168.0 && high >= 168.0 && high - low < 10.0, "{low} {high}");
    let (low, high) = best(Curve::Tent { best: 0.1, slope: 0.8 });
    assert!(low <= 201.0 && high >= 201.0 && high - low < 3.0, "{low} {high}");
    assert_eq!(best(Curve::Line { slope: 0.7 }), (300.0, 300.0));
    assert_eq!(best(Curve::parabola(1.5, 0.4)), (300.0, 300.0));
    assert_eq!(best(Curve::Flat), tested());
    let (low, high) = best(Curve::Plateau { slope: 1.0, knee: 0.0 });
    assert!((low - CENTRE_N).abs() <= 1.0 && high == 300.0, "{low} {high}");
    let (low, high) = best(Curve::TwoHumps { dip: 0.4 });
    assert!(low > CENTRE_N + 0.6 * HALF_RANGE_N && high < CENTRE_N + 0.75 * HALF_RANGE_N, "{low} {high}");
}

#[test]
fn a_modest_condition_loses_two_points_at_its_half_width() {
    let worlds = scenarios();
    let wet = worlds.iter().find(|world| world.name.contains("modest, wet")).unwrap();
    let truth = Truth::new(wet, &wet.conditions[0]);
    let (low, high) = truth.typical_best();
    assert!(low <= 100.0 && high >= 100.0, "{low} {high}");
    let lost = truth.typical_gain(100.0, 160.0);
    assert!((lost - 0.02).abs() < 1e-6, "{lost}");
    assert!((wet.conditions[0].share(100.0, 0.0, 0.0) - 0.89).abs() < 1e-12);
}

#[test]
fn the_truths_best_loses_nothing_and_the_whole_range_holds_every_best() {
    let (low, high) = tested();
    for world in scenarios() {
        for condition in &world.conditions {
            let alike = Condition { own_best: 0.0, ..condition.clone() };
            let truth = Truth::new(&world, &alike);
            let best = truth.typical_best().0;
            assert!(truth.loss(best) < 2e-4, "{}: {}", world.name, truth.loss(best));
            assert_eq!(truth.near(best, TOLERANCE), 1.0, "{}", world.name);
            assert_eq!(Truth::new(&world, condition).covered(low, high), 1.0, "{}", world.name);
            assert!(truth.typical_gain(best, world.default_n) >= 0.0);
        }
    }
}

#[test]
fn no_one_force_is_best_where_fields_differ() {
    let differing = world("", CENTRE_N, vec![Condition { own_best: 0.3, ..large(Curve::parabola(0.0, 1.5), 3) }]);
    let truth = Truth::new(&differing, &differing.conditions[0]);
    // 90 % of a normal number with standard deviation 0.3 lie within 0.493 of its mean.
    let reach = 0.4935 * HALF_RANGE_N;
    let covered = truth.covered(CENTRE_N - reach, CENTRE_N + reach);
    assert!((0.86..0.95).contains(&covered), "{covered}");
    assert!(truth.loss(CENTRE_N) > 0.01, "{}", truth.loss(CENTRE_N));
    assert!(truth.near(CENTRE_N, TOLERANCE) < 0.8);
}

#[test]
fn the_truth_is_judged_at_the_set_force() {
    let exact = quiet(Curve::parabola(0.1, 1.5));
    let heavy = World { delivery: Delivery { factor: 1.1, strip_sd_n: 0.0 }, ..exact.clone() };
    let best = Truth::new(&heavy, &heavy.conditions[0]).typical_best();
    assert!(best.0 <= 201.0 / 1.1 && best.1 >= 201.0 / 1.1, "{best:?}");
    let loose = World { delivery: Delivery { factor: 1.0, strip_sd_n: 20.0 }, ..exact.clone() };
    let condition = &exact.conditions[0];
    // Force that varies costs something at the best, and the mean of three points is that of many.
    let many: f64 = (-400..=400)
        .map(|step| {
            let z = f64::from(step) / 100.0;
            condition.share(201.0 + 20.0 * z, 0.0, 0.0) * (-z * z / 2.0).exp()
                / (2.0 * std::f64::consts::PI).sqrt()
                / 100.0
        })
        .sum();
    assert!((loose.share(condition, 201.0, 0.0, 0.0) - many).abs() < 1e-4);
    assert!(many < exact.share(condition, 201.0, 0.0, 0.0));
}

/// Strips with the expected share instead of a count.
fn without_noise(world: &World) -> Vec<StripRow> {
    let mut strips = strips(world, 1);
    for strip in &mut strips {
        strip.on_time_share = Some(world.conditions[0].share(strip.force_n.unwrap(), 0.0, 0.0));
    }
    strips
}

#[test]
fn every_rival_finds_the_best_without_noise() {
    // Shares near one half are nearly straight in the logit, so a parabola there is a parabola in the share.
    let mut world = quiet(Curve::parabola(0.5, 0.01));
    world.conditions[0].level = 0.0;
    let strips = without_noise(&world);
    let found = starts(&strips.iter().collect::<Vec<_>>(), 135.0);
    assert_eq!(found[0], 135.0);
    assert_eq!(found[1], FORCES[3]);
    assert!((found[2] - 245.0).abs() < 0.1 && (found[3] - 245.0).abs() < 0.1, "{found:?}");
}

#[test]
fn a_rival_without_settings_to_compare_stays_at_the_default() {
    let world = quiet(Curve::Flat);
    let strips: Vec<StripRow> = strips(&world, 1).into_iter().filter(|strip| strip.force_n == Some(245.0)).collect();
    assert_eq!(starts(&strips.iter().collect::<Vec<_>>(), 135.0), [135.0, 245.0, 135.0, 135.0]);
}

#[test]
fn the_same_world_and_seed_draw_the_same_strips() {
    for world in scenarios() {
        let drawn = strips(&world, 7);
        assert_eq!(drawn, strips(&world, 7), "{}", world.name);
        assert_ne!(drawn, strips(&world, 8), "{}", world.name);
    }
}
