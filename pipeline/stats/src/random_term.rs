//! Grouped random effects: which columns they multiply and how the effects of one group hang together.

use crate::checks::{check_length, check_scale};
use crate::error::{Result, StatsError};

/// How the effects of one group are distributed. Groups are always independent and alike.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Structure {
    /// Independent, with one standard deviation for all columns.
    Common,
    /// One standard deviation for each column, and a correlation for each pair.
    Correlated,
}

/// Random effects of the groups of one factor: for every group one effect per column, normal with mean zero.
///
/// Several terms may share their groups: their effects are then uncorrelated between the terms.
#[derive(Debug, Clone, PartialEq)]
pub struct RandomTerm {
    /// Name shown in tables and messages.
    pub name: String,
    /// Group of each row, numbered from 0 (length n). A group inside another one needs codes that differ between its parents.
    pub groups: Vec<usize>,
    /// Number of groups; a number without rows is allowed and gets effect zero.
    pub n_groups: usize,
    /// Columns that the effects multiply (each of length n): ones for an intercept, a covariate for a slope.
    pub columns: Vec<Vec<f64>>,
    /// Names of the columns.
    pub column_names: Vec<String>,
    /// How the effects of one group hang together.
    pub structure: Structure,
}

impl RandomTerm {
    /// A random intercept per group.
    pub fn intercept(name: impl Into<String>, groups: Vec<usize>, n_groups: usize) -> Self {
        let columns = vec![vec![1.0; groups.len()]];
        let column_names = vec!["intercept".into()];
        Self { name: name.into(), groups, n_groups, columns, column_names, structure: Structure::Common }
    }

    /// A random slope on `covariate` per group, uncorrelated with every other term.
    pub fn slope(name: impl Into<String>, groups: Vec<usize>, n_groups: usize, covariate: Vec<f64>) -> Self {
        let column_names = vec!["slope".into()];
        Self {
            name: name.into(),
            groups,
            n_groups,
            columns: vec![covariate],
            column_names,
            structure: Structure::Common,
        }
    }

    /// Correlated effects per group, one for each named column; the intercept, if wanted, is a column of ones.
    pub fn correlated(
        name: impl Into<String>,
        groups: Vec<usize>,
        n_groups: usize,
        columns: Vec<(String, Vec<f64>)>,
    ) -> Self {
        let (column_names, columns) = columns.into_iter().unzip();
        Self { name: name.into(), groups, n_groups, columns, column_names, structure: Structure::Correlated }
    }

    /// Independent effects of all `columns` with one standard deviation, the same for every row: the random part of a penalised spline.
    pub fn smooth(name: impl Into<String>, columns: Vec<Vec<f64>>) -> Self {
        let groups = vec![0; columns.first().map_or(0, Vec::len)];
        let column_names = (1..=columns.len()).map(|number| format!("column {number}")).collect();
        Self { name: name.into(), groups, n_groups: 1, columns, column_names, structure: Structure::Common }
    }

    /// True for one column of ones: an effect that shifts every row of its group alike.
    pub fn is_intercept(&self) -> bool {
        self.columns.len() == 1 && self.columns[0].iter().all(|value| *value == 1.0)
    }

    /// Number of columns, and of effects in each group.
    pub fn n_columns(&self) -> usize {
        self.columns.len()
    }

    /// Number of variance parameters: 1 for [`Structure::Common`], `q (q + 1) / 2` for q correlated columns.
    pub fn n_parameters(&self) -> usize {
        let q = self.n_columns();
        match self.structure {
            Structure::Common => 1,
            Structure::Correlated => q * (q + 1) / 2,
        }
    }

    /// Name of one column's effects: the term's own name when it has one column or one standard deviation.
    pub(crate) fn label(&self, column: usize) -> String {
        match self.structure {
            Structure::Common => self.name.clone(),
            Structure::Correlated => format!("{} ({})", self.name, self.column_names[column]),
        }
    }

    /// Number of groups that have rows.
    pub(crate) fn used_groups(&self) -> usize {
        let mut seen = vec![false; self.n_groups];
        for &code in &self.groups {
            seen[code] = true;
        }
        seen.iter().filter(|used| **used).count()
    }

    /// `residual_known` says that one group per row can be told from the residual.
    pub(crate) fn check(&self, rows: usize, residual_known: bool) -> Result<()> {
        check_length(&format!("random term `{}`", self.name), self.groups.len(), rows)?;
        check_length(
            &format!("column names of random term `{}`", self.name),
            self.column_names.len(),
            self.n_columns(),
        )?;
        for (position, &code) in self.groups.iter().enumerate() {
            if code >= self.n_groups {
                return Err(StatsError::GroupCode { term: self.name.clone(), position, code, groups: self.n_groups });
            }
        }
        let refuse = |reason: String| Err(StatsError::RandomTerm { term: self.name.clone(), reason });
        if self.columns.is_empty() {
            return refuse("it has no column".into());
        }
        let used = self.used_groups();
        let effects = if self.structure == Structure::Common { used * self.n_columns() } else { used };
        if effects < 2 {
            return refuse(format!("it has {used} group with rows, at least 2 are needed"));
        }
        for (column, name) in self.columns.iter().zip(&self.column_names) {
            let what = format!("column `{name}` of random term `{}`", self.name);
            check_length(&what, column.len(), rows)?;
            check_scale(&what, column)?;
            if column.iter().all(|value| *value == 0.0) {
                return refuse(format!("its column `{name}` is zero in every row"));
            }
        }
        let first = &self.columns[0];
        let one_size = first.iter().all(|value| value.abs() == first[0].abs());
        if self.n_columns() == 1 && one_size && used >= rows && !residual_known {
            return refuse(format!(
                "it has as many groups ({used}) as there are rows, so it cannot be told from the residual"
            ));
        }
        Ok(())
    }
}
