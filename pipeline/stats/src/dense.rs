//! Small dense kernels: dot products, Cholesky, triangular solves, symmetric eigenvalues.
//!
//! Matrices are row-major slices. They are a few dozen rows at most (the number of fixed columns), except for the long
//! vectors given to [`dot`] and [`add_scaled`].

/// Inner product, in eight running sums so that it vectorises; the order of summation is fixed.
pub(crate) fn dot(a: &[f64], b: &[f64]) -> f64 {
    let mut sums = [0.0; 8];
    let mut blocks_a = a.chunks_exact(8);
    let mut blocks_b = b.chunks_exact(8);
    for (x, y) in blocks_a.by_ref().zip(blocks_b.by_ref()) {
        for lane in 0..8 {
            sums[lane] += x[lane] * y[lane];
        }
    }
    let tail: f64 = blocks_a.remainder().iter().zip(blocks_b.remainder()).map(|(x, y)| x * y).sum();
    (sums[0] + sums[4]) + (sums[1] + sums[5]) + (sums[2] + sums[6]) + (sums[3] + sums[7]) + tail
}

/// `target += factor * source`.
pub(crate) fn add_scaled(target: &mut [f64], factor: f64, source: &[f64]) {
    for (t, s) in target.iter_mut().zip(source) {
        *t += factor * s;
    }
}

/// Overwrites the lower triangle of the symmetric `a` (size × size) by its Cholesky factor; the upper triangle is left alone.
/// False when `a` is not positive definite (NaN included).
#[must_use]
pub(crate) fn cholesky_in_place(a: &mut [f64], size: usize) -> bool {
    for j in 0..size {
        let (done, rest) = a.split_at_mut((j + 1) * size);
        let row_j = &mut done[j * size..];
        let pivot = row_j[j] - row_j[..j].iter().map(|v| v * v).sum::<f64>();
        if !(pivot > 0.0 && pivot.is_finite()) {
            return false;
        }
        let pivot = pivot.sqrt();
        row_j[j] = pivot;
        for row_i in rest.chunks_exact_mut(size) {
            let mut value = row_i[j];
            for k in 0..j {
                value -= row_i[k] * row_j[k];
            }
            row_i[j] = value / pivot;
        }
    }
    true
}

/// Solves `L x = b` in place; `lower` has the given row `stride`, the system has `b.len()` unknowns.
pub(crate) fn solve_lower(lower: &[f64], stride: usize, b: &mut [f64]) {
    for i in 0..b.len() {
        let row = &lower[i * stride..i * stride + i + 1];
        let mut value = b[i];
        for k in 0..i {
            value -= row[k] * b[k];
        }
        b[i] = value / row[i];
    }
}

/// Solves `L' x = b` in place.
pub(crate) fn solve_lower_transpose(lower: &[f64], stride: usize, b: &mut [f64]) {
    for i in (0..b.len()).rev() {
        let value = b[i] / lower[i * stride + i];
        b[i] = value;
        for k in 0..i {
            b[k] -= lower[i * stride + k] * value;
        }
    }
}

/// Solves `R x = b` in place for upper triangular `upper` with row stride `b.len()`.
pub(crate) fn solve_upper(upper: &[f64], b: &mut [f64]) {
    let size = b.len();
    for i in (0..size).rev() {
        let row = &upper[i * size..(i + 1) * size];
        let mut value = b[i];
        for k in i + 1..size {
            value -= row[k] * b[k];
        }
        b[i] = value / row[i];
    }
}

/// Solves `R' x = b` in place.
pub(crate) fn solve_upper_transpose(upper: &[f64], b: &mut [f64]) {
    let size = b.len();
    for i in 0..size {
        let value = b[i] / upper[i * size + i];
        b[i] = value;
        for k in i + 1..size {
            b[k] -= upper[i * size + k] * value;
        }
    }
}

