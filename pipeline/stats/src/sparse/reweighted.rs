//! Sparse Cholesky whose numbers change with every evaluation, with the part of the inverse that has the pattern of the factor.
//!
//! [`super::NumericCholesky`] factors `S A S + I` for a fixed A. Here the weights inside A change too, and the gradient of a log determinant needs
//! entries of the inverse. Both walk the same columns: the factor from the first to the last (right-looking), the inverse back by
//! Takahashi's recurrence (Erisman & Tinney 1975, Comm. ACM 18:177-179). The caller orders the unknowns, largest term first.

/// Pattern and numbers; holds the matrix, then its factor in the same place.
#[derive(Debug, Clone)]
pub(crate) struct ReweightedCholesky {
    pub(crate) diagonal: Vec<f64>,
    /// Below the diagonal, by columns.
    pub(crate) value: Vec<f64>,
    column_start: Vec<usize>,
    /// Rows of each column, ascending.
    row: Vec<usize>,
}

impl ReweightedCholesky {
    /// Pattern of the factor of a matrix with the given off-diagonal positions `(smaller, larger)`, repeats allowed.
    pub(crate) fn new(size: usize, positions: impl Iterator<Item = (usize, usize)>) -> Self {
        let mut columns: Vec<Vec<usize>> = vec![Vec::new(); size];
        for (smaller, larger) in positions {
            columns[smaller].push(larger);
        }
        let mut column_start = vec![0];
        let mut row = Vec::new();
        for j in 0..size {
            let mut rows = std::mem::take(&mut columns[j]);
            rows.sort_unstable();
            rows.dedup();
            // Eliminating j couples all its rows; they reach their later columns through the first of them.
            if let Some((&parent, rest)) = rows.split_first() {
                columns[parent].extend_from_slice(rest);
            }
            row.extend_from_slice(&rows);
            column_start.push(row.len());
        }
        Self { diagonal: vec![0.0; size], value: vec![0.0; row.len()], column_start, row }
    }

    /// Place of the entry `(smaller, larger)` in [`ReweightedCholesky::value`].
    pub(crate) fn place(&self, smaller: usize, larger: usize) -> usize {
        let start = self.column_start[smaller];
        let rows = &self.row[start..self.column_start[smaller + 1]];
        match rows.binary_search(&larger) {
            Ok(at) | Err(at) => start + at,
        }
    }

    /// Sets the matrix to the identity.
    pub(crate) fn reset(&mut self) {
        self.diagonal.fill(1.0);
        self.value.fill(0.0);
    }

    /// Replaces the matrix by its factor L. False when it is not positive definite.
    #[must_use]
    pub(crate) fn factor(&mut self) -> bool {
        for j in 0..self.diagonal.len() {
            let pivot = self.diagonal[j];
            if !(pivot > 0.0 && pivot.is_finite()) {
                return false;
            }
            let pivot = pivot.sqrt();
            self.diagonal[j] = pivot;
            let entries = self.column_start[j]..self.column_start[j + 1];
            self.value[entries.clone()].iter_mut().for_each(|value| *value /= pivot);
            for a in entries.clone() {
                let (column, factor) = (self.row[a], self.value[a]);
                self.diagonal[column] -= factor * factor;
                if factor == 0.0 {
                    continue;
                }
                let end = self.column_start[column + 1];
                let mut at = self.column_start[column];
                for b in a + 1..entries.end {
                    at += lower_bound(&self.row[at..end], self.row[b]);
                    self.value[at] -= factor * self.value[b];
                    at += 1;
                }
            }
        }
        true
    }

    /// `log |L|²`.
    pub(crate) fn log_determinant(&self) -> f64 {
        2.0 * self.diagonal.iter().map(|value| value.ln()).sum::<f64>()
    }

    /// Solves `L x = b` in place.
    pub(crate) fn solve_lower(&self, b: &mut [f64]) {
        for j in 0..b.len() {
            let value = b[j] / self.diagonal[j];
            b[j] = value;
            for at in self.column_start[j]..self.column_start[j + 1] {
                b[self.row[at]] -= self.value[at] * value;
            }
        }
    }

