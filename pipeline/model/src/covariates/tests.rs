//! What is adjusted for, and what adjusting does to a trial whose depth stop alternates.

use evenstand_stats::LinearFit;
use evenstand_tables::rows::StripRow;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use super::*;
use crate::curve::{CurveModel, fit_curves};
use crate::drawn::Drawing;
use crate::groups::Axis;
use crate::levels::test_levels;
use crate::observations::{Observations, observations};
use crate::response::{Measures, Response};

/// A strip of a field-season: block, force, and depth stop where it is known.
fn strip(field: usize, block: usize, force_n: f64, depth_stop: Option<&str>) -> StripRow {
    StripRow {
        field_id: format!("F{field}"),
        season: 2025,
        strip_id: format!("{block}-{force_n}"),
        block: Some(block.to_string()),
        condition: "moist".into(),
        planter_id: Some("north".into()),
        closer: Some("single_wheel".into()),
        force_n: Some(force_n),
        force_source: Some("set_force".into()),
        depth_stop: depth_stop.map(Into::into),
        seeds_sown: Some(400.0),
        emerged_share: Some(0.8),
        usable: Some(true),
        ..StripRow::default()
    }
}

fn emerged() -> Response {
    Response::all(&Measures::new(&[])).into_iter().find(|response| response.name == "emerged_share").unwrap()
}

fn observed(strips: &[StripRow]) -> Observations<'_> {
    observations(strips, &Measures::new(&[]), &emerged(), &Axis::Force).unwrap()
}

fn found(strips: &[StripRow]) -> Covariates {
    let observed = observed(strips);
    Covariates::new(&observed.rows.iter().collect::<Vec<_>>(), 3)
}

const FORCES: [f64; 4] = [100.0, 200.0, 300.0, 400.0];

/// `fields` field-seasons of `blocks` blocks with four settings; the stop is that of `stop`.
fn trial(fields: usize, blocks: usize, stop: impl Fn(usize, usize) -> Option<&'static str>) -> Vec<StripRow> {
    let of_block = |field: usize, block: usize| {
        FORCES
            .iter()
            .enumerate()
            .map(|(setting, force_n)| strip(field, block, *force_n, stop(block, setting)))
            .collect()
    };
    (0..fields)
        .flat_map(|field| (0..blocks).flat_map(|block| -> Vec<StripRow> { of_block(field, block) }).collect::<Vec<_>>())
        .collect()
}

fn alternating(block: usize, setting: usize) -> Option<&'static str> {
    Some(if (block + setting).is_multiple_of(2) { "1" } else { "2" })
}

#[test]
fn a_part_that_alternates_gets_a_column_that_sums_to_zero_in_each_field_season() {
    let strips = trial(2, 4, alternating);
    let found = found(&strips);
    assert_eq!(found.left_out, Vec::<&str>::new());
    let [only] = found.columns.as_slice() else { panic!("{found:?}") };
    assert_eq!((only.name.as_str(), only.reference.as_str()), ("depth stop 2", "1"));
    assert_eq!((only.strips, only.field_seasons), (16, 2));
    assert!(only.column.iter().all(|value| value.abs() == 0.5));
    assert_eq!(only.column.iter().sum::<f64>(), 0.0);
}

#[test]
fn a_part_that_goes_with_the_setting_or_does_not_vary_or_is_not_recorded_gets_none() {
    let heavy = |_, setting| Some(if setting < 2 { "1" } else { "2" });
    assert_eq!(found(&trial(2, 4, heavy)), Covariates::default(), "a function of the setting");
    assert_eq!(found(&trial(2, 4, |_, _| Some("1"))), Covariates::default());
    assert_eq!(found(&trial(2, 4, |_, _| None)), Covariates::default());
    // Between field-seasons only: nothing is compared inside one.
    let mut between = trial(2, 4, |_, _| Some("1"));
    between.iter_mut().filter(|strip| strip.field_id == "F1").for_each(|strip| strip.depth_stop = Some("2".into()));
    assert_eq!(found(&between), Covariates::default());
}

