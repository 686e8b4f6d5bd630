//! What the strips of one model stand on: scaled force, its functions, and the means that comparisons are made within.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_agronomy::force_levels;
use evenstand_stats::RandomTerm;
use ndarray::Array2;

use crate::covariates::{Covariate, Covariates};
use crate::curve_basis::{FIRST_DEPARTURE, FUNCTIONS, Functions, basis, less};
use crate::groups::Basis;
use crate::observations::{Observation, Observations};
use crate::setting_terms::{count, linked_parts};

/// Conditions of one closer from which on their curves are drawn towards each other.
const ENOUGH_CONDITIONS: usize = 3;
/// Name of the column of force between field-seasons.
pub(crate) const BETWEEN: &str = "force between field-seasons";

/// What is known of one group's columns.
#[derive(Debug, Clone)]
pub(crate) struct GroupFrame {
    /// Means of the functions over the strips behind the curve; that of 1 counts as 0, so that the level stays.
    pub mean: Functions,
    /// Whether its settings tell a slope.
    pub sloped: bool,
    /// Whether they tell a curvature.
    pub curved: bool,
    /// Trials share one curve with the trials of other conditions under the same closer, where those are enough; the closer's number.
    pub pool: Option<usize>,
    /// Whether they tell more than a parabola: four or more in one field-season.
    pub bent: bool,
    trial: bool,
}

/// Columns and everything force is centred on.
pub(crate) struct Frame {
    pub groups: Vec<GroupFrame>,
    /// Mean of the functions over the cell (group and field-season) of each row; that of 1 counts as 0.
    pub cells: Vec<Functions>,
    /// Each row's functions less what its group's curve compares it with.
    pub within: Vec<Functions>,
    /// Force at s = 0, and force per unit of s.
    pub centre_n: f64,
    pub half_range_n: f64,
    /// Field-seasons with a trial, over all groups.
    pub trial_field_seasons: usize,
    /// Recorded parts of the planter that are adjusted for.
    pub covariates: Covariates,
    between: Option<Vec<f64>>,
    group_of: Vec<usize>,
}

/// Fixed columns with their names.
pub(crate) struct Columns {
    pub names: Vec<String>,
    pub matrix: Array2<f64>,
}

/// Name of a group's column, or of one that a pool shares.
pub(crate) fn column_name(function: usize, owner: Owner) -> String {
    let what = ["intercept", "force", "force²"][function];
    match owner {
        Owner::Group(group) => format!("{what} {}", group + 1),
        Owner::Pool(pool) => format!("{what} of closer {}", pool + 1),
    }
}

/// Whose column it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Owner {
    Group(usize),
    Pool(usize),
}

fn means<K: Ord>(pairs: impl Iterator<Item = (K, Functions)>) -> BTreeMap<K, Functions> {
    let mut sums: BTreeMap<K, (Functions, f64)> = BTreeMap::new();
    for (key, functions) in pairs {
        let (sum, count) = sums.entry(key).or_insert(([0.0; FUNCTIONS], 0.0));
        sum.iter_mut().zip(functions).for_each(|(sum, function)| *sum += function);
        *count += 1.0;
    }
    let mean = |(sum, count): (Functions, f64)| {
        let mut mean = sum.map(|sum| sum / count);
        mean[0] = 0.0;
        mean
    };
    sums.into_iter().map(|(key, sum)| (key, mean(sum))).collect()
}