/// Inverse of `L L'` from its factor, as a full symmetric matrix.
pub(crate) fn inverse_from_cholesky(lower: &[f64], stride: usize, size: usize) -> Vec<f64> {
    let mut inverse = vec![0.0; size * size];
    let mut column = vec![0.0; size];
    for j in 0..size {
        column.fill(0.0);
        column[j] = 1.0;
        solve_lower(lower, stride, &mut column);
        solve_lower_transpose(lower, stride, &mut column);
        for i in 0..size {
            inverse[i * size + j] = column[i];
        }
    }
    for i in 0..size {
        for j in 0..i {
            let middle = 0.5 * (inverse[i * size + j] + inverse[j * size + i]);
            inverse[i * size + j] = middle;
            inverse[j * size + i] = middle;
        }
    }
    inverse
}

/// Value of the quadratic form `v' A v`.
pub(crate) fn quadratic_form(a: &[f64], v: &[f64]) -> f64 {
    let size = v.len();
    (0..size).map(|i| v[i] * dot(&a[i * size..(i + 1) * size], v)).sum()
}

/// Product of two square matrices.
pub(crate) fn product(a: &[f64], b: &[f64], size: usize) -> Vec<f64> {
    let mut result = vec![0.0; size * size];
    for i in 0..size {
        for k in 0..size {
            let value = a[i * size + k];
            for j in 0..size {
                result[i * size + j] += value * b[k * size + j];
            }
        }
    }
    result
}

/// `tr(AB)`.
pub(crate) fn trace_of_product(a: &[f64], b: &[f64], size: usize) -> f64 {
    (0..size * size).map(|at| a[at] * b[at % size * size + at / size]).sum()
}

/// `R A R'` for the rows R.
pub(crate) fn form(a: &[f64], rows: &[Vec<f64>]) -> Vec<f64> {
    let (size, width) = (rows.len(), rows[0].len());
    let images: Vec<Vec<f64>> =
        rows.iter().map(|row| (0..width).map(|k| dot(&a[k * width..(k + 1) * width], row)).collect()).collect();
    (0..size * size).map(|at| dot(&rows[at / size], &images[at % size])).collect()
}

/// Inverse of a symmetric positive definite matrix, its diagonal scaled to one first; `None` where it is singular to about seven digits.
pub(crate) fn equilibrated_inverse(mut matrix: Vec<f64>, size: usize) -> Option<Vec<f64>> {
    let scale: Vec<f64> = (0..size).map(|k| matrix[k * size + k].sqrt().recip()).collect();
    (0..size * size).for_each(|at| matrix[at] *= scale[at / size] * scale[at % size]);
    if !cholesky_in_place(&mut matrix, size) || (0..size).any(|k| matrix[k * size + k] < 1e-7) {
        return None;
    }
    let mut inverse = inverse_from_cholesky(&matrix, size, size);
    (0..size * size).for_each(|at| inverse[at] *= scale[at / size] * scale[at % size]);
    Some(inverse)
}

/// Eigenvalues and eigenvectors of a symmetric matrix, largest value first.
pub(crate) struct SymmetricEigen {
    pub(crate) values: Vec<f64>,
    /// `vectors[k]` belongs to `values[k]` and has length one.
    pub(crate) vectors: Vec<Vec<f64>>,
}

/// Cyclic Jacobi rotations: slow for large matrices, very accurate for the handful of rows it is used on.
pub(crate) fn symmetric_eigen(matrix: &[f64], size: usize) -> SymmetricEigen {
    let mut a = matrix.to_vec();
    let mut v = vec![0.0; size * size];
    for i in 0..size {
        v[i * size + i] = 1.0;
    }
    // Convergence is quadratic; ten sweeps are plenty, the limit only guards against NaN.
    for _ in 0..60 {
        let off: f64 = (0..size).flat_map(|i| (0..i).map(move |j| (i, j))).map(|(i, j)| a[i * size + j].powi(2)).sum();
        let total: f64 = a.iter().map(|x| x * x).sum();
        if !(off > 1e-32 * total) {
            break;
        }
        for row in 0..size {
            for col in row + 1..size {
                rotate(&mut a, &mut v, size, row, col);
            }
        }
    }
    let mut order: Vec<usize> = (0..size).collect();
    order.sort_by(|&i, &j| a[j * size + j].total_cmp(&a[i * size + i]));
    SymmetricEigen {
        values: order.iter().map(|&k| a[k * size + k]).collect(),
        vectors: order.iter().map(|&k| (0..size).map(|i| v[i * size + k]).collect()).collect(),
    }
}

