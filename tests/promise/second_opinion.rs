//! Two looks at one thing: counts beside logits, fitted times beside plain ones.

use crate::scenarios::large;
use crate::season;
use crate::world::{Condition, Curve, FORCES};
use evenstand_model::{Answers, Questions, analyse};
use evenstand_settings::Settings;
use evenstand_tables::rows::StripRow;

fn answers(strips: &[StripRow]) -> Answers {
    let settings = Settings::parse("default_force_n = 190\ndraws = 200\n").unwrap();
    analyse(&Questions { strips, measures: &[], digs: &[], settings: &settings })
}

/// Strips of one condition, 190 N being the default.
fn strips(condition: Condition, seed: u64) -> Vec<StripRow> {
    season::strips(&crate::review(condition, 190.0), seed)
}

fn disagreements(strips: &[StripRow]) -> Vec<String> {
    let found = answers(strips).findings;
    found.into_iter().filter(|finding| finding.code == "models_disagree").map(|finding| finding.message).collect()
}

/// Four field-seasons of three blocks in which light settings bring some plants and heavy ones all of `seeds`.
fn steep(seeds: f64) -> Vec<StripRow> {
    let mut strips = strips(large(Curve::Flat, 4), 5);
    for (number, strip) in strips.iter_mut().enumerate() {
        let step = FORCES.iter().position(|force| Some(*force) == strip.force_n).unwrap();
        let plants = (seeds * [0.3, 0.6, 0.9, 1.0, 1.0][step] + f64::from(u8::from(number % 3 == 0)) * 0.2).round();
        strip.seeds_sown = Some(seeds);
        strip.on_time_share = Some(plants.min(seeds) / seeds);
        strip.emerged_share = None;
    }
    strips
}

#[test]
fn counts_and_logits_agree_where_strips_have_many_seeds() {
    for seed in 0..10 {
        let condition = Condition { own_best: 0.15, ..large(Curve::parabola(0.1, 1.5), 5) };
        let found = disagreements(&strips(condition, seed));
        assert!(found.is_empty(), "seed {seed}: {found:?}");
    }
}

#[test]
fn a_few_seeds_and_full_strips_are_told_as_a_disagreement() {
    let found = disagreements(&steep(6.0));
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].contains("on_time_share"), "{found:?}");
}

#[test]
fn a_strip_whose_time_is_hardly_known_weighs_little_in_the_second_stage() {
    let mut strips = strips(large(Curve::Flat, 3), 9);
    for (number, strip) in strips.iter_mut().enumerate() {
        let step = FORCES.iter().position(|force| Some(*force) == strip.force_n).unwrap();
        // Ten hours between the first setting and the last, and a little noise that sums to nothing over a block.
        let hours = 150.0 + 2.5 * step as f64 + [0.4, -0.4, 0.2, -0.2, 0.0][(number * 2 + number / 5) % 5];
        (strip.t50_h, strip.t50_fit_h, strip.t50_fit_se_h) = (Some(hours), Some(hours), Some(1.0));
    }
    // One strip of the last setting was counted badly: half a day off, and its own counts say that it may be.
    let last = strips.iter().position(|strip| strip.force_n == Some(FORCES[4])).unwrap();
    (strips[last].t50_h, strips[last].t50_fit_h, strips[last].t50_fit_se_h) = (Some(184.0), Some(184.0), Some(24.0));
    let found = answers(&strips).comparisons.rows().unwrap();
    let difference = |response: &str| {
        let name = |force: f64| format!("{force:.0} N");
        let row = found.iter().find(|row| {
            row.response == response
                && row.field_id.is_none()
                && row.treatment_a == name(FORCES[4])
                && row.treatment_b == name(FORCES[0])
        });
        (row.unwrap().difference.unwrap(), row.unwrap().method.clone().unwrap())
    };
    let (plain, _) = difference("t50_h");
    let (fitted, method) = difference("t50_fit_h");
    assert!((fitted - 10.0).abs() < 0.5, "fitted {fitted}");
    assert!((plain - 10.0).abs() > 1.5, "plain {plain}");
    assert!(method.contains("strip"), "{method}");
}
