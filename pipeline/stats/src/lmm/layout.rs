//! Where the effects and the variance parameters of all terms stand.

use crate::dense::dot;
use crate::random_term::{RandomTerm, Structure};

/// Numbers the effects of all terms twice, and the parameters theta once.
///
/// *Term order* counts term by term, group by group, column by column. *Elimination order* puts the terms with most groups first and
/// keeps the columns of a group together, which leaves nested designs without fill. Theta holds, term by term, the lower triangle of
/// the relative covariance factor column by column (Bates and others 2015, equation 4), or the one relative standard deviation.
#[derive(Debug, Clone)]
pub(crate) struct Layout {
    /// First effect of each term in term order, and the number of effects at the end.
    pub(crate) offset: Vec<usize>,
    /// Elimination position of each effect in term order.
    pub(crate) place: Vec<usize>,
    /// Term and column at each elimination position; the group's first column stands `column` positions before.
    pub(crate) owner: Vec<(usize, usize)>,
    pub(crate) templates: Vec<Template>,
    pub(crate) parameters: Vec<Parameter>,
}

/// Non-zeros of one group's covariance factor Λ.
#[derive(Debug, Clone)]
pub(crate) struct Template {
    pub(crate) columns: usize,
    pub(crate) structure: Structure,
    /// First theta of the term.
    pub(crate) first: usize,
}

/// What one theta is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Parameter {
    pub(crate) term: usize,
    /// Row and column in the factor; equal on the diagonal, where theta is not below zero.
    pub(crate) row: usize,
    pub(crate) column: usize,
}

impl Parameter {
    pub(crate) fn is_diagonal(&self) -> bool {
        self.row == self.column
    }
}

impl Template {
    /// Index of theta at (row, column) of the factor; `None` where the factor is zero.
    pub(crate) fn theta(&self, row: usize, column: usize) -> Option<usize> {
        match self.structure {
            Structure::Common => (row == column).then_some(self.first),
            Structure::Correlated => {
                let before = column * self.columns - column * column.saturating_sub(1) / 2;
                (row >= column).then(|| self.first + before + row - column)
            }
        }
    }

    /// The factor (columns × columns, row-major) at `theta`.
    pub(crate) fn factor(&self, theta: &[f64]) -> Vec<f64> {
        let q = self.columns;
        (0..q * q).map(|at| self.theta(at / q, at % q).map_or(0.0, |index| theta[index])).collect()
    }

    /// Covariance of one group's effects over sigma², `ΛΛ'` (columns × columns, row-major), at `theta`.
    pub(crate) fn covariance(&self, theta: &[f64]) -> Vec<f64> {
        let q = self.columns;
        let factor = self.factor(theta);
        let row = |a: usize| &factor[a * q..(a + 1) * q];
        (0..q * q).map(|at| dot(row(at / q), row(at % q))).collect()
    }
}

fn templates(terms: &[RandomTerm]) -> Vec<Template> {
    let mut first = 0;
    terms
        .iter()
        .map(|term| {
            let template = Template { columns: term.n_columns(), structure: term.structure, first };
            first += term.n_parameters();
            template
        })
        .collect()
}

/// Relative covariance factor of every term (columns × columns, row-major, lower triangular) at `theta`, laid out as in
/// [`LmmFit::theta`](crate::LmmFit::theta).
pub(crate) fn relative_factors(terms: &[RandomTerm], theta: &[f64]) -> Vec<Vec<f64>> {
    templates(terms).iter().map(|template| template.factor(theta)).collect()
}

impl Layout {
    pub(crate) fn new(terms: &[RandomTerm]) -> Self {
        let mut offset = vec![0];
        let templates = templates(terms);
        let mut parameters = Vec::new();
        for (k, term) in terms.iter().enumerate() {
            let q = term.n_columns();
            offset.push(offset[k] + term.n_groups * q);
            match term.structure {
                Structure::Common => parameters.push(Parameter { term: k, row: 0, column: 0 }),
                Structure::Correlated => {
                    for column in 0..q {
                        parameters.extend((column..q).map(|row| Parameter { term: k, row, column }));
                    }
                }
            }
        }
        let mut by_size: Vec<usize> = (0..terms.len()).collect();
        by_size.sort_by_key(|&k| std::cmp::Reverse(terms[k].n_groups));
        let mut place = vec![0; offset[terms.len()]];
        let mut owner = Vec::with_capacity(place.len());
        for &k in &by_size {
            let q = terms[k].n_columns();
            for effect in 0..terms[k].n_groups * q {
                place[offset[k] + effect] = owner.len();
                owner.push((k, effect % q));
            }
        }
        Self { offset, place, owner, templates, parameters }
    }

    pub(crate) fn n_effects(&self) -> usize {
        self.place.len()
    }

    /// Elimination position of the effect of `column` in `group` of term `k`.
    pub(crate) fn position(&self, k: usize, group: usize, column: usize) -> usize {
        self.place[self.offset[k] + group * self.templates[k].columns + column]
    }

