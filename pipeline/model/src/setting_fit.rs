//! Settings as a factor: the fit that level tests and comparisons share.
//!
//! In one field-season blocks are fixed and least squares is exact. In several, field-season, block and field-season × setting are
//! random. Where field-seasons fall into parts that share no setting, blocks are fixed again and only field-season × setting is
//! random: a difference between settings of two parts is a difference between fields, and is not told.

use evenstand_stats::{Contrast, Design, Direction, JointTest, LinearFit, StatsError, can_be_best};
use ndarray::Array2;

use crate::covariates::Covariate;
use crate::setting_terms::{count, field_by_setting, linked_parts, renumber, setting_terms};
use crate::working_fit;

/// Strips whose settings are compared.
#[derive(Debug, Clone)]
pub(crate) struct SettingRows {
    /// Values on the scale of the comparison.
    pub response: Vec<f64>,
    /// Standard errors of the values from each strip's own counts, where they are known.
    pub std_errors: Option<Vec<f64>>,
    /// Setting of each strip, numbered without gaps.
    pub settings: Vec<usize>,
    /// Block of each strip within all field-seasons.
    pub blocks: Vec<usize>,
    /// Field-season of each strip.
    pub fields: Vec<usize>,
}

/// A fitted comparison of settings.
pub(crate) struct SettingFit {
    design: Design,
    fit: Box<dyn LinearFit>,
    settings: usize,
    columns: usize,
    /// Number of blocks with a column; one block more has none.
    fixed_blocks: usize,
    apart: bool,
    /// Model, degrees of freedom and remarks, in words.
    pub method: String,
}

/// Why a pair of settings has no test.
pub(crate) const APART: &str =
    "means only: these settings were never tried in one field-season, or settings and blocks cannot be told apart";

impl SettingFit {
    /// Fits the settings. The error says in words why there is no test.
    pub fn new(rows: SettingRows) -> Result<Self, String> {
        Self::adjusted(rows, Vec::new())
    }

    /// As [`SettingFit::new`], adjusted for further columns; these come last, so that one which settings and blocks tell already falls away.
    pub fn adjusted(rows: SettingRows, covariates: Vec<Covariate>) -> Result<Self, String> {
        let blocks = renumber(rows.blocks.iter().copied());
        let fields = renumber(rows.fields.iter().copied());
        let settings = count(&rows.settings);
        let apart = linked_parts(&fields, &rows.settings) > 1;
        let fixed = count(&fields) == 1 || apart;
        let fixed_blocks = if fixed { count(&blocks) - 1 } else { 0 };
        let mut names: Vec<String> = (0..settings).map(|setting| format!("setting {setting}")).collect();
        names.extend((0..fixed_blocks).map(|block| format!("block {block}")));
        let own = names.len();
        names.extend(covariates.iter().map(|covariate| covariate.name.clone()));
        let columns = names.len();
        let matrix = Array2::from_shape_fn((rows.response.len(), columns), |(row, column)| {
            if let Some(covariate) = column.checked_sub(own).and_then(|number| covariates.get(number)) {
                return covariate.column[row];
            }
            let hit = if column < settings { rows.settings[row] == column } else { blocks[row] == column - settings };
            f64::from(u8::from(hit))
        });
        let (random, left_out) = if fixed {
            (field_by_setting(&fields, &rows.settings).into_iter().collect(), None)
        } else {
            let terms = setting_terms(&fields, &blocks, &rows.settings);
            (terms.random, terms.left_out)
        };
        let known = rows.std_errors.is_some();
        let no_replication = |_: StatsError| "means only: no replication, so no test".to_owned();
        let design =
            working_fit::design(rows.response, matrix, names, random, None, rows.std_errors).map_err(no_replication)?;
        let (fit, remarks) = working_fit::fit(&design).map_err(|error| {
            let message = error.to_string();
            format!("means only: {}", message.lines().next().unwrap_or_default())
        })?;
        let mut effects = if fixed { "setting + block" } else { "setting" }.to_owned();
        covariates.iter().for_each(|covariate| effects.push_str(&format!(" + {}", covariate.name)));
        let mut parts = vec![if design.random().is_empty() {
            format!("least squares: {effects}")
        } else {
            let named: Vec<&str> = design.random().iter().map(|term| term.name.as_str()).collect();
            format!("mixed model: {effects}, random {}", named.join(", "))
        }];
        if let Some(contrast) = (1..settings)
            .find_map(|other| design.estimable_row(&difference(other, 0, columns)).ok())
            .and_then(|row| fit.contrast(&row).ok())
            .filter(|_| !design.random().is_empty())
        {
            parts.push(format!("df {}", contrast.method));
        }
        if known {
            parts.push("sampling variances of the strips taken as known".into());
        }
        if apart {
            parts.push("field-seasons share too few settings, so settings are compared inside them only".into());
        }
        parts.extend(left_out.map(str::to_owned));
        parts.extend(remarks);
        Ok(Self { design, fit, settings, columns, fixed_blocks, apart, method: parts.join("; ") })
    }

