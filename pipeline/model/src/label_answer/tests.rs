//! Simulated strips whose best position is known.

use evenstand_settings::Settings;
use evenstand_tables::rows::{KnobRow, StartingPointRow, StripRow};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use crate::analysis::{Questions, analyse, suggest};

/// Truth of a planter's positions, on the logit.
#[derive(Clone, Copy)]
struct World<'a> {
    planter: &'a str,
    positions: [f64; 4],
    /// Standard deviation of what a field-season's own positions differ by.
    own: f64,
    fields: usize,
    blocks: usize,
}

const SEEDS: f64 = 200.0;
/// Standard deviations of field-seasons, blocks and strips on the logit, and of chance in a share of [`SEEDS`] seeds.
const FIELD: f64 = 0.3;
const BLOCK: f64 = 0.15;
const STRIP: f64 = 0.2;

fn share(logit: f64) -> f64 {
    1.0 / (1.0 + (-logit).exp())
}

fn strips(world: &World, seed: u64) -> Vec<StripRow> {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut strips = Vec::new();
    for field in 0..world.fields {
        let mut normal = |deviation: f64| deviation * random.sample::<f64, _>(StandardNormal);
        let level = 1.8 + normal(FIELD);
        let own: Vec<f64> = world.positions.iter().map(|position| position + normal(world.own)).collect();
        for block in 0..world.blocks {
            let block_level = level + normal(BLOCK);
            for (number, position) in own.iter().enumerate() {
                let truth = share(block_level + position + normal(STRIP));
                let chance = (truth * (1.0 - truth) / SEEDS).sqrt();
                let emerged = (SEEDS * (truth + normal(chance))).round().clamp(0.0, SEEDS);
                strips.push(StripRow {
                    field_id: format!("{} {field}", world.planter),
                    season: 2025,
                    strip_id: format!("{block}-{number}"),
                    block: Some(block.to_string()),
                    condition: "moist, covered".into(),
                    planter_id: Some(world.planter.into()),
                    closer: Some("single_wheel".into()),
                    closing_position: Some((number + 1).to_string()),
                    seeds_sown: Some(SEEDS),
                    emerged: Some(emerged),
                    emerged_share: Some(emerged / SEEDS),
                    usable: Some(true),
                    ..StripRow::default()
                });
            }
        }
    }
    strips
}

fn settings(planters: &[&str], default: &str) -> Settings {
    let planter = |id: &&str| {
        format!(
            "[[planter]]\nid = \"{id}\"\ncloser = \"single_wheel\"\n[planter.closing]\nkind = \"positions\"\n\
             positions = [{{ label = \"1\" }}, {{ label = \"2\" }}, {{ label = \"3\" }}, {{ label = \"4\" }}]\n{default}\n"
        )
    };
    Settings::parse(&format!("draws = 400\n{}", planters.iter().map(planter).collect::<String>())).unwrap()
}

fn ask<'a>(strips: &'a [StripRow], settings: &'a Settings) -> Questions<'a> {
    Questions { strips, measures: &[], digs: &[], settings }
}

fn suggested(strips: &[StripRow], settings: &Settings) -> (StartingPointRow, KnobRow) {
    let mut answers = suggest(&ask(strips, settings));
    (answers.starting_points.remove(0), answers.settings.remove(0))
}

const CLEAR: World = World { planter: "p", positions: [-0.7, -0.2, 0.3, -0.4], own: 0.05, fields: 4, blocks: 4 };

#[test]
fn the_best_label_is_found_and_settled_and_no_force_is_told() {
    let settings = settings(&["p"], "default = \"2\"");
    for seed in 0..5 {
        let (point, knob) = suggested(&strips(&World { fields: 8, ..CLEAR }, seed), &settings);
        assert_eq!((point.evidence.as_str(), point.basis.as_str()), ("settled", "trial"), "{point:?}");
        assert_eq!((point.planter_id.as_deref(), point.shape.as_deref()), (Some("p"), Some("inside")));
        assert_eq!((point.n_levels, point.n_field_seasons, point.n_strips), (Some(4), Some(8), Some(128)));
        assert!(point.reason.contains("position “3”") && point.reason.contains("Weigh the force"), "{}", point.reason);
        let forces = [point.start_n, point.best_n, point.default_n, point.tested_low_n, point.window_low_n];
        assert_eq!(forces, [None; 5]);
        assert_eq!((knob.start_position.as_deref(), knob.default_position.as_deref()), (Some("3"), Some("2")));
        assert_eq!(
            (knob.advice.as_deref(), knob.at_limit, knob.rounding_loss),
            (Some("heavier"), Some(false), Some(0.0))
        );
        assert_eq!((knob.window_low_position.as_deref(), knob.window_high_position.as_deref()), (Some("3"), Some("3")));
        let truth = share(1.8 + 0.3) - share(1.8 - 0.2);
        assert!(point.gain_low.unwrap() < truth + 0.03 && point.gain_high.unwrap() > truth - 0.03, "{point:?}");
        assert!(point.prob_gain.unwrap() > 0.95 && point.levels_p_value.unwrap() < 0.01);
    }
}

