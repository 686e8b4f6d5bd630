//! Whether the difference between two settings differs from field to field by more than its error.
//!
//! Every setting of every field-season has a mean of its own, beside fixed blocks, so the difference d_f of a pair in field-season f rests on the strips
//! of f alone, with the error of strips common to all:
//!
//! `Q = Σ (d_f − d̄)² / s_f²`, `d̄` the mean of the d_f weighted by `1 / s_f²`
//!
//! (Cochran 1954, Biometrics 10, 101-129). `Q / (k − 1)` of k field-seasons is an F statistic with the residual degrees of freedom of strips, exact where
//! strips err alike and normally. The spread is the standard deviation of true differences between field-seasons by moments, `τ² = (Q − (k − 1)) / (Σ w − Σ w² / Σ w)` with
//! `w = 1 / s_f²`, zero where that is negative (DerSimonian & Laird 1986, Control. Clin. Trials 7, 177-188). Where strips have sampling variances of their own
//! the fit is a mixed model with a strip term, and the test follows Kenward & Roger (1997).

use std::collections::BTreeMap;

use evenstand_stats::{Contrast, Design, LinearFit};
use ndarray::Array2;

use crate::setting_fit::SettingRows;
use crate::setting_terms::{count, renumber};
use crate::working_fit;

/// Means of settings by field-season, and the error of strips inside them.
pub(crate) struct BetweenFields {
    design: Design,
    fit: Box<dyn LinearFit>,
    /// Column of each field-season and setting.
    cells: BTreeMap<(usize, usize), usize>,
    columns: usize,
}

/// How a difference differs between field-seasons.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Between {
    /// Field-seasons whose own strips tell the difference.
    pub field_seasons: usize,
    /// p value of the test that it is the same in all of them.
    pub p_value: f64,
    /// Standard deviation of the true differences, in the unit of the response.
    pub spread: f64,
}

impl BetweenFields {
    /// Fits the strips; `None` in a single field-season, and where no strip is left to tell the error.
    pub fn new(rows: &SettingRows) -> Option<Self> {
        let fields = renumber(rows.fields.iter().copied());
        let blocks = renumber(rows.blocks.iter().copied());
        if count(&fields) < 2 {
            return None;
        }
        let mut cells: BTreeMap<(usize, usize), usize> =
            fields.iter().zip(&rows.settings).map(|(field, setting)| ((*field, *setting), 0)).collect();
        cells.values_mut().enumerate().for_each(|(number, column)| *column = number);
        let own: Vec<usize> =
            fields.iter().zip(&rows.settings).map(|(field, setting)| cells[&(*field, *setting)]).collect();
        let columns = cells.len() + count(&blocks);
        let names = (0..columns).map(|column| format!("column {column}")).collect();
        let matrix = Array2::from_shape_fn((rows.response.len(), columns), |(row, column)| {
            f64::from(u8::from(own[row] == column || blocks[row] + cells.len() == column))
        });
        let response = rows.response.clone();
        let design = working_fit::design(response, matrix, names, Vec::new(), None, rows.std_errors.clone()).ok()?;
        if design.n_observations() <= design.rank() {
            return None;
        }
        let (fit, _) = working_fit::fit(&design).ok()?;
        Some(Self { design, fit, cells, columns })
    }

    /// How a − b differs between field-seasons; `None` where fewer than two of them tell it.
    pub fn pair(&self, a: usize, b: usize) -> Option<Between> {
        let fields: Vec<usize> =
            self.cells.keys().filter(|(_, setting)| *setting == a).map(|(field, _)| *field).collect();
        let told: Vec<Vec<f64>> = fields.into_iter().filter_map(|field| self.difference(field, a, b)).collect();
        if told.len() < 2 {
            return None;
        }
        let contrasts: Vec<Contrast> = told.iter().map(|row| self.fit.contrast(row).ok()).collect::<Option<_>>()?;
        let against_first = Array2::from_shape_fn((told.len() - 1, told[0].len()), |(row, column)| {
            told[row + 1][column] - told[0][column]
        });
        let p_value = self.fit.joint_test(&against_first).ok()?.p_value;
        let spread = spread(&contrasts);
        (p_value.is_finite() && spread.is_finite()).then_some(Between { field_seasons: told.len(), p_value, spread })
    }

    /// a − b in one field-season, on the columns of the fit; `None` where its strips cannot tell it.
    fn difference(&self, field: usize, a: usize, b: usize) -> Option<Vec<f64>> {
        let mut row = vec![0.0; self.columns];
        row[*self.cells.get(&(field, a))?] = 1.0;
        row[*self.cells.get(&(field, b))?] = -1.0;
        self.design.estimable_row(&row).ok()
    }
}

