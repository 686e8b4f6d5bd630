//! New effects and new levels for one random term.

use crate::design::RandomTerm;
use rand::Rng;
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// Adds new effects of one term to the response. A term with standard deviation zero draws too, so that streams stay in step.
pub(super) fn add_effects(response: &mut [f64], term: &RandomTerm, standard_deviation: f64, random: &mut ChaCha8Rng) {
    let effects: Vec<f64> =
        (0..term.n_groups).map(|_| standard_deviation * random.sample::<f64, _>(StandardNormal)).collect();
    for (i, value) in response.iter_mut().enumerate() {
        let z = term.covariate.as_ref().map_or(1.0, |covariate| covariate[i]);
        *value += z * effects[term.groups[i]];
    }
}

/// The term on resampled `rows`. With `copies` (the copy of its group that each row belongs to) every copy gets levels of its own.
pub(super) fn resampled_term(term: &RandomTerm, rows: &[usize], copies: Option<&[usize]>) -> RandomTerm {
    let codes: Vec<usize> = rows
        .iter()
        .enumerate()
        .map(|(i, &row)| copies.map_or(0, |copies| copies[i]) * term.n_groups + term.groups[row])
        .collect();
    let (groups, n_groups) = renumber(&codes);
    let covariate = term.covariate.as_ref().map(|values| rows.iter().map(|&row| values[row]).collect());
    RandomTerm { name: term.name.clone(), groups, n_groups, covariate }
}

/// True when every level of the term has its rows in one group.
pub(super) fn lies_inside(term: &RandomTerm, groups: &[usize]) -> bool {
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
