//! Watches telemetry while its rows stream by: what does a log say about itself?
//!
//! Rows come in the order of their file, in batches of any size. Each strip and row unit of a file is a series with one
//! small state; rows of several row units may alternate. At the end of a file its states become result rows, so
//! memory grows with strips and row units, never with rows.

mod clock;
mod columns;
mod follow;
mod lags;
mod passes;
mod sample;
mod series;
mod stuck;
#[cfg(test)]
mod tests;

use std::collections::HashMap;

use arrow::array::RecordBatch;
use evenstand_settings::Settings;
use evenstand_tables::rows::TelemetryRow;
use evenstand_tables::{Finding, Moment};

use crate::LinkError;
use crate::telemetry_findings::{Unwatched, telemetry_findings};
use columns::Columns;
use sample::{FORCE, Limits, PRESSURE, SECOND, Sample, Seen};
use series::{Series, SeriesEnd};
use stuck::{CHANNELS, SPEED, StuckStretches};

/// Strips and row units of one file that are watched; a file with more has numbers in the wrong column.
const MOST_SERIES: usize = 50_000;

/// What makes a series, apart from the season: source file, field, strip, planter and row unit.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Default)]
pub(crate) struct SeriesKey {
    pub source_file: String,
    pub field_id: String,
    pub strip_id: Option<String>,
    pub planter_id: Option<String>,
    pub row_unit: Option<String>,
}

/// A finished series: its result row, and where in the file each fault was first seen.
#[derive(Debug, Clone)]
pub(crate) struct Watched {
    pub row: TelemetryRow,
    pub seen: FirstSeen,
}

/// Faults of a series with the row of the file in which each was first seen.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct FirstSeen {
    pub back: Seen,
    pub back_jumps: u64,
    /// Jumps back onto the first row: the log stands there twice.
    pub restarts: u64,
    pub same_time: Seen,
    pub repeated: Seen,
    pub gaps: Seen,
    pub jumps: Seen,
    /// Whole hours of the first jump by whole hours.
    pub first_hours: i64,
    pub stuck: Seen,
    /// Whether the stuck channel has one value in the whole file.
    pub stuck_in_whole_file: bool,
    pub outside: Seen,
    pub changes: Seen,
    pub never: Seen,
    pub sags: Seen,
    pub start_zeros: Seen,
}

/// A series, its row unit's slot, and the series whose row came next after its last one.
struct Entry {
    key: SeriesKey,
    slot: usize,
    next: usize,
    series: Series,
}

/// Watches the setting logs of a review.
pub(crate) struct Watch {
    limits: Limits,
    season: i64,
    entries: Vec<Entry>,
    index: HashMap<SeriesKey, usize>,
    /// Row units of the file, and of each the series that had the last row.
    slots: HashMap<(Option<String>, Option<String>), usize>,
    last_of_slot: Vec<usize>,
    last: usize,
    unwatched: HashMap<String, u64>,
    watched: Vec<Watched>,
    left_out: Vec<Unwatched>,
}

impl Watch {
    pub fn new(settings: &Settings) -> Self {
        Self {
            limits: Limits::new(settings),
            season: 0,
            entries: Vec::new(),
            index: HashMap::new(),
            slots: HashMap::new(),
            last_of_slot: Vec::new(),
            last: 0,
            unwatched: HashMap::new(),
            watched: Vec::new(),
            left_out: Vec::new(),
        }
    }

    /// Takes the telemetry rows of a batch, all of one season; rows without a time are passed over. Errors where a
    /// column is absent or of another type.
    pub fn rows(
        &mut self,
        batch: &RecordBatch,
        season: i64,
        planters: &HashMap<&str, Option<&str>>,
    ) -> Result<(), LinkError> {
        self.season = season;
        let columns = Columns::of(batch)?;
        for row in 0..batch.num_rows() {
            let Some(sample) = columns.sample(row, self.limits.min_speed) else { continue };
            let key = columns.key(row, planters);
            // Row units alternate in a fixed order: what followed last time follows again.
            let guess = self.entries.get(self.last).map_or(0, |entry| entry.next);
            let found = match [self.last, guess]
                .into_iter()
                .find(|index| self.entries.get(*index).is_some_and(|entry| key.is(&entry.key)))
            {
                Some(index) => index,
                None => match self.entry_of(key.to_key(), &sample) {
                    Some(index) => index,
                    None => continue,
                },
            };
            if let Some(before) = self.entries.get_mut(self.last) {
                before.next = found;
            }
            self.last = found;
            if let Some(entry) = self.entries.get_mut(found) {
                entry.series.row(&sample, &self.limits);
                if let Some(last) = self.last_of_slot.get_mut(entry.slot) {
                    *last = found;
                }
            }
        }
        Ok(())
    }