    /// Difference of two settings (a − b) on the fit's columns; `None` where the data cannot tell it.
    pub fn pair(&self, a: usize, b: usize) -> Option<Vec<f64>> {
        self.design.estimable_row(&difference(a, b, self.columns)).ok()
    }

    /// The difference of two settings with its limits; `None` where the data cannot tell it.
    pub fn contrast(&self, a: usize, b: usize) -> Option<Contrast> {
        self.fit.contrast(&self.pair(a, b)?).ok()
    }

    /// Mean of a setting, every block counting the same and covariates at their means; `None` where settings stood in parts that share none, so that
    /// a mean is also that of its part.
    pub fn mean(&self, setting: usize) -> Option<f64> {
        if self.apart {
            return None;
        }
        let mut row = vec![0.0; self.columns];
        row[setting] = 1.0;
        let share = 1.0 / (self.fixed_blocks as f64 + 1.0);
        row[self.settings..self.settings + self.fixed_blocks].iter_mut().for_each(|weight| *weight = share);
        let row = self.design.estimable_row(&row).ok()?;
        let mean = row.iter().zip(self.fit.coefficients()).map(|(weight, value)| weight * value).sum::<f64>();
        mean.is_finite().then_some(mean)
    }

    /// Test that all settings that can be compared are alike; `None` where none can.
    pub fn alike(&self) -> Option<JointTest> {
        let rows: Vec<Vec<f64>> =
            (0..self.settings).flat_map(|a| (0..a).filter_map(move |b| self.pair(a, b))).collect();
        let width = rows.first()?.len();
        let rows = Array2::from_shape_fn((rows.len(), width), |(row, column)| rows[row][column]);
        self.fit.joint_test(&rows).ok()
    }

    /// Settings that can be compared with each other, lightest first, in parts that cannot.
    pub fn parts(&self) -> Vec<Vec<usize>> {
        let mut parts: Vec<Vec<usize>> = Vec::new();
        for setting in 0..self.settings {
            match parts.iter_mut().find(|part| self.pair(setting, part[0]).is_some()) {
                Some(part) => part.push(setting),
                None => parts.push(vec![setting]),
            }
        }
        parts
    }

    /// Each setting but the lightest of its part, with that lightest one.
    pub fn against_lightest(&self) -> Vec<(usize, usize)> {
        let parts = self.parts();
        parts.iter().flat_map(|part| part[1..].iter().map(|setting| (*setting, part[0]))).collect()
    }

    /// Test that the settings, at forces `forces`, depart from a parabola by nothing (lack of fit); `None` where their differences are too few
    /// to tell.
    pub fn lack_of_fit(&self, forces: &[f64]) -> Option<JointTest> {
        let pairs = self.against_lightest();
        let (low, high) = (forces.first()?, forces.last()?);
        let scaled = |setting: usize| (2.0 * forces[setting] - low - high) / (high - low);
        let power = |power: i32| pairs.iter().map(|(a, b)| scaled(*a).powi(power) - scaled(*b).powi(power)).collect();
        let combinations = orthogonal_to(vec![power(1), power(2)], pairs.len());
        let rows: Vec<Vec<f64>> = combinations
            .into_iter()
            .map(|weights| {
                let mut row = vec![0.0; self.columns];
                for ((setting, lightest), weight) in pairs.iter().zip(weights) {
                    row[*setting] += weight;
                    row[*lightest] -= weight;
                }
                self.design.estimable_row(&row).ok()
            })
            .collect::<Option<_>>()?;
        let width = rows.first()?.len();
        self.fit.joint_test(&Array2::from_shape_fn((rows.len(), width), |(row, column)| rows[row][column])).ok()
    }

