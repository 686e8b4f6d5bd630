//! Measured values that stand still while others move.

use super::clock::Step;
use super::sample::{FORCE, Limits, PRESSURE, Sample, Seen, pair_same, same};

/// Measured values that are watched, in the order that breaks ties.
pub(crate) const CHANNELS: [&str; 3] = ["actual_force", "actual_pressure", "speed"];
pub(crate) const SPEED: usize = 2;
/// A stuck stretch has this many times the rows of the channel's other runs of equal values: a coarse gauge that
/// often stands still for half a minute is no fault. Our own choice.
const LONGER_THAN_USUAL: f64 = 10.0;

/// A run of equal values at working speed.
#[derive(Debug, Clone, Copy, Default)]
struct Run {
    value: f64,
    rows: u64,
    lasted: i64,
    first_row: i64,
    others_moved: bool,
}

/// One measured value of one log and row unit.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Channel {
    run: Run,
    long: Seen,
    long_rows: u64,
    longest: i64,
    short_runs: u64,
    short_rows: u64,
    /// First value of all, whatever the speed, and whether every other is the same.
    first: f64,
    rows: u64,
    constant: bool,
}

/// What a channel came to.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct StuckStretches {
    pub share: f64,
    pub stretches: Seen,
    pub longest: i64,
}

impl Channel {
    fn row(&mut self, above: Option<&Sample>, row: &Sample, value: f64, step: Step, channel: usize, limits: &Limits) {
        if !value.is_nan() {
            if self.rows == 0 {
                (self.first, self.constant) = (value, true);
            } else {
                self.constant &= value == self.first;
            }
            self.rows += 1;
        }
        let goes_on = self.run.rows > 0 && row.at_speed && !step.broken && value == self.run.value;
        if goes_on {
            self.run.rows += 1;
            self.run.lasted = self.run.lasted.saturating_add(step.held);
            self.run.others_moved =
                self.run.others_moved || above.is_some_and(|above| others_moved(channel, above, row));
            return;
        }
        self.end_run(limits);
        if row.at_speed && !value.is_nan() {
            self.run = Run { value, rows: 1, lasted: 0, first_row: row.source_row, others_moved: false };
        }
    }

    fn end_run(&mut self, limits: &Limits) {
        let run = std::mem::take(&mut self.run);
        if run.rows >= limits.stuck_rows && run.lasted >= limits.stuck && run.others_moved {
            self.long.at(run.first_row);
            self.long_rows += run.rows;
            self.longest = self.longest.max(run.lasted);
        } else if run.rows > 0 {
            self.short_runs += 1;
            self.short_rows += run.rows;
        }
    }

    /// The one value the channel has in all its rows, with their number.
    pub fn constant(&self) -> Option<(f64, u64)> {
        self.constant.then_some((self.first, self.rows))
    }

    /// Whether the channel has any value.
    pub fn is_logged(&self) -> bool {
        self.rows > 0
    }

    /// Stretches that stood still, where they stand out from the channel's other runs.
    fn stretches(&self) -> Option<StuckStretches> {
        if self.long.times == 0 {
            return None;
        }
        let long = self.long_rows as f64 / self.long.times as f64;
        let stands_out =
            self.short_runs == 0 || long >= LONGER_THAN_USUAL * self.short_rows as f64 / self.short_runs as f64;
        stands_out.then(|| StuckStretches {
            share: self.long_rows as f64 / (self.long_rows + self.short_rows) as f64,
            stretches: self.long,
            longest: self.longest,
        })
    }
}

/// Whether a row tells that the logger went on: steady speed is no fault just because the place moves.
fn others_moved(channel: usize, above: &Sample, row: &Sample) -> bool {
    match channel {
        FORCE => !same(above.actual[PRESSURE], row.actual[PRESSURE]) || driving_moved(above, row),
        PRESSURE => !same(above.actual[FORCE], row.actual[FORCE]) || driving_moved(above, row),
        _ => !pair_same(above.actual, row.actual),
    }
}

fn driving_moved(above: &Sample, row: &Sample) -> bool {
    !same(above.speed, row.speed) || !pair_same(above.place, row.place)
}

/// The measured values of one log and row unit.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Sensors {
    pub channels: [Channel; 3],
}

impl Sensors {
    pub fn row(&mut self, above: Option<&Sample>, row: &Sample, step: Step, limits: &Limits) {
        let values = [row.actual[FORCE], row.actual[PRESSURE], row.speed];
        for (index, (channel, value)) in self.channels.iter_mut().zip(values).enumerate() {
            channel.row(above, row, value, step, index, limits);
        }
    }

    /// Ends the last runs and gives each channel's stuck stretches.
    pub fn finish(&mut self, limits: &Limits) -> [Option<StuckStretches>; 3] {
        for channel in &mut self.channels {
            channel.end_run(limits);
        }
        [0, 1, 2].map(|index: usize| self.channels.get(index).and_then(Channel::stretches))
    }
}
