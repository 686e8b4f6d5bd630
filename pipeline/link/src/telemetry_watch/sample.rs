//! One telemetry row as the watch sees it, the limits it is held against, and a count that knows its first row.

use evenstand_settings::Settings;

/// Microseconds of a second; times are whole microseconds.
pub(crate) const SECOND: i64 = 1_000_000;

/// A telemetry row. Missing numbers are NaN, so that a row is small and copied without thought.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sample {
    /// Microseconds since 1970-01-01 UTC.
    pub time: i64,
    pub source_row: i64,
    pub at_speed: bool,
    pub speed: f64,
    pub set: [f64; 2],
    pub actual: [f64; 2],
    pub place: [f64; 2],
}

/// Forces come first in `set` and `actual`, pressures second.
pub(crate) const FORCE: usize = 0;
pub(crate) const PRESSURE: usize = 1;

impl Sample {
    /// Whether every value is that of the other row, its time apart.
    pub fn repeats(&self, other: &Sample) -> bool {
        same(self.speed, other.speed)
            && pair_same(self.set, other.set)
            && pair_same(self.actual, other.actual)
            && pair_same(self.place, other.place)
    }
}

/// Whether two values are the same; missing is the same as missing.
pub(crate) fn same(a: f64, b: f64) -> bool {
    a == b || (a.is_nan() && b.is_nan())
}

pub(crate) fn pair_same(a: [f64; 2], b: [f64; 2]) -> bool {
    same(a[0], b[0]) && same(a[1], b[1])
}

/// How often something was seen, and in which row of the file first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Seen {
    pub times: u64,
    pub first_row: i64,
}

impl Seen {
    pub fn at(&mut self, source_row: i64) {
        self.add(1, source_row);
    }

    pub fn add(&mut self, times: u64, first_row: i64) {
        if self.times == 0 {
            self.first_row = first_row;
        }
        self.times += times;
    }
}

/// The settings of the watch, times in microseconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Limits {
    pub min_speed: f64,
    pub gap_steps: f64,
    pub gap: i64,
    pub back: i64,
    pub stuck: i64,
    pub stuck_rows: u64,
    pub near: f64,
    pub change: f64,
    pub arrive: i64,
    pub sag: i64,
}

impl Limits {
    pub fn new(settings: &Settings) -> Self {
        let telemetry = &settings.telemetry;
        // Settings allow a day at most, so nothing overflows.
        let microseconds = |seconds: f64| (seconds * SECOND as f64).round() as i64;
        Self {
            min_speed: settings.analysis.min_speed_m_s,
            gap_steps: telemetry.gap_steps,
            gap: microseconds(telemetry.step_gap_s),
            back: microseconds(telemetry.clock_back_s),
            stuck: microseconds(telemetry.stuck_s),
            stuck_rows: telemetry.stuck_rows,
            near: telemetry.near_set_share,
            change: telemetry.set_change_share,
            arrive: microseconds(telemetry.arrive_s),
            sag: microseconds(telemetry.sag_s),
        }
    }
}
