//! Whether the difference between two settings differs from field to field by more than its error.
//!
//! Every setting of every field-season has a mean of its own, beside fixed blocks, so the difference d_f of a pair in field-season f rests on the strips
//! of f alone, with the error of strips common to all:
//!
//! `Q = Σ (d_f − d̄)² / s_f²`, `d̄` the mean of the d_f weighted by `1 / s_f²`
//!
//! (Cochran 1954, Biometrics 10, 101-129). `Q / (k − 1)` of k field-seasons is an F statistic with the residual degrees of freedom of strips, exact where
//! strips err alike and normally. The spread is the standard deviation of true differences between field-seasons by moments, `τ² = (Q − (k − 1)) / (Σ w − Σ w² / Σ w)` with
//! `w = 1 / s_f²`, zero where that is negative (DerSimonian & Laird 1986, Control. Clin. Trials 7, 177-188).
//!
//! No column is shared by two field-seasons, so each is fitted alone and only the error is common: the work grows with the field-seasons, not with their cube.
//! Where strips have sampling variances of their own the error is a variance that all share in one mixed model, and the test follows Kenward & Roger (1997).

use std::collections::BTreeMap;

use evenstand_stats::distribution::f_sf;
use evenstand_stats::{Design, LeastSquares, LinearFit};
use ndarray::Array2;

use crate::setting_fit::SettingRows;
use crate::setting_terms::{count, renumber};
use crate::working_fit;

/// Most columns of the mixed model: one a field-season and setting, one a block. Its cost grows with their cube; a larger network has no such test for responses
/// whose strips have sampling variances, and the forest of field-seasons and the random slopes of curves to tell how they differ.
const MOST_COLUMNS: usize = 600;

/// Means of settings by field-season, and the error of strips inside them.
pub(crate) enum BetweenFields {
    /// A fit for each field-season, with the variance and degrees of freedom common to all.
    Apart { fields: Vec<OwnFit>, variance: f64, df: f64 },
    /// One mixed model, by strips with sampling variances of their own.
    Together(Box<Mixed>),
}

/// The strips of one field-season.
pub(crate) struct OwnFit {
    cells: Cells,
    coefficients: Vec<f64>,
    /// Covariance of the coefficients over the residual variance.
    unscaled: Array2<f64>,
}

/// The strips of all field-seasons.
pub(crate) struct Mixed {
    cells: Cells,
    fit: Box<dyn LinearFit>,
}

/// Column of each field-season and setting, and which of their combinations the strips can tell.
struct Cells {
    design: Design,
    columns: BTreeMap<(usize, usize), usize>,
    width: usize,
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
    /// Fits the strips; `None` in a single field-season, where no strip is left to tell the error, and for a mixed model above [`MOST_COLUMNS`].
    pub fn new(rows: &SettingRows) -> Option<Self> {
        let fields = renumber(rows.fields.iter().copied());
        if count(&fields) < 2 {
            return None;
        }
        if rows.std_errors.is_some() {
            let cells = Cells::new(rows, &(0..rows.response.len()).collect::<Vec<_>>(), false)?;
            let (fit, _) = working_fit::fit(&cells.design).ok()?;
            return Some(Self::Together(Box::new(Mixed { cells, fit })));
        }
        let mut members = vec![Vec::new(); count(&fields)];
        fields.iter().enumerate().for_each(|(row, field)| members[*field].push(row));
        let (mut own, mut squares, mut df) = (Vec::new(), 0.0, 0);
        for members in &members {
            let (fit, residual) = OwnFit::new(rows, members)?;
            squares += residual;
            df += members.len() - fit.coefficients.len();
            own.push(fit);
        }
        (df > 0).then(|| Self::Apart { fields: own, variance: squares / df as f64, df: df as f64 })
    }

    /// How a − b differs between field-seasons; `None` where fewer than two of them tell it.
    pub fn pair(&self, a: usize, b: usize) -> Option<Between> {
        let between = match self {
            Self::Apart { fields, variance, df } => {
                let told: Vec<Difference> = fields.iter().filter_map(|own| own.difference(a, b, *variance)).collect();
                let q = heterogeneity(&told)?;
                let over = told.len() as f64 - 1.0;
                Between { field_seasons: told.len(), p_value: f_sf(q / over, over, *df), spread: spread(&told, q) }
            }
            Self::Together(mixed) => mixed.pair(a, b)?,
        };
        (between.p_value.is_finite() && between.spread.is_finite()).then_some(between)
    }
}