    /// Settings that can still be the best, at confidence `level` (Hsu 1984). A setting behind another one of its part is not the best; parts are
    /// not held against each other.
    pub fn can_be_best(&self, direction: Direction, level: f64) -> Option<Vec<usize>> {
        let mut kept = Vec::new();
        for part in self.parts() {
            let against = |member: usize| {
                let rows = part
                    .iter()
                    .filter(|other| **other != part[member])
                    .map(|other| self.design.estimable_row(&difference(part[member], *other, self.columns)))
                    .collect::<Result<Vec<_>, _>>()?;
                let contrasts = rows.iter().map(|row| self.fit.contrast(row)).collect::<Result<Vec<_>, _>>()?;
                let rows: Vec<&[f64]> = rows.iter().map(Vec::as_slice).collect();
                Ok((contrasts, self.covariance_of(&rows)))
            };
            if part.len() == 1 {
                kept.push(part[0]);
            } else {
                let best = can_be_best(part.len(), direction, level, against).ok()?;
                kept.extend(best.into_iter().map(|member| part[member]));
            }
        }
        kept.sort_unstable();
        Some(kept)
    }

    /// Covariance of combinations of coefficients, that goes with the contrasts.
    pub fn covariance_of(&self, rows: &[&[f64]]) -> Array2<f64> {
        let covariance = self.fit.covariance();
        let rows = Array2::from_shape_fn((rows.len(), covariance.nrows()), |(row, column)| rows[row][column]);
        rows.dot(covariance).dot(&rows.t())
    }
}

fn difference(a: usize, b: usize, columns: usize) -> Vec<f64> {
    let mut row = vec![0.0; columns];
    row[a] = 1.0;
    row[b] = -1.0;
    row
}

