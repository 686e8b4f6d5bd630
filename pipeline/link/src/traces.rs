//! Telemetry along each strip: what was set and measured, in at most [`MOST_PIECES`] pieces of equal time.
//!
//! Rows come in the order of their file. A strip begins with pieces of a second; when it would need one more than there may be, neighbours
//! are joined and pieces become twice as long. So memory grows with strips, never with rows, and the result does not hang on the batches:
//! sums are made row by row in one fixed order.
//!
//! Each row unit walks along the strip by its own clock. A step of the clock back, or one of more than [`LONGEST_STEP`] forward, takes no time and
//! leads nowhere, so that a clock that jumps or a stop for lunch leaves the rest of the strip as it is.

#[cfg(test)]
mod tests;

use std::collections::{BTreeMap, BTreeSet, HashMap};

use evenstand_settings::{Planter, Settings};
use evenstand_tables::LongTable;
use evenstand_tables::rows::TraceRow;

use crate::key::StripKey;
use crate::telemetry_watch::{FORCE, PRESSURE, SECOND, Sample, SeriesKey};

/// Pieces of a strip: enough to see a pass, few enough to draw.
const MOST_PIECES: usize = 64;

/// Longest step between rows that counts as driven: 60 s, as long as a value of task data holds.
const LONGEST_STEP: i64 = 60 * SECOND;

/// Rows that become columns together.
const PART: usize = 4096;

/// Sums of the rows of a piece, at working speed.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Piece {
    rows: i64,
    way: Mean,
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
        way: Mean { sum: 0.0, count: 0 },
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
            way: self.way.join(other.way),
            speed: self.speed.join(other.speed),
            set: self.set.join(other.set),
            actual: self.actual.join(other.actual),
            low: self.low.min(other.low),
            high: self.high.max(other.high),
            place: [self.place[0].join(other.place[0]), self.place[1].join(other.place[1])],
        }
    }
}

/// One strip and planter of one file; its row units are taken together.
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
    fn row(&mut self, walk: &Walk, sample: &Sample) {
        self.rows += 1;
        self.first_row = self.first_row.min(sample.source_row);
        self.last_row = self.last_row.max(sample.source_row);
        if !sample.at_speed {
            return;
        }
        let (set, actual) = (self.force(sample.set), self.force(sample.actual));
        let piece = self.piece_at(walk.driven);
        piece.rows += 1;
        piece.way.add(walk.way);
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

    /// The piece that holds this time; pieces are joined in pairs until it is one of those there may be.
    fn piece_at(&mut self, driven: i64) -> &mut Piece {
        while driven / self.length >= MOST_PIECES as i64 {
            self.pieces = self
                .pieces
                .chunks(2)
                .map(|pair| pair.iter().copied().reduce(Piece::join).unwrap_or(Piece::EMPTY))
                .collect();
            self.length = self.length.saturating_mul(2);
        }
        let place = (driven / self.length) as usize;
        if self.pieces.len() <= place {
            self.pieces.resize(place + 1, Piece::EMPTY);
        }
        &mut self.pieces[place]
    }

    /// The force that was logged, else that of the pressure: weighed, or 1 nominal N a kPa, as in the means of strips.
    fn force(&self, values: [f64; 2]) -> f64 {
        if !values[FORCE].is_nan() || values[PRESSURE].is_nan() {
            return values[FORCE];
        }
        let weighed = self.planter.as_ref().and_then(|planter| planter.force_at_pressure(values[PRESSURE]));
        weighed.unwrap_or(values[PRESSURE])
    }

    fn rows_at_speed(&self) -> i64 {
        self.pieces.iter().map(|piece| piece.rows).sum()
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
        let row = |(place, piece): (usize, &Piece)| TraceRow {
            field_id: key.field.field_id.clone(),
            season: key.field.season,
            strip_id: key.strip_id.clone(),
            planter_id: self.planter_id.clone(),
            row_unit: row_unit.clone(),
            piece: place as i64 + 1,
            from_s: Some(place as f64 * seconds),
            to_s: Some((place + 1) as f64 * seconds),
            along_m: piece.speed.value().and(piece.way.value()),
            lat: piece.place[0].value(),
            lon: piece.place[1].value(),
            speed_m_s: piece.speed.value(),
            set_n: piece.set.value(),
            actual_n: piece.actual.value(),
            actual_low_n: piece.low.is_finite().then_some(piece.low),
            actual_high_n: piece.high.is_finite().then_some(piece.high),
            rows: Some(piece.rows),
        };
        self.pieces.iter().enumerate().filter(|(_, piece)| piece.rows > 0).map(row).collect()
    }
}