/// Standard deviation of true differences by moments; zero where the differences vary no more than their errors let them.
fn spread(differences: &[Contrast]) -> f64 {
    let weights: Vec<f64> = differences.iter().map(|own| own.std_error.powi(-2)).collect();
    let sum: f64 = weights.iter().sum();
    let mean = differences.iter().zip(&weights).map(|(own, weight)| own.estimate * weight).sum::<f64>() / sum;
    let q: f64 = differences.iter().zip(&weights).map(|(own, weight)| weight * (own.estimate - mean).powi(2)).sum();
    let scale = sum - weights.iter().map(|weight| weight * weight).sum::<f64>() / sum;
    ((q - (differences.len() as f64 - 1.0)) / scale).max(0.0).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Three fields of three blocks with settings 0, 1 and 2; the second strip of field 2, block 1 is missing.
    fn rows(differences: [[f64; 3]; 3]) -> SettingRows {
        let noise = [0.3, -0.2, 0.1, -0.4, 0.2, 0.0, 0.25];
        let mut rows =
            SettingRows { response: vec![], std_errors: None, settings: vec![], blocks: vec![], fields: vec![] };
        for (field, own) in differences.iter().enumerate() {
            for block in 0..3 {
                for setting in (0..3).filter(|setting| (field, block, *setting) != (2, 1, 1)) {
                    let level = 50.0 * field as f64 + 2.0 * block as f64 + own[setting];
                    rows.response.push(level + 2.0 * noise[(3 * block + 5 * setting + field) % 7]);
                    rows.settings.push(setting);
                    rows.blocks.push(3 * field + block);
                    rows.fields.push(field);
                }
            }
        }
        rows
    }

    /// Expected values from NumPy and SciPy 1.17.1: the residual sums of squares of two least-squares fits, one with a mean for each setting and
    /// field, one in which the pair has a common difference (`numpy.linalg.lstsq`), their F and `scipy.stats.f.sf(F, 2, 11)`.
    #[test]
    fn the_test_is_that_of_two_nested_fits_worked_out_elsewhere() {
        let fit = BetweenFields::new(&rows([[0.0, 4.0, 5.0], [0.0, 7.0, 5.0], [0.0, 1.0, 6.0]])).unwrap();
        let differing = fit.pair(1, 0).unwrap();
        assert_eq!(differing.field_seasons, 3);
        assert!((differing.p_value - 4.463_737_143e-5).abs() < 1e-12, "{differing:?}");
        assert!((differing.spread - 2.656_040_838_7).abs() < 1e-8, "{differing:?}");
        let alike = fit.pair(2, 0).unwrap();
        assert!((alike.p_value - 0.171_554_539_8).abs() < 1e-9, "{alike:?}");
        assert!((alike.spread - 0.499_022_613_7).abs() < 1e-8, "{alike:?}");
    }

    #[test]
    fn the_order_of_a_pair_does_not_matter() {
        let fit = BetweenFields::new(&rows([[0.0, 4.0, 5.0], [0.0, 7.0, 5.0], [0.0, 1.0, 6.0]])).unwrap();
        let (one, other) = (fit.pair(2, 1).unwrap(), fit.pair(1, 2).unwrap());
        assert!((one.p_value - other.p_value).abs() < 1e-12 && (one.spread - other.spread).abs() < 1e-9);
    }

    #[test]
    fn one_field_and_strips_without_repeats_tell_nothing() {
        let whole = rows([[0.0, 4.0, 5.0]; 3]);
        let kept = |keep: &dyn Fn(usize) -> bool| {
            let pick = |codes: &[usize]| (0..codes.len()).filter(|row| keep(*row)).map(|row| codes[row]).collect();
            SettingRows {
                response: (0..whole.response.len()).filter(|row| keep(*row)).map(|row| whole.response[row]).collect(),
                std_errors: None,
                settings: pick(&whole.settings),
                blocks: pick(&whole.blocks),
                fields: pick(&whole.fields),
            }
        };
        assert!(BetweenFields::new(&kept(&|row| whole.fields[row] == 0)).is_none());
        assert!(BetweenFields::new(&kept(&|row| whole.blocks[row].is_multiple_of(3))).is_none());
        // Setting 1 stands in one field only: nothing to differ between.
        let fit = BetweenFields::new(&kept(&|row| whole.settings[row] != 1 || whole.fields[row] == 0)).unwrap();
        assert!(fit.pair(1, 0).is_none() && fit.pair(2, 0).is_some());
    }

    #[test]
    fn differences_that_vary_less_than_their_errors_have_no_spread() {
        let alike = |estimate| Contrast { estimate, std_error: 1.0, df: 9.0, method: "residual".into() };
        assert_eq!(spread(&[alike(2.0), alike(2.1), alike(1.9)]), 0.0);
        // Equal errors: the variance of the differences less that of their errors, 4 − 1.
        assert!((spread(&[alike(0.0), alike(2.0), alike(4.0)]) - 3f64.sqrt()).abs() < 1e-12);
    }
}