/// One Jacobi rotation that clears the element (row, col).
fn rotate(a: &mut [f64], v: &mut [f64], size: usize, row: usize, col: usize) {
    let off = a[row * size + col];
    if off == 0.0 {
        return;
    }
    let tau = (a[col * size + col] - a[row * size + row]) / (2.0 * off);
    let tangent = tau.signum() / (tau.abs() + (1.0 + tau * tau).sqrt());
    let cosine = 1.0 / (1.0 + tangent * tangent).sqrt();
    let sine = tangent * cosine;
    for k in 0..size {
        let (x, y) = (a[k * size + row], a[k * size + col]);
        a[k * size + row] = cosine * x - sine * y;
        a[k * size + col] = sine * x + cosine * y;
    }
    for k in 0..size {
        let (x, y) = (a[row * size + k], a[col * size + k]);
        a[row * size + k] = cosine * x - sine * y;
        a[col * size + k] = sine * x + cosine * y;
    }
    for k in 0..size {
        let (x, y) = (v[k * size + row], v[k * size + col]);
        v[k * size + row] = cosine * x - sine * y;
        v[k * size + col] = sine * x + cosine * y;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cholesky_of_a_small_matrix_is_the_one_worked_by_hand() {
        // [4 2; 2 5] = [2 0; 1 2] [2 1; 0 2]
        let mut a = vec![4.0, 2.0, 2.0, 5.0];
        assert!(cholesky_in_place(&mut a, 2));
        assert_eq!((a[0], a[2], a[3]), (2.0, 1.0, 2.0));
        let inverse = inverse_from_cholesky(&a, 2, 2);
        for (found, expected) in inverse.iter().zip([5.0 / 16.0, -2.0 / 16.0, -2.0 / 16.0, 4.0 / 16.0]) {
            assert!((found - expected).abs() < 1e-16);
        }
    }

    #[test]
    fn an_indefinite_or_undefined_matrix_is_refused() {
        assert!(!cholesky_in_place(&mut [1.0, 2.0, 2.0, 1.0], 2));
        assert!(!cholesky_in_place(&mut [f64::NAN], 1));
    }

    #[test]
    fn triangular_solves_undo_the_products() {
        let upper = [2.0, -1.0, 3.0, 0.0, 4.0, 0.5, 0.0, 0.0, 8.0];
        let x = [1.0, -2.0, 3.0];
        let mut b: Vec<f64> = (0..3).map(|i| dot(&upper[i * 3..i * 3 + 3], &x)).collect();
        solve_upper(&upper, &mut b);
        assert_eq!(b, x);
        let mut c: Vec<f64> = (0..3).map(|j| (0..3).map(|i| upper[i * 3 + j] * x[i]).sum()).collect();
        solve_upper_transpose(&upper, &mut c);
        assert_eq!(c, x);
    }

    #[test]
    fn eigenvalues_of_a_two_by_two_matrix_are_known() {
        let eigen = symmetric_eigen(&[2.0, 1.0, 1.0, 2.0], 2);
        assert!((eigen.values[0] - 3.0).abs() < 1e-15);
        assert!((eigen.values[1] - 1.0).abs() < 1e-15);
        assert!((eigen.vectors[0][0].abs() - 0.5f64.sqrt()).abs() < 1e-15);
    }

    #[test]
    fn the_blocked_inner_product_equals_the_plain_sum() {
        let a: Vec<f64> = (0..19).map(f64::from).collect();
        assert_eq!(dot(&a, &a), 18.0 * 19.0 * 37.0 / 6.0);
    }
}