impl Frame {
    pub fn new(observations: &Observations) -> Self {
        let rows = &observations.rows;
        let (low, high) = rows
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), row| (low.min(row.force_n), high.max(row.force_n)));
        let centre_n = (low + high) / 2.0;
        let half_range_n = if high > low { (high - low) / 2.0 } else { 1.0 };
        let functions: Vec<Functions> = rows.iter().map(|row| basis((row.force_n - centre_n) / half_range_n)).collect();
        let cell_key = |row: &Observation| (row.group, row.field_season);
        let field_key = |row: &Observation| (row.group, row.strip.field_id.clone());
        let cell_means = means(rows.iter().zip(&functions).map(|(row, functions)| (cell_key(row), *functions)));
        let field_means = means(rows.iter().zip(&functions).map(|(row, functions)| (field_key(row), *functions)));
        let cells: Vec<Functions> = rows.iter().map(|row| cell_means[&cell_key(row)]).collect();
        let mut cell_forces: BTreeMap<(usize, usize), Vec<f64>> = BTreeMap::new();
        for row in rows {
            cell_forces.entry(cell_key(row)).or_default().push(row.force_n);
        }
        let cell_levels: BTreeMap<(usize, usize), usize> =
            cell_forces.into_iter().map(|(cell, forces)| (cell, force_levels(&forces).1.len())).collect();
        let basis_of = |group: usize| observations.groups[group].1.basis;
        let within: Vec<Functions> = rows
            .iter()
            .zip(&functions)
            .map(|(row, functions)| match basis_of(row.group) {
                Basis::Trial => less(functions, &cell_means[&cell_key(row)]),
                // Logs: seasons of one field against each other.
                Basis::Logs => less(&cell_means[&cell_key(row)], &field_means[&field_key(row)]),
            })
            .map(|mut within| {
                within[0] = 1.0;
                within
            })
            .collect();
        let behind_curve = |row: &Observation| basis_of(row.group) == Basis::Logs || cell_levels[&cell_key(row)] > 1;
        let behind = rows.iter().zip(&functions).filter(|(row, _)| behind_curve(row));
        let group_means = means(behind.map(|(row, functions)| (row.group, *functions)));
        let mean_of = |group: usize| group_means.get(&group).copied().unwrap_or([0.0; FUNCTIONS]);
        let mut groups: Vec<GroupFrame> = observations
            .groups
            .iter()
            .enumerate()
            .map(|(group, (_, coverage))| GroupFrame {
                mean: mean_of(group),
                sloped: coverage.basis == Basis::Trial || coverage.varied_within_fields,
                curved: coverage.level_forces.len() >= 3
                    && (coverage.basis == Basis::Logs
                        || cell_levels.iter().any(|((owner, _), levels)| *owner == group && *levels >= 3)),
                pool: None,
                bent: cell_levels.iter().any(|((owner, _), levels)| *owner == group && *levels >= 4),
                trial: coverage.basis == Basis::Trial,
            })
            .collect();
        pool(&mut groups, observations);
        let between: Vec<f64> = rows
            .iter()
            .zip(&cells)
            .map(|(row, cell)| {
                let level = if basis_of(row.group) == Basis::Logs { field_means[&field_key(row)][1] } else { cell[1] };
                level - mean_of(row.group)[1]
            })
            .collect();
        // It takes a degree of freedom among field-seasons, and must leave one to the differences between them: two field-seasons that
        // hold all conditions are told apart by it alone, however many conditions there are.
        let fields: Vec<usize> = rows.iter().map(|row| row.field_season).collect();
        let of_rows: Vec<usize> = rows.iter().map(|row| row.group).collect();
        let told_apart = count(&fields) >= linked_parts(&fields, &of_rows) + 2;
        let trials: BTreeSet<usize> = cell_levels
            .iter()
            .filter(|((group, _), levels)| **levels > 1 && basis_of(*group) == Basis::Trial)
            .map(|((_, field_season), _)| *field_season)
            .collect();
        let mut frame = Self {
            groups,
            cells,
            within,
            centre_n,
            half_range_n,
            trial_field_seasons: trials.len(),
            covariates: Covariates::default(),
            between: (told_apart && between.iter().any(|value| value.abs() > 1e-9)).then_some(between),
            group_of: rows.iter().map(|row| row.group).collect(),
        };
        let taken = frame.columns(false).names.len() + observations.blocks;
        frame.covariates = Covariates::new(&rows.iter().collect::<Vec<_>>(), taken);
        frame
    }

    /// Scaled force.
    pub fn scaled(&self, force_n: f64) -> f64 {
        (force_n - self.centre_n) / self.half_range_n
    }

    /// Fixed columns: a level, a slope and a curvature a group, then what is adjusted for; with `pooled`, pools share slope and curvature.
    pub fn columns(&self, pooled: bool) -> Columns {
        let mut names: Vec<String> = Vec::new();
        let mut columns: Vec<Vec<f64>> = Vec::new();
        for (group, frame) in self.groups.iter().enumerate() {
            for function in 0..FIRST_DEPARTURE {
                let told = [true, frame.sloped, frame.curved][function];
                if !told {
                    continue;
                }
                let owner = match frame.pool {
                    Some(pool) if pooled && function > 0 => Owner::Pool(pool),
                    _ => Owner::Group(group),
                };
                let name = column_name(function, owner);
                let own = self.masked(function, |other| match owner {
                    Owner::Group(group) => other == group,
                    Owner::Pool(pool) => self.groups[other].pool == Some(pool),
                });
                if !names.contains(&name) {
                    names.push(name);
                    columns.push(own);
                }
            }
        }
        if let Some(between) = &self.between {
            names.push(BETWEEN.to_owned());
            columns.push(between.clone());
        }
        for Covariate { name, column, .. } in &self.covariates.columns {
            names.push(name.clone());
            columns.push(column.clone());
        }
        let matrix = Array2::from_shape_fn((self.group_of.len(), columns.len()), |(row, column)| columns[column][row]);
        Columns { names, matrix }
    }

    /// A function within field-seasons in the rows of some groups, zero elsewhere.
    fn masked(&self, function: usize, member: impl Fn(usize) -> bool) -> Vec<f64> {
        let of_row = |(within, group): (&Functions, &usize)| if member(*group) { within[function] } else { 0.0 };
        self.within.iter().zip(&self.group_of).map(of_row).collect()
    }

    /// A function within field-seasons in the rows of trials, zero in those of logs.
    pub fn of_trials(&self, function: usize) -> Vec<f64> {
        self.masked(function, |group| self.groups[group].trial)
    }

    /// Whether any trial tells a curvature.
    pub fn curved(&self) -> bool {
        self.groups.iter().any(|group| group.curved && group.trial)
    }

    /// Slope or curvature of each condition beyond what its pool shares; `None` without a pool.
    pub fn by_condition(&self, name: &str, function: usize) -> Option<RandomTerm> {
        let covariate = self.masked(function, |group| self.groups[group].pool.is_some());
        self.groups
            .iter()
            .any(|group| group.pool.is_some())
            .then(|| RandomTerm::slope(name, self.group_of.clone(), self.groups.len(), covariate))
    }

    /// Departures from a parabola, a set of columns a trial group in the order of [`Frame::departing`]; `None` without trials.
    pub fn departures(&self, name: &str) -> Option<RandomTerm> {
        let columns: Vec<Vec<f64>> = self
            .departing()
            .flat_map(|group| (FIRST_DEPARTURE..FUNCTIONS).map(move |function| (group, function)))
            .map(|(group, function)| self.masked(function, |other| other == group))
            .collect();
        (!columns.is_empty()).then(|| RandomTerm::smooth(name, columns))
    }

    /// Standard deviation of scaled force between the seasons of a field, where a group has only logs; `None` for trials.
    pub fn followed(&self, group: usize) -> Option<f64> {
        let of_group = self.within.iter().zip(&self.group_of).filter(|(_, owner)| **owner == group);
        let squares: Vec<f64> = of_group.map(|(within, _)| within[1] * within[1]).collect();
        let deviation = (squares.iter().sum::<f64>() / squares.len().max(1) as f64).sqrt();
        (!self.groups[group].trial && deviation > 0.0).then_some(deviation)
    }

    /// Weighted sum of squares of scaled forces within field-seasons, group by group: over the residual variance, what its strips tell of its slope.
    pub fn sums_of_squares(&self, weights: Option<&[f64]>) -> Vec<f64> {
        let mut sums = vec![0.0; self.groups.len()];
        for (row, (within, group)) in self.within.iter().zip(&self.group_of).enumerate() {
            sums[*group] += weights.map_or(1.0, |weights| weights[row]) * within[1] * within[1];
        }
        sums
    }

    /// Groups whose curve may depart from a parabola.
    pub fn departing(&self) -> impl Iterator<Item = usize> {
        (0..self.groups.len()).filter(|group| self.groups[*group].trial && self.groups[*group].bent)
    }
}

