//! Can any difference between settings be seen at all? Without a curve.

use std::collections::BTreeMap;

use evenstand_agronomy::force_levels;
use evenstand_stats::Direction;

use crate::covariates::Covariates;
use crate::groups::Basis;
use crate::observations::{Observation, Observations};
use crate::response::{Better, Response, Scale};
use crate::setting_fit::{SettingFit, SettingRows};
use crate::setting_terms::{count, renumber};
use crate::shapes::{Shapes, shapes};
use crate::summary::mean;

/// Confidence of what is excluded, and of the settings that can still be the best.
pub(crate) const EXCLUDED: f64 = 0.90;

/// What the settings of one group show without a curve.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct LevelTest {
    /// p value of the test that all settings have one mean.
    pub p_value: f64,
    /// Differences between two settings above this are excluded at 90 %, in the response's own unit: the largest limit
    /// of the 90 % intervals of all pairs. The pair that truly differs most is among them, so no further adjustment.
    pub largest_difference: f64,
    /// Forces of the settings that can still be the best, lightest first: no curve, all comparisons together at 90 % (Hsu 1984). All of them
    /// where no setting can be compared with another.
    pub can_be_best: Vec<f64>,
    /// Candidate shapes weighed on the settings; missing where nothing can be compared.
    pub shapes: Option<Shapes>,
    /// p value of the test that the settings follow a parabola; missing under four settings.
    pub lack_of_fit: Option<f64>,
    /// How it was worked out.
    pub method: String,
}

/// Tests the settings of one group, every strip counting the same, adjusted for recorded parts that varied apart from the setting; see [`SettingFit`]. `None` where there is no replication.
pub(crate) fn test_levels(observations: &Observations, group: usize, response: &Response) -> Option<LevelTest> {
    if observations.groups[group].1.basis != Basis::Trial {
        return None;
    }
    let rows: Vec<&Observation> =
        trial_rows(observations, group).into_iter().map(|row| &observations.rows[row]).collect();
    let (settings, level_forces) = force_levels(&rows.iter().map(|row| row.force_n).collect::<Vec<_>>());
    let modelled: Vec<f64> = rows.iter().map(|row| row.modelled).collect();
    let centre = mean(&modelled);
    let taken = level_forces.len() + count(&renumber(rows.iter().map(|row| row.block)));
    let covariates = Covariates::new(&rows, taken).columns;
    let setting_rows = SettingRows {
        response: modelled,
        std_errors: rows.iter().map(|row| row.modelled_std_error).collect(),
        settings,
        blocks: rows.iter().map(|row| row.block).collect(),
        fields: rows.iter().map(|row| row.field_season).collect(),
    };
    let fit = SettingFit::adjusted(setting_rows, covariates).ok()?;
    let p_value = fit.alike()?.p_value;
    let largest_difference = largest_difference(&fit, level_forces.len(), response, centre);
    let lack_of_fit = fit.lack_of_fit(&level_forces).map(|test| test.p_value).filter(|p_value| p_value.is_finite());
    let shapes = shapes(&fit, &level_forces, rows.len(), response.better);
    let direction = if response.better == Better::Lower { Direction::SmallestIsBest } else { Direction::LargestIsBest };
    let can_be_best = match fit.can_be_best(direction, EXCLUDED) {
        Some(settings) => settings.into_iter().map(|setting| level_forces[setting]).collect(),
        None => level_forces,
    };
    let method = fit.method;
    (p_value.is_finite() && largest_difference.is_finite()).then_some(LevelTest {
        p_value,
        largest_difference,
        can_be_best,
        shapes,
        lack_of_fit,
        method,
    })
}

/// Differences between two of `settings` settings above this are excluded with confidence [`EXCLUDED`], in the response's own unit around `centre` on the
/// model's scale; see [`LevelTest::largest_difference`].
pub(crate) fn largest_difference(fit: &SettingFit, settings: usize, response: &Response, centre: f64) -> f64 {
    let widest = (0..settings)
        .flat_map(|a| (0..a).map(move |b| (a, b)))
        .filter_map(|(a, b)| fit.contrast(a, b))
        .map(|contrast| contrast.interval(EXCLUDED))
        .map(|limits| limits.low.abs().max(limits.high.abs()))
        .fold(0.0, f64::max);
    match response.scale {
        Scale::Identity => widest,
        scale => scale.back(centre + widest / 2.0) - scale.back(centre - widest / 2.0),
    }
}

/// Rows of a group in field-seasons where its settings varied.
fn trial_rows(observations: &Observations, group: usize) -> Vec<usize> {
    let mut by_field: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (number, row) in observations.rows.iter().enumerate().filter(|(_, row)| row.group == group) {
        by_field.entry(row.field_season).or_default().push(number);
    }
    let varied = |members: &Vec<usize>| {
        force_levels(&members.iter().map(|row| observations.rows[*row].force_n).collect::<Vec<_>>()).1.len() > 1
    };
    by_field.into_values().filter(varied).flatten().collect()
}
