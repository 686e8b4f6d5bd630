//! Estimated marginal means: what the model says for chosen cells, and the comparisons among them.

use crate::best::{BestComparisons, Direction};
use crate::checks::{check_finite, check_length};
use crate::comparisons::ComparisonFamily;
use crate::dense::dot;
use crate::design::Design;
use crate::error::{Result, StatsError};
use crate::inference::{Contrast, LinearFit};
use ndarray::Array2;

/// A named combination of the fixed columns, over *all* columns given to [`Design::new`].
#[derive(Debug, Clone, PartialEq)]
pub struct Cell {
    /// Name shown in tables.
    pub name: String,
    /// One number per column.
    pub row: Vec<f64>,
}

impl Cell {
    /// One combination as it stands.
    pub fn new(name: impl Into<String>, row: Vec<f64>) -> Self {
        Self { name: name.into(), row }
    }

    /// The mean of several rows, such as one level of a factor at each level of the others; with `weights` a weighted mean.
    ///
    /// # Errors
    /// No rows, rows of different length, weights that are not finite, negative, or all zero.
    pub fn average(name: impl Into<String>, rows: &[Vec<f64>], weights: Option<&[f64]>) -> Result<Self> {
        let name = name.into();
        let Some(first) = rows.first() else {
            return Err(StatsError::TooFewValues { what: "the average of rows", needed: 1, found: 0 });
        };
        if let Some(weights) = weights {
            check_length(&format!("the weights of cell `{name}`"), weights.len(), rows.len())?;
            for (position, &value) in weights.iter().enumerate() {
                if !(value >= 0.0 && value.is_finite()) {
                    return Err(StatsError::Weight { position, value });
                }
            }
        }
        let weight = |i: usize| weights.map_or(1.0, |weights| weights[i]);
        let total: f64 = (0..rows.len()).map(weight).sum();
        if !(total > 0.0) {
            return Err(StatsError::OutOfRange {
                what: "the sum of the weights",
                value: total,
                expected: "a number above 0",
            });
        }
        let mut mean = vec![0.0; first.len()];
        for (i, row) in rows.iter().enumerate() {
            check_length(&format!("row {i} of cell `{name}`"), row.len(), first.len())?;
            mean.iter_mut().zip(row).for_each(|(sum, value)| *sum += weight(i) * value);
        }
        mean.iter_mut().for_each(|value| *value /= total);
        Ok(Self { name, row: mean })
    }
}

/// The estimate of one cell.
#[derive(Debug, Clone, PartialEq)]
pub struct MarginalMean {
    /// Name of the cell.
    pub name: String,
    /// Estimate with standard error and degrees of freedom; limits by [`Contrast::interval`].
    pub contrast: Contrast,
}

/// A cell about which the data say nothing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MissingCell {
    /// Name of the cell.
    pub name: String,
    /// The dropped column it would need.
    pub column: String,
}

/// Estimated marginal means of a fit.
#[derive(Debug)]
pub struct MarginalMeans<'a, F: LinearFit + ?Sized> {
    fit: &'a F,
    /// Over the kept columns.
    rows: Vec<Vec<f64>>,
    means: Vec<MarginalMean>,
    missing: Vec<MissingCell>,
}

impl<'a, F: LinearFit + ?Sized> MarginalMeans<'a, F> {
    /// Estimates every cell that the data can tell; the others are listed in [`MarginalMeans::missing`].
    ///
    /// # Errors
    /// Rows of the wrong length or not finite, two cells of one name, a fit of another design.
    pub fn new(design: &Design, fit: &'a F, cells: &[Cell]) -> Result<Self> {
        check_length("the coefficients of the fit", fit.coefficients().len(), design.rank())?;
        let mut found = Self { fit, rows: Vec::new(), means: Vec::new(), missing: Vec::new() };
        for (i, cell) in cells.iter().enumerate() {
            if cells[..i].iter().any(|earlier| earlier.name == cell.name) {
                return Err(StatsError::NotPossible {
                    what: "a table of means".into(),
                    reason: format!("two cells are named `{}`", cell.name),
                    next: "give every cell a name of its own",
                });
            }
            match design.estimable_row(&cell.row) {
                Ok(row) => {
                    found.means.push(MarginalMean { name: cell.name.clone(), contrast: fit.contrast(&row)? });
                    found.rows.push(row);
                }
                Err(StatsError::NotEstimable { column }) => {
                    found.missing.push(MissingCell { name: cell.name.clone(), column });
                }
                Err(other) => return Err(other),
            }
        }
        Ok(found)
    }

    /// The estimates, in the order of the cells.
    pub fn means(&self) -> &[MarginalMean] {
        &self.means
    }

    /// Cells that cannot be estimated, and why.
    pub fn missing(&self) -> &[MissingCell] {
        &self.missing
    }

