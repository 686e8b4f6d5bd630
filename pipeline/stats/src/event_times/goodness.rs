//! How well a fitted curve describes what was seen.

use super::data::IntervalData;
use super::fit::EventTimesFit;
use super::turnbull::turnbull;
use crate::distribution::chi_squared_sf;
use crate::error::{Result, StatsError};
use crate::inference::LinearFit;

/// A fitted curve beside the data.
#[derive(Debug, Clone, PartialEq)]
pub struct EventGoodness {
    /// Largest distance of the curve from Turnbull's estimate at the ends of the intervals, within rows of equal predictors.
    pub largest_difference: f64,
    /// The time of that distance.
    pub at_time: f64,
    /// Test of the curve against free shares; `None` where intervals overlap and so form no cells.
    pub cells: Option<CellTest>,
}

/// Multinomial goodness of fit.
#[derive(Debug, Clone, PartialEq)]
pub struct CellTest {
    /// Pearson's `Σ (observed - expected)² / expected`.
    pub pearson: f64,
    /// Likelihood ratio `2 Σ observed log(observed / expected)`.
    pub likelihood_ratio: f64,
    /// Cells after merging.
    pub cells: usize,
    /// Cells less groups less parameters; zero or below when there is nothing left to test.
    pub df: i64,
    /// Upper tail probability of Pearson's statistic; `None` without degrees of freedom.
    pub pearson_p: Option<f64>,
    /// Upper tail probability of the likelihood ratio; `None` without degrees of freedom.
    pub likelihood_ratio_p: Option<f64>,
}

impl EventTimesFit {
    /// Distance from Turnbull's estimate, and a multinomial test where the intervals of each group are disjoint.
    ///
    /// Rows with the same predictors form a group. Times between the intervals given count as cells without events. Neighbouring
    /// cells of a group are merged from the left until each expects at least `least_expected` individuals (5 is customary); the
    /// p-values hold roughly, since the parameters are fitted to the cells before merging.
    ///
    /// # Errors
    /// A `least_expected` that is negative or not finite.
    pub fn goodness(&self, least_expected: f64) -> Result<EventGoodness> {
        if !(least_expected >= 0.0 && least_expected.is_finite()) {
            return Err(StatsError::OutOfRange {
                what: "the least expected count",
                value: least_expected,
                expected: "a number from 0",
            });
        }
        let groups = self.groups();
        let (mut largest_difference, mut at_time) = (0.0, 0.0);
        let mut cells: Option<Vec<Vec<Cell>>> = Some(Vec::new());
        for rows in &groups {
            let part = self.data.subset(rows);
            if part.total() == 0 {
                continue;
            }
            let free = turnbull(&part);
            for &time in part.left().iter().chain(part.right()).filter(|time| time.is_finite()) {
                let (curve, range) = (self.cumulative_in_row(time, rows[0]), free.cumulative(time));
                let distance = (range.low - curve).max(curve - range.high);
                if distance > largest_difference {
                    (largest_difference, at_time) = (distance, time);
                }
            }
            cells = cells.and_then(|mut all| {
                all.push(self.cells(&part, rows[0], least_expected)?);
                Some(all)
            });
        }
        Ok(EventGoodness { largest_difference, at_time, cells: cells.map(|cells| self.test(&cells)) })
    }

    /// Rows of the data by equal predictors, in order of first appearance.
    fn groups(&self) -> Vec<Vec<usize>> {
        let mut groups: Vec<Vec<usize>> = Vec::new();
        for row in 0..self.data.rows() {
            match groups.iter_mut().find(|group| self.predictors.same(group[0], row)) {
                Some(group) => group.push(row),
                None => groups.push(vec![row]),
            }
        }
        groups
    }

    /// Merged cells of a group; `None` when intervals overlap.
    fn cells(&self, part: &IntervalData, row: usize, least_expected: f64) -> Option<Vec<Cell>> {
        let mut order: Vec<usize> = (0..part.rows()).collect();
        order.sort_by(|&i, &j| {
            part.left()[i].total_cmp(&part.left()[j]).then(part.right()[i].total_cmp(&part.right()[j]))
        });
        let total = part.total() as f64;
        let mut fine: Vec<(f64, f64)> = Vec::new();
        let (mut left, mut end) = (f64::NAN, 0.0);
        for i in order {
            let (from, to, count) = (part.left()[i], part.right()[i], part.counts()[i] as f64);
            if from == left && to == end {
                fine.last_mut()?.1 += count;
                continue;
            }
            if from < end {
                return None;
            }
            if from > end {
                fine.push((from, 0.0));
            }
            fine.push((to, count));
            (left, end) = (from, to);
        }
        if end < f64::INFINITY {
            fine.push((f64::INFINITY, 0.0));
        }
        let mut cells: Vec<Cell> = Vec::new();
        let mut before = 0.0;
        let mut open = Cell::default();
        for (to, count) in fine {
            let by = self.cumulative_in_row(to, row);
            open.observed += count;
            open.expected += total * (by - before);
            before = by;
            if open.expected >= least_expected && open.expected > 0.0 {
                cells.push(std::mem::take(&mut open));
            }
        }
        if let Some(last) = cells.last_mut() {
            last.observed += open.observed;
            last.expected += open.expected;
        } else {
            cells.push(open);
        }
        Some(cells)
    }

    fn test(&self, groups: &[Vec<Cell>]) -> CellTest {
        let all = || groups.iter().flatten();
        let pearson = all().map(|cell| (cell.observed - cell.expected).powi(2) / cell.expected).sum();
        let likelihood_ratio = all()
            .filter(|cell| cell.observed > 0.0)
            .map(|cell| 2.0 * cell.observed * (cell.observed / cell.expected).ln())
            .sum();
        let cells = all().count();
        let df = cells as i64 - groups.len() as i64 - self.n_parameters() as i64;
        let tail = |statistic: f64| (df > 0).then(|| chi_squared_sf(statistic, df as f64));
        CellTest {
            pearson,
            likelihood_ratio,
            cells,
            df,
            pearson_p: tail(pearson),
            likelihood_ratio_p: tail(likelihood_ratio),
        }
    }
}

#[derive(Debug, Clone, Copy, Default)]
struct Cell {
    observed: f64,
    expected: f64,
}
