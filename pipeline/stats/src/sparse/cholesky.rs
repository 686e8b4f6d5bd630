//! Simplicial sparse Cholesky: pattern once, numbers many times.
//!
//! Elimination tree and up-looking factorisation as in Davis (2006), Direct Methods for Sparse Linear Systems, chapter 4.
//! The caller orders the unknowns. For random effects the order "largest factor first" leaves nested designs without
//! fill, because all ancestors of an inner group are the few groups it lies in.

use super::matrix::SymmetricSparse;

/// Pattern of the Cholesky factor.
#[derive(Debug, Clone)]
pub(crate) struct SymbolicCholesky {
    /// Elimination tree: parent of each column, `usize::MAX` at a root.
    parent: Vec<usize>,
    /// Row `k` of L below the diagonal: columns, ascending.
    row_start: Vec<usize>,
    row_columns: Vec<usize>,
    /// Column pattern of L without the diagonal: rows, ascending.
    column_start: Vec<usize>,
    column_rows: Vec<usize>,
}

impl SymbolicCholesky {
    pub(crate) fn new(matrix: &SymmetricSparse) -> Self {
        let size = matrix.diagonal.len();
        let none = usize::MAX;
        let mut parent = vec![none; size];
        let mut ancestor = vec![none; size];
        for column in 0..size {
            for &start in &matrix.row[matrix.column_start[column]..matrix.column_start[column + 1]] {
                let mut node = start;
                while node != none && node < column {
                    let next = ancestor[node];
                    ancestor[node] = column;
                    if next == none {
                        parent[node] = column;
                    }
                    node = next;
                }
            }
        }
        let mut mark = vec![none; size];
        let mut row_start = vec![0];
        let mut row_columns: Vec<usize> = Vec::new();
        let mut counts = vec![0; size];
        for k in 0..size {
            mark[k] = k;
            let first = row_columns.len();
            for &start in &matrix.row[matrix.column_start[k]..matrix.column_start[k + 1]] {
                let mut node = start;
                while mark[node] != k {
                    mark[node] = k;
                    row_columns.push(node);
                    counts[node] += 1;
                    node = parent[node];
                }
            }
            // Ascending order is a valid elimination order, since every parent is larger than its child.
            row_columns[first..].sort_unstable();
            row_start.push(row_columns.len());
        }
        let mut column_start = vec![0; size + 1];
        for j in 0..size {
            column_start[j + 1] = column_start[j] + counts[j];
        }
        let mut next = column_start.clone();
        let mut column_rows = vec![0; row_columns.len()];
        for k in 0..size {
            for &column in &row_columns[row_start[k]..row_start[k + 1]] {
                column_rows[next[column]] = k;
                next[column] += 1;
            }
        }
        Self { parent, row_start, row_columns, column_start, column_rows }
    }

    /// Number of entries below the diagonal.
    pub(crate) fn fill(&self) -> usize {
        self.column_rows.len()
    }
}

/// Numbers of the Cholesky factor, and work space; belongs to one [`SymbolicCholesky`].
#[derive(Debug, Clone)]
pub(crate) struct NumericCholesky {
    diagonal: Vec<f64>,
    value: Vec<f64>,
    next: Vec<usize>,
    dense: Vec<f64>,
}

impl NumericCholesky {
    pub(crate) fn new(symbolic: &SymbolicCholesky) -> Self {
        let size = symbolic.parent.len();
        Self {
            diagonal: vec![1.0; size],
            value: vec![0.0; symbolic.fill()],
            next: vec![0; size],
            dense: vec![0.0; size],
        }
    }

    /// Factors `S A S + I` for the diagonal matrix S of `scale`. False when the numbers overflow.
    #[must_use]
    pub(crate) fn factor(&mut self, symbolic: &SymbolicCholesky, matrix: &SymmetricSparse, scale: &[f64]) -> bool {
        self.next.copy_from_slice(&symbolic.column_start[..scale.len()]);
        for k in 0..scale.len() {
            let entries = matrix.column_start[k]..matrix.column_start[k + 1];
            for (&row, &value) in matrix.row[entries.clone()].iter().zip(&matrix.value[entries]) {
                self.dense[row] = scale[row] * scale[k] * value;
            }
            let mut pivot = scale[k] * scale[k] * matrix.diagonal[k] + 1.0;
            for &column in &symbolic.row_columns[symbolic.row_start[k]..symbolic.row_start[k + 1]] {
                let value = self.dense[column] / self.diagonal[column];
                self.dense[column] = 0.0;
                let done = symbolic.column_start[column]..self.next[column];
                for (&row, &entry) in symbolic.column_rows[done.clone()].iter().zip(&self.value[done]) {
                    self.dense[row] -= entry * value;
                }
                pivot -= value * value;
                self.value[self.next[column]] = value;
                self.next[column] += 1;
            }
            if !(pivot > 0.0 && pivot.is_finite()) {
                self.dense.fill(0.0);
                return false;
            }
            self.diagonal[k] = pivot.sqrt();
        }
        true
    }