    /// Solves `L L' x = b` in place.
    pub(crate) fn solve(&self, b: &mut [f64]) {
        self.solve_lower(b);
        for j in (0..b.len()).rev() {
            let mut value = b[j];
            for at in self.column_start[j]..self.column_start[j + 1] {
                value -= self.value[at] * b[self.row[at]];
            }
            b[j] = value / self.diagonal[j];
        }
    }

    /// Writes the entries of `(L L')⁻¹` on the pattern of L into `inverse`, which has the same pattern.
    pub(crate) fn selected_inverse(&self, inverse: &mut Self) {
        for j in (0..self.diagonal.len()).rev() {
            let entries = self.column_start[j]..self.column_start[j + 1];
            let pivot = self.diagonal[j];
            for a in entries.clone() {
                inverse.value[a] = -self.value[a] * inverse.diagonal[self.row[a]];
            }
            // Each pair of rows of this column is an entry of the inverse already known.
            for a in entries.clone() {
                let column = self.row[a];
                let end = self.column_start[column + 1];
                let mut at = self.column_start[column];
                for b in a + 1..entries.end {
                    at += lower_bound(&self.row[at..end], self.row[b]);
                    inverse.value[a] -= self.value[b] * inverse.value[at];
                    inverse.value[b] -= self.value[a] * inverse.value[at];
                    at += 1;
                }
            }
            let mut diagonal = 1.0 / pivot;
            for a in entries {
                inverse.value[a] /= pivot;
                diagonal -= self.value[a] * inverse.value[a];
            }
            inverse.diagonal[j] = diagonal / pivot;
        }
    }
}

/// Index of the first element not below `wanted`; short in the usual case that the next element is the one.
fn lower_bound(rows: &[usize], wanted: usize) -> usize {
    if rows[0] == wanted { 0 } else { rows.partition_point(|row| *row < wanted) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dense::{cholesky_in_place, inverse_from_cholesky};

    #[test]
    fn factor_solutions_and_selected_inverse_agree_with_dense_algebra() {
        let size = 7;
        let entries = [(0, 3, 0.6), (0, 5, -0.4), (1, 3, 0.3), (2, 4, 0.8), (2, 6, 0.5), (3, 6, -0.7), (1, 5, 0.2)];
        let mut sparse = ReweightedCholesky::new(size, entries.iter().map(|e| (e.0, e.1)).chain([(0, 3)]));
        let mut dense = vec![0.0; size * size];
        for round in 1..3 {
            sparse.reset();
            dense.fill(0.0);
            for j in 0..size {
                sparse.diagonal[j] += j as f64 + f64::from(round);
                dense[j * size + j] = sparse.diagonal[j];
            }
            for (smaller, larger, value) in entries {
                let place = sparse.place(smaller, larger);
                sparse.value[place] += value;
                dense[larger * size + smaller] = value;
            }
            assert!(sparse.factor() && cholesky_in_place(&mut dense, size));
            let log_determinant: f64 = (0..size).map(|j| 2.0 * dense[j * size + j].ln()).sum();
            assert!((sparse.log_determinant() - log_determinant).abs() < 1e-14);
            let expected = inverse_from_cholesky(&dense, size, size);
            let mut inverse = sparse.clone();
            sparse.selected_inverse(&mut inverse);
            for j in 0..size {
                assert!((inverse.diagonal[j] - expected[j * size + j]).abs() < 1e-15);
                for at in sparse.column_start[j]..sparse.column_start[j + 1] {
                    assert!((inverse.value[at] - expected[j * size + sparse.row[at]]).abs() < 1e-15);
                }
            }
            let mut b: Vec<f64> = (0..size).map(|j| (j as f64).cos()).collect();
            let solution: Vec<f64> =
                (0..size).map(|i| (0..size).map(|j| expected[i * size + j] * b[j]).sum()).collect();
            sparse.solve(&mut b);
            for (found, expected) in b.iter().zip(&solution) {
                assert!((found - expected).abs() < 1e-14);
            }
        }
    }

    #[test]
    fn a_matrix_that_is_not_positive_definite_is_refused() {
        let mut sparse = ReweightedCholesky::new(2, [(0, 1)].into_iter());
        sparse.reset();
        sparse.value[0] = 2.0;
        assert!(!sparse.factor());
    }
}
