//! Orders of settings in blocks, drawn at random among those in which no setting keeps to one side, one place or one neighbour.
//!
//! Every draw shuffles each block; a layout that breaks a limit of [`OrderLimits`] is thrown away and all blocks are shuffled again, so
//! every allowed layout is equally likely. Limits are wide: what they take away are layouts a person would throw away as well
//! (restricted randomisation, Yates 1948; Grundy & Healy 1950, both cited from memory).

use rand::seq::SliceRandom;
use rand_chacha::ChaCha8Rng;

/// Shuffles until a layout is allowed; after so many the best one is taken.
const MOST_DRAWS: usize = 200_000;
/// Largest correlation of settings with their place inside blocks.
const MOST_TREND: f64 = 0.34;
/// Farthest that a setting's mean place may lie from the middle of the block, as a share of half a block.
const MOST_ONE_SIDED: f64 = 0.7;

/// What is measured of an order. Places are counted inside blocks, neighbours across their borders, too.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OrderCheck {
    /// Most blocks in which one setting stands at one place.
    pub most_at_one_place: usize,
    /// Neighbouring strips with one setting.
    pub same_neighbours: usize,
    /// Most often that two settings are neighbours.
    pub most_one_pair: usize,
    /// Absolute correlation of settings (by rank) with their place, both less their mean in the block.
    pub trend: f64,
    /// Largest distance of a setting's mean place from the middle of the block, as a share of half a block.
    pub one_sided: f64,
    /// Blocks whose settings only rise or only fall.
    pub sorted_blocks: usize,
    /// Pairs of blocks with one order.
    pub same_orders: usize,
    /// Whether both outermost strips have one setting.
    pub same_ends: bool,
}

/// What is allowed of an order.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OrderLimits {
    /// Most of each number of an [`OrderCheck`]; `same_ends` says whether it may be.
    pub most: OrderCheck,
}

impl OrderCheck {
    /// Measures an order of settings `0..levels` in blocks.
    pub fn of(blocks: &[Vec<usize>], levels: usize) -> Self {
        let size = blocks.iter().map(Vec::len).max().unwrap_or(0);
        let mut at_place = vec![0usize; levels * size];
        let mut places = vec![(0.0, 0usize); levels];
        let (mut cross, mut level_squares, mut place_squares) = (0.0, 0.0, 0.0);
        let mut sorted_blocks = 0;
        for block in blocks {
            let middle = (block.len() as f64 - 1.0) / 2.0;
            let mean = block.iter().sum::<usize>() as f64 / block.len() as f64;
            for (place, &level) in block.iter().enumerate() {
                at_place[level * size + place] += 1;
                let (from_middle, from_mean) = (place as f64 - middle, level as f64 - mean);
                places[level].0 += from_middle / middle.max(0.5);
                places[level].1 += 1;
                cross += from_middle * from_mean;
                level_squares += from_mean * from_mean;
                place_squares += from_middle * from_middle;
            }
            let steps = || block.windows(2).map(|pair| pair[1].cmp(&pair[0]));
            sorted_blocks +=
                usize::from(steps().all(std::cmp::Ordering::is_gt) || steps().all(std::cmp::Ordering::is_lt));
        }
        let in_order: Vec<usize> = blocks.iter().flatten().copied().collect();
        let mut pairs = vec![0usize; levels * levels];
        for pair in in_order.windows(2) {
            pairs[pair[0].min(pair[1]) * levels + pair[0].max(pair[1])] += 1;
        }
        let same_neighbours = (0..levels).map(|level| pairs[level * levels + level]).sum();
        (0..levels).for_each(|level| pairs[level * levels + level] = 0);
        let same_orders = (0..blocks.len())
            .map(|block| blocks[..block].iter().filter(|earlier| **earlier == blocks[block]).count())
            .sum();
        let scale = (level_squares * place_squares).sqrt();
        Self {
            most_at_one_place: at_place.into_iter().max().unwrap_or(0),
            same_neighbours,
            most_one_pair: pairs.into_iter().max().unwrap_or(0),
            trend: if scale > 0.0 { (cross / scale).abs() } else { 0.0 },
            one_sided: places
                .iter()
                .filter(|(_, number)| *number > 0)
                .map(|(sum, number)| (sum / *number as f64).abs())
                .fold(0.0, f64::max),
            sorted_blocks,
            same_orders,
            same_ends: in_order.len() > 1 && in_order.first() == in_order.last(),
        }
    }

    /// How many limits are broken.
    pub fn broken(&self, limits: &OrderLimits) -> usize {
        let most = &limits.most;
        [
            self.most_at_one_place > most.most_at_one_place,
            self.same_neighbours > most.same_neighbours,
            self.most_one_pair > most.most_one_pair,
            self.trend > most.trend + 1e-9,
            self.one_sided > most.one_sided + 1e-9,
            self.sorted_blocks > most.sorted_blocks,
            self.same_orders > most.same_orders,
            self.same_ends && !most.same_ends,
        ]
        .into_iter()
        .filter(|broken| *broken)
        .count()
    }
}

