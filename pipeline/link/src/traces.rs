//! Telemetry along each strip: what was set and measured, in at most [`MOST_PIECES`] pieces of equal time.
//!
//! Rows come in the order of their file. A strip begins with pieces of a second; when it would need one more than there may be, neighbours
//! are joined and pieces become twice as long. So memory grows with the strips of a file, never with rows, and the result does not hang on the batches:
//! sums are made row by row in one fixed order.
//!
//! Each row unit walks along the strip by its own clock. A step of the clock back, or one of more than [`LONGEST_STEP`] forward, takes no time and
//! leads nowhere, so that a clock that jumps or a stop for lunch leaves the rest of the strip as it is.

#[cfg(test)]
mod tests;

use std::collections::{BTreeSet, HashMap};
use std::path::Path;

use evenstand_settings::{Planter, Settings};

use crate::LinkError;
use crate::key::StripKey;
use crate::telemetry_watch::{FORCE, PRESSURE, SECOND, Sample, SeriesKey};
use crate::traced::{Heading, PieceNumbers, Traced};

/// Pieces of a strip: enough to see a pass, few enough to draw.
const MOST_PIECES: usize = 64;

/// Longest step between rows that counts as driven: 60 s, as long as a value of task data holds.
const LONGEST_STEP: i64 = 60 * SECOND;

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

    /// NaN where there is no value.
    fn value(self) -> f64 {
        self.sum / self.count as f64
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

    fn numbers(&self, place: usize) -> PieceNumbers {
        let speed = self.speed.value();
        [
            place as f64,
            self.rows as f64,
            // Where no speed is known, neither is the way.
            if speed.is_nan() { f64::NAN } else { self.way.value() },
            self.place[0].value(),
            self.place[1].value(),
            speed,
            self.set.value(),
            self.actual.value(),
            if self.low.is_finite() { self.low } else { f64::NAN },
            if self.high.is_finite() { self.high } else { f64::NAN },
        ]
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

    fn heading(&self, source_file: String) -> Heading {
        let row_unit = match self.row_units.iter().collect::<Vec<_>>().as_slice() {
            [only] => (*only).clone(),
            _ => None,
        };
        Heading {
            source_file,
            planter_id: self.planter_id.clone(),
            row_unit,
            piece_s: self.length as f64 / SECOND as f64,
            rows_at_speed: self.pieces.iter().map(|piece| piece.rows).sum(),
        }
    }

    /// Pieces with rows at speed; none where no force is known anywhere.
    fn numbers(&self) -> impl Iterator<Item = PieceNumbers> {
        let known = self.pieces.iter().any(|piece| piece.set.count + piece.actual.count > 0);
        let pieces = self.pieces.iter().enumerate().filter(move |(_, piece)| known && piece.rows > 0);
        pieces.map(|(place, piece)| piece.numbers(place))
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
    done: Traced,
    logged: Vec<LoggedStrip>,
}

/// Strip, planter and file of a trace.
type Opened = (StripKey, Option<String>, String);

impl Traces {
    /// No traces yet; those of files that have ended wait on the disk of `folder`.
    pub fn new(settings: &Settings, folder: &Path) -> Self {
        Self { planters: settings.planters.clone(), done: Traced::new(folder), ..Self::default() }
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
    /// equal ones that of the file, and of the planter, whose name comes first. Errors where the disk takes no pieces.
    pub fn end_of_file(&mut self) -> Result<(), LinkError> {
        self.index.clear();
        let mut ended = std::mem::take(&mut self.open);
        ended.sort_by(|a, b| a.0.cmp(&b.0));
        for ((key, _, source_file), trace) in ended {
            self.logged.push(LoggedStrip {
                key: key.clone(),
                source_file: source_file.clone(),
                started: trace.started,
                first_row: trace.first_row,
                last_row: trace.last_row,
                rows: trace.rows,
            });
            self.done.add(key, trace.heading(source_file), trace.numbers())?;
        }
        Ok(())
    }

    /// The traces, and the files behind each strip. Errors as [`Self::end_of_file`].
    pub fn finish(mut self) -> Result<(Traced, Vec<LoggedStrip>), LinkError> {
        self.end_of_file()?;
        Ok((self.done, self.logged))
    }
}
