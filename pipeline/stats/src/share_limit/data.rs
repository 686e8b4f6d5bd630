//! Rows brought together: clusters of cells, a cell being all rows of a cluster at one x.

use crate::error::{Result, StatsError};
use statrs::function::factorial::ln_binomial;
use std::collections::BTreeMap;

/// Counts of one row, such as the places dug in a strip.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShareRow {
    /// Which curve the row belongs to, from 0.
    pub group: usize,
    /// Cluster inside the group; the same number in another group is another cluster.
    pub cluster: usize,
    /// Where on the curve.
    pub x: f64,
    /// Trials that were a success.
    pub successes: u32,
    /// Trials, 1 or more.
    pub trials: u32,
}

/// Rows of one cluster at one x. The likelihood needs only how many rows have more than j successes, and more than j failures.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Cell {
    /// Scaled x.
    pub(super) x: f64,
    pub(super) successes: f64,
    pub(super) failures: f64,
    /// Rows with any success, and with any failure.
    pub(super) any_success: f64,
    pub(super) any_failure: f64,
    /// Rows with more than j successes, j = 1, 2, …; and of failures.
    pub(super) more_successes: Vec<f64>,
    pub(super) more_failures: Vec<f64>,
}

/// Cells of one cluster, and how many clusters are exactly like it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Cluster {
    pub(super) cells: Vec<Cell>,
    pub(super) alike: f64,
}

/// One group on its own scale of x, from -½ to ½.
#[derive(Debug, Clone)]
pub(super) struct Group {
    pub(super) clusters: Vec<Cluster>,
    /// Scaled x and trials of all rows at it: what Jeffreys' prior looks at.
    pub(super) levels: Vec<(f64, f64)>,
    /// Rows with more than j trials, j = 1, 2, …
    pub(super) more_trials: Vec<f64>,
    /// Sum of the logs of the binomial coefficients.
    pub(super) log_coefficients: f64,
    centre: f64,
    range: f64,
}

/// Trials of a row of which the likelihood with correlation is still summed one by one.
const MOST_TRIALS: u32 = 1000;

/// And beyond this many, sums over them are rounded by more than a cluster's effect changes them.
const MOST_TRIALS_EVER: u32 = 1_000_000;

impl Group {
    /// A line of the caller's x on the scale of the group.
    pub(super) fn scaled(&self, intercept: f64, slope: f64) -> [f64; 2] {
        [intercept + slope * self.centre, slope * self.range]
    }

    /// Intercept and slope in the caller's x.
    pub(super) fn unscaled(&self, line: [f64; 2]) -> [f64; 2] {
        let slope = line[1] / self.range;
        [line[0] - slope * self.centre, slope]
    }
}

/// Checks the rows and sorts them into groups; a group that cannot have a slope is an error of its own. `correlated` is false
/// where the correlation is known to be zero.
pub(super) fn groups(rows: &[ShareRow], count: usize, correlated: bool) -> Result<Vec<Result<Group>>> {
    if rows.is_empty() {
        return Err(StatsError::TooFewValues { what: "a curve of shares", needed: 1, found: 0 });
    }
    let mut members = vec![Vec::new(); count];
    for (position, row) in rows.iter().enumerate() {
        let count_error = |what, value: u32, expected: String| {
            Err(StatsError::Count { what, position, value: f64::from(value), expected })
        };
        if row.group >= count {
            return Err(StatsError::GroupCode { term: "group".into(), position, code: row.group, groups: count });
        }
        if !row.x.is_finite() {
            return Err(StatsError::NotFinite { what: "x".into(), position, value: row.x });
        }
        if row.trials == 0 {
            return count_error("number of trials", 0, "a whole number from 1 up".into());
        }
        if row.successes > row.trials {
            let expected = format!("a whole number from 0 to the {} trials", row.trials);
            return count_error("number of successes", row.successes, expected);
        }
        let (most, next) = if correlated {
            (MOST_TRIALS, "fix the correlation at zero, or split the row into the parts it was counted in")
        } else {
            (MOST_TRIALS_EVER, "use a mixed model")
        };
        if row.trials > most {
            return Err(StatsError::NotPossible {
                what: "a curve of shares".into(),
                reason: format!("the row at position {position} has {} trials, more than {most}", row.trials),
                next,
            });
        }
        members[row.group].push(row);
    }
    Ok(members.iter().enumerate().map(|(group, rows)| build(group, rows, correlated)).collect())
}

