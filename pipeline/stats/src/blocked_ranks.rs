//! Rank association of two things inside blocks, judged by all orders that the blocks could have had.

/// Work in additions up to which the distribution of one block is taken exactly.
const EXACT_WORK: f64 = 5e7;

/// How two rankings go together inside blocks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RankAssociation {
    /// Pooled rank correlation inside blocks, −1 to 1.
    pub correlation: f64,
    /// Two-sided p value when every order inside every block is equally likely.
    pub p_value: f64,
    /// Whether the p value counts all orders; else it is the normal approximation with the exact variance.
    pub exact: bool,
}

/// Ranks of both members of the pairs of one block.
type RankedBlock = (Vec<usize>, Vec<usize>);

/// Rank association of pairs inside blocks (Spearman's, summed over blocks, ties as mid-ranks).
///
/// The statistic is the sum over blocks of the products of ranks. Its distribution is that of shuffling the first member of the pairs
/// inside each block, counted exactly block by block and folded together; blocks too large to count make the whole a normal
/// approximation. `None` where no block has two values of both, or a value is not finite.
pub fn blocked_rank_association(blocks: &[Vec<(f64, f64)>]) -> Option<RankAssociation> {
    if blocks.iter().flatten().any(|pair| !pair.0.is_finite() || !pair.1.is_finite()) {
        return None;
    }
    let ranked: Vec<RankedBlock> = blocks
        .iter()
        .map(|block| (whole_ranks(block.iter().map(|pair| pair.0)), whole_ranks(block.iter().map(|pair| pair.1))))
        .filter(|(first, second)| spread(first) > 0.0 && spread(second) > 0.0)
        .collect();
    if ranked.is_empty() {
        return None;
    }
    let product = |(first, second): &RankedBlock| {
        first.iter().zip(second).map(|(a, b)| (a * b) as f64).sum::<f64>() - expected(first, second)
    };
    let observed: f64 = ranked.iter().map(product).sum();
    let scale = |which: &dyn Fn(&RankedBlock) -> f64| ranked.iter().map(which).sum::<f64>();
    let correlation = observed / (scale(&|block| spread(&block.0)) * scale(&|block| spread(&block.1))).sqrt();
    let exact = ranked.iter().map(|(first, second)| distribution(first, second)).collect::<Option<Vec<_>>>();
    let p_value = match &exact {
        Some(each) => {
            let together = each.iter().skip(1).fold(each[0].clone(), |sum, next| folded(&sum, next));
            let centre: f64 = ranked.iter().map(|(first, second)| expected(first, second)).sum();
            let as_far = |total: usize| (total as f64 - centre).abs() >= observed.abs() - 1e-6;
            let far: f64 =
                together.iter().enumerate().filter(|(total, _)| as_far(*total)).map(|(_, share)| share).sum();
            far.min(1.0)
        }
        None => {
            let variance = scale(&|(first, second)| spread(first) * spread(second) / (first.len() - 1) as f64);
            libm::erfc(observed.abs() / (2.0 * variance).sqrt())
        }
    };
    Some(RankAssociation { correlation, p_value, exact: exact.is_some() })
}

/// Mid-ranks from 0 in the coarsest whole steps: as they only shift and scale the statistic, the fewer sums there are to count, the better.
fn whole_ranks(values: impl Iterator<Item = f64>) -> Vec<usize> {
    let values: Vec<f64> = values.collect();
    let count = |holds: &dyn Fn(f64) -> bool| values.iter().filter(|other| holds(**other)).count();
    let doubled: Vec<usize> =
        values.iter().map(|value| 2 * count(&|other| other < *value) + count(&|other| other == *value)).collect();
    let lowest = doubled.iter().copied().min().unwrap_or(0);
    let step = doubled.iter().fold(0, |step, rank| common_divisor(step, rank - lowest)).max(1);
    doubled.into_iter().map(|rank| (rank - lowest) / step).collect()
}

fn common_divisor(a: usize, b: usize) -> usize {
    if b == 0 { a } else { common_divisor(b, a % b) }
}

fn expected(first: &[usize], second: &[usize]) -> f64 {
    (first.iter().sum::<usize>() * second.iter().sum::<usize>()) as f64 / first.len() as f64
}

/// Sum of squares about the mean.
fn spread(ranks: &[usize]) -> f64 {
    ranks.iter().map(|rank| (rank * rank) as f64).sum::<f64>() - expected(ranks, ranks)
}

/// Probability of every sum of products when `first` is shuffled over `second`; `None` where that is too much work.
///
/// Places are filled one by one. What matters of the places filled is only how many of each rank are used up.
fn distribution(first: &[usize], second: &[usize]) -> Option<Vec<f64>> {
    let mut ranks = first.to_vec();
    ranks.sort_unstable();
    ranks.dedup();
    let available: Vec<usize> = ranks.iter().map(|rank| first.iter().filter(|other| *other == rank).count()).collect();
    let states: f64 = available.iter().map(|count| (count + 1) as f64).product();
    let mut sorted = (first.to_vec(), second.to_vec());
    sorted.0.sort_unstable();
    sorted.1.sort_unstable();
    let largest: usize = sorted.0.iter().zip(&sorted.1).map(|(a, b)| a * b).sum();
    if states * largest as f64 * ranks.len() as f64 > EXACT_WORK {
        return None;
    }
    // Mixed-radix code of the counts used: the digit of rank r is worth the product of (count + 1) of the ranks before it.
    let worth: Vec<usize> = available
        .iter()
        .scan(1, |worth, count| {
            let own = *worth;
            *worth *= count + 1;
            Some(own)
        })
        .collect();
    let used = |state: usize, rank: usize| state / worth[rank] % (available[rank] + 1);
    let mut sums: Vec<Vec<f64>> = vec![Vec::new(); states as usize];
    sums[0] = vec![1.0];
    for state in 0..states as usize {
        let filled: usize = (0..ranks.len()).map(|rank| used(state, rank)).sum();
        if filled == second.len() {
            return Some(std::mem::take(&mut sums[state]));
        }
        let here = std::mem::take(&mut sums[state]);
        let left = (second.len() - filled) as f64;
        for rank in 0..ranks.len() {
            let free = available[rank] - used(state, rank);
            if free == 0 {
                continue;
            }
            let step = ranks[rank] * second[filled];
            let next = &mut sums[state + worth[rank]];
            if next.len() < here.len() + step {
                next.resize(here.len() + step, 0.0);
            }
            here.iter().enumerate().for_each(|(sum, share)| next[sum + step] += share * free as f64 / left);
        }
    }
    None
}