    /// The entry of this key, made where there is none yet; `None` where there are too many.
    fn entry_of(&mut self, key: SeriesKey, sample: &Sample) -> Option<usize> {
        if let Some(index) = self.index.get(&key) {
            return Some(*index);
        }
        let new = self.entries.len();
        if new >= MOST_SERIES {
            *self.unwatched.entry(key.source_file).or_default() += 1;
            return None;
        }
        let slots = self.slots.len();
        let slot = *self.slots.entry((key.planter_id.clone(), key.row_unit.clone())).or_insert(slots);
        let mut series = Series::default();
        match self.last_of_slot.get(slot).and_then(|last| self.entries.get(*last)) {
            Some(before) => {
                // A strip that begins where another ends, without a turn between: the set value changed from there.
                let same_log = before.key.source_file == key.source_file && before.key.field_id == key.field_id;
                if same_log && before.series.goes_on_at(sample) {
                    series.follow.goes_on_from(&before.series.follow);
                }
            }
            None => self.last_of_slot.push(new),
        }
        self.entries.push(Entry { key: key.clone(), slot, next: new, series });
        self.index.insert(key, new);
        Some(new)
    }

    /// Ends a file: its states become result rows.
    pub fn end_of_file(&mut self) {
        let mut ended: Vec<(usize, SeriesKey, Series, SeriesEnd)> = Vec::with_capacity(self.entries.len());
        for mut entry in std::mem::take(&mut self.entries) {
            let end = entry.series.finish(&self.limits);
            ended.push((entry.slot, entry.key, entry.series, end));
        }
        let constant = constant_channels(&ended, self.slots.len(), &self.limits);
        for (slot, key, series, end) in ended {
            let constant = constant.get(slot).copied().unwrap_or_default();
            self.watched.push(watched(key, self.season, series, end, constant));
        }
        self.index.clear();
        self.slots.clear();
        self.last_of_slot.clear();
        self.last = 0;
        let season = self.season;
        self.left_out.extend(self.unwatched.drain().map(|(source_file, rows)| Unwatched { source_file, season, rows }));
    }

    /// The result rows in the order of their keys, and what a person should look at.
    pub fn finish(mut self, settings: &Settings) -> (Vec<TelemetryRow>, Vec<Finding>) {
        self.end_of_file();
        let place = |row: &TelemetryRow| {
            (
                row.source_file.clone(),
                row.field_id.clone(),
                row.season,
                row.strip_id.clone(),
                row.planter_id.clone(),
                row.row_unit.clone(),
            )
        };
        self.watched.sort_by_cached_key(|watched| place(&watched.row));
        self.left_out.sort_by(|a, b| a.source_file.cmp(&b.source_file));
        let findings = telemetry_findings(&self.watched, &self.left_out, settings);
        (self.watched.into_iter().map(|watched| watched.row).collect(), findings)
    }
}

/// Channels of each row unit that have one value in the whole file, for as long as a stuck stretch takes.
fn constant_channels(ended: &[(usize, SeriesKey, Series, SeriesEnd)], slots: usize, limits: &Limits) -> Vec<[bool; 3]> {
    let mut constant = vec![[false; 3]; slots];
    for channel in [FORCE, PRESSURE, SPEED] {
        // Value, rows and time of each slot; a value that differs makes it none for good.
        let mut runs: Vec<(Option<f64>, bool, u64, i64)> = vec![(None, true, 0, 0); slots];
        for (slot, _, series, _) in ended {
            let (Some(run), Some(state)) = (runs.get_mut(*slot), series.sensors.channels.get(channel)) else {
                continue;
            };
            if !state.is_logged() {
                continue;
            }
            match state.constant() {
                Some((value, rows)) => {
                    run.1 &= run.0.is_none_or(|first| first == value);
                    run.0 = Some(value);
                    run.2 += rows;
                    let lasted = series.clock.ended.unwrap_or(0).saturating_sub(series.clock.started.unwrap_or(0));
                    run.3 = run.3.saturating_add(lasted);
                }
                None => run.1 = false,
            }
        }
        for (slot, (value, same, rows, lasted)) in runs.into_iter().enumerate() {
            if let Some(flags) = constant.get_mut(slot).and_then(|flags| flags.get_mut(channel)) {
                *flags = value.is_some() && same && rows >= limits.stuck_rows && lasted >= limits.stuck;
            }
        }
    }
    constant
}