/// Orthonormal vectors of length `count` that are orthogonal to `columns` (Gram and Schmidt, the unit vectors in turn).
fn orthogonal_to(columns: Vec<Vec<f64>>, count: usize) -> Vec<Vec<f64>> {
    let units = (0..count).map(|unit| (0..count).map(|place| f64::from(u8::from(place == unit))).collect());
    let given = columns.len();
    let mut basis: Vec<Vec<f64>> = Vec::new();
    let mut found = Vec::new();
    for (number, mut vector) in columns.into_iter().chain(units).enumerate() {
        for known in basis.iter().chain(basis.iter()) {
            let along: f64 = vector.iter().zip(known).map(|(a, b)| a * b).sum();
            vector.iter_mut().zip(known).for_each(|(value, known)| *value -= along * known);
        }
        let length = vector.iter().map(|value| value * value).sum::<f64>().sqrt();
        if length > 1e-6 && basis.len() < count {
            vector.iter_mut().for_each(|value| *value /= length);
            basis.push(vector.clone());
            if number >= given {
                found.push(vector);
            }
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn vectors_orthogonal_to_given_ones_are_as_many_as_are_left() {
        let given = vec![vec![1.0, 2.0, 4.0, 8.0], vec![1.0, 1.0, 0.0, 3.0]];
        let found = orthogonal_to(given.clone(), 4);
        assert_eq!(found.len(), 2);
        let product = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        assert!(found.iter().all(|row| given.iter().all(|column| product(row, column).abs() < 1e-12)));
        assert!(product(&found[0], &found[1]).abs() < 1e-12 && (product(&found[0], &found[0]) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn settings_of_fields_apart_are_held_against_a_parabola_and_their_own_part() {
        let fit = SettingFit::new(rows([&[0, 1, 2], &[3, 4]])).unwrap();
        assert_eq!(fit.parts(), [vec![0, 1, 2], vec![3, 4]]);
        // Three differences less slope and curvature; the straight line of the data leaves nothing.
        let test = fit.lack_of_fit(&[0.0, 1.0, 2.0, 3.0, 4.0]).unwrap();
        assert!(test.numerator_df == 1.0 && test.p_value > 0.05, "{test:?}");
        assert_eq!(fit.can_be_best(Direction::LargestIsBest, 0.9), Some(vec![2, 4]));
    }

    #[test]
    fn a_parabola_of_settings_has_no_lack_of_fit_and_one_lifted_setting_has() {
        let forces = [0.0, 1.0, 2.0, 3.0, 4.0];
        let p_value = |lift: f64| {
            let mut data = rows([&[0, 1, 2, 3, 4], &[0, 1, 2, 3, 4]]);
            for (response, setting) in data.response.iter_mut().zip(&data.settings) {
                *response += if *setting == 2 { lift } else { 0.0 } - (*setting as f64 - 2.0).powi(2);
            }
            SettingFit::new(data).unwrap().lack_of_fit(&forces).unwrap().p_value
        };
        assert!(p_value(0.0) > 0.05, "{}", p_value(0.0));
        assert!(p_value(3.0) < 0.001, "{}", p_value(3.0));
    }

    #[test]
    fn a_setting_far_behind_cannot_be_the_best() {
        let fit = SettingFit::new(rows([&[0, 1, 2], &[0, 1, 2]])).unwrap();
        assert_eq!(fit.can_be_best(Direction::LargestIsBest, 0.9), Some(vec![2]));
        assert_eq!(fit.can_be_best(Direction::SmallestIsBest, 0.9), Some(vec![0]));
    }

    /// Two fields of three blocks; the settings of each field, and a difference of 5 between neighbours.
    fn rows(settings: [&[usize]; 2]) -> SettingRows {
        let mut rows =
            SettingRows { response: vec![], std_errors: None, settings: vec![], blocks: vec![], fields: vec![] };
        for (field, settings) in settings.iter().enumerate() {
            for block in 0..3 {
                for (place, &setting) in settings.iter().enumerate() {
                    let noise = [0.3, -0.2, 0.1, -0.4, 0.2, 0.0, 0.25][(3 * block + 5 * place + field) % 7];
                    rows.response.push(100.0 * field as f64 + 5.0 * setting as f64 + block as f64 + noise);
                    rows.settings.push(setting);
                    rows.blocks.push(3 * field + block);
                    rows.fields.push(field);
                }
            }
        }
        rows
    }

    #[test]
    fn fields_without_a_setting_in_common_are_compared_inside_only() {
        let fit = SettingFit::new(rows([&[0, 1, 2], &[3, 4]])).unwrap();
        assert!((fit.contrast(2, 0).unwrap().estimate - 10.0).abs() < 0.6);
        assert!((fit.contrast(4, 3).unwrap().estimate - 5.0).abs() < 0.6);
        assert_eq!(fit.contrast(3, 0), None);
        // Two differences in one field and one in the other; 15 strips, 5 settings and 6 blocks less the link they lack.
        let test = fit.alike().unwrap();
        assert_eq!((test.numerator_df, test.denominator_df), (3.0, 6.0));
        assert!(test.p_value < 1e-4 && fit.method.contains("inside them only"), "{}", fit.method);
    }

    #[test]
    fn fields_that_share_settings_keep_their_own_differences_as_error_beside_a_field_apart() {
        let mut three = rows([&[0, 1, 2], &[0, 1, 2]]);
        let apart = rows([&[3, 4], &[]]);
        three.response.extend(apart.response);
        three.settings.extend(apart.settings);
        three.blocks.extend(apart.blocks.iter().map(|block| block + 6));
        three.fields.extend(apart.fields.iter().map(|_| 2));
        let fit = SettingFit::new(three).unwrap();
        assert!(
            fit.method.starts_with("mixed model: setting + block, random field-season × setting"),
            "{}",
            fit.method
        );
        assert!(fit.contrast(1, 0).is_some() && fit.contrast(4, 3).is_some() && fit.contrast(3, 1).is_none());
    }

    #[test]
    fn one_field_has_fixed_blocks_and_exact_degrees_of_freedom() {
        let mut one = rows([&[0, 1, 2], &[]]);
        one.fields.fill(0);
        let fit = SettingFit::new(one).unwrap();
        assert_eq!(fit.contrast(1, 0).unwrap().df, 4.0);
        assert_eq!(fit.method, "least squares: setting + block");
    }

    #[test]
    fn linked_fields_are_random() {
        let fit = SettingFit::new(rows([&[0, 1, 2], &[1, 2, 3]])).unwrap();
        assert!(fit.method.starts_with("mixed model: setting, random field-season"), "{}", fit.method);
        assert!((fit.contrast(3, 0).unwrap().estimate - 15.0).abs() < 1.0);
    }
}
