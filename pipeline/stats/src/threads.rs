//! Work on many rows, on all threads. What comes out does not depend on their number: every piece is worked out by itself, in the same order of sums.

use rayon::prelude::*;

/// From so many rows on a second thread is worth waking.
const MANY_ROWS: usize = 4096;

/// Both answers, at the same time where there are many `rows`.
pub(crate) fn both<A: Send, B: Send>(
    rows: usize,
    first: impl FnOnce() -> A + Send,
    second: impl FnOnce() -> B + Send,
) -> (A, B) {
    if rows >= MANY_ROWS { rayon::join(first, second) } else { (first(), second()) }
}

/// Hands every `size` of `values` to `work` with the number of the piece; several at a time where there are many `rows`.
pub(crate) fn each_chunk(values: &mut [f64], size: usize, rows: usize, work: impl Fn(usize, &mut [f64]) + Send + Sync) {
    let size = size.max(1);
    if rows >= MANY_ROWS {
        values.par_chunks_mut(size).enumerate().for_each(|(number, piece)| work(number, piece));
    } else {
        values.chunks_mut(size).enumerate().for_each(|(number, piece)| work(number, piece));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pieces_are_numbered_alike_with_few_rows_and_with_many() {
        for rows in [1, MANY_ROWS] {
            let mut values = vec![0.0; 10];
            each_chunk(&mut values, 4, rows, |number, piece| piece.fill(number as f64));
            assert_eq!(values, [0.0, 0.0, 0.0, 0.0, 1.0, 1.0, 1.0, 1.0, 2.0, 2.0]);
            assert_eq!(both(rows, || 1, || "two"), (1, "two"));
        }
    }
}