/// Distribution of the sum of two independent whole numbers.
fn folded(one: &[f64], other: &[f64]) -> Vec<f64> {
    let mut sum = vec![0.0; one.len() + other.len() - 1];
    for (a, p) in one.iter().enumerate().filter(|(_, p)| **p > 0.0) {
        other.iter().enumerate().for_each(|(b, q)| sum[a + b] += p * q);
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    fn block(first: &[f64]) -> Vec<(f64, f64)> {
        first.iter().enumerate().map(|(place, value)| (*value, place as f64)).collect()
    }

    /// All orders of all blocks, one by one.
    fn by_enumeration(blocks: &[Vec<(f64, f64)>]) -> f64 {
        fn orders(values: Vec<f64>) -> Vec<Vec<f64>> {
            if values.len() < 2 {
                return vec![values];
            }
            (0..values.len())
                .flat_map(|index| {
                    let mut rest = values.clone();
                    let head = rest.remove(index);
                    orders(rest).into_iter().map(move |tail| [vec![head], tail].concat())
                })
                .collect()
        }
        let deviation = |first: &[f64], second: &[f64]| {
            let (a, b) = (whole_ranks(first.iter().copied()), whole_ranks(second.iter().copied()));
            a.iter().zip(&b).map(|(a, b)| (a * b) as f64).sum::<f64>() - expected(&a, &b)
        };
        let mut totals = vec![0.0];
        let mut observed = 0.0;
        for block in blocks {
            let (first, second): (Vec<f64>, Vec<f64>) = block.iter().copied().unzip();
            observed += deviation(&first, &second);
            let own: Vec<f64> = orders(first).iter().map(|order| deviation(order, &second)).collect();
            totals = totals.iter().flat_map(|total| own.iter().map(move |deviation| total + deviation)).collect();
        }
        totals.iter().filter(|total| total.abs() >= f64::abs(observed) - 1e-6).count() as f64 / totals.len() as f64
    }

    #[test]
    fn the_exact_p_value_is_that_of_counting_all_orders_with_ties_and_unequal_blocks() {
        let cases = [
            vec![block(&[1.0, 2.0, 3.0, 4.0]), block(&[2.0, 1.0, 3.0, 4.0])],
            vec![block(&[1.0, 1.0, 3.0, 2.0]), block(&[5.0, 1.0, 2.0])],
            vec![block(&[3.0, 1.0, 2.0, 5.0, 4.0])],
            vec![vec![(1.0, 0.0), (2.0, 0.0), (3.0, 1.0)], block(&[2.0, 2.0, 1.0, 1.0])],
        ];
        for blocks in cases {
            let found = blocked_rank_association(&blocks).unwrap();
            assert!(found.exact);
            assert!((found.p_value - by_enumeration(&blocks)).abs() < 1e-12, "{blocks:?}");
        }
    }

    #[test]
    fn settings_that_rise_with_the_place_in_every_block_have_correlation_one_and_two_orders_as_extreme() {
        let found = blocked_rank_association(&[block(&[1.0, 2.0, 3.0, 4.0]), block(&[7.0, 8.0, 9.0, 10.0])]).unwrap();
        assert!((found.correlation - 1.0).abs() < 1e-12);
        assert!((found.p_value - 2.0 / 576.0).abs() < 1e-12);
    }

    #[test]
    fn large_blocks_are_judged_by_the_normal_approximation_which_agrees_with_the_exact_one() {
        let shuffled = |size: usize| (0..size).map(|place| ((place * 7) % size + place / 4) as f64).collect::<Vec<_>>();
        let exact = blocked_rank_association(&vec![block(&shuffled(9)); 4]).unwrap();
        assert!(exact.exact);
        let large = blocked_rank_association(&[block(&shuffled(40))]).unwrap();
        assert!(!large.exact && large.p_value > 0.0 && large.p_value < 1.0);
        let ranked = whole_ranks(shuffled(9).into_iter());
        let places = whole_ranks((0..9).map(f64::from));
        let deviation =
            4.0 * (ranked.iter().zip(&places).map(|(a, b)| (a * b) as f64).sum::<f64>() - expected(&ranked, &places));
        let variance = 4.0 * spread(&ranked) * spread(&places) / 8.0;
        let normal = libm::erfc(deviation.abs() / (2.0 * variance).sqrt());
        assert!((normal - exact.p_value).abs() < 0.02, "{normal} {}", exact.p_value);
    }

    #[test]
    fn one_setting_or_one_place_says_nothing() {
        assert_eq!(blocked_rank_association(&[block(&[1.0, 1.0, 1.0])]), None);
        assert_eq!(blocked_rank_association(&[]), None);
        assert_eq!(blocked_rank_association(&[vec![(f64::NAN, 1.0), (1.0, 2.0)]]), None);
    }
}
