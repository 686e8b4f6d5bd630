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
mod result;
mod sample;
mod series;
mod stuck;
#[cfg(test)]
mod tests;

use std::collections::HashMap;
use std::path::Path;

use arrow::array::RecordBatch;
use evenstand_settings::Settings;
use evenstand_tables::Finding;
use evenstand_tables::rows::TelemetryRow;

use crate::LinkError;
use crate::telemetry_findings::{Unwatched, telemetry_findings};
use crate::traced::Traced;
use crate::traces::{LoggedStrip, Traces, Walk};
use columns::Columns;
#[cfg(test)]
pub(crate) use result::ComparedTime;
pub(crate) use result::{FirstSeen, Watched};
use result::{constant_channels, watched};
use sample::Limits;
pub(crate) use sample::{FORCE, PRESSURE, SECOND, Sample};
use series::{Series, SeriesEnd};

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

/// A series, its row unit's slot, how far it has come along its strip, and the series whose row came next after its last one.
struct Entry {
    key: SeriesKey,
    slot: usize,
    walk: Option<Walk>,
    next: usize,
    series: Series,
}

/// What watching came to.
pub(crate) struct WatchEnd {
    pub watched: Vec<Watched>,
    pub findings: Vec<Finding>,
    pub traces: Traced,
    pub logged: Vec<LoggedStrip>,
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
    traces: Traces,
}

impl Watch {
    /// Nothing watched yet; what does not stay in memory waits on the disk of `folder`.
    pub fn new(settings: &Settings, folder: &Path) -> Self {
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
            traces: Traces::new(settings, folder),
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
                if let Some(walk) = &mut entry.walk {
                    self.traces.row(walk, &sample);
                }
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
        let walk = self.traces.begin(&key, self.season, sample);
        self.entries.push(Entry { key: key.clone(), slot, walk, next: new, series });
        self.index.insert(key, new);
        Some(new)
    }

    /// Ends a file: its states become result rows. Errors where the disk takes no traces.
    pub fn end_of_file(&mut self) -> Result<(), LinkError> {
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
        self.traces.end_of_file()?;
        self.index.clear();
        self.slots.clear();
        self.last_of_slot.clear();
        self.last = 0;
        let season = self.season;
        self.left_out.extend(self.unwatched.drain().map(|(source_file, rows)| Unwatched { source_file, season, rows }));
        Ok(())
    }

    /// The series in the order of their keys, what a person should look at, and telemetry along each strip with the files it stands in.
    /// Errors as [`Self::end_of_file`].
    pub fn finish(mut self, settings: &Settings) -> Result<WatchEnd, LinkError> {
        self.end_of_file()?;
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
        let (traces, logged) = self.traces.finish()?;
        Ok(WatchEnd { watched: self.watched, findings, traces, logged })
    }
}
