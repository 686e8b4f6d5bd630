//! Which setting stands where: blocks, passes side by side, segments along a pass.

use rand::SeedableRng;
use rand::seq::SliceRandom;
use rand_chacha::ChaCha8Rng;

use crate::error::TrialError;
use crate::incomplete::block_contents;
use crate::order::draw_orders;
use crate::plan::Layout;

/// What is to be arranged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Design {
    pub layout: Layout,
    pub levels: usize,
    pub blocks: usize,
    /// Strips a block where blocks are incomplete; else not used.
    pub per_block: usize,
    /// Closers; 1 except in a split plot.
    pub closers: usize,
}

/// One strip before it has a length.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Plot {
    pub block: usize,
    /// Counted over the whole trial, from the left.
    pub column: usize,
    /// Along the pass; 0 where a pass is one strip.
    pub segment: usize,
    pub planter: usize,
    pub closer: usize,
    pub level: usize,
}

/// Strips from the left to the right and along the pass, and notes.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Arranged {
    pub plots: Vec<Plot>,
    pub notes: Vec<String>,
}

/// Draws an arrangement.
///
/// # Errors
/// Fewer than two blocks or settings; incomplete blocks that cannot connect the settings.
pub(crate) fn arrange(design: &Design, seed: u64) -> Result<Arranged, TrialError> {
    let Design { layout, levels, blocks, per_block, closers } = *design;
    if blocks < 2 {
        return Err(TrialError::request(
            "the number of blocks",
            blocks,
            "two or more: one block cannot tell a setting from its place",
        ));
    }
    if levels < 2 {
        return Err(TrialError::request("the number of settings", levels, "two or more"));
    }
    let random = &mut ChaCha8Rng::seed_from_u64(seed);
    let all: Vec<usize> = (0..levels).collect();
    // A split plot is laid out in its whole plots, a strip-split along each pair of passes.
    let contents = match layout {
        Layout::CompleteBlocks | Layout::StripSplit => vec![all; blocks],
        Layout::SplitPlot => vec![all; blocks * closers],
        Layout::IncompleteBlocks => block_contents(levels, blocks, per_block, random).ok_or_else(|| {
            TrialError::request(
                "incomplete blocks",
                format!("{levels} settings in {blocks} blocks of {per_block}"),
                format!(
                    "blocks of 2 to {levels} strips, and with {per_block} strips a block at least {} blocks, so that every setting can be compared with every other one",
                    (levels - 1).div_ceil(per_block.max(2) - 1)
                ),
            )
        })?,
    };
    let (orders, broken) = draw_orders(&contents, levels, random);
    let notes = if broken > 0 {
        vec!["The order keeps as many as it can of the rules on neighbours and sides; there are too few strips to keep all.".to_owned()]
    } else {
        Vec::new()
    };
    let mut plots = Vec::new();
    let mut column = 0;
    match layout {
        Layout::CompleteBlocks | Layout::IncompleteBlocks => {
            for (block, order) in orders.iter().enumerate() {
                for &level in order {
                    plots.push(Plot { block, column, segment: 0, planter: 0, closer: 0, level });
                    column += 1;
                }
            }
        }
        Layout::SplitPlot => {
            let sequences = shared_sequences(blocks, closers, random);
            for (block, sequence) in sequences.iter().enumerate() {
                for (place, &closer) in sequence.iter().enumerate() {
                    for &level in &orders[block * closers + place] {
                        plots.push(Plot { block, column, segment: 0, planter: 0, closer, level });
                        column += 1;
                    }
                }
            }
        }
        Layout::StripSplit => {
            let sequences = shared_sequences(blocks, 2, random);
            for (block, sequence) in sequences.iter().enumerate() {
                for &planter in sequence {
                    for (segment, &level) in orders[block].iter().enumerate() {
                        plots.push(Plot { block, column, segment, planter, closer: 0, level });
                    }
                    column += 1;
                }
            }
        }
    }
    Ok(Arranged { plots, notes })
}

