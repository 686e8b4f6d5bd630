//! Do logs tell the same slope as trials? Force between field-seasons against force inside them (Mundlak 1978).

use std::collections::BTreeMap;

use evenstand_agronomy::force_levels;
use evenstand_stats::{Contrast, LinearFit};

use crate::groups::Basis;
use crate::observations::{Observation, Observations};
use crate::within_frame::WithinFrame;

/// Field-seasons of logs, and of all, from which the two are compared.
const LOG_FIELD_SEASONS: usize = 2;
const FIELD_SEASONS: usize = 4;
/// Logs count where their force lies inside the tested range, or beyond it by no more than this share of it: the curve of the trials
/// says nothing of other forces.
const BEYOND: f64 = 0.1;

/// Slopes of one group on the model's scale, per 100 units of force.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct SlopeComparison {
    /// Slope of the trials' curve, taken over the mean forces of the field-seasons.
    pub within: Contrast,
    /// Slope of field-season means on their mean force.
    pub between: Contrast,
    /// Between less within.
    pub difference: Contrast,
    /// Field-seasons of logs behind it.
    pub logs: usize,
}

impl SlopeComparison {
    /// Whether logs and trials disagree: the 95 % interval of their difference excludes 0, or logs show a slope (95 %) that points the
    /// other way than that of the trials.
    ///
    /// Differing signs alone are no sign of anything: where force does nothing they differ every other time.
    pub fn disagrees(&self) -> bool {
        let shown = |contrast: &Contrast| {
            let limits = contrast.interval(0.95);
            limits.low > 0.0 || limits.high < 0.0
        };
        shown(&self.difference) || (shown(&self.between) && self.opposite())
    }

    /// Whether the signs differ.
    pub fn opposite(&self) -> bool {
        self.within.estimate * self.between.estimate < 0.0
    }
}

/// Compares the slopes of one group; `None` where there are not both kinds of evidence, or not enough.
///
/// A curve `b1 s + b2 s²` inside field-seasons makes their means go as `b1 s̄ + b2 mean(s²)`. Against s̄ alone that is a slope of
/// `b1 + k b2`, k being the slope of mean(s²) on s̄ over field-seasons: so much is expected between field-seasons where nothing else
/// goes with force, and what the slope between them has beyond it is confounding.
pub(crate) fn compare_slopes(observations: &Observations, group: usize) -> Option<SlopeComparison> {
    let coverage = &observations.groups[group].1;
    if coverage.basis != Basis::Trial {
        return None;
    }
    let mut by_field: BTreeMap<usize, Vec<&Observation>> = BTreeMap::new();
    for row in observations.rows.iter().filter(|row| row.group == group) {
        by_field.entry(row.field_season).or_default().push(row);
    }
    let slack = BEYOND * (coverage.tested.1 - coverage.tested.0);
    let tested = coverage.tested.0 - slack..=coverage.tested.1 + slack;
    let one_setting = |members: &[&Observation]| {
        force_levels(&members.iter().map(|row| row.force_n).collect::<Vec<_>>()).1.len() == 1
    };
    by_field.retain(|_, members| !one_setting(members) || tested.contains(&members[0].force_n));
    let logs = by_field.values().filter(|members| one_setting(members)).count();
    if logs < LOG_FIELD_SEASONS || by_field.len() < FIELD_SEASONS {
        return None;
    }
    let frame = WithinFrame::new(by_field.into_values().flatten().collect())?;
    let mut cells: BTreeMap<usize, (f64, f64)> = BTreeMap::new();
    for (row, cell) in frame.rows.iter().zip(&frame.cells) {
        cells.insert(row.field_season, *cell);
    }
    let size = cells.len() as f64;
    let (mean_s, mean_s2) =
        (cells.values().map(|cell| cell.0).sum::<f64>() / size, cells.values().map(|cell| cell.1).sum::<f64>() / size);
    let spread: f64 = cells.values().map(|cell| (cell.0 - mean_s).powi(2)).sum();
    if spread <= 1e-6 * size {
        return None;
    }
    let bend = cells.values().map(|cell| (cell.0 - mean_s) * (cell.1 - mean_s2)).sum::<f64>() / spread;
    let mut columns = vec![
        ("intercept".to_owned(), vec![1.0; frame.rows.len()]),
        ("between".to_owned(), frame.cells.iter().map(|cell| cell.0 - mean_s).collect()),
        ("within".to_owned(), frame.linear.clone()),
    ];
    if frame.curved {
        columns.push(("within²".to_owned(), frame.quadratic.clone()));
    }
    let (design, fit) = frame.fit(columns)?;
    let per_hundred = 100.0 / frame.half_range_n;
    let curved = frame.curved;
    let contrast = |between: f64, within: f64| {
        let mut row = vec![0.0, between, within];
        if curved {
            row.push(within * bend);
        }
        let row: Vec<f64> = row.into_iter().map(|weight| weight * per_hundred).collect();
        let contrast = fit.contrast(&design.estimable_row(&row).ok()?).ok()?;
        (contrast.estimate.is_finite() && contrast.std_error > 0.0 && contrast.df > 0.0).then_some(contrast)
    };
    Some(SlopeComparison {
        within: contrast(0.0, 1.0)?,
        between: contrast(1.0, 0.0)?,
        difference: contrast(1.0, -1.0)?,
        logs,
    })
}