/// How far one row unit has come along its strip.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Walk {
    trace: usize,
    time: i64,
    speed: f64,
    /// Microseconds from the strip's first row, without steps that are not driven.
    driven: i64,
    /// Metres in that time; NaN from where no speed is known.
    way: f64,
}

impl Walk {
    /// At the first row of a row unit, where the strip's first row of all was at `started`.
    fn begin(trace: usize, started: i64, sample: &Sample) -> Self {
        Self { trace, time: started, speed: sample.speed, driven: 0, way: 0.0 }.to(sample)
    }

    fn to(self, sample: &Sample) -> Self {
        let step = sample.time.saturating_sub(self.time);
        if !(1..=LONGEST_STEP).contains(&step) {
            return Self { time: sample.time, speed: sample.speed, ..self };
        }
        // Where one of the two rows has no speed, that of the other stands for both.
        let speed = match (self.speed.is_nan(), sample.speed.is_nan()) {
            (false, false) => (self.speed + sample.speed) / 2.0,
            (true, _) => sample.speed,
            (false, true) => self.speed,
        };
        Self {
            trace: self.trace,
            time: sample.time,
            speed: sample.speed,
            driven: self.driven + step,
            way: self.way + speed * (step as f64 / SECOND as f64),
        }
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
    open: Vec<(Opened, Trace)>,
    index: HashMap<Opened, usize>,
    done: BTreeMap<StripKey, (String, Trace)>,
    logged: Vec<LoggedStrip>,
}

/// Strip, planter and file of a trace.
type Opened = (StripKey, Option<String>, String);

impl Traces {
    pub fn new(settings: &Settings) -> Self {
        Self { planters: settings.planters.clone(), ..Self::default() }
    }

    /// The start of a row unit that begins with this row; `None` where its rows name no strip.
    pub fn begin(&mut self, key: &SeriesKey, season: i64, sample: &Sample) -> Option<Walk> {
        let strip = StripKey::new(&key.field_id, season, key.strip_id.as_deref()?);
        let opened = (strip, key.planter_id.clone(), key.source_file.clone());
        let next = self.open.len();
        let number = *self.index.entry(opened.clone()).or_insert(next);
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
            self.open.push((opened, trace));
        }
        let (_, trace) = self.open.get_mut(number)?;
        trace.row_units.insert(key.row_unit.clone());
        Some(Walk::begin(number, trace.started, sample))
    }

    /// Takes the next row of a row unit; its first row is taken as well.
    pub fn row(&mut self, walk: &mut Walk, sample: &Sample) {
        *walk = walk.to(sample);
        if let Some((_, trace)) = self.open.get_mut(walk.trace) {
            trace.row(walk, sample);
        }
    }

    /// Ends a file. Of a strip that stands in several files, or was planted by several planters, the trace with most rows at speed is kept; of
    /// equal ones that of the file, and of the planter, whose name comes first.
    pub fn end_of_file(&mut self) {
        self.index.clear();
        let mut ended = std::mem::take(&mut self.open);
        ended.sort_by(|a, b| a.0.cmp(&b.0));
        for ((key, _, source_file), mut trace) in ended {
            trace.pieces.shrink_to_fit();
            self.logged.push(LoggedStrip {
                key: key.clone(),
                source_file: source_file.clone(),
                started: trace.started,
                first_row: trace.first_row,
                last_row: trace.last_row,
                rows: trace.rows,
            });
            let fuller = |(other_file, other): &(String, Trace)| {
                (trace.rows_at_speed(), other_file) > (other.rows_at_speed(), &source_file)
            };
            if self.done.get(&key).is_none_or(fuller) {
                self.done.insert(key, (source_file, trace));
            }
        }
    }

    /// Rows of `traces` in the order of field, season, strip and piece, and the files behind each strip.
    pub fn finish(mut self) -> (LongTable<TraceRow>, Vec<LoggedStrip>) {
        self.end_of_file();
        let mut rows = LongTable::default();
        let mut next = Vec::new();
        for (key, (_, trace)) in self.done {
            next.extend(trace.rows(&key));
            if next.len() >= PART {
                rows.extend(std::mem::take(&mut next));
            }
        }
        rows.extend(next);
        (rows, self.logged)
    }
}