    /// Covariance of the estimates (k × k).
    pub fn covariance(&self) -> Array2<f64> {
        self.covariance_of(&self.rows)
    }

    /// All pairs, each earlier mean less each later one, named `a - b`.
    ///
    /// # Errors
    /// Fewer than two means.
    pub fn all_pairs(&self) -> Result<ComparisonFamily> {
        let k = self.means.len();
        let pairs: Vec<(usize, usize)> = (0..k).flat_map(|i| (i + 1..k).map(move |j| (i, j))).collect();
        let (names, contrasts, covariance) = self.differences(&pairs)?;
        ComparisonFamily::all_pairs(names, contrasts, &covariance, k)
    }

    /// Every other mean less that of `control`, named `a - control`.
    ///
    /// # Errors
    /// No estimated cell of that name, or no other mean.
    pub fn against_control(&self, control: &str) -> Result<ComparisonFamily> {
        let centre = self.position(control)?;
        let pairs: Vec<(usize, usize)> = (0..self.means.len()).filter(|&i| i != centre).map(|i| (i, centre)).collect();
        let (names, contrasts, covariance) = self.differences(&pairs)?;
        ComparisonFamily::with_control(names, contrasts, &covariance)
    }

    /// Combinations of the means: each entry is a name and one weight per *estimated* mean.
    ///
    /// # Errors
    /// No entry, or weights of the wrong length or not finite.
    pub fn contrasts(&self, weights: &[(String, Vec<f64>)]) -> Result<ComparisonFamily> {
        let width = self.fit.coefficients().len();
        let mut rows = Vec::with_capacity(weights.len());
        for (name, weights) in weights {
            check_length(&format!("the weights of `{name}`"), weights.len(), self.means.len())?;
            check_finite(&format!("the weights of `{name}`"), weights)?;
            rows.push((0..width).map(|j| weights.iter().zip(&self.rows).map(|(w, row)| w * row[j]).sum()).collect());
        }
        let contrasts = rows.iter().map(|row: &Vec<f64>| self.fit.contrast(row)).collect::<Result<Vec<_>>>()?;
        let names = weights.iter().map(|(name, _)| name.clone()).collect();
        ComparisonFamily::new(names, contrasts, &self.covariance_of(&rows))
    }

    /// Which cells can still be the best one: multiple comparisons with the best (Hsu 1984), see [`BestComparisons`].
    ///
    /// # Errors
    /// Fewer than two means, or a level outside (0, 1).
    pub fn comparisons_with_best(&self, direction: Direction, level: f64) -> Result<BestComparisons> {
        let names: Vec<String> = self.means.iter().map(|mean| mean.name.clone()).collect();
        BestComparisons::from_differences(&names, direction, level, |centre| {
            let pairs: Vec<(usize, usize)> = (0..names.len()).filter(|&j| j != centre).map(|j| (centre, j)).collect();
            let (_, contrasts, covariance) = self.differences(&pairs)?;
            Ok((contrasts, covariance))
        })
    }

    fn position(&self, name: &str) -> Result<usize> {
        self.means.iter().position(|mean| mean.name == name).ok_or_else(|| StatsError::NotPossible {
            what: format!("a comparison with `{name}`"),
            reason: match self.missing.iter().find(|cell| cell.name == name) {
                Some(cell) => format!("that cell is not estimable, it needs the dropped column `{}`", cell.column),
                None => "no cell has that name".into(),
            },
            next: "choose one of the estimated cells",
        })
    }

    fn differences(&self, pairs: &[(usize, usize)]) -> Result<(Vec<String>, Vec<Contrast>, Array2<f64>)> {
        let rows: Vec<Vec<f64>> =
            pairs.iter().map(|&(i, j)| self.rows[i].iter().zip(&self.rows[j]).map(|(a, b)| a - b).collect()).collect();
        let contrasts = rows.iter().map(|row| self.fit.contrast(row)).collect::<Result<Vec<_>>>()?;
        let names = pairs.iter().map(|&(i, j)| format!("{} - {}", self.means[i].name, self.means[j].name)).collect();
        Ok((names, contrasts, self.covariance_of(&rows)))
    }

    fn covariance_of(&self, rows: &[Vec<f64>]) -> Array2<f64> {
        let covariance = self.fit.covariance();
        let images: Vec<Vec<f64>> = rows
            .iter()
            .map(|row| {
                covariance.rows().into_iter().map(|line| line.iter().zip(row).map(|(c, x)| c * x).sum()).collect()
            })
            .collect();
        Array2::from_shape_fn((rows.len(), rows.len()), |(i, j)| {
            let (i, j) = (i.max(j), i.min(j));
            dot(&rows[i], &images[j])
        })
    }
}
