//! Can any difference between settings be seen at all? Without a curve.

use std::collections::BTreeMap;

use evenstand_agronomy::force_levels;
use ndarray::Array2;

use crate::groups::Basis;
use crate::observations::Observations;
use crate::response::{Response, Scale};
use crate::setting_terms::{count, renumber, setting_terms};
use crate::summary::mean;
use crate::working_fit::{design, fit, with_remarks};

/// What the settings of one group show without a curve.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct LevelTest {
    /// p value of the test that all settings have one mean.
    pub p_value: f64,
    /// Differences between two settings above this are excluded at 90 %, in the response's own unit: the largest limit
    /// of the 90 % intervals of all pairs. The pair that truly differs most is among them, so no further adjustment.
    pub largest_difference: f64,
    /// How it was worked out.
    pub method: String,
}

/// Tests the settings of one group, every strip counting the same: setting as a factor, field-season, block and
/// field-season × setting random (blocks fixed where there is one field-season). `None` where there is no replication.
pub(crate) fn test_levels(observations: &Observations, group: usize, response: &Response) -> Option<LevelTest> {
    let rows: Vec<usize> = trial_rows(observations, group);
    if observations.groups[group].1.basis != Basis::Trial {
        return None;
    }
    let all = &observations.rows;
    let (levels, level_forces) = force_levels(&rows.iter().map(|row| all[*row].force_n).collect::<Vec<_>>());
    let n_levels = level_forces.len();
    let field_seasons = renumber(rows.iter().map(|row| all[*row].field_season));
    let blocks = renumber(rows.iter().map(|row| all[*row].block));
    let several_fields = count(&field_seasons) > 1;
    let modelled: Vec<f64> = rows.iter().map(|row| all[*row].modelled).collect();
    let mut names: Vec<String> = (0..n_levels).map(|level| format!("level {level}")).collect();
    let fixed_blocks = if several_fields { 0 } else { count(&blocks) - 1 };
    names.extend((0..fixed_blocks).map(|block| format!("block {block}")));
    let matrix = Array2::from_shape_fn((rows.len(), names.len()), |(row, column)| {
        let hit = if column < n_levels { levels[row] == column } else { blocks[row] == column - n_levels };
        // Blocks sum to zero, so that a level's coefficient is its mean over blocks.
        let last = column >= n_levels && blocks[row] == fixed_blocks;
        f64::from(i8::from(hit) - i8::from(last))
    });
    let terms = setting_terms(&field_seasons, &blocks, &levels);
    let std_errors = rows.iter().map(|row| all[*row].modelled_std_error).collect();
    let design = design(modelled, matrix, names, terms.random, None, std_errors).ok()?;
    let differences = Array2::from_shape_fn((n_levels - 1, design.names().len()), |(row, column)| {
        f64::from(i8::from(column == row) - i8::from(column == n_levels - 1))
    });
    if !design.aliased().is_empty() {
        return None;
    }
    let (fit, remark) = fit(&design).ok()?;
    let test = fit.joint_test(&differences).ok()?;
    let pair_row = |(a, b): (usize, usize)| {
        (0..design.names().len())
            .map(|column| f64::from(i8::from(column == a) - i8::from(column == b)))
            .collect::<Vec<_>>()
    };
    let pairs = (0..n_levels).flat_map(|a| (0..a).map(move |b| (a, b)));
    let limits: Vec<_> =
        pairs.map(|pair| Some(fit.contrast(&pair_row(pair)).ok()?.interval(0.90))).collect::<Option<_>>()?;
    let (p_value, coefficients) = (test.p_value, fit.coefficients());
    let method = with_remarks(&test.method, [remark.as_deref(), terms.left_out]);
    let widest = limits.iter().map(|limit| limit.low.abs().max(limit.high.abs())).fold(0.0, f64::max);
    let centre = mean(&coefficients[..n_levels]);
    let largest_difference = match response.scale {
        Scale::Identity => widest,
        scale => scale.back(centre + widest / 2.0) - scale.back(centre - widest / 2.0),
    };
    (p_value.is_finite() && largest_difference.is_finite()).then_some(LevelTest { p_value, largest_difference, method })
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
