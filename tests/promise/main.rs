//! Does the answer keep its promise? Simulated reviews with a known truth, answered by the model, judged by the truth.
//!
//! Small numbers of reviews, fixed seeds, wide margins: a fault of the decision shows, chance does not. Margins are stated
//! in standard errors of the simulated share beside each check.

#![allow(clippy::unwrap_used, missing_docs)]

mod next_trial;
mod season;
mod second_opinion;

use evenstand_model::{Questions, analyse};
use evenstand_settings::Settings;
use evenstand_tables::rows::StartingPointRow;
use season::{Season, Shape};

/// The deciding answer to a simulated season.
fn answer(season: &Season) -> StartingPointRow {
    let settings = Settings::parse(&format!("default_force_n = {}\ndraws = 400\n", season.default_n)).unwrap();
    let strips = season.strips();
    let answers = analyse(&Questions { strips: &strips, measures: &[], digs: &[], settings: &settings });
    answers.starting_points.into_iter().find(|row| row.primary == Some(true)).unwrap()
}

/// Chance that a start is within 2 points of the best in a field not yet seen, by the truth.
fn truly_near_best(season: &Season, start_n: f64) -> f64 {
    let fields = 400;
    (0..fields).filter(|field| season.loss_in_new_field(*field, start_n) <= 0.02).count() as f64 / f64::from(fields)
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
        for seed in 0..REVIEWS {
            let shape = Shape::Inside { best: 0.1, own, curvature: 1.5 };
            let season = Season { seed, fields: 5, shape, default_n: 100.0 };
            let row = answer(&season);
            let truly = truly_near_best(&season, row.start_n.or(row.best_n).unwrap());
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
    assert!(settled >= 40, "only {settled} reviews were settled");
    assert!(share >= 0.80, "settled starts were right in {share:.2} of fields");
}

#[test]
fn where_settings_do_nothing_the_default_stays_and_no_optimum_is_claimed() {
    let (mut moved, mut claimed) = (0, 0);
    for seed in 100..160 {
        let season = Season { seed, fields: 4, shape: Shape::Flat, default_n: 190.0 };
        let row = answer(&season);
        moved += u32::from(row.start_n.is_some_and(|start| (start - 190.0).abs() > 1e-6));
        claimed += u32::from(row.shape.as_deref() == Some("inside") || row.shape.as_deref() == Some("plateau"));
    }
    println!("flat: moved {moved} of 60, claimed an optimum in {claimed} of 60");
    // The level test lets through one in ten; three standard errors above 0.10 of 60 is 13.
    assert!(claimed <= 13, "an optimum was claimed in {claimed} of 60 flat reviews");
    assert!(moved <= 9, "the start moved in {moved} of 60 flat reviews");
}

#[test]
fn where_heavier_is_better_throughout_the_start_goes_to_the_heavy_end() {
    let mut heavy = 0;
    for seed in 200..230 {
        let row = answer(&Season { seed, fields: 4, shape: Shape::Rising { slope: 0.7 }, default_n: 100.0 });
        heavy += u32::from(row.start_n.is_some_and(|start| start > 220.0));
        assert!(row.start_n.is_none_or(|start| start <= season::FORCES[4] + 1e-9), "outside the tested range");
    }
    println!("rising: {heavy} of 30 near the heavy end");
    assert!(heavy >= 24, "{heavy} of 30");
}

#[test]
fn one_field_season_is_never_settled() {
    for seed in 300..310 {
        let row = answer(&Season {
            seed,
            fields: 1,
            shape: Shape::Inside { best: 0.0, own: 0.15, curvature: 1.0 },
            default_n: 100.0,
        });
        assert_ne!(row.evidence, "settled");
    }
}
