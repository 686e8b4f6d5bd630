//! Random effects of a fitted design seen from outside its fit: new draws, resampled levels.

use crate::random_term::RandomTerm;
use rand::Rng;
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// Adds new effects of one term, with covariance `sigma² factor factor'`, to the response. A term with standard deviation zero draws too,
/// so that random streams stay in step.
pub(crate) fn add_effects(
    response: &mut [f64],
    term: &RandomTerm,
    factor: &[f64],
    sigma: f64,
    random: &mut ChaCha8Rng,
) {
    let size = term.n_columns();
    let mut effects = Vec::with_capacity(term.n_groups * size);
    for _ in 0..term.n_groups {
        let noise: Vec<f64> = (0..size).map(|_| random.sample(StandardNormal)).collect();
        for row in factor.chunks_exact(size) {
            effects.push(sigma * row.iter().zip(&noise).map(|(f, z)| f * z).sum::<f64>());
        }
    }
    for (i, value) in response.iter_mut().enumerate() {
        let mine = &effects[term.groups[i] * size..];
        *value += term.columns.iter().zip(mine).map(|(column, effect)| column[i] * effect).sum::<f64>();
    }
}

/// The term on resampled `rows`. With `copies` (the copy of its group that each row belongs to) every copy gets levels of its own.
pub(crate) fn resampled_term(term: &RandomTerm, rows: &[usize], copies: Option<&[usize]>) -> RandomTerm {
    let codes: Vec<usize> = rows
        .iter()
        .enumerate()
        .map(|(i, &row)| copies.map_or(0, |copies| copies[i]) * term.n_groups + term.groups[row])
        .collect();
    let (groups, n_groups) = renumber(&codes);
    let columns = term.columns.iter().map(|values| rows.iter().map(|&row| values[row]).collect()).collect();
    RandomTerm { groups, n_groups, columns, ..term.clone() }
}

/// True when every level of the term has its rows in one group.
pub(crate) fn lies_inside(term: &RandomTerm, groups: &[usize]) -> bool {
    let mut home: Vec<Option<usize>> = vec![None; term.n_groups];
    term.groups.iter().zip(groups).all(|(&level, &group)| *home[level].get_or_insert(group) == group)
}

/// Codes from 0 without gaps, in the order of the old ones.
fn renumber(codes: &[usize]) -> (Vec<usize>, usize) {
    let mut used = codes.to_vec();
    used.sort_unstable();
    used.dedup();
    (codes.iter().map(|code| used.partition_point(|old| old < code)).collect(), used.len())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_group_drawn_twice_gets_levels_of_its_own_for_each_copy() {
        let term = RandomTerm::intercept("block", vec![0, 0, 1, 2, 2, 3], 4);
        let groups = [0, 0, 0, 1, 1, 1];
        assert!(lies_inside(&term, &groups));
        let again = resampled_term(&term, &[3, 4, 5, 3, 4, 5], Some(&[0, 0, 0, 1, 1, 1]));
        assert_eq!((again.groups, again.n_groups), (vec![0, 0, 1, 2, 2, 3], 4));
        let kept = resampled_term(&term, &[3, 4, 5, 3, 4, 5], None);
        assert_eq!((kept.groups, kept.n_groups), (vec![0, 0, 1, 0, 0, 1], 2));
        assert!(!lies_inside(&RandomTerm::intercept("row", vec![0, 1, 0, 0, 1, 0], 2), &groups));
    }
}