impl Cells {
    /// The design of some of the rows: settings of each field-season, then blocks. With `extra` it has one row more, of noughts with a response of one: it tells nothing
    /// about any column, and lets strips without repeats be solved.
    fn new(rows: &SettingRows, members: &[usize], extra: bool) -> Option<Self> {
        let blocks = renumber(members.iter().map(|row| rows.blocks[*row]));
        let cell = |row: &usize| (rows.fields[*row], rows.settings[*row]);
        let mut columns: BTreeMap<(usize, usize), usize> = members.iter().map(|row| (cell(row), 0)).collect();
        columns.values_mut().enumerate().for_each(|(number, column)| *column = number);
        let width = columns.len() + count(&blocks);
        if rows.std_errors.is_some() && width > MOST_COLUMNS {
            return None;
        }
        let names = (0..width).map(|column| format!("column {column}")).collect();
        let mut matrix = Array2::zeros((members.len() + usize::from(extra), width));
        for (place, (row, block)) in members.iter().zip(&blocks).enumerate() {
            matrix[[place, columns[&cell(row)]]] = 1.0;
            matrix[[place, columns.len() + block]] = 1.0;
        }
        let mut response: Vec<f64> = members.iter().map(|row| rows.response[*row]).collect();
        response.extend(extra.then_some(1.0));
        let std_errors = rows.std_errors.clone();
        let design = working_fit::design(response, matrix, names, Vec::new(), None, std_errors).ok()?;
        (design.n_observations() > design.rank()).then_some(Self { design, columns, width })
    }

    /// a − b in one field-season, on the columns of the design; `None` where its strips cannot tell it.
    fn difference(&self, field: usize, a: usize, b: usize) -> Option<Vec<f64>> {
        let mut row = vec![0.0; self.width];
        row[*self.columns.get(&(field, a))?] = 1.0;
        row[*self.columns.get(&(field, b))?] = -1.0;
        self.design.estimable_row(&row).ok()
    }
}

impl OwnFit {
    /// Least squares of one field-season, and its residual sum of squares.
    fn new(rows: &SettingRows, members: &[usize]) -> Option<(Self, f64)> {
        let cells = Cells::new(rows, members, true)?;
        let fit = LeastSquares.fit(&cells.design).ok()?;
        let variance = fit.residual_sum_of_squares() / fit.residual_df() as f64;
        let unscaled = fit.covariance() / variance;
        let squares = fit.residuals()[..members.len()].iter().map(|residual| residual * residual).sum();
        Some((Self { coefficients: fit.coefficients().to_vec(), unscaled, cells }, squares))
    }

    fn difference(&self, a: usize, b: usize, variance: f64) -> Option<Difference> {
        let ((field, _), _) = self.cells.columns.first_key_value()?;
        let row = ndarray::Array1::from(self.cells.difference(*field, a, b)?);
        let estimate = row.iter().zip(&self.coefficients).map(|(weight, value)| weight * value).sum();
        Some(Difference { estimate, variance: variance * row.dot(&self.unscaled.dot(&row)) })
    }
}

impl Mixed {
    fn pair(&self, a: usize, b: usize) -> Option<Between> {
        let fields = self.cells.columns.keys().filter(|(_, setting)| *setting == a).map(|(field, _)| *field);
        let rows: Vec<Vec<f64>> = fields.filter_map(|field| self.cells.difference(field, a, b)).collect();
        if rows.len() < 2 {
            return None;
        }
        let told: Vec<Difference> = rows
            .iter()
            .map(|row| {
                let contrast = self.fit.contrast(row).ok()?;
                Some(Difference { estimate: contrast.estimate, variance: contrast.std_error.powi(2) })
            })
            .collect::<Option<_>>()?;
        let against_first = Array2::from_shape_fn((rows.len() - 1, rows[0].len()), |(row, column)| {
            rows[row + 1][column] - rows[0][column]
        });
        let p_value = self.fit.joint_test(&against_first).ok()?.p_value;
        let spread = spread(&told, heterogeneity(&told)?);
        Some(Between { field_seasons: rows.len(), p_value, spread })
    }
}

/// A difference in one field-season, and the variance of its error.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Difference {
    estimate: f64,
    variance: f64,
}

/// Cochran's Q; `None` of fewer than two.
fn heterogeneity(differences: &[Difference]) -> Option<f64> {
    let sum: f64 = differences.iter().map(|own| 1.0 / own.variance).sum();
    let mean = differences.iter().map(|own| own.estimate / own.variance).sum::<f64>() / sum;
    let q = differences.iter().map(|own| (own.estimate - mean).powi(2) / own.variance).sum();
    (differences.len() > 1).then_some(q)
}

/// Standard deviation of true differences by moments, from their Q; zero where the differences vary no more than their errors let them.
fn spread(differences: &[Difference], q: f64) -> f64 {
    let sum: f64 = differences.iter().map(|own| 1.0 / own.variance).sum();
    let scale = sum - differences.iter().map(|own| own.variance.powi(-2)).sum::<f64>() / sum;
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
        let alike = |estimate| Difference { estimate, variance: 1.0 };
        let spread = |differences: &[Difference]| spread(differences, heterogeneity(differences).unwrap());
        assert_eq!(spread(&[alike(2.0), alike(2.1), alike(1.9)]), 0.0);
        // Equal errors: the variance of the differences less that of their errors, 4 − 1.
        assert!((spread(&[alike(0.0), alike(2.0), alike(4.0)]) - 3f64.sqrt()).abs() < 1e-12);
    }
}