fn watched(key: SeriesKey, season: i64, series: Series, end: SeriesEnd, constant: [bool; 3]) -> Watched {
    let Series { clock, follow, passes, first_row, .. } = &series;
    let seconds = |microseconds: i64| microseconds as f64 / SECOND as f64;
    let whole = |count: u64| Some(i64::try_from(count).unwrap_or(i64::MAX));
    let logged = |channel: usize| series.sensors.channels.get(channel).is_some_and(stuck::Channel::is_logged);
    let lasted = clock.ended.unwrap_or(0).saturating_sub(clock.started.unwrap_or(0));
    // The channel with the largest share; of equal ones the first.
    let mut worst: Option<(usize, StuckStretches, bool)> = None;
    for channel in [FORCE, PRESSURE, SPEED] {
        let whole_file = constant.get(channel).copied().unwrap_or(false) && logged(channel);
        let stretches = if whole_file {
            let stretches = Seen { times: 1, first_row: *first_row };
            Some(StuckStretches { share: 1.0, stretches, longest: lasted })
        } else {
            end.stuck.get(channel).copied().flatten()
        };
        if let Some(stretches) = stretches
            && worst.as_ref().is_none_or(|(_, other, _)| other.share < stretches.share)
        {
            worst = Some((channel, stretches, whole_file));
        }
    }
    let at_speed = passes.rows_at_speed;
    let compared = |kind: usize| if kind == FORCE { "force" } else { "pressure" };
    let row = TelemetryRow {
        source_file: key.source_file,
        field_id: key.field_id,
        season,
        strip_id: key.strip_id,
        planter_id: key.planter_id,
        row_unit: key.row_unit,
        first_row: Some(*first_row),
        rows: whole(passes.rows),
        rows_at_speed: whole(at_speed),
        started_at: clock.started.map(Moment),
        ended_at: clock.ended.map(Moment),
        step_s: (clock.usual > 0).then(|| seconds(clock.usual)),
        rows_back: whole(clock.back.times),
        rows_same_time: whole(clock.same_time.times),
        rows_repeated: whole(clock.repeated.times),
        gaps: whole(clock.gaps.times),
        longest_gap_s: (clock.gaps.times > 0).then(|| seconds(clock.longest_gap)),
        clock_jumps: whole(clock.jumps.times),
        hour_jumps: whole(clock.hour_jumps),
        stuck_channel: worst.and_then(|(channel, ..)| CHANNELS.get(channel)).map(|name| (*name).to_owned()),
        stuck_share: worst.map(|(_, stretches, _)| stretches.share),
        longest_stuck_s: worst.map(|(_, stretches, _)| seconds(stretches.longest)),
        compared: end.followed.map(|followed| compared(followed.kind).to_owned()),
        outside_share: end.followed.and_then(|followed| followed.outside_share),
        mean_set: end.followed.map(|followed| followed.mean_set),
        mean_difference: end.followed.map(|followed| followed.mean_difference),
        changes: end.followed.and_then(|_| whole(follow.changes.times)),
        lag_s: follow.lags.median().map(|lag| lag / SECOND as f64),
        never_arrived: end.followed.and_then(|_| whole(follow.never.times)),
        sags: end.followed.and_then(|_| whole(follow.sags.times)),
        sag_s: end.followed.map(|_| seconds(follow.sagged)),
        start_zero_rows: whole(passes.start_zeros.times),
        start_zero_share: (at_speed > 0).then(|| passes.start_zeros.times as f64 / at_speed as f64),
        turns: whole(passes.turns),
        turn_rows: whole(passes.turn_rows),
        turn_s: Some(seconds(passes.turned)),
    };
    let seen = FirstSeen {
        back: clock.back,
        back_jumps: clock.back_jumps,
        restarts: clock.restarts,
        same_time: clock.same_time,
        repeated: clock.repeated,
        gaps: clock.gaps,
        jumps: clock.jumps,
        first_hours: clock.first_hours,
        stuck: worst.map(|(_, stretches, _)| stretches.stretches).unwrap_or_default(),
        stuck_in_whole_file: worst.is_some_and(|(_, _, whole_file)| whole_file),
        outside: end.followed.map(|followed| followed.outside).unwrap_or_default(),
        changes: follow.changes,
        never: follow.never,
        sags: follow.sags,
        start_zeros: passes.start_zeros,
    };
    Watched { row, seen }
}
