//! Telemetry along each strip: what was set and measured, in at most [`MOST_PIECES`] pieces of equal time.
//!
//! Rows come in the order of their file. A strip begins with pieces of a second; when it would need one more than there may be, neighbours
//! are joined and pieces become twice as long. So memory grows with strips, never with rows, and the result does not hang on the batches.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use evenstand_settings::{Planter, Settings};
use evenstand_tables::rows::TraceRow;

use crate::key::StripKey;
use crate::telemetry_watch::{FORCE, PRESSURE, SECOND, Sample, SeriesKey};

/// Pieces of a strip: enough to see a pass, few enough to draw.
const MOST_PIECES: usize = 64;

/// Sums of the rows of a piece, at working speed.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Piece {
    rows: i64,
    speed: Mean,
    set: Mean,
    actual: Mean,
    low: f64,
    high: f64,
    place: [Mean; 2],
}

/// A sum and how many values stand in it.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Mean {
    sum: f64,
    count: i64,
}

impl Mean {
    fn add(&mut self, value: f64) {
        if value.is_finite() {
            self.sum += value;
            self.count += 1;
        }
    }

    fn join(self, other: Self) -> Self {
        Self { sum: self.sum + other.sum, count: self.count + other.count }
    }

    fn value(self) -> Option<f64> {
        (self.count > 0).then(|| self.sum / self.count as f64)
    }
}

impl Piece {
    const EMPTY: Self = Self {
        rows: 0,
        speed: Mean { sum: 0.0, count: 0 },
        set: Mean { sum: 0.0, count: 0 },
        actual: Mean { sum: 0.0, count: 0 },
        low: f64::INFINITY,
        high: f64::NEG_INFINITY,
        place: [Mean { sum: 0.0, count: 0 }; 2],
    };

    fn join(self, other: Self) -> Self {
        Self {
            rows: self.rows + other.rows,
            speed: self.speed.join(other.speed),
            set: self.set.join(other.set),
            actual: self.actual.join(other.actual),
            low: self.low.min(other.low),
            high: self.high.max(other.high),
            place: [self.place[0].join(other.place[0]), self.place[1].join(other.place[1])],
        }
    }
}

/// One strip of one file; its row units are taken together.
#[derive(Debug, Clone)]
struct Trace {
    planter_id: Option<String>,
    planter: Option<Planter>,
    row_units: BTreeSet<Option<String>>,
    started: i64,
    /// Length of a piece in microseconds.
    length: i64,
    pieces: Vec<Piece>,
    rows: i64,
    first_row: i64,
    last_row: i64,
}

impl Trace {
    fn row(&mut self, sample: &Sample) {
        self.rows += 1;
        self.first_row = self.first_row.min(sample.source_row);
        self.last_row = self.last_row.max(sample.source_row);
        // A clock that ran back before the strip's first row gives no place along it.
        let since = sample.time.saturating_sub(self.started);
        if !sample.at_speed || since < 0 {
            return;
        }
        while since / self.length >= MOST_PIECES as i64 {
            self.pieces = self
                .pieces
                .chunks(2)
                .map(|pair| pair.iter().copied().reduce(Piece::join).unwrap_or(Piece::EMPTY))
                .collect();
            self.length = self.length.saturating_mul(2);
        }
        let place = (since / self.length) as usize;
        if self.pieces.len() <= place {
            self.pieces.resize(place + 1, Piece::EMPTY);
        }
        let force = |values: [f64; 2]| {
            if !values[FORCE].is_nan() || values[PRESSURE].is_nan() {
                return values[FORCE];
            }
            let weighed = self.planter.as_ref().and_then(|planter| planter.force_at_pressure(values[PRESSURE]));
            weighed.unwrap_or(values[PRESSURE])
        };
        let (set, actual) = (force(sample.set), force(sample.actual));
        let piece = &mut self.pieces[place];
        piece.rows += 1;
        piece.speed.add(sample.speed);
        piece.set.add(set);
        piece.actual.add(actual);
        if actual.is_finite() {
            piece.low = piece.low.min(actual);
            piece.high = piece.high.max(actual);
        }
        piece.place[0].add(sample.place[0]);
        piece.place[1].add(sample.place[1]);
    }