/// An order of `number` things for every block, in which each thing comes first about equally often.
///
/// The orders are the turns of one random order, taken in random order of the blocks, each as often as the others, give or take one.
fn shared_sequences(blocks: usize, number: usize, random: &mut ChaCha8Rng) -> Vec<Vec<usize>> {
    let mut first: Vec<usize> = (0..number).collect();
    first.shuffle(random);
    let mut sequences: Vec<Vec<usize>> =
        (0..blocks).map(|block| (0..number).map(|place| first[(place + block) % number]).collect()).collect();
    sequences.shuffle(random);
    sequences
}

#[cfg(test)]
mod tests {
    use super::*;

    fn design(layout: Layout, levels: usize, blocks: usize) -> Design {
        let (per_block, closers) = match layout {
            Layout::IncompleteBlocks => (3, 1),
            Layout::SplitPlot => (levels, 2),
            _ => (levels, 1),
        };
        Design { layout, levels, blocks, per_block, closers }
    }

    #[test]
    fn a_split_plot_holds_every_setting_once_in_every_group_of_one_closer() {
        for seed in 0..500 {
            let arranged = arrange(&design(Layout::SplitPlot, 4, 4), seed).unwrap();
            assert!(arranged.notes.is_empty());
            let mut first = [0, 0];
            for (group, plots) in arranged.plots.chunks(4).enumerate() {
                assert!(plots.iter().all(|plot| plot.closer == plots[0].closer && plot.block == group / 2));
                let mut levels: Vec<usize> = plots.iter().map(|plot| plot.level).collect();
                levels.sort_unstable();
                assert_eq!(levels, [0, 1, 2, 3]);
                if group % 2 == 0 {
                    first[plots[0].closer] += 1;
                }
            }
            assert_eq!(first, [2, 2], "each closer comes first in half of the blocks");
        }
    }

    #[test]
    fn in_a_strip_split_both_planters_change_to_one_setting_at_one_place() {
        for seed in 0..500 {
            let arranged = arrange(&design(Layout::StripSplit, 4, 3), seed).unwrap();
            for block in 0..3 {
                for segment in 0..4 {
                    let of = |planter| {
                        arranged
                            .plots
                            .iter()
                            .find(|plot| (plot.block, plot.segment, plot.planter) == (block, segment, planter))
                            .unwrap()
                    };
                    assert_eq!(of(0).level, of(1).level);
                    assert_eq!(of(0).column.abs_diff(of(1).column), 1);
                }
            }
        }
    }

    #[test]
    fn ten_thousand_seeds_of_incomplete_blocks_are_connected_and_even() {
        for seed in 0..10_000 {
            let (levels, blocks) = [(4, 4), (5, 5), (6, 6), (4, 6)][seed as usize % 4];
            let arranged = arrange(&design(Layout::IncompleteBlocks, levels, blocks), seed).unwrap();
            let mut design = vec![Vec::new(); blocks];
            arranged.plots.iter().for_each(|plot| design[plot.block].push(plot.level));
            assert!(crate::incomplete::connected(&design, levels));
            let replicates: Vec<usize> =
                (0..levels).map(|level| design.iter().flatten().filter(|at| **at == level).count()).collect();
            assert!(replicates.iter().max().unwrap() - replicates.iter().min().unwrap() <= 1, "{design:?}");
            assert!(arranged.notes.is_empty(), "{levels} {blocks} {seed}");
            let line: Vec<usize> = arranged.plots.iter().map(|plot| plot.level).collect();
            assert!(line.windows(2).all(|pair| pair[0] != pair[1]), "{line:?}");
        }
    }

    #[test]
    fn what_cannot_be_laid_out_is_refused_with_what_can() {
        let message = |design: Design| arrange(&design, 1).unwrap_err().to_string();
        assert!(message(design(Layout::CompleteBlocks, 4, 1)).contains("two or more"));
        assert!(message(design(Layout::CompleteBlocks, 1, 4)).contains("two or more"));
        assert!(message(design(Layout::IncompleteBlocks, 8, 3)).contains("at least 4 blocks"));
    }
}
