//! The truth of a small review, as a table and in words.

use super::super::condition::Truth;
use super::super::tidy::TidyTable;
use super::plot::{Field, Ground};

/// The share that decides in a review: what was counted often enough tells who was on time, a final stand who came up.
pub enum Decides {
    /// `on_time_share`.
    OnTime,
    /// `emerged_share`.
    Emerged,
}

/// `truth.csv`: a row a kind of ground, with the lightest and heaviest force tried on it, N.
pub fn table(decides: &Decides, grounds: &[(&Ground, (f64, f64))]) -> TidyTable {
    let (response, expected): (_, fn(&Truth, f64) -> f64) = match decides {
        Decides::OnTime => ("on_time_share", Truth::expected_on_time),
        Decides::Emerged => ("emerged_share", Truth::expected_final),
    };
    let mut table = TidyTable::new(
        "truth.csv",
        &[
            "condition",
            "response",
            "best_force_n",
            "near_best_low_n",
            "near_best_high_n",
            "tested_low_n",
            "tested_high_n",
            "expected_at_best",
            "half_width_n",
            "open_limit_n",
            "firm_limit_n",
        ],
    );
    for (ground, (low, high)) in grounds {
        let truth = &ground.truth;
        let near = truth.near_best(*low, *high, expected);
        let (open_limit_n, firm_limit_n) = truth.dig_limits();
        let responds = truth.half_width_n.is_some();
        table.push([
            ground.label.into(),
            response.into(),
            if responds { format!("{:.0}", truth.best_force_n) } else { String::new() },
            format!("{:.1}", near.low_n),
            format!("{:.1}", near.high_n),
            format!("{low:.1}"),
            format!("{high:.1}"),
            format!("{:.4}", near.share),
            truth.half_width_n.map_or(String::new(), |width| format!("{width:.0}")),
            format!("{open_limit_n:.1}"),
            format!("{firm_limit_n:.1}"),
        ]);
    }
    table
}

/// Lightest and heaviest force that was tried on that ground, N.
pub fn tested(fields: &[Field], ground: &Ground) -> (f64, f64) {
    let forces = fields
        .iter()
        .filter(|field| field.plan.ground.label == ground.label)
        .flat_map(|field| field.plan.strips.iter().map(|strip| strip.force_n));
    forces.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), force| (low.min(force), high.max(force)))
}

/// What all small reviews are drawn from alike, for a README.
pub const DRAWN: &str = "\
Drawn like the demo (`sample-data/winter-review/truth.md` has the formulas): away from the best force fewer plants come up, and those that do
come up less evenly. A field has its own best force (standard deviation 12 N), final emergence (3 points) and spread (0.20 on the logarithm); blocks and
strips add a little of their own; counts vary 1.3 times as much as binomial ones.
";