impl OrderLimits {
    /// Limits for `levels` settings in blocks of these sizes (strips in each).
    ///
    /// A setting stands at one place at most twice as often as on average, and never in every block; two settings are neighbours at most
    /// twice as often as on average; settings rise or fall with the place hardly at all. Two settings are evened out exactly, as far as the
    /// number of blocks is even, and may meet themselves across the border of a block, which cannot be avoided then.
    pub fn of(levels: usize, sizes: &[usize]) -> Self {
        let blocks = sizes.len();
        let strips: usize = sizes.iter().sum();
        let size = sizes.iter().copied().max().unwrap_or(1);
        let two = levels == 2;
        let average = strips as f64 / (levels * size) as f64;
        let at_place = match (two, blocks) {
            (true, _) => blocks.div_ceil(2),
            (false, 0..=2) => 1,
            (false, _) => ((2.0 * average).ceil() as usize).clamp(2, blocks - 1),
        };
        let pairs = levels * (levels - 1) / 2;
        let neighbours = 2.0 * strips.saturating_sub(1) as f64 / pairs.max(1) as f64;
        // With few settings to a block there are few orders to choose from.
        let few = size < 4;
        let orders: usize = (2..=size.min(6)).product();
        Self {
            most: OrderCheck {
                most_at_one_place: at_place,
                same_neighbours: if two { blocks - 1 } else { 0 },
                most_one_pair: neighbours.ceil() as usize,
                trend: if few { MOST_TREND.max(1.0 / blocks as f64) } else { MOST_TREND },
                one_sided: if size == 2 { 1.0 } else { MOST_ONE_SIDED },
                sorted_blocks: if size == 2 {
                    blocks
                } else if few {
                    blocks.div_ceil(2)
                } else {
                    0
                },
                same_orders: if few { blocks * blocks.div_ceil(orders) } else { 0 },
                // Three settings in two blocks leave no other order.
                same_ends: two || strips <= 6,
            },
        }
    }
}

/// Blocks in a random order of their settings, and how many limits it breaks: none, unless there is no other order.
pub fn draw_orders(contents: &[Vec<usize>], levels: usize, random: &mut ChaCha8Rng) -> (Vec<Vec<usize>>, usize) {
    let sizes: Vec<usize> = contents.iter().map(Vec::len).collect();
    let limits = OrderLimits::of(levels, &sizes);
    let mut blocks = contents.to_vec();
    let mut best = (blocks.clone(), usize::MAX);
    for _ in 0..MOST_DRAWS {
        blocks.iter_mut().for_each(|block| block.shuffle(random));
        let broken = OrderCheck::of(&blocks, levels).broken(&limits);
        if broken < best.1 {
            best = (blocks.clone(), broken);
        }
        if broken == 0 {
            break;
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;

    fn complete(levels: usize, blocks: usize) -> Vec<Vec<usize>> {
        vec![(0..levels).collect(); blocks]
    }

    #[test]
    fn an_order_is_measured_as_by_hand() {
        let check = OrderCheck::of(&[vec![0, 1, 2], vec![2, 0, 1], vec![0, 2, 1]], 3);
        // Settings less their mean times places less theirs: 2, -1 and 1 of at most 2 each.
        assert!((check.trend - 2.0 / 6.0).abs() < 1e-12);
        assert_eq!((check.most_at_one_place, check.same_neighbours, check.sorted_blocks), (2, 1, 1));
        // Setting 0 stands at places first, middle, first: mean 2/3 of half a block from the middle.
        assert!((check.one_sided - 2.0 / 3.0).abs() < 1e-12);
        assert_eq!((check.most_one_pair, check.same_orders, check.same_ends), (3, 0, false));
    }

    #[test]
    fn ten_thousand_seeds_break_no_limit() {
        let mut number = 0;
        for (levels, blocks, seeds) in [
            (2, 2, 500),
            (2, 5, 500),
            (3, 2, 1000),
            (3, 4, 1000),
            (4, 3, 1500),
            (4, 4, 1500),
            (5, 4, 2000),
            (6, 4, 1500),
            (6, 6, 400),
            (8, 4, 100),
        ] {
            let contents = complete(levels, blocks);
            for seed in 0..seeds {
                let (order, broken) = draw_orders(&contents, levels, &mut ChaCha8Rng::seed_from_u64(seed));
                assert_eq!(broken, 0, "{levels} settings, {blocks} blocks, seed {seed}: {order:?}");
                for block in &order {
                    let mut sorted = block.clone();
                    sorted.sort_unstable();
                    assert_eq!(sorted, contents[0], "every setting once in every block");
                }
                // The promises in words, counted once more without the code above.
                let columns = |place: usize| order.iter().map(move |block| block[place]);
                for place in 0..levels {
                    assert!(
                        columns(place).any(|level| level != order[0][place]),
                        "one place for one setting: {order:?}"
                    );
                }
                if levels > 2 {
                    let line: Vec<usize> = order.concat();
                    assert!(line.windows(2).all(|pair| pair[0] != pair[1]), "one setting beside itself: {order:?}");
                    assert!(line.len() == 6 || line.first() != line.last(), "one setting at both sides");
                    let right = line.len() / 2;
                    for level in 0..levels {
                        assert!(line[..right].contains(&level) && line[line.len() - right..].contains(&level));
                    }
                }
                number += 1;
            }
        }
        assert_eq!(number, 10_000);
    }

    #[test]
    fn settings_are_at_every_place_equally_often_over_many_seeds() {
        // Under equal chances a count of 2 000 draws has a standard deviation of about 20.
        let mut counts = [[0i32; 4]; 4];
        for seed in 0..2000 {
            let (order, _) = draw_orders(&complete(4, 4), 4, &mut ChaCha8Rng::seed_from_u64(seed));
            order[0].iter().enumerate().for_each(|(place, level)| counts[place][*level] += 1);
        }
        // Limits on trend and ends make settings in the middle no rarer at any place by more than this.
        assert!(counts.iter().flatten().all(|count| (count - 500).abs() < 100), "{counts:?}");
    }

    #[test]
    fn one_seed_gives_one_order() {
        let draw = |seed| draw_orders(&complete(5, 4), 5, &mut ChaCha8Rng::seed_from_u64(seed)).0;
        assert_eq!(draw(7), draw(7));
        assert_ne!(draw(7), draw(8));
    }
}
