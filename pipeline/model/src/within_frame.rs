//! Rows, deviations inside field-seasons and random terms of the side models that ask about a curve, not for one.
//!
//! As in `curve`, force counts from its mean in one group and field-season, so that slopes rest on comparisons inside
//! field-seasons. Every strip counts the same, unless its own standard error is known.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_agronomy::force_levels;
use evenstand_stats::{Design, LmmFit, RandomTerm};
use ndarray::Array2;

use crate::observations::Observation;
use crate::setting_terms::{count, renumber};
use crate::working_fit;

/// Trial field-seasons from which they have curvatures of their own. Without them five unlike field-seasons blame a recorded thing
/// for their differences too often; with four no degrees of freedom would be left to ask.
const OWN_CURVATURES: usize = 5;

/// A group in a field-season.
type CellKey = (usize, usize);

/// Rows of a side model with force scaled to −1 … 1 over them.
pub(crate) struct WithinFrame<'a> {
    pub rows: Vec<&'a Observation<'a>>,
    /// Force less its mean in the cell, scaled, and the same of its square.
    pub linear: Vec<f64>,
    pub quadratic: Vec<f64>,
    /// Mean scaled force, and mean of its square, in the cell of each row.
    pub cells: Vec<(f64, f64)>,
    pub centre_n: f64,
    pub half_range_n: f64,
    /// Field-seasons in which settings varied.
    pub trial_field_seasons: usize,
    /// Whether some cell holds three settings.
    pub curved: bool,
}

impl<'a> WithinFrame<'a> {
    /// `None` where all forces are one.
    pub fn new(rows: Vec<&'a Observation<'a>>) -> Option<Self> {
        let range = |of: fn(f64, f64) -> f64, from: f64| rows.iter().map(|row| row.force_n).fold(from, of);
        let (low, high) = (range(f64::min, f64::INFINITY), range(f64::max, f64::NEG_INFINITY));
        if high.partial_cmp(&low) != Some(std::cmp::Ordering::Greater) {
            return None;
        }
        let (centre_n, half_range_n) = ((low + high) / 2.0, (high - low) / 2.0);
        let scaled: Vec<f64> = rows.iter().map(|row| (row.force_n - centre_n) / half_range_n).collect();
        let mut members: BTreeMap<CellKey, Vec<usize>> = BTreeMap::new();
        for (number, row) in rows.iter().enumerate() {
            members.entry((row.group, row.field_season)).or_default().push(number);
        }
        let mut cells = vec![(0.0, 0.0); rows.len()];
        let (mut varied, mut curved) = (BTreeSet::new(), false);
        for (cell, members) in &members {
            let size = members.len() as f64;
            let mean = |power: i32| members.iter().map(|row| scaled[*row].powi(power)).sum::<f64>() / size;
            let means = (mean(1), mean(2));
            members.iter().for_each(|row| cells[*row] = means);
            let levels = force_levels(&members.iter().map(|row| rows[*row].force_n).collect::<Vec<_>>()).1.len();
            curved |= levels >= 3;
            if levels > 1 {
                varied.insert(*cell);
            }
        }
        // A cell of one setting has no deviations, not the rounding of a gauge.
        let in_trial = |row: &Observation| varied.contains(&(row.group, row.field_season));
        let deviation = |number: usize, value: f64, mean: f64| if in_trial(rows[number]) { value - mean } else { 0.0 };
        let linear = (0..rows.len()).map(|row| deviation(row, scaled[row], cells[row].0)).collect();
        let quadratic = (0..rows.len()).map(|row| deviation(row, scaled[row].powi(2), cells[row].1)).collect();
        let trial_field_seasons = varied.iter().map(|(_, field_season)| field_season).collect::<BTreeSet<_>>().len();
        Some(Self { rows, linear, quadratic, cells, centre_n, half_range_n, trial_field_seasons, curved })
    }

    /// Field-season, block, and field-seasons' own slopes (from three trials on) and curvatures.
    fn random(&self) -> Vec<RandomTerm> {
        let fields = renumber(self.rows.iter().map(|row| row.field_season));
        let blocks = renumber(self.rows.iter().map(|row| row.block));
        let (n_fields, n_blocks) = (count(&fields), count(&blocks));
        let mut random = Vec::new();
        if n_fields >= 2 && n_fields < self.rows.len() {
            random.push(RandomTerm::intercept("field-season", fields.clone(), n_fields));
        }
        if n_blocks > n_fields && n_blocks < self.rows.len() {
            random.push(RandomTerm::intercept("block in field-season", blocks, n_blocks));
        }
        if self.trial_field_seasons >= 3 {
            let slope = RandomTerm::slope("force by field-season", fields.clone(), n_fields, self.linear.clone());
            random.push(slope);
        }
        if self.trial_field_seasons >= OWN_CURVATURES && self.curved {
            random.push(RandomTerm::slope("force² by field-season", fields, n_fields, self.quadratic.clone()));
        }
        random
    }

    /// Fits named fixed columns with the frame's random terms; the design tells which combinations the rows can tell. `None` where it
    /// cannot be fitted, with fewer than two degrees of freedom left for the residual, or without a random term.
    pub fn fit(&self, columns: Vec<(String, Vec<f64>)>) -> Option<(Design, LmmFit)> {
        let random = self.random();
        if random.is_empty() || self.rows.len() < columns.len() + 2 {
            return None;
        }
        let matrix = Array2::from_shape_fn((self.rows.len(), columns.len()), |(row, column)| columns[column].1[row]);
        let names = columns.into_iter().map(|(name, _)| name).collect();
        let response = self.rows.iter().map(|row| row.modelled).collect();
        let std_errors = self.rows.iter().map(|row| row.modelled_std_error).collect();
        let design = working_fit::design(response, matrix, names, random, None, std_errors).ok()?;
        let (fit, _) = working_fit::mixed_model(&design).ok()?;
        Some((design, fit))
    }
}
