//! How well a layout compares two settings, and how well other numbers of blocks would.

use evenstand_stats::{Design, LeastSquares, LinearFit, detectable_difference, difference_power};
use ndarray::Array2;

use crate::arrangement::{Design as Arrangement, Plot};
use crate::error::TrialError;
use crate::plan::{DetectableWith, Layout};

/// Numbers of blocks that a plan is held against.
const OTHERS: [usize; 9] = [2, 3, 4, 5, 6, 8, 10, 12, 16];
/// More blocks than this no field holds.
pub(crate) const MOST_BLOCKS: usize = 200;

/// Variance of a difference between two settings, as a multiple of the variance between strips, and its degrees of freedom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Precision {
    /// Variance of the difference over the strip variance; the mean over all pairs of settings.
    pub variance: f64,
    /// Error degrees of freedom.
    pub df: f64,
}

impl Precision {
    /// Of `settings` in complete blocks, side by side: 2 / b on (b − 1)(t − 1) degrees of freedom. In a split plot, settings averaged over its c closers:
    /// 2 / (b c) on c (b − 1)(t − 1). In a strip-split, settings averaged over both planters: 2 / b on
    /// (b − 1)(t − 1), as if segments across both planters were all that differs; no better can be promised.
    pub(crate) fn balanced(design: &Arrangement) -> Self {
        let (blocks, others) = (design.blocks as f64, design.levels as f64 - 1.0);
        match design.layout {
            Layout::SplitPlot => {
                let closers = design.closers as f64;
                Self { variance: 2.0 / (blocks * closers), df: closers * (blocks - 1.0) * others }
            }
            _ => Self { variance: 2.0 / blocks, df: (blocks - 1.0) * others },
        }
    }

    /// Of any plots in blocks, with blocks fixed: what is recovered from differences between incomplete blocks is left out.
    ///
    /// # Errors
    /// Settings that cannot be compared with each other; no error degrees of freedom.
    pub(crate) fn of_plots(plots: &[Plot], levels: usize, blocks: usize) -> Result<Self, TrialError> {
        let mut fixed = Array2::zeros((plots.len(), blocks + levels - 1));
        for (row, plot) in plots.iter().enumerate() {
            fixed[(row, plot.block)] = 1.0;
            if plot.level > 0 {
                fixed[(row, blocks + plot.level - 1)] = 1.0;
            }
        }
        // Any response will do: a standard error over sigma hangs on the design alone.
        let response = (0..plots.len()).map(|row| ((row * row) % 7) as f64).collect();
        let names = (0..fixed.ncols()).map(|column| format!("column {column}")).collect();
        let fit = LeastSquares.fit(&Design::new(response, fixed, names, Vec::new(), None)?)?;
        let mut sum = 0.0;
        for second in 1..levels {
            for first in 0..second {
                let mut row = vec![0.0; blocks + levels - 1];
                row[blocks + second - 1] = 1.0;
                if first > 0 {
                    row[blocks + first - 1] = -1.0;
                }
                sum += (fit.contrast(&row)?.std_error / fit.sigma()).powi(2);
            }
        }
        Ok(Self { variance: sum / (levels * (levels - 1) / 2) as f64, df: fit.residual_df() as f64 })
    }

    /// Standard error of the difference.
    pub fn std_error(&self, strip_sd: f64) -> f64 {
        strip_sd * self.variance.sqrt()
    }

    /// Difference that a two-sided t test finds with probability `power`.
    ///
    /// # Errors
    /// A standard deviation that is not above zero; power or alpha outside (0, 1).
    pub fn detectable(&self, strip_sd: f64, power: f64, alpha: f64) -> Result<f64, TrialError> {
        Ok(detectable_difference(self.std_error(strip_sd), self.df, power, alpha)?)
    }

    /// Probability that a two-sided t test finds this difference.
    ///
    /// # Errors
    /// As [`Precision::detectable`].
    pub fn power(&self, difference: f64, strip_sd: f64, alpha: f64) -> Result<f64, TrialError> {
        Ok(difference_power(difference, self.std_error(strip_sd), self.df, alpha)?.power)
    }

