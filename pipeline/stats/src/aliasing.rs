//! Which of the given columns were kept, and what can be asked of those that were not.

use crate::checks::{check_finite, check_length, check_scale};
use crate::error::{Result, StatsError};
use crate::note::Note;
use crate::qr::Qr;
use ndarray::Array2;

/// Names of all columns, and how the dropped ones hang on the kept ones.
#[derive(Debug, Clone)]
pub(crate) struct Aliasing {
    all: Vec<String>,
    kept_names: Vec<String>,
    aliased: Vec<String>,
    kept: Vec<usize>,
    dependent: Vec<(usize, Vec<f64>)>,
}

/// One name per column, and no value that is NaN, infinite or out of all scale.
pub(crate) fn check_columns(fixed: &Array2<f64>, names: &[String]) -> Result<()> {
    check_length("the list of column names", names.len(), fixed.ncols())?;
    for (column, name) in fixed.columns().into_iter().zip(names) {
        check_scale(&format!("column `{name}`"), &column.to_vec())?;
    }
    Ok(())
}

impl Aliasing {
    /// # Errors
    /// No independent column.
    pub(crate) fn new(names: Vec<String>, qr: &Qr) -> Result<Self> {
        if qr.rank() == 0 {
            return Err(StatsError::NothingEstimable { columns: names.len() });
        }
        Ok(Self {
            kept_names: qr.kept.iter().map(|&j| names[j].clone()).collect(),
            aliased: qr.dependent.iter().map(|(j, _)| names[*j].clone()).collect(),
            all: names,
            kept: qr.kept.clone(),
            dependent: qr.dependent.clone(),
        })
    }

    /// Names of the kept columns.
    pub(crate) fn names(&self) -> &[String] {
        &self.kept_names
    }

    /// Names of the dropped columns.
    pub(crate) fn aliased(&self) -> &[String] {
        &self.aliased
    }

    /// Whether given column `j` was kept.
    pub(crate) fn is_kept(&self, j: usize) -> bool {
        self.kept.contains(&j)
    }

    /// One note per dropped column.
    pub(crate) fn notes(&self) -> Vec<Note> {
        let message =
            |name: &String| format!("column `{name}` was dropped: it is a combination of the columns before it");
        self.aliased.iter().map(|name| Note::new("aliased", message(name))).collect()
    }

    /// A row over all columns as one over the kept columns.
    ///
    /// # Errors
    /// Wrong length, values that are not finite, or a combination that the data cannot tell.
    pub(crate) fn estimable_row(&self, row: &[f64]) -> Result<Vec<f64>> {
        check_length("the row", row.len(), self.all.len())?;
        check_finite("the row", row)?;
        let kept: Vec<f64> = self.kept.iter().map(|&j| row[j]).collect();
        for (j, on_kept) in &self.dependent {
            let implied: f64 = on_kept.iter().zip(&kept).map(|(a, x)| a * x).sum();
            let size: f64 = on_kept.iter().zip(&kept).map(|(a, x)| (a * x).abs()).sum::<f64>() + row[*j].abs();
            // The dependence itself is known to about 1e-11 of the column, see `qr`.
            if (implied - row[*j]).abs() > 1e-8 * size {
                return Err(StatsError::NotEstimable { column: self.all[*j].clone() });
            }
        }
        Ok(kept)
    }
}