    /// `log |L|²`.
    pub(crate) fn log_determinant(&self) -> f64 {
        2.0 * self.diagonal.iter().map(|value| value.ln()).sum::<f64>()
    }

    /// Solves `L X = B` in place for a row-major block of `width` columns.
    pub(crate) fn solve_lower(&self, symbolic: &SymbolicCholesky, block: &mut [f64], width: usize) {
        for column in 0..self.diagonal.len() {
            let (upper, lower) = block.split_at_mut((column + 1) * width);
            let source = &mut upper[column * width..];
            let inverse = 1.0 / self.diagonal[column];
            source.iter_mut().for_each(|value| *value *= inverse);
            let entries = symbolic.column_start[column]..symbolic.column_start[column + 1];
            for (&row, &factor) in symbolic.column_rows[entries.clone()].iter().zip(&self.value[entries]) {
                let start = (row - column - 1) * width;
                for (target, value) in lower[start..start + width].iter_mut().zip(source.iter()) {
                    *target -= factor * value;
                }
            }
        }
    }

    /// Solves `L' x = b` in place.
    pub(crate) fn solve_lower_transpose(&self, symbolic: &SymbolicCholesky, b: &mut [f64]) {
        for column in (0..self.diagonal.len()).rev() {
            let entries = symbolic.column_start[column]..symbolic.column_start[column + 1];
            let mut value = b[column];
            for (&row, &factor) in symbolic.column_rows[entries.clone()].iter().zip(&self.value[entries]) {
                value -= factor * b[row];
            }
            b[column] = value / self.diagonal[column];
        }
    }

    /// Solves `L' X = B` in place for a row-major block of `width` columns.
    pub(crate) fn solve_lower_transpose_block(&self, symbolic: &SymbolicCholesky, block: &mut [f64], width: usize) {
        for column in (0..self.diagonal.len()).rev() {
            let (upper, lower) = block.split_at_mut((column + 1) * width);
            let target = &mut upper[column * width..];
            let entries = symbolic.column_start[column]..symbolic.column_start[column + 1];
            for (&row, &factor) in symbolic.column_rows[entries.clone()].iter().zip(&self.value[entries]) {
                let start = (row - column - 1) * width;
                for (target, value) in target.iter_mut().zip(&lower[start..start + width]) {
                    *target -= factor * value;
                }
            }
            let inverse = 1.0 / self.diagonal[column];
            target.iter_mut().for_each(|value| *value *= inverse);
        }
    }

