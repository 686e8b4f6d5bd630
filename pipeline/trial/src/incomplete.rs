//! Which settings stand together where a block holds fewer strips than there are settings.

use rand::Rng;
use rand::seq::SliceRandom;
use rand_chacha::ChaCha8Rng;

/// Random beginnings from which settings are exchanged.
const STARTS: usize = 40;
/// Exchanges without a gain before a beginning is given up.
const MOST_IDLE: usize = 400;

/// Settings of each block: every setting equally often, give or take one, and every two settings together as equally often as can be found.
///
/// From random beginnings, settings of two blocks are exchanged while that makes the numbers of meetings more equal (their sum of squares smaller:
/// an (M, S)-optimal design, Eccleston & Hedayat 1974, cited from memory); the best of [`STARTS`] is taken. `None` where all blocks
/// together do not connect the settings, or a block is larger than the number of settings.
pub fn block_contents(levels: usize, blocks: usize, size: usize, random: &mut ChaCha8Rng) -> Option<Vec<Vec<usize>>> {
    if size < 2 || size > levels || blocks * size < levels + blocks - 1 {
        return None;
    }
    let mut best: Option<(usize, Vec<Vec<usize>>)> = None;
    let least = fewest_squares(levels, blocks, size);
    for _ in 0..STARTS {
        let mut design = beginning(levels, blocks, size, random);
        let mut unevenness = sum_of_squares(&design, levels);
        let mut idle = 0;
        while idle < MOST_IDLE && unevenness > least {
            let (a, b) = (random.random_range(0..blocks), random.random_range(0..blocks));
            let (i, j) = (random.random_range(0..size), random.random_range(0..size));
            let (x, y) = (design[a][i], design[b][j]);
            idle += 1;
            if a == b || x == y || design[a].contains(&y) || design[b].contains(&x) {
                continue;
            }
            design[a][i] = y;
            design[b][j] = x;
            let after = sum_of_squares(&design, levels);
            if after < unevenness {
                idle = 0;
            }
            if after <= unevenness {
                unevenness = after;
            } else {
                design[a][i] = x;
                design[b][j] = y;
            }
        }
        if connected(&design, levels) && best.as_ref().is_none_or(|(found, _)| unevenness < *found) {
            best = Some((unevenness, design));
            if unevenness == least {
                break;
            }
        }
    }
    best.map(|(_, design)| design)
}

/// Fills blocks one after another with the settings that were used least, in random order.
fn beginning(levels: usize, blocks: usize, size: usize, random: &mut ChaCha8Rng) -> Vec<Vec<usize>> {
    let mut used = vec![0usize; levels];
    (0..blocks)
        .map(|_| {
            let mut candidates: Vec<usize> = (0..levels).collect();
            candidates.shuffle(random);
            candidates.sort_by_key(|level| used[*level]);
            candidates.truncate(size);
            candidates.iter().for_each(|level| used[*level] += 1);
            candidates
        })
        .collect()
}

/// How often any two settings stand in one block, at `first * levels + second`.
pub(crate) fn meetings(design: &[Vec<usize>], levels: usize) -> Vec<usize> {
    let mut together = vec![0usize; levels * levels];
    for block in design {
        for first in block {
            for second in block {
                together[first * levels + second] += 1;
            }
        }
    }
    together
}

/// What [`sum_of_squares`] is at the least: replicates and meetings as equal as whole numbers can be.
fn fewest_squares(levels: usize, blocks: usize, size: usize) -> usize {
    let even = |total: usize, parts: usize| {
        let (each, more) = (total / parts, total % parts);
        (parts - more) * each * each + more * (each + 1) * (each + 1)
    };
    // Every pair is counted in both orders.
    even(blocks * size, levels) + 2 * even(blocks * size * (size - 1) / 2, levels * (levels - 1) / 2)
}

fn sum_of_squares(design: &[Vec<usize>], levels: usize) -> usize {
    meetings(design, levels).into_iter().map(|number| number * number).sum()
}

/// Whether every setting can be compared with every other one, through others if need be.
pub(crate) fn connected(design: &[Vec<usize>], levels: usize) -> bool {
    let together = meetings(design, levels);
    let mut reached = vec![false; levels];
    let mut waiting = vec![0];
    while let Some(level) = waiting.pop() {
        if std::mem::replace(&mut reached[level], true) {
            continue;
        }
        waiting.extend((0..levels).filter(|other| together[level * levels + other] > 0));
    }
    reached.into_iter().all(|level| level)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;

    fn contents(levels: usize, blocks: usize, size: usize, seed: u64) -> Vec<Vec<usize>> {
        block_contents(levels, blocks, size, &mut ChaCha8Rng::seed_from_u64(seed)).unwrap()
    }

    #[test]
    fn balanced_designs_are_found_where_they_exist() {
        // Settings, blocks, strips a block, meetings of a pair: from the numbers of Fisher & Yates's table of balanced incomplete blocks (from memory),
        // which follow from r (k - 1) / (t - 1).
        for (levels, blocks, size, pair) in [
            (3, 3, 2, 1),
            (4, 6, 2, 1),
            (4, 4, 3, 2),
            (5, 5, 4, 3),
            (5, 10, 3, 3),
            (6, 10, 3, 2),
            (7, 7, 3, 1),
            (7, 7, 4, 2),
        ] {
            let design = contents(levels, blocks, size, 3);
            let together = meetings(&design, levels);
            for first in 0..levels {
                assert_eq!(together[first * levels + first], blocks * size / levels, "equally often");
                for second in 0..first {
                    assert_eq!(
                        together[first * levels + second],
                        pair,
                        "{levels} settings in {blocks} blocks of {size}: {design:?}"
                    );
                }
            }
        }
    }

    #[test]
    fn designs_are_connected_and_nearly_balanced_for_any_seed() {
        for seed in 0..300 {
            for (levels, blocks, size) in [(6, 4, 4), (5, 4, 3), (8, 6, 4), (6, 5, 3)] {
                let design = contents(levels, blocks, size, seed);
                assert!(connected(&design, levels));
                let together = meetings(&design, levels);
                let own: Vec<usize> = (0..levels).map(|level| together[level * levels + level]).collect();
                assert!(own.iter().max().unwrap() - own.iter().min().unwrap() <= 1, "{design:?}");
                for block in &design {
                    let mut sorted = block.clone();
                    sorted.sort_unstable();
                    sorted.dedup();
                    assert_eq!(sorted.len(), size, "no setting twice in a block");
                }
                let others: Vec<usize> = (0..levels)
                    .flat_map(|first| (0..first).map(move |second| first * levels + second))
                    .map(|at| together[at])
                    .collect();
                assert!(others.iter().max().unwrap() - others.iter().min().unwrap() <= 2, "{design:?}");
            }
        }
    }

    #[test]
    fn what_cannot_be_connected_is_not_made() {
        let mut random = ChaCha8Rng::seed_from_u64(1);
        assert_eq!(block_contents(6, 2, 3, &mut random), None);
        assert_eq!(block_contents(3, 4, 4, &mut random), None);
        assert_eq!(block_contents(4, 9, 1, &mut random), None);
        assert!(!connected(&[vec![0, 1], vec![2, 3]], 4));
    }
}