#[test]
fn a_flat_response_stays_at_the_default_and_without_one_at_the_label_used_most() {
    let world = World { positions: [0.0; 4], ..CLEAR };
    let (point, knob) = suggested(&strips(&world, 3), &settings(&["p"], "default = \"4\""));
    assert!(point.levels_p_value.unwrap() > 0.05 && ["flat", "untold"].contains(&point.shape.as_deref().unwrap()));
    assert_eq!((knob.start_position.as_deref(), knob.advice.as_deref()), (Some("4"), Some("stay")));
    assert_eq!(knob.at_limit, Some(true));
    let found = suggest(&ask(&strips(&world, 3), &settings(&["p"], ""))).findings;
    assert!(found.iter().any(|finding| finding.code == "no_difference_seen"), "{found:?}");
    // One strip more at 3 makes it the label used most.
    let mut more = strips(&world, 3);
    more.push(StripRow { strip_id: "more".into(), block: None, ..more[2].clone() });
    let (point, knob) = suggested(&more, &settings(&["p"], ""));
    assert_eq!((knob.start_position.as_deref(), knob.default_position.as_deref()), (Some("3"), Some("3")));
    assert!(point.reason.contains("No default is given"), "{}", point.reason);
}

#[test]
fn one_block_is_open_and_one_field_season_is_never_settled() {
    let settings = settings(&["p"], "default = \"2\"");
    let (point, knob) = suggested(&strips(&World { fields: 1, blocks: 1, ..CLEAR }, 1), &settings);
    assert_eq!((point.evidence.as_str(), knob.start_position), ("open", None));
    assert!(point.reason.contains("one strip only"), "{}", point.reason);
    for fields in [1, 2] {
        let (point, _) = suggested(&strips(&World { fields, ..CLEAR }, 1), &settings);
        assert_ne!(point.evidence, "settled", "{point:?}");
        assert!(point.prob_near_best.is_some_and(|share| share > 0.0 && share < 1.0), "{point:?}");
    }
}

#[test]
fn two_planters_with_the_same_labels_are_not_pooled() {
    let other = World { planter: "q", positions: [0.3, -0.2, -0.4, -0.7], ..CLEAR };
    let settings = settings(&["p", "q"], "default = \"2\"");
    let own = strips(&CLEAR, 5);
    let both: Vec<StripRow> = own.iter().cloned().chain(strips(&other, 6)).collect();
    let answers = suggest(&ask(&both, &settings));
    let starts: Vec<_> =
        answers.settings.iter().map(|row| (row.planter_id.as_str(), row.start_position.as_deref())).collect();
    assert_eq!(starts, [("p", Some("3")), ("q", Some("1"))]);
    assert_eq!(answers.starting_points[0], suggested(&own, &settings).0);
    let comparisons = answers.comparisons.rows().unwrap();
    // Six pairs in each of four field-seasons and over all.
    assert_eq!(comparisons.iter().filter(|row| row.planter_id.as_deref() == Some("p")).count(), 30);
    assert!(comparisons.iter().all(|row| row.treatment_a.len() == 1 && row.condition == "moist, covered"));
}

#[test]
fn field_seasons_that_share_no_position_are_not_held_against_each_other() {
    let settings = settings(&["p"], "default = \"2\"");
    let mut strips = strips(&CLEAR, 7);
    // Three field-seasons with 1 to 3, and one with 4 and a label that is no position.
    strips.retain(|strip| (strip.closing_position.as_deref() == Some("4")) == (strip.field_id == "p 3"));
    let (point, _) = suggested(&strips, &settings);
    assert_eq!((point.n_field_seasons, point.n_levels), (Some(3), Some(3)), "{point:?}");
}

