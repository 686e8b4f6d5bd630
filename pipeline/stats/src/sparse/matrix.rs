//! Symmetric sparse matrices, summed from contributions.

/// Symmetric matrix: diagonal, and the part above it by columns.
#[derive(Debug, Clone)]
pub(crate) struct SymmetricSparse {
    pub(crate) diagonal: Vec<f64>,
    /// Column `j` holds the entries `column_start[j]..column_start[j + 1]`, rows ascending and below `j`.
    pub(crate) column_start: Vec<usize>,
    pub(crate) row: Vec<usize>,
    pub(crate) value: Vec<f64>,
}

impl SymmetricSparse {
    /// Sums contributions `(row, column, value)`, each given once with row ≤ column.
    pub(crate) fn from_contributions(
        size: usize,
        contributions: impl Iterator<Item = (usize, usize, f64)> + Clone,
    ) -> Self {
        let mut diagonal = vec![0.0; size];
        let mut bucket_start = vec![0; size + 1];
        for (row, column, _) in contributions.clone() {
            if row != column {
                bucket_start[column + 1] += 1;
            }
        }
        for j in 0..size {
            bucket_start[j + 1] += bucket_start[j];
        }
        let mut bucket = vec![(0, 0.0); bucket_start[size]];
        let mut next = bucket_start.clone();
        for (row, column, value) in contributions {
            if row == column {
                diagonal[row] += value;
            } else {
                bucket[next[column]] = (row, value);
                next[column] += 1;
            }
        }
        let mut matrix = Self { diagonal, column_start: vec![0], row: Vec::new(), value: Vec::new() };
        let mut sum = vec![0.0; size];
        let mut seen = vec![usize::MAX; size];
        for column in 0..size {
            let mut rows = Vec::new();
            for &(row, value) in &bucket[bucket_start[column]..bucket_start[column + 1]] {
                if seen[row] != column {
                    seen[row] = column;
                    sum[row] = 0.0;
                    rows.push(row);
                }
                sum[row] += value;
            }
            rows.sort_unstable();
            for row in rows {
                matrix.row.push(row);
                matrix.value.push(sum[row]);
            }
            matrix.column_start.push(matrix.row.len());
        }
        matrix
    }
}