    /// The same with another number of blocks: variance and degrees of freedom in proportion, exact for balanced layouts.
    fn with_blocks(&self, design: &Arrangement, blocks: usize) -> Self {
        if design.layout == Layout::IncompleteBlocks {
            let others = design.levels as f64 - 1.0;
            return Self {
                variance: self.variance * design.blocks as f64 / blocks as f64,
                df: (blocks * (design.per_block - 1)) as f64 - others,
            };
        }
        Self::balanced(&Arrangement { blocks, ..*design })
    }
}

/// Differences that other numbers of blocks would show.
///
/// # Errors
/// As [`Precision::detectable`].
pub(crate) fn by_blocks(
    precision: &Precision,
    design: &Arrangement,
    strip_sd: f64,
    power: f64,
    alpha: f64,
) -> Result<Vec<DetectableWith>, TrialError> {
    let mut numbers = OTHERS.to_vec();
    numbers.push(design.blocks);
    numbers.sort_unstable();
    numbers.dedup();
    numbers
        .into_iter()
        .map(|blocks| (blocks, precision.with_blocks(design, blocks)))
        .filter(|(_, precision)| precision.df > 0.0)
        .map(|(blocks, precision)| {
            Ok(DetectableWith { blocks, difference: precision.detectable(strip_sd, power, alpha)? })
        })
        .collect()
}

/// Fewest blocks in one field that find a difference with this power; `None` beyond [`MOST_BLOCKS`].
///
/// # Errors
/// As [`Precision::detectable`].
pub(crate) fn blocks_for(
    precision: &Precision,
    design: &Arrangement,
    difference: f64,
    strip_sd: f64,
    power: f64,
    alpha: f64,
) -> Result<Option<usize>, TrialError> {
    for blocks in 2..=MOST_BLOCKS {
        let precision = precision.with_blocks(design, blocks);
        if precision.df > 0.0 && precision.power(difference, strip_sd, alpha)? >= power {
            return Ok(Some(blocks));
        }
    }
    Ok(None)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::arrangement::arrange;

    fn design(layout: Layout, levels: usize, blocks: usize, per_block: usize) -> Arrangement {
        let closers = if layout == Layout::SplitPlot { 2 } else { 1 };
        Arrangement { layout, levels, blocks, per_block, closers }
    }

    #[test]
    fn complete_blocks_have_the_precision_of_the_formula() {
        for (levels, blocks) in [(2, 4), (5, 4), (4, 6)] {
            let design = design(Layout::CompleteBlocks, levels, blocks, levels);
            let plots = arrange(&design, 1).unwrap().plots;
            let (found, formula) = (Precision::of_plots(&plots, levels, blocks).unwrap(), Precision::balanced(&design));
            assert!(
                (found.variance - formula.variance).abs() < 1e-12 && found.df == formula.df,
                "{found:?} {formula:?}"
            );
        }
    }

    #[test]
    fn balanced_incomplete_blocks_have_their_efficiency() {
        // Efficiency t (k - 1) / (k (t - 1)): 7 settings in 7 blocks of 3, 3 replicates, 7/9.
        let design = design(Layout::IncompleteBlocks, 7, 7, 3);
        let found = Precision::of_plots(&arrange(&design, 3).unwrap().plots, 7, 7).unwrap();
        assert!((found.variance - 2.0 / 3.0 * 9.0 / 7.0).abs() < 1e-12, "{found:?}");
        assert_eq!(found.df, 7.0 * 3.0 - 7.0 - 7.0 + 1.0);
        assert_eq!(found.with_blocks(&design, 14).df, 22.0);
    }

    #[test]
    fn fewest_blocks_are_enough_and_one_fewer_is_not() {
        let design = design(Layout::CompleteBlocks, 4, 4, 4);
        let precision = Precision::balanced(&design);
        let blocks = blocks_for(&precision, &design, 0.02, 0.03, 0.8, 0.05).unwrap().unwrap();
        let power = |blocks| precision.with_blocks(&design, blocks).power(0.02, 0.03, 0.05).unwrap();
        assert!(power(blocks) >= 0.8 && power(blocks - 1) < 0.8, "{blocks}");
        assert_eq!(blocks_for(&precision, &design, 0.0001, 0.03, 0.8, 0.05).unwrap(), None);
    }
}
