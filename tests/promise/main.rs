//! Does the answer keep its promise? Simulated reviews with a known truth, answered by the model, judged by the truth.
//!
//! Small numbers of reviews, fixed seeds, wide margins: a fault of the decision shows, chance does not. Margins are stated
//! in standard errors of the simulated share beside each check.

#![allow(clippy::unwrap_used, missing_docs)]
#![allow(dead_code)] // `simulate.rs`, the tool beside these tests, uses the rest of its modules.

mod calibration;
mod digs;
mod files;
mod hanging;
mod judge;
mod judgement;
mod layout;
mod lines;
mod next_trial;
mod notebook;
mod page;
mod print;
mod rivals;
mod scenarios;
mod season;
mod second_opinion;
mod simulator;
mod tally;
mod truth;
mod world;

use evenstand_tables::rows::StartingPointRow;
use scenarios::{large, world};
use season::strips;
use truth::Truth;
use world::{Condition, Curve, FORCES, TOLERANCE, World};

/// Draws of the model: few, for speed.
const DRAWS: usize = 400;

/// A review in one condition, and its default.
fn review(condition: Condition, default_n: f64) -> World {
    world("", default_n, vec![condition])
}

/// The deciding answer to a simulated season.
fn answer(world: &World, seed: u64) -> StartingPointRow {
    judge::answer(world, &strips(world, seed), DRAWS).unwrap().remove(0)
}

/// Worlds from alike fields to fields so different that no one start serves four in five of them. Over all of them
/// together what is called settled must be right four times in five, and in each the probability said must not exceed the share
/// kept. In the last world alone the few reviews that are called settled are right less often: they are the lucky ones.
#[test]
fn what_is_called_settled_is_right_four_times_in_five_in_fields_not_yet_seen() {
    const REVIEWS: u64 = 40;
    let (mut settled, mut right) = (0, 0.0);
    for own in [0.05, 0.15, 0.2, 0.3] {
        let (mut said, mut kept, mut settled_here) = (0.0, 0.0, 0);
        let world = review(Condition { own_best: own, ..large(Curve::parabola(0.1, 1.5), 5) }, 100.0);
        let truth = Truth::new(&world, &world.conditions[0]);
        for seed in 0..REVIEWS {
            let row = answer(&world, seed);
            let truly = truth.near(row.start_n.or(row.best_n).unwrap(), TOLERANCE);
            said += row.prob_near_best.unwrap() / REVIEWS as f64;
            kept += truly / REVIEWS as f64;
            if row.evidence == "settled" {
                settled_here += 1;
                right += truly;
            }
        }
        settled += settled_here;
        println!("own best varies by {own}: said {said:.3}, kept {kept:.3}; settled {settled_here} of {REVIEWS}");
        // Standard error of said − kept over 40 reviews about 0.03.
        assert!(said <= kept + 0.06, "own best varies by {own}: said {said:.2}, kept {kept:.2}");
    }
    let share = right / f64::from(settled);
    println!("settled {settled} of {}, right in {share:.3} of fields", 4 * REVIEWS);
    // Where fields hardly differ most reviews are settled, and elsewhere few: enough for the share to stand on.
    assert!(settled >= 30, "only {settled} reviews were settled");
    assert!(share >= 0.80, "settled starts were right in {share:.2} of fields");
}

#[test]
fn where_settings_do_nothing_no_shape_is_claimed_and_a_move_is_never_settled() {
    let (mut moved, mut claimed) = (0, 0);
    let world = review(large(Curve::Flat, 4), 190.0);
    for seed in 100..160 {
        let row = answer(&world, seed);
        let away = row.start_n.is_some_and(|start| (start - 190.0).abs() > 1e-6);
        let named = !["flat", "untold"].contains(&row.shape.as_deref().unwrap());
        assert!(!away || named || row.evidence != "settled", "seed {seed}: {row:?}");
        moved += u32::from(away);
        claimed += u32::from(named);
    }
    println!("flat: moved {moved} of 60, named a shape in {claimed} of 60");
    // The level test lets through one in twenty; three standard errors above 0.05 of 60 is 8. A curve makes one side better with
    // probability 0.8 by chance in up to two of five; the window keeps many of these at the default.
    assert!(claimed <= 8, "a shape was named in {claimed} of 60 flat reviews");
    assert!(moved <= 24, "the start moved in {moved} of 60 flat reviews");
}

#[test]
fn where_heavier_is_better_throughout_the_start_goes_to_the_heavy_end() {
    let mut heavy = 0;
    let world = review(large(Curve::Line { slope: 0.7 }, 4), 100.0);
    for seed in 200..230 {
        let row = answer(&world, seed);
        heavy += u32::from(row.start_n.is_some_and(|start| start > 220.0));
        assert!(row.start_n.is_none_or(|start| start <= FORCES[4] + 1e-9), "outside the tested range");
    }
    println!("rising: {heavy} of 30 near the heavy end");
    assert!(heavy >= 24, "{heavy} of 30");
}

#[test]
fn one_field_season_is_never_settled() {
    let world = review(Condition { own_best: 0.15, ..large(Curve::parabola(0.0, 1.0), 1) }, 100.0);
    for seed in 300..310 {
        assert_ne!(answer(&world, seed).evidence, "settled");
    }
}