/// Numbers the closers whose trials are enough to be drawn towards each other.
fn pool(groups: &mut [GroupFrame], observations: &Observations) {
    let mut members: BTreeMap<(&str, &str), Vec<usize>> = BTreeMap::new();
    for (number, (key, _)) in observations.groups.iter().enumerate() {
        // Strips in two conditions, or in an unknown one, are no condition to learn from.
        let clear = key.condition != "mixed" && key.condition != "unstated";
        if groups[number].trial && clear {
            members.entry((&key.closer, &key.planter_id)).or_default().push(number);
        }
    }
    let enough = members.into_values().filter(|members| members.len() >= ENOUGH_CONDITIONS);
    for (pool, members) in enough.enumerate() {
        members.into_iter().for_each(|group| groups[group].pool = Some(pool));
    }
}

/// Levels and curves of field-seasons and blocks as random terms.
impl Frame {
    /// Levels of field-seasons; `None` where they cannot be told from the groups or the strips.
    pub fn field_seasons(&self, observations: &Observations) -> Option<RandomTerm> {
        let rows = &observations.rows;
        let count = observations.field_seasons.len();
        // A field-season of its own for every group cannot be told from the group.
        let seasons_of_group = |group: usize| {
            rows.iter().filter(|row| row.group == group).map(|row| row.field_season).collect::<BTreeSet<_>>()
        };
        let told_apart = (0..observations.groups.len()).any(|group| seasons_of_group(group).len() > 1);
        let codes = rows.iter().map(|row| row.field_season).collect();
        (count >= 2 && count < rows.len() && told_apart).then(|| RandomTerm::intercept("field-season", codes, count))
    }

    /// Levels of blocks in field-seasons; `None` where there is one block a field-season, or one strip a block.
    pub fn blocks(&self, observations: &Observations) -> Option<RandomTerm> {
        let several = observations.blocks > observations.field_seasons.len();
        let codes = observations.rows.iter().map(|row| row.block).collect();
        (several && observations.blocks < observations.rows.len())
            .then(|| RandomTerm::intercept("block in field-season", codes, observations.blocks))
    }

    /// A field-season's own slope or curvature, in trials.
    pub fn by_field_season(&self, name: &str, function: usize, observations: &Observations) -> RandomTerm {
        let codes = observations.rows.iter().map(|row| row.field_season).collect();
        RandomTerm::slope(name, codes, observations.field_seasons.len(), self.of_trials(function))
    }
}
