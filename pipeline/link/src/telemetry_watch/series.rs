//! One series: the rows of one strip and row unit in one file, met one by one.

use super::clock::{Clock, Step};
use super::follow::{Follow, Followed};
use super::passes::Passes;
use super::sample::{Limits, Sample};
use super::stuck::{Sensors, StuckStretches};

/// An odd number without pattern (the golden ratio in 64 bits), to mix a hash by multiplication.
const MIX: u64 = 0x9E37_79B9_7F4A_7C15;
/// Rows before a series counts as one that another strip may go on from.
const ROWS_TO_GO_ON: u64 = 20;

/// The state of one series. Its first rows wait until they tell the usual step; then it holds one row.
#[derive(Debug, Clone, Default)]
pub(crate) struct Series {
    waiting: Vec<Sample>,
    learnt: bool,
    above: Option<Sample>,
    pub first_row: i64,
    pub clock: Clock,
    pub sensors: Sensors,
    pub follow: Follow,
    pub passes: Passes,
    /// A hash of times and measured values: row units with the same one share a sensor.
    pub fingerprint: u64,
}

/// What a series came to.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct SeriesEnd {
    pub stuck: [Option<StuckStretches>; 3],
    pub followed: Option<Followed>,
}

impl Series {
    /// Takes the next row.
    #[inline]
    pub fn row(&mut self, row: &Sample, limits: &Limits) {
        if self.learnt {
            return self.take(row, limits);
        }
        self.waiting.push(*row);
        if Clock::can_learn(&self.waiting) {
            self.learn(limits);
        }
    }

    fn learn(&mut self, limits: &Limits) {
        self.learnt = true;
        let first = std::mem::take(&mut self.waiting);
        self.clock.learn(&first, limits);
        for row in &first {
            self.take(row, limits);
        }
    }

    fn take(&mut self, row: &Sample, limits: &Limits) {
        self.clock.see(row);
        let step = match &self.above {
            Some(above) => self.clock.step(above, row, limits),
            None => {
                self.first_row = row.source_row;
                Step { held: 0, broken: false }
            }
        };
        let above = self.above.as_ref();
        self.sensors.row(above, row, step, limits);
        self.follow.row(above, row, step, limits);
        self.passes.row(row, step);
        for bits in [row.time as u64, row.actual[0].to_bits(), row.actual[1].to_bits()] {
            self.fingerprint = (self.fingerprint.rotate_left(5) ^ bits).wrapping_mul(MIX);
        }
        self.above = Some(*row);
    }

    /// Whether a row of another strip follows on the last row of this one without a gap.
    pub fn goes_on_at(&self, row: &Sample) -> bool {
        let Some(above) = self.above else { return false };
        let step = row.time.saturating_sub(above.time);
        self.passes.rows >= ROWS_TO_GO_ON && self.clock.is_ordinary(step)
    }

    /// Rows for which there is room among those that wait.
    #[cfg(test)]
    pub fn waiting_capacity(&self) -> usize {
        self.waiting.capacity()
    }

    /// Ends the series.
    pub fn finish(&mut self, limits: &Limits) -> SeriesEnd {
        if !self.learnt {
            self.learn(limits);
        }
        SeriesEnd { stuck: self.sensors.finish(limits), followed: self.follow.finish(limits) }
    }
}
