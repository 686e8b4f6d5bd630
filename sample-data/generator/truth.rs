//! The truth beside the review: by condition, by field-season, and in words.

use super::condition::{Condition, EMERGENCE_LOSS, SPREAD_GROWTH, TYPICAL_HEAT, Truth, WEIBULL_SHAPE};
use super::emergence::FieldRecord;
use super::scenario::{FIELD_SEASONS, FieldSeason, Role};
use super::tidy::TidyTable;

/// Lightest and heaviest force that was tried in trials of a condition, N; logs are no trials.
fn tested_range(condition: Condition) -> (f64, f64) {
    let forces = FIELD_SEASONS
        .iter()
        .filter(|plan| plan.condition == condition && plan.is_trial() && plan.role != Role::Replanted)
        .flat_map(|plan| plan.settings)
        .map(|setting| setting.force_n());
    forces.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), force| (low.min(force), high.max(force)))
}

/// `truth.csv`: a row a condition. `best_force_n` is empty where force does nothing.
pub fn by_condition() -> TidyTable {
    let mut table = TidyTable::new(
        "truth.csv",
        &[
            "condition",
            "best_force_n",
            "near_best_low_n",
            "near_best_high_n",
            "tested_low_n",
            "tested_high_n",
            "expected_on_time_at_best",
            "expected_emerged_at_best",
            "expected_spread_h_at_best",
            "half_width_n",
            "open_limit_n",
            "firm_limit_n",
        ],
    );
    for condition in Condition::ALL {
        let truth = condition.truth();
        let (low, high) = tested_range(condition);
        let near = truth.near_best(low, high, Truth::expected_on_time);
        let (open_limit_n, firm_limit_n) = truth.dig_limits();
        let responds = truth.half_width_n.is_some();
        table.push([
            condition.label().into(),
            if responds { format!("{:.0}", truth.best_force_n) } else { String::new() },
            format!("{:.1}", near.low_n),
            format!("{:.1}", near.high_n),
            format!("{low:.1}"),
            format!("{high:.1}"),
            format!("{:.4}", near.share),
            format!("{:.3}", truth.expected_final(truth.best_force_n)),
            format!("{:.1}", truth.expected_spread_h(truth.best_force_n)),
            truth.half_width_n.map_or(String::new(), |width| format!("{width:.0}")),
            format!("{open_limit_n:.1}"),
            format!("{firm_limit_n:.1}"),
        ]);
    }
    table
}

/// In words, what a field-season is there to show.
pub fn role_words(plan: &FieldSeason) -> &'static str {
    match plan.role {
        Role::Trial => "trial",
        Role::NoResponse => "trial, no response",
        Role::Replanted => "trial, replanted",
        Role::Log => "one setting",
    }
}

/// `truth_fields.csv`: a row a field-season, with what was drawn for it.
pub fn by_field(records: &[FieldRecord]) -> TidyTable {
    let mut table = TidyTable::new(
        "truth_fields.csv",
        &[
            "field_id",
            "season",
            "role",
            "condition",
            "planter_id",
            "settings",
            "strips_planted",
            "strips_counted",
            "own_best_force_n",
            "final_share_effect",
            "log_spread_effect",
            "degree_days_f_a_day",
            "first_emergence_h",
        ],
    );
    for record in records {
        let plan = record.plan;
        let counted = record.strips.iter().filter(|strip| !strip.places.is_empty()).count();
        let settings: Vec<String> = plan.settings.iter().map(|setting| setting.shown()).collect();
        let responds = plan.condition.truth().half_width_n.is_some();
        table.push([
            plan.field.into(),
            plan.season.to_string(),
            role_words(plan).into(),
            plan.condition.label().into(),
            record.strips[0].setting.planter().into(),
            settings.join(" "),
            record.strips.len().to_string(),
            counted.to_string(),
            if responds { format!("{:.1}", record.effects.best_force_n) } else { String::new() },
            format!("{:.4}", record.effects.final_share),
            format!("{:.4}", record.effects.log_spread),
            format!("{:.2}", record.effects.heat),
            format!("{:.1}", record.effects.start_h),
        ]);
    }
    table
}

/// `truth.md`.
pub fn explanation() -> String {
    let mut rows = String::new();
    for condition in Condition::ALL {
        let truth = condition.truth();
        let (best, width) = truth.half_width_n.map_or_else(
            || ("none".into(), "none".into()),
            |width| (format!("{:.0} N", truth.best_force_n), format!("{width:.0} N")),
        );
        rows.push_str(&format!(
            "| {} | {best} | {width} | {:.2} | {:.0} | {:.0} h | {:.2} |\n",
            condition.label(),
            truth.final_share,
            truth.spread_heat,
            truth.expected_spread_h(truth.best_force_n),
            truth.expected_on_time(truth.best_force_n),
        ));
    }
    format!(
        "# The truth behind the demo

Everything in this review is invented. This page says what it was drawn from, so that an answer can be held against it.

| condition | best force | half-width | final emergence at the best | T90 - T10 at the best, degree-days F | the same in hours | on-time share at the best |
| --- | --- | --- | --- | --- | --- | --- |
{rows}
With `d` the distance of the force from the field's own best and `w` the half-width:

- final emergence is the share at the best, less {loss} (d/w)^2;
- the spread T90 - T10 is that at the best, times 1 + {growth} (d/w)^2;
- a plant that emerges does so at the field's first emergence plus a Weibull time of shape {shape}, scaled to that spread;
- in `moist, bare` force does nothing at all.

Hours are degree-days over the warmth of a field, 12.5 to 14.5 degree-days F a day, {heat} in the typical one.

Standard deviations: a field's own best force 12 N; final emergence 3.0 points between fields (no field above 96 %), 0.5 between blocks, 1.5
between strips; logarithm of the spread 0.20, 0.05 and 0.10; first emergence 4 h between blocks and 3 h between strips. Counts
in a place vary 1.3 times as much as binomial ones (variance). `lindqvist-40` 2024, strip S08, lost 7 psi to a leak: its plants
answer to the pressure that was left, not to the one that was set.

## truth.csv

`expected_on_time_at_best` is the on-time share of a typical field (no field, block or strip effect) with endlessly many seeds,
watched without a break: of the seeds sown, the share up within 48 h of the strip's own T10. `near_best_low_n` to
`near_best_high_n` are the forces between the lightest and the heaviest that was tried whose expected share is at most
0.02 under the best one. Real counts stop at the last visit and are taken twice a day at most, so shares worked out from
the files lie a little off these. `expected_emerged_at_best` and `expected_spread_h_at_best` are final emergence and T90 - T10
of the same field. `open_limit_n` and `firm_limit_n` are the forces at which a tenth of the dug places are open, or too firm, in a typical field; lighter ones leave more
open, heavier ones press more too hard.

## truth_fields.csv

What was drawn for each field-season: its own best force, and its effects on final emergence (share) and on the logarithm of the spread.
",
        loss = EMERGENCE_LOSS,
        growth = SPREAD_GROWTH,
        heat = TYPICAL_HEAT,
        shape = WEIBULL_SHAPE,
    )
}