    /// `target = Λ' source` for blocks of `width` columns; `owners` are the terms and columns of the rows, whole groups in elimination order.
    pub(crate) fn times_factor(
        &self,
        owners: impl Iterator<Item = (usize, usize)>,
        theta: &[f64],
        source: &[f64],
        width: usize,
        target: &mut [f64],
    ) {
        for (at, (k, column)) in owners.enumerate() {
            let template = &self.templates[k];
            let row = &mut target[at * width..(at + 1) * width];
            row.fill(0.0);
            for below in column..template.columns {
                let Some(index) = template.theta(below, column) else { continue };
                let from = at + below - column;
                for (t, s) in row.iter_mut().zip(&source[from * width..(from + 1) * width]) {
                    *t += theta[index] * s;
                }
            }
        }
    }

    /// Thetas that a search can move: not zero on the diagonal, and off the diagonal only beside a diagonal that is not zero
    /// (with a zero there, a column of the factor can be rotated into the later ones).
    pub(crate) fn active(&self, theta: &[f64]) -> Vec<usize> {
        (0..theta.len())
            .filter(|&index| {
                let parameter = self.parameters[index];
                let diagonal = self.templates[parameter.term].theta(parameter.column, parameter.column);
                diagonal.is_some_and(|diagonal| theta[diagonal] > 0.0)
            })
            .collect()
    }

    /// The same covariances with zeros below every diagonal theta that is zero.
    pub(crate) fn canonical(&self, theta: &[f64]) -> Vec<f64> {
        let mut result = theta.to_vec();
        for template in self.templates.iter().filter(|template| template.structure == Structure::Correlated) {
            let q = template.columns;
            let factor = template.factor(theta);
            if (0..q).all(|c| factor[c * q + c] > 0.0 || (c + 1..q).all(|row| factor[row * q + c] == 0.0)) {
                continue;
            }
            let covariance = template.covariance(theta);
            let mut lower = vec![0.0_f64; q * q];
            for column in 0..q {
                let done: f64 = (0..column).map(|c| lower[column * q + c].powi(2)).sum();
                let pivot = covariance[column * q + column] - done;
                if !(pivot > 1e-14 * covariance[column * q + column]) {
                    continue;
                }
                lower[column * q + column] = pivot.sqrt();
                for row in column + 1..q {
                    let done: f64 = (0..column).map(|c| lower[row * q + c] * lower[column * q + c]).sum();
                    lower[row * q + column] = (covariance[row * q + column] - done) / pivot.sqrt();
                }
            }
            for (row, column) in (0..q).flat_map(|row| (0..=row).map(move |column| (row, column))) {
                if let Some(index) = template.theta(row, column) {
                    result[index] = lower[row * q + column];
                }
            }
        }
        result
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn three_columns() -> Layout {
        let columns = ["a", "b", "c"].map(|name| (name.to_string(), vec![1.0; 4])).to_vec();
        Layout::new(&[
            RandomTerm::intercept("g", vec![0, 0, 1, 1], 2),
            RandomTerm::correlated("h", vec![0, 1, 0, 1], 2, columns),
        ])
    }

    #[test]
    fn theta_runs_down_the_columns_of_the_factor() {
        let layout = three_columns();
        assert_eq!(layout.parameters.len(), 7);
        for (index, parameter) in layout.parameters.iter().enumerate() {
            assert_eq!(layout.templates[parameter.term].theta(parameter.row, parameter.column), Some(index));
        }
        assert_eq!(layout.templates[1].theta(0, 2), None);
    }

    #[test]
    fn a_zero_on_the_diagonal_is_rotated_away_without_a_change_of_covariance() {
        let layout = three_columns();
        let theta = [1.0, 0.0, 0.3, 0.4, 0.5, 0.1, 0.2];
        let canonical = layout.canonical(&theta);
        assert_eq!(canonical[1..4], [0.0, 0.0, 0.0]);
        let square = |theta: &[f64]| -> Vec<f64> {
            let f = layout.templates[1].factor(theta);
            (0..9).map(|at| (0..3).map(|c| f[at / 3 * 3 + c] * f[at % 3 * 3 + c]).sum()).collect()
        };
        for (a, b) in square(&theta).iter().zip(square(&canonical)) {
            assert!((a - b).abs() < 1e-15);
        }
        assert_eq!(layout.active(&canonical), [0, 4, 5, 6]);
    }

    #[test]
    fn factors_are_read_term_by_term_and_column_by_column() {
        let columns = ["a", "b"].map(|name| (name.to_string(), vec![1.0; 4])).to_vec();
        let terms = [
            RandomTerm::smooth("curve", vec![vec![1.0; 4], vec![2.0; 4]]),
            RandomTerm::correlated("h", vec![0, 1, 0, 1], 2, columns),
        ];
        let factors = relative_factors(&terms, &[0.5, 1.0, -2.0, 3.0]);
        assert_eq!(factors[0], [0.5, 0.0, 0.0, 0.5]);
        assert_eq!(factors[1], [1.0, 0.0, -2.0, 3.0]);
    }
}