    /// `v' (L L')⁻¹ v` for a vector that is `values` from position `start` on and zero elsewhere; `work` is all zeros before and after.
    ///
    /// The non-zeros of `L⁻¹ v` lie on one path of the elimination tree, since neighbours within `values` are coupled.
    pub(crate) fn inverse_form(
        &self,
        symbolic: &SymbolicCholesky,
        start: usize,
        values: &[f64],
        work: &mut [f64],
    ) -> f64 {
        work[start..start + values.len()].copy_from_slice(values);
        let mut node = start;
        let mut sum = 0.0;
        while node != usize::MAX {
            let value = work[node] / self.diagonal[node];
            work[node] = 0.0;
            sum += value * value;
            let entries = symbolic.column_start[node]..symbolic.column_start[node + 1];
            for (&row, &factor) in symbolic.column_rows[entries.clone()].iter().zip(&self.value[entries]) {
                work[row] -= factor * value;
            }
            node = symbolic.parent[node];
        }
        // Positions off the path belong to groups without rows: their part of L is the identity.
        for offset in 0..values.len() {
            sum += work[start + offset].powi(2);
            work[start + offset] = 0.0;
        }
        sum
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dense::{cholesky_in_place, inverse_from_cholesky};

    /// A pattern with fill: 0-2, 0-3, 1-3, 2-4 and a chain at the end.
    fn example() -> (SymmetricSparse, Vec<f64>) {
        let entries = [
            (0, 0, 4.0),
            (1, 1, 3.0),
            (2, 2, 5.0),
            (3, 3, 2.0),
            (4, 4, 6.0),
            (0, 2, 1.0),
            (0, 3, -1.0),
            (1, 3, 0.5),
            (2, 4, 2.0),
            (0, 2, 0.25),
        ];
        let scale = vec![1.0, 0.5, 2.0, 1.5, 0.0];
        (SymmetricSparse::from_contributions(5, entries.into_iter()), scale)
    }

    fn dense_factor(matrix: &SymmetricSparse, scale: &[f64]) -> Vec<f64> {
        let size = scale.len();
        let mut a = vec![0.0; size * size];
        for j in 0..size {
            a[j * size + j] = scale[j] * scale[j] * matrix.diagonal[j] + 1.0;
            for p in matrix.column_start[j]..matrix.column_start[j + 1] {
                a[j * size + matrix.row[p]] = scale[j] * scale[matrix.row[p]] * matrix.value[p];
            }
        }
        assert!(cholesky_in_place(&mut a, size));
        a
    }

    #[test]
    fn repeated_contributions_are_summed() {
        let (matrix, _) = example();
        assert_eq!(matrix.value, [1.25, -1.0, 0.5, 2.0]);
        assert_eq!(matrix.column_start, [0, 0, 0, 1, 3, 4]);
    }

    #[test]
    fn the_sparse_factor_agrees_with_the_dense_one() {
        let (matrix, scale) = example();
        let symbolic = SymbolicCholesky::new(&matrix);
        let mut numeric = NumericCholesky::new(&symbolic);
        // Twice, to see that nothing is left over from the first time.
        for _ in 0..2 {
            assert!(numeric.factor(&symbolic, &matrix, &scale));
        }
        let dense = dense_factor(&matrix, &scale);
        let log_determinant: f64 = (0..5).map(|i| 2.0 * dense[i * 5 + i].ln()).sum();
        assert!((numeric.log_determinant() - log_determinant).abs() < 1e-14);
        let inverse = inverse_from_cholesky(&dense, 5, 5);
        let mut work = vec![0.0; 5];
        for i in 0..5 {
            let diagonal = numeric.inverse_form(&symbolic, i, &[1.0], &mut work);
            assert!((diagonal - inverse[i * 5 + i]).abs() < 1e-15);
        }
        // Neighbours 2 and 3 are not coupled in the matrix but by fill; 3 and 4 by the chain.
        let form = numeric.inverse_form(&symbolic, 3, &[0.5, 2.0], &mut work);
        let expected = 0.25 * inverse[18] + 2.0 * inverse[19] + 4.0 * inverse[24];
        assert!((form - expected).abs() < 1e-15 && work == vec![0.0; 5]);
        let mut b = vec![1.0, 2.0, -1.0, 0.5, 3.0];
        let expected: Vec<f64> = (0..5).map(|i| (0..5).map(|j| inverse[i * 5 + j] * b[j]).sum()).collect();
        numeric.solve_lower(&symbolic, &mut b, 1);
        numeric.solve_lower_transpose(&symbolic, &mut b);
        for (found, expected) in b.iter().zip(&expected) {
            assert!((found - expected).abs() < 1e-15);
        }
        let columns = [vec![1.0, 2.0, -1.0, 0.5, 3.0], vec![0.0, -1.0, 4.0, 2.0, 0.25]];
        let mut block: Vec<f64> = (0..10).map(|at| columns[at % 2][at / 2]).collect();
        numeric.solve_lower_transpose_block(&symbolic, &mut block, 2);
        for (k, column) in columns.into_iter().enumerate() {
            let mut single = column;
            numeric.solve_lower_transpose(&symbolic, &mut single);
            (0..5).for_each(|i| assert!((block[2 * i + k] - single[i]).abs() < 1e-15));
        }
    }

    #[test]
    fn largest_factor_first_leaves_a_nested_design_without_fill() {
        // Six blocks in three fields: blocks 0..6 first, fields 6..9 last.
        let entries = (0..6).flat_map(|b| {
            let field = 6 + b / 2;
            [(b, b, 2.0), (b, field, 2.0), (field, field, 2.0)]
        });
        let matrix = SymmetricSparse::from_contributions(9, entries);
        assert_eq!(SymbolicCholesky::new(&matrix).fill(), matrix.row.len());
    }
}
