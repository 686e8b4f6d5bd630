//! How well the measured value follows the set one: share outside, mean difference, lag and sag.

use super::clock::Step;
use super::lags::Lags;
use super::sample::{FORCE, Limits, PRESSURE, Sample, Seen};

/// Set against measured, of one log and row unit.
#[derive(Debug, Clone, Default)]
pub(crate) struct Follow {
    /// Force or pressure: the kind of the first row that has both values.
    kind: Option<usize>,
    /// Set value of the last row that had one.
    set: Option<f64>,
    /// Whether that row was at working speed.
    was_at_speed: bool,
    /// Time of a change that the measured value has not followed yet, and its row.
    waiting: Option<(i64, i64)>,
    judged: i64,
    outside: i64,
    outside_seen: Seen,
    compared: i64,
    set_sum: f64,
    difference_sum: f64,
    pub lags: Lags,
    pub changes: Seen,
    pub never: Seen,
    sag: Option<(i64, i64)>,
    pub sags: Seen,
    pub sagged: i64,
}

/// What following came to; values in newtons or kilopascals.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Followed {
    pub kind: usize,
    /// Microseconds with both values, and of these with a set value above 0.
    pub compared: i64,
    pub judged: i64,
    pub outside_share: Option<f64>,
    pub outside: Seen,
    pub mean_set: f64,
    pub mean_difference: f64,
}

impl Follow {
    /// Starts from the last row of another strip that the same row unit has just left.
    pub fn goes_on_from(&mut self, other: &Follow) {
        (self.kind, self.set, self.was_at_speed) = (other.kind, other.set, other.was_at_speed);
    }

    pub fn row(&mut self, above: Option<&Sample>, row: &Sample, step: Step, limits: &Limits) {
        if let Some(above) = above {
            self.settle(above, step, limits);
        }
        if self.kind.is_none() {
            self.kind = [FORCE, PRESSURE].into_iter().find(|kind| values(row, *kind).is_some());
        }
        let Some(kind) = self.kind else { return };
        if step.broken || !row.at_speed {
            self.waiting = None;
        }
        let set = row.set.get(kind).copied().filter(|set| set.is_finite());
        if let Some(set) = set {
            let goes_on = !step.broken && self.was_at_speed && row.at_speed;
            if goes_on && self.set.is_some_and(|old| set != old && (set - old).abs() >= limits.change * old.abs()) {
                self.give_up_waiting();
                self.waiting = Some((row.time, row.source_row));
            }
            self.set = Some(set);
        }
        self.was_at_speed = row.at_speed;
        if let Some((since, source_row)) = self.waiting {
            let waited = row.time.saturating_sub(since).max(0);
            if waited > limits.arrive {
                self.give_up_waiting();
            } else if values(row, kind).is_some_and(|(set, actual)| near(set, actual, limits)) {
                self.changes.at(source_row);
                self.lags.push(waited);
                self.waiting = None;
            }
        }
    }

    fn give_up_waiting(&mut self) {
        if let Some((_, source_row)) = self.waiting.take() {
            self.changes.at(source_row);
            self.never.at(source_row);
        }
    }

    /// Counts the row above, now that it is known how long it held.
    fn settle(&mut self, above: &Sample, step: Step, limits: &Limits) {
        let pair = self.kind.filter(|_| above.at_speed).and_then(|kind| values(above, kind));
        let mut low = false;
        if let Some((set, actual)) = pair {
            self.compared = self.compared.saturating_add(step.held);
            self.set_sum += set * step.held as f64;
            self.difference_sum += (actual - set) * step.held as f64;
            if set > 0.0 {
                self.judged = self.judged.saturating_add(step.held);
                if !near(set, actual, limits) {
                    self.outside = self.outside.saturating_add(step.held);
                    self.outside_seen.at(above.source_row);
                    low = actual < set;
                }
            }
        }
        if low && self.waiting.is_none() {
            let (since, lasted) = self.sag.unwrap_or((above.source_row, 0));
            self.sag = Some((since, lasted.saturating_add(step.held)));
        } else {
            self.end_sag(limits);
        }
        if step.broken {
            self.end_sag(limits);
        }
    }

    fn end_sag(&mut self, limits: &Limits) {
        if let Some((source_row, lasted)) = self.sag.take()
            && lasted > limits.sag
        {
            self.sags.at(source_row);
            self.sagged = self.sagged.saturating_add(lasted);
        }
    }

    /// Ends the last stretch. `None` where no row had both values.
    pub fn finish(&mut self, limits: &Limits) -> Option<Followed> {
        self.end_sag(limits);
        let time = self.compared as f64;
        (self.compared > 0).then(|| Followed {
            kind: self.kind.unwrap_or(FORCE),
            compared: self.compared,
            judged: self.judged,
            outside_share: (self.judged > 0).then(|| self.outside as f64 / self.judged as f64),
            outside: self.outside_seen,
            mean_set: self.set_sum / time,
            mean_difference: self.difference_sum / time,
        })
    }
}

fn near(set: f64, actual: f64, limits: &Limits) -> bool {
    (actual - set).abs() <= limits.near * set.abs()
}

/// Set and measured value of a row, where it has both.
fn values(row: &Sample, kind: usize) -> Option<(f64, f64)> {
    let (set, actual) = (*row.set.get(kind)?, *row.actual.get(kind)?);
    (set.is_finite() && actual.is_finite()).then_some((set, actual))
}
