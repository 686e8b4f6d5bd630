//! The analysis of one response repeated with the other force of each strip: the actual one where the set one decides, or the other way round.

use std::collections::BTreeMap;

use evenstand_settings::{Axis as Chosen, Settings};
use evenstand_tables::rows::StripRow;

use crate::analysis::seed_of;
use crate::curve::fit_curves;
use crate::decision::{Picture, picture};
use crate::drawn::Drawing;
use crate::draws::GroupDraws;
use crate::groups::{Axis, Coverage, GroupKey, axis_of, group_of};
use crate::observations::observations;
use crate::response::{Measures, Response};

/// Draws: enough to tell whether it points elsewhere.
const DRAWS: usize = 500;
/// The two forces of a strip differ where they are apart by more than this share of the set one.
const DIFFERS: f64 = 0.01;

/// What a group says on the other axis.
pub(crate) struct OnOtherAxis {
    pub draws: GroupDraws,
    pub coverage: Coverage,
    pub picture: Picture,
}

/// The axis that was not chosen, in words.
pub(crate) fn other_axis(settings: &Settings) -> &'static str {
    match settings.analysis.axis {
        Chosen::Set => "actual",
        Chosen::Actual => "set",
    }
}

/// The other force of a strip; `None` where the strip lacks one of the two, or they cannot both be newtons.
fn other_force(strip: &StripRow, settings: &Settings) -> Option<f64> {
    let (set, actual) = (strip.set_force_n?, strip.actual_force_n?);
    let newtons = axis_of(strip) == Some(Axis::Force)
        && settings.planter(strip.planter_id.as_deref().unwrap_or_default()).calibrated();
    newtons.then_some(match settings.analysis.axis {
        Chosen::Set => actual,
        Chosen::Actual => set,
    })
}

/// Groups in which the two forces differ in some strip.
pub(crate) fn groups_that_differ(strips: &[StripRow], settings: &Settings) -> Vec<GroupKey> {
    let differs = |strip: &&StripRow| {
        let other = other_force(strip, settings).zip(strip.force_n);
        other.is_some_and(|(other, used)| (other - used).abs() > DIFFERS * strip.set_force_n.unwrap_or(used).abs())
    };
    let mut keys: Vec<GroupKey> =
        strips.iter().filter(differs).map(|strip| group_of(strip, axis_of(strip).as_ref())).collect();
    keys.sort();
    keys.dedup();
    keys
}

/// The response on the other axis, group by group; a strip without both forces keeps the one it has. A group that tells no curve there is
/// missing. No test without a curve: actual forces scatter, and make no settings to compare.
pub(crate) fn on_other_axis(
    strips: &[StripRow],
    measures: &Measures,
    response: &Response,
    tolerance: f64,
    settings: &Settings,
) -> BTreeMap<GroupKey, OnOtherAxis> {
    let moved: Vec<StripRow> = strips
        .iter()
        .map(|strip| StripRow { force_n: other_force(strip, settings).or(strip.force_n), ..strip.clone() })
        .collect();
    let mut answers = BTreeMap::new();
    let Some(observed) = observations(&moved, measures, response, &Axis::Force) else { return answers };
    let observed = observed.behind_curves();
    let drawing = Drawing {
        seed: seed_of(settings.analysis.seed, other_axis(settings), &response.name),
        draws: settings.analysis.draws.min(DRAWS),
    };
    let Ok(model) = fit_curves(response, observed, drawing) else { return answers };
    for (number, (key, coverage)) in model.observations.groups.iter().enumerate() {
        let Some(draws) = GroupDraws::new(&model, number) else { continue };
        let picture = picture(&draws, coverage, None, tolerance);
        answers.insert(key.clone(), OnOtherAxis { draws, coverage: coverage.clone(), picture });
    }
    answers
}