fn build(group: usize, rows: &[&ShareRow], correlated: bool) -> Result<Group> {
    let refuse = |reason: String, next| {
        Err(StatsError::NotPossible { what: format!("the curve of group {group}"), reason, next })
    };
    let low = rows.iter().map(|row| row.x).fold(f64::INFINITY, f64::min);
    let high = rows.iter().map(|row| row.x).fold(f64::NEG_INFINITY, f64::max);
    if rows.is_empty() {
        return refuse("it has no rows".into(), "leave the group out");
    }
    let (centre, range) = (0.5 * low + 0.5 * high, high - low);
    // x that differ by rounding alone tell no slope.
    if !(range > 1e-9 * low.abs().max(high.abs())) || !range.is_finite() {
        return refuse(format!("x goes from {low} to {high}, which tells no slope"), "give rows at another x");
    }
    let mut cells: BTreeMap<(usize, u64), Cell> = BTreeMap::new();
    let mut levels: BTreeMap<u64, f64> = BTreeMap::new();
    let mut more_trials = Vec::new();
    let mut log_coefficients = 0.0;
    for row in rows {
        let x = (row.x - centre) / range;
        // Bits that ascend with the number, so that cells stand in the order of x.
        let key = (x + 1.0).to_bits();
        let cell = cells.entry((row.cluster, key)).or_insert_with(|| Cell::empty(x));
        let (successes, failures) = (row.successes, row.trials - row.successes);
        cell.successes += f64::from(successes);
        cell.failures += f64::from(failures);
        cell.any_success += f64::from(u8::from(successes > 0));
        cell.any_failure += f64::from(u8::from(failures > 0));
        if correlated {
            count_more(&mut cell.more_successes, successes);
            count_more(&mut cell.more_failures, failures);
            count_more(&mut more_trials, row.trials);
        }
        *levels.entry(key).or_default() += f64::from(row.trials);
        log_coefficients += ln_binomial(u64::from(row.trials), u64::from(successes));
    }
    let mut clusters: BTreeMap<usize, Vec<Cell>> = BTreeMap::new();
    for ((cluster, _), cell) in cells {
        clusters.entry(cluster).or_default().push(cell);
    }
    let levels = levels.into_iter().map(|(key, trials)| (f64::from_bits(key) - 1.0, trials)).collect();
    let clusters = merged(clusters.into_values().collect());
    Ok(Group { clusters, levels, more_trials, log_coefficients, centre, range })
}

/// Clusters that are alike have the same integral, which is then computed once.
fn merged(mut clusters: Vec<Vec<Cell>>) -> Vec<Cluster> {
    clusters.sort_by(|one, other| {
        let numbers = |cells: &[Cell]| cells.iter().flat_map(Cell::numbers).collect::<Vec<f64>>();
        let (one, other) = (numbers(one), numbers(other));
        let differing = one.iter().zip(&other).map(|(a, b)| a.total_cmp(b)).find(|order| order.is_ne());
        differing.unwrap_or(one.len().cmp(&other.len()))
    });
    let mut result: Vec<Cluster> = Vec::new();
    for cells in clusters {
        match result.last_mut() {
            Some(last) if last.cells == cells => last.alike += 1.0,
            _ => result.push(Cluster { cells, alike: 1.0 }),
        }
    }
    result
}

/// Adds one row's count to the numbers of rows with more than 1, 2, …
fn count_more(more: &mut Vec<f64>, count: u32) {
    let beyond = count.saturating_sub(1) as usize;
    if more.len() < beyond {
        more.resize(beyond, 0.0);
    }
    more[..beyond].iter_mut().for_each(|rows| *rows += 1.0);
}

impl Cell {
    fn empty(x: f64) -> Self {
        let none = Vec::new;
        Self {
            x,
            successes: 0.0,
            failures: 0.0,
            any_success: 0.0,
            any_failure: 0.0,
            more_successes: none(),
            more_failures: none(),
        }
    }

    fn numbers(&self) -> impl Iterator<Item = f64> + '_ {
        [self.x, self.successes, self.failures, self.any_success, self.any_failure]
            .into_iter()
            .chain(self.more_successes.iter().copied())
            .chain(self.more_failures.iter().copied())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(cluster: usize, x: f64, successes: u32, trials: u32) -> ShareRow {
        ShareRow { group: 0, cluster, x, successes, trials }
    }

    #[test]
    fn rows_at_one_x_of_a_cluster_become_a_cell_and_like_clusters_one() {
        let mut rows = Vec::new();
        for cluster in [7, 3] {
            rows.extend([row(cluster, 10.0, 2, 3), row(cluster, 30.0, 1, 1), row(cluster, 10.0, 0, 2)]);
        }
        rows.push(row(5, 10.0, 0, 1));
        let group = groups(&rows, 1, true).expect("rows").remove(0).expect("a slope");
        assert_eq!(group.clusters.iter().map(|cluster| cluster.alike).collect::<Vec<_>>(), [1.0, 2.0]);
        let cell = &group.clusters[1].cells[0];
        assert_eq!((cell.x, cell.successes, cell.failures), (-0.5, 2.0, 3.0));
        assert_eq!((cell.any_success, cell.any_failure), (1.0, 2.0));
        assert_eq!((cell.more_successes.as_slice(), cell.more_failures.as_slice()), (&[1.0][..], &[1.0][..]));
        assert_eq!(group.more_trials, [4.0, 2.0]);
        assert_eq!(group.levels, [(-0.5, 11.0), (0.5, 2.0)]);
        assert_eq!(group.unscaled(group.scaled(1.5, -0.25)), [1.5, -0.25]);
    }

    #[test]
    fn bad_rows_are_refused_with_their_place() {
        let refused = |bad: ShareRow| groups(&[row(0, 1.0, 0, 1), bad], 1, true).expect_err("bad");
        assert!(matches!(refused(row(0, f64::NAN, 0, 1)), StatsError::NotFinite { position: 1, .. }));
        assert!(matches!(refused(row(0, 1.0, 2, 1)), StatsError::Count { position: 1, .. }));
        assert!(matches!(refused(row(0, 1.0, 0, 0)), StatsError::Count { position: 1, .. }));
        assert!(matches!(refused(row(0, 1.0, 0, 5000)), StatsError::NotPossible { .. }));
        let other = ShareRow { group: 1, ..row(0, 1.0, 0, 1) };
        assert!(matches!(refused(other), StatsError::GroupCode { position: 1, code: 1, .. }));
        assert!(groups(&[], 1, true).is_err());
    }
}
