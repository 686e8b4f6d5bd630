//! Passes of a log: zeros while the planter starts, and turns at the headland.

use super::clock::Step;
use super::sample::{Sample, Seen};

/// Start-up zeros and turns of one log and row unit.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Passes {
    in_pass: bool,
    /// Whether the pass has had a measured value other than 0.
    measured: bool,
    /// Zeros of this pass that no other value has followed yet.
    zeros: Seen,
    pub start_zeros: Seen,
    turning: bool,
    pub turns: u64,
    pub turn_rows: u64,
    pub turned: i64,
    pub rows: u64,
    pub rows_at_speed: u64,
}

impl Passes {
    pub fn row(&mut self, row: &Sample, step: Step) {
        if self.turning {
            self.turned = self.turned.saturating_add(step.held);
        }
        self.rows += 1;
        if !row.at_speed {
            if self.in_pass {
                self.turns += 1;
                self.turning = true;
                self.in_pass = false;
            }
            self.turn_rows += u64::from(self.turning);
            return;
        }
        self.turning = false;
        self.rows_at_speed += 1;
        if !self.in_pass || step.broken {
            (self.in_pass, self.measured, self.zeros) = (true, false, Seen::default());
        }
        if self.measured {
            return;
        }
        let some = |pair: [f64; 2]| pair.iter().any(|value| !value.is_nan());
        if row.actual.iter().any(|value| !value.is_nan() && *value != 0.0) {
            self.measured = true;
            if self.zeros.times > 0 {
                self.start_zeros.add(self.zeros.times, self.zeros.first_row);
            }
        } else if some(row.actual) || some(row.set) {
            self.zeros.at(row.source_row);
        }
    }
}