    fn rows(&self, key: &StripKey) -> Vec<TraceRow> {
        if self.pieces.iter().all(|piece| piece.set.count + piece.actual.count == 0) {
            return Vec::new();
        }
        let row_unit = match self.row_units.iter().collect::<Vec<_>>().as_slice() {
            [only] => (*only).clone(),
            _ => None,
        };
        let seconds = self.length as f64 / SECOND as f64;
        let mut way = 0.0;
        let mut known = true;
        let mut rows = Vec::new();
        for (place, piece) in self.pieces.iter().enumerate().filter(|(_, piece)| piece.rows > 0) {
            let speed = piece.speed.value();
            known &= speed.is_some();
            let length = speed.unwrap_or(0.0) * seconds;
            rows.push(TraceRow {
                field_id: key.field.field_id.clone(),
                season: key.field.season,
                strip_id: key.strip_id.clone(),
                planter_id: self.planter_id.clone(),
                row_unit: row_unit.clone(),
                piece: place as i64 + 1,
                from_s: Some(place as f64 * seconds),
                to_s: Some((place + 1) as f64 * seconds),
                along_m: known.then_some(way + length / 2.0),
                lat: piece.place[0].value(),
                lon: piece.place[1].value(),
                speed_m_s: speed,
                set_n: piece.set.value(),
                actual_n: piece.actual.value(),
                actual_low_n: piece.low.is_finite().then_some(piece.low),
                actual_high_n: piece.high.is_finite().then_some(piece.high),
                rows: Some(piece.rows),
            });
            way += length;
        }
        rows
    }
}

/// Rows of a file that name a strip.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct LoggedStrip {
    pub key: StripKey,
    pub source_file: String,
    /// Time of the first row, microseconds since 1970-01-01 UTC.
    pub started: i64,
    pub first_row: i64,
    pub last_row: i64,
    pub rows: i64,
}

/// Traces of all strips while the logs stream by.
#[derive(Debug, Default)]
pub(crate) struct Traces {
    planters: Vec<Planter>,
    open: Vec<(StripKey, String, Trace)>,
    index: HashMap<(StripKey, String), usize>,
    done: BTreeMap<StripKey, Trace>,
    logged: Vec<LoggedStrip>,
}

impl Traces {
    pub fn new(settings: &Settings) -> Self {
        Self { planters: settings.planters.clone(), ..Self::default() }
    }

    /// The trace that rows of a series belong to; `None` where they name no strip.
    pub fn of_series(&mut self, key: &SeriesKey, season: i64, sample: &Sample) -> Option<usize> {
        let strip = StripKey::new(&key.field_id, season, key.strip_id.as_deref()?);
        let place = (strip.clone(), key.source_file.clone());
        let next = self.open.len();
        let number = *self.index.entry(place).or_insert(next);
        if number == next {
            let planter = key.planter_id.as_ref().and_then(|id| self.planters.iter().find(|planter| planter.id == *id));
            let trace = Trace {
                planter_id: key.planter_id.clone(),
                planter: planter.cloned(),
                row_units: BTreeSet::new(),
                started: sample.time,
                length: SECOND,
                pieces: Vec::new(),
                rows: 0,
                first_row: i64::MAX,
                last_row: 0,
            };
            self.open.push((strip, key.source_file.clone(), trace));
        }
        if let Some((_, _, trace)) = self.open.get_mut(number) {
            trace.row_units.insert(key.row_unit.clone());
        }
        Some(number)
    }

    pub fn row(&mut self, number: usize, sample: &Sample) {
        if let Some((_, _, trace)) = self.open.get_mut(number) {
            trace.row(sample);
        }
    }

    /// Ends a file. Of a strip that stands in several files the one with most rows is traced.
    pub fn end_of_file(&mut self) {
        self.index.clear();
        for (key, source_file, trace) in self.open.drain(..) {
            self.logged.push(LoggedStrip {
                key: key.clone(),
                source_file,
                started: trace.started,
                first_row: trace.first_row,
                last_row: trace.last_row,
                rows: trace.rows,
            });
            if self.done.get(&key).is_none_or(|other| other.rows < trace.rows) {
                self.done.insert(key, trace);
            }
        }
    }