#[test]
fn an_answer_holds_back_where_the_default_or_the_start_was_not_tried_in_enough_field_seasons() {
    let strips = strips(&CLEAR, 7);
    let without = |labels: &[&str]| -> Vec<StripRow> {
        let kept = |strip: &&StripRow| !labels.contains(&strip.closing_position.as_deref().unwrap());
        strips.iter().filter(kept).cloned().collect()
    };
    // 3 is the best of what is left and the heaviest; the default beyond it may be better.
    let (point, knob) = suggested(&without(&["4"]), &settings(&["p"], "default = \"4\""));
    assert_eq!((point.evidence.as_str(), knob.start_position), ("open", None), "{point:?}");
    assert!(point.reason.contains("beyond the settings tried"), "{}", point.reason);
    let (point, knob) = suggested(&without(&["2"]), &settings(&["p"], "default = \"2\""));
    assert_eq!((point.evidence.as_str(), knob.start_position.as_deref()), ("leaning", Some("3")));
    assert!(point.reason.contains("not among the settings tried") && point.gain_vs_default.is_none());
    // 3 was tried in two field-seasons of four.
    let mut few = strips.clone();
    few.retain(|strip| {
        strip.closing_position.as_deref() != Some("3") || ["p 0", "p 1"].contains(&strip.field_id.as_str())
    });
    let (point, knob) = suggested(&few, &settings(&["p"], "default = \"1\""));
    assert_eq!((point.evidence.as_str(), knob.start_position.as_deref()), ("leaning", Some("3")));
    assert!(point.reason.contains("only 2 of 4 tried"), "{}", point.reason);
}

#[test]
fn the_same_strips_give_the_same_answer_and_one_advised_trial_of_positions() {
    let settings = settings(&["p"], "default = \"2\"");
    let strips = strips(&CLEAR, 8);
    let (one, other) = (analyse(&ask(&strips, &settings)), analyse(&ask(&strips, &settings)));
    assert_eq!(one.starting_points, other.starting_points);
    let [trial] = &one.next_trials[..] else { panic!("{:?}", one.next_trials) };
    assert_eq!((trial.n_levels, trial.low_n, trial.advised), (Some(4), None, Some(true)));
}

/// Positions drawn anew in every review, over fields from alike to very unlike: what is said of the starts that are named is kept within 0.08, two standard
/// errors of the share kept and more, and what is called settled is right four times in five.
#[test]
fn the_probability_said_is_kept_in_fields_not_yet_seen() {
    const REVIEWS: u64 = 30;
    let settings = settings(&["p"], "default = \"2\"");
    let (mut settled, mut right) = (0.0, 0.0);
    for fields in [1, 3, 5] {
        let (mut named, mut said, mut kept) = (0.0, 0.0, 0.0);
        for own in [0.0, 0.1, 0.2, 0.35] {
            for seed in 0..REVIEWS {
                let mut random = ChaCha8Rng::seed_from_u64(seed);
                let positions = std::array::from_fn(|_| 0.3 * random.sample::<f64, _>(StandardNormal));
                let world = World { positions, own, fields, ..CLEAR };
                let (point, knob) = suggested(&strips(&world, 100 + seed), &settings);
                let Some(label) = knob.start_position else { continue };
                let truly = truly_near(&world, label.parse::<usize>().unwrap() - 1, 0.02);
                named += 1.0;
                said += point.prob_near_best.unwrap();
                kept += truly;
                if point.evidence == "settled" {
                    settled += 1.0;
                    right += truly;
                }
            }
        }
        assert!(named >= 60.0, "{fields} field-seasons: {named} starts");
        let (said, kept) = (said / named, kept / named);
        assert!((said - kept).abs() < 0.08, "{fields} field-seasons: said {said:.2}, kept {kept:.2}");
    }
    assert!(settled >= 20.0 && right >= 0.8 * settled, "{right:.1} of {settled} settled are right");
}

/// Share of fields in which a position is within tolerance of the field's best, by simulation.
fn truly_near(world: &World, start: usize, tolerance: f64) -> f64 {
    const FIELDS: usize = 4000;
    let mut random = ChaCha8Rng::seed_from_u64(9);
    let near = (0..FIELDS).filter(|_| {
        let level = 1.8 + FIELD * random.sample::<f64, _>(StandardNormal);
        let shares: Vec<f64> = world
            .positions
            .iter()
            .map(|position| share(level + position + world.own * random.sample::<f64, _>(StandardNormal)))
            .collect();
        shares.iter().copied().fold(0.0, f64::max) - shares[start] <= tolerance
    });
    near.count() as f64 / FIELDS as f64
}