#[test]
fn a_strip_whose_part_is_not_known_stands_at_the_mean_and_positions_of_two_planters_are_not_one() {
    let mut strips = trial(2, 4, alternating);
    strips[0].depth_stop = None;
    strips.iter_mut().filter(|strip| strip.field_id == "F1").for_each(|strip| strip.planter_id = Some("south".into()));
    let found = found(&strips);
    let names: Vec<(&str, &str)> =
        found.columns.iter().map(|column| (column.name.as_str(), column.reference.as_str())).collect();
    assert_eq!(names, [("depth stop 2 (north)", "1 (north)"), ("depth stop 2 (south)", "1 (south)")]);
    let north = &found.columns[0].column;
    // 8 of 15 known strips of the field have it.
    assert_eq!(north[0], 0.0);
    assert!((north[1] - (1.0 - 8.0 / 15.0)).abs() < 1e-12 && north[16..].iter().all(|value| *value == 0.0));
}

#[test]
fn two_planters_in_a_field_that_differ_in_a_part_are_not_compared_by_it() {
    let mut strips = trial(2, 4, |_, _| None);
    for (number, strip) in strips.iter_mut().enumerate() {
        let (planter, wheel) =
            if (number + number / 4).is_multiple_of(2) { ("north", "flat") } else { ("south", "other") };
        (strip.planter_id, strip.gauge_wheel) = (Some(planter.into()), Some(wheel.into()));
    }
    assert_eq!(found(&strips), Covariates::default());
    strips.iter_mut().for_each(|strip| strip.planter_id = Some("north".into()));
    assert_eq!(
        found(&strips).columns.iter().map(|column| column.name.as_str()).collect::<Vec<_>>(),
        ["gauge wheel other"]
    );
}

#[test]
fn levels_that_field_seasons_tie_together_share_one_reference() {
    // F0 has stops 2 and 3, F1 has 1 and 2: all three hang together, and the first is the reference.
    let mut strips = trial(2, 4, alternating);
    for strip in strips.iter_mut().filter(|strip| strip.field_id == "F0") {
        strip.depth_stop = Some(if strip.depth_stop.as_deref() == Some("1") { "2" } else { "3" }.into());
    }
    let found = found(&strips);
    let names: Vec<(&str, &str)> =
        found.columns.iter().map(|column| (column.name.as_str(), column.reference.as_str())).collect();
    assert_eq!(names, [("depth stop 2", "1"), ("depth stop 3", "1")]);
}

#[test]
fn a_part_with_too_few_strips_beside_all_else_is_left_out_and_said_so() {
    let strips = trial(1, 2, alternating);
    let observed = observed(&strips);
    let rows: Vec<&Observation> = observed.rows.iter().collect();
    // Eight strips: one column, and four left over, leave room for three more.
    assert_eq!(Covariates::new(&rows, 3).columns.len(), 1);
    let crowded = Covariates::new(&rows, 4);
    assert_eq!((crowded.columns.len(), crowded.left_out), (0, vec!["depth stop"]));
}

/// Logit of emergence: 1 + 0.3 s, a stop's 1, strips that differ by 0.2 and fields by 0.3; shares of 400 seeds.
fn simulate(strips: &mut [StripRow], seed: u64) {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let fields: Vec<f64> = (0..8).map(|_| 0.3 * random.sample::<f64, _>(StandardNormal)).collect();
    for strip in strips {
        let field: usize = strip.field_id[1..].parse().unwrap();
        let s = (strip.force_n.unwrap() - 250.0) / 150.0;
        let stop = if strip.depth_stop.as_deref() == Some("2") { 1.0 } else { 0.0 };
        let logit = 1.0 + fields[field] + 0.3 * s + stop + 0.2 * random.sample::<f64, _>(StandardNormal);
        strip.emerged_share = Some((400.0 / (1.0 + (-logit).exp())).round() / 400.0);
    }
}

