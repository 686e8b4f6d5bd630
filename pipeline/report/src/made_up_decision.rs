//! Made-up candidate shapes and trials for next season, for the tests of this crate.

use evenstand_tables::rows::{NextTrialRow, ShapeRow, StartingPointRow};

const CLOSER: &str = "discs_and_press_wheel";

/// Four candidates, lightest weight first.
pub(crate) fn shapes(condition: &str, response: &str) -> Vec<ShapeRow> {
    [("constant", 0.04), ("linear", 0.19), ("quadratic in log force", 0.31), ("quadratic", 0.46)]
        .into_iter()
        .map(|(shape, weight)| ShapeRow {
            condition: condition.to_owned(),
            closer: CLOSER.to_owned(),
            response: response.to_owned(),
            shape: shape.to_owned(),
            weight: Some(weight),
            ..ShapeRow::default()
        })
        .collect()
}

/// The trials beside a starting point: none needed where it is settled, four considered where it is leaning, the plain
/// one where it is open.
pub(crate) fn next_trials(point: &StartingPointRow) -> Vec<NextTrialRow> {
    let of_point = NextTrialRow {
        condition: point.condition.clone(),
        closer: point.closer.clone(),
        planter_id: point.planter_id.clone(),
        response: point.response.clone(),
        ..NextTrialRow::default()
    };
    match point.evidence.as_str() {
        "settled" => vec![NextTrialRow {
            n_levels: Some(0),
            n_blocks: Some(0),
            n_fields: Some(0),
            strips: Some(0),
            prob_near_best_now: Some(0.84),
            prob_near_best_after: Some(0.84),
            advised: Some(true),
            reason: Some(
                "No trial is needed for the choice: choosing wrongly costs 0.11 points on average now.".into(),
            ),
            ..of_point
        }],
        "leaning" => [(2, 1, 0.0061, 0.66), (2, 2, 0.0063, 0.68), (3, 2, 0.0039, 0.79), (4, 2, 0.0037, 0.80)]
            .into_iter()
            .map(|(blocks, fields, loss, near)| NextTrialRow {
                n_levels: Some(3),
                low_n: Some(150.0),
                high_n: Some(400.0),
                n_blocks: Some(blocks),
                n_fields: Some(fields),
                strips: Some(3 * blocks * fields),
                expected_loss_now: Some(0.0079),
                expected_loss_after: Some(loss),
                prob_near_best_now: Some(0.62),
                prob_near_best_after: Some(near),
                monte_carlo_error: Some(0.0006),
                advised: Some(blocks == 3),
                reason: (blocks == 3).then(|| {
                    "Trials in 2 fields with 3 settings in 3 blocks (18 strips) would cut the expected loss from \
                     choosing wrongly from 0.79 to 0.39 points."
                        .to_owned()
                }),
                ..of_point.clone()
            })
            .collect(),
        _ => vec![NextTrialRow {
            n_levels: Some(5),
            low_n: Some(90.0),
            high_n: Some(270.0),
            n_blocks: Some(4),
            n_fields: Some(3),
            strips: Some(60),
            advised: Some(true),
            reason: Some(format!(
                "{} What a trial would bring cannot be worked out yet; the plan is a stated default: 5 settings around \
                 the default, 4 blocks in each of 3 fields.",
                point.reason
            )),
            ..of_point
        }],
    }
}