    /// Rows of `traces` in the order of field, season, strip and piece, and the files behind each strip.
    pub fn finish(mut self) -> (Vec<TraceRow>, Vec<LoggedStrip>) {
        self.end_of_file();
        (self.done.iter().flat_map(|(key, trace)| trace.rows(key)).collect(), self.logged)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key(row_unit: &str) -> SeriesKey {
        SeriesKey {
            source_file: "log.csv".into(),
            field_id: "A".into(),
            strip_id: Some("1".into()),
            planter_id: Some("air".into()),
            row_unit: Some(row_unit.into()),
        }
    }

    fn sample(second: i64, set_kpa: f64, actual_kpa: f64) -> Sample {
        Sample {
            time: second * SECOND,
            source_row: second + 2,
            at_speed: true,
            speed: 2.0,
            set: [f64::NAN, set_kpa],
            actual: [f64::NAN, actual_kpa],
            place: [50.0, 10.0 + second as f64 * 1e-5],
        }
    }

    fn settings() -> Settings {
        Settings::parse("[[planter]]\nid = \"air\"\n[planter.closing]\nkind = \"pressure\"\nforce_n = [[0, 0], [100, 120], [200, 250]]").unwrap()
    }

    fn traced(samples: &[(&str, Sample)]) -> (Vec<TraceRow>, Vec<LoggedStrip>) {
        let mut traces = Traces::new(&settings());
        for (row_unit, sample) in samples {
            let number = traces.of_series(&key(row_unit), 2025, sample).unwrap();
            traces.row(number, sample);
        }
        traces.finish()
    }

    #[test]
    fn a_long_strip_is_cut_into_equal_pieces_that_hold_every_row() {
        for seconds in [1, 63, 64, 65, 200, 1000] {
            let samples: Vec<_> = (0..seconds)
                .map(|second| ("1", sample(second, 100.0, if second % 2 == 0 { 90.0 } else { 150.0 })))
                .collect();
            let (rows, logged) = traced(&samples);
            assert!(rows.len() <= MOST_PIECES, "{seconds}: {}", rows.len());
            assert_eq!(rows.iter().filter_map(|row| row.rows).sum::<i64>(), seconds);
            let length = rows[0].to_s.unwrap();
            assert!(rows.iter().all(|row| row.to_s.unwrap() - row.from_s.unwrap() == length));
            assert_eq!((logged[0].first_row, logged[0].last_row, logged[0].rows), (2, seconds + 1, seconds));
        }
    }

    #[test]
    fn pressures_become_forces_and_the_way_is_speed_over_time() {
        let samples: Vec<_> = (0..128).map(|second| ("1", sample(second, 100.0, 150.0))).collect();
        let (rows, _) = traced(&samples);
        // 128 seconds in pieces of two; at 2 m/s each is 4 m long.
        assert_eq!(rows.len(), 64);
        assert_eq!((rows[0].set_n, rows[0].actual_n), (Some(120.0), Some(185.0)));
        assert_eq!((rows[0].along_m, rows[10].along_m), (Some(2.0), Some(42.0)));
        assert_eq!(rows[3].lon, Some(10.0 + 6.5e-5));
    }

    #[test]
    fn row_units_are_taken_together_and_faults_of_the_clock_do_no_harm() {
        let mut samples = vec![("1", sample(100, 100.0, 90.0)), ("2", sample(100, 100.0, 110.0))];
        let (rows, _) = traced(&samples);
        assert_eq!((rows[0].row_unit.clone(), rows[0].rows), (None, Some(2)));
        let low_high = (rows[0].actual_low_n.unwrap(), rows[0].actual_high_n.unwrap());
        assert!((low_high.0 - 108.0).abs() < 1e-9 && (low_high.1 - 133.0).abs() < 1e-9, "{low_high:?}");
        samples.push(("1", sample(50, 100.0, 900.0)));
        samples.push(("1", sample(100 + 3600, 100.0, 100.0)));
        let (rows, logged) = traced(&samples);
        assert_eq!(rows.iter().filter_map(|row| row.rows).sum::<i64>(), 3, "the row before the start has no place");
        assert_eq!(logged[0].rows, 4);
    }
}