fn fitted(strips: &[StripRow]) -> CurveModel<'_> {
    fit_curves(&emerged(), observed(strips), Drawing { seed: 1, draws: 200 }).unwrap_or_else(|why| panic!("{why}"))
}

fn residual_sd(model: &CurveModel) -> f64 {
    model.fit.variance_components().iter().find(|component| component.term.contains("esidual")).unwrap().variance.sqrt()
}

fn slope(model: &CurveModel) -> f64 {
    model.fit.coefficients()[model.groups[0].linear.unwrap()]
}

fn without_stops(strips: &[StripRow]) -> Vec<StripRow> {
    strips.iter().map(|strip| StripRow { depth_stop: None, ..strip.clone() }).collect()
}

#[test]
fn adjusting_for_an_alternating_stop_halves_the_residual_and_leaves_the_slope_right() {
    const RUNS: u64 = 12;
    let (mut slopes, mut drawn, mut narrower) = (Vec::new(), Vec::new(), 0);
    for seed in 0..RUNS {
        let mut strips = trial(4, 4, alternating);
        simulate(&mut strips, seed);
        let plain = without_stops(&strips);
        let (adjusted, plain) = (fitted(&strips), fitted(&plain));
        assert!(
            residual_sd(&adjusted) < 0.6 * residual_sd(&plain),
            "seed {seed}: {} beside {}",
            residual_sd(&adjusted),
            residual_sd(&plain)
        );
        let column = adjusted.fit.names().iter().position(|name| name == "depth stop 2").unwrap();
        let (effect, error) = (adjusted.fit.coefficients()[column], adjusted.fit.standard_errors()[column]);
        assert!((effect - 1.0).abs() < 4.0 * error && error < 0.1, "seed {seed}: {effect} ± {error}");
        let spread = |model: &CurveModel| model.drawn.posterior.sigma.iter().sum::<f64>();
        narrower += usize::from(spread(&adjusted) < 0.6 * spread(&plain));
        slopes.push(slope(&adjusted));
        drawn.push(adjusted.drawn.mean_curve(0)[1]);
    }
    // Strips and seeds together scatter by 0.24, so a slope by 0.24 / √(64 · 0.56) = 0.04, and the mean of twelve by 0.012.
    for slopes in [slopes, drawn] {
        let mean = slopes.iter().sum::<f64>() / RUNS as f64;
        assert!((mean - 0.3).abs() < 0.04, "{mean}");
    }
    assert_eq!(narrower, RUNS as usize, "the draws rest on the same columns");
}

#[test]
fn the_test_of_settings_sees_what_the_stop_hides() {
    let (mut sharper, mut runs) = (0, 0);
    for seed in 0..10 {
        let mut strips = trial(2, 4, alternating);
        simulate(&mut strips, seed);
        let plain = without_stops(&strips);
        let test = |strips: &[StripRow]| test_levels(&observed(strips), 0, &emerged()).unwrap();
        let (adjusted, plain) = (test(&strips), test(&plain));
        runs += 1;
        sharper += usize::from(adjusted.largest_difference < plain.largest_difference);
        assert!(adjusted.method.contains("depth stop"), "{}", adjusted.method);
        assert!(!plain.method.contains("depth stop"));
    }
    assert_eq!(sharper, runs);
}

#[test]
fn the_model_is_the_same_to_the_bit_where_nothing_was_recorded_or_the_part_goes_with_the_setting() {
    let mut strips = trial(3, 4, |_, setting| Some(if setting < 2 { "1" } else { "2" }));
    simulate(&mut strips, 7);
    let none = without_stops(&strips);
    let (one, other) = (fitted(&strips), fitted(&none));
    assert_eq!(one.fit.names(), other.fit.names());
    assert_eq!(one.fit.coefficients(), other.fit.coefficients());
    assert_eq!(one.drawn.posterior.coefficients, other.drawn.posterior.coefficients);
    assert_eq!(one.formula, other.formula);
}
