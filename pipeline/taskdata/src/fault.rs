//! Faults inside a log: counted, with the record where each was met first.

use jiff::SignedDuration;
use jiff::civil::DateTime;

use crate::notice::Notice;
use crate::record::Place;

/// How often something was met, and first in which record.
#[derive(Debug, Clone, Copy, Default)]
struct Tally {
    count: u64,
    first: u64,
}

impl Tally {
    fn add(&mut self, record: u64, count: u64) {
        if self.count == 0 {
            self.first = record;
        }
        self.count = self.count.saturating_add(count);
    }
}

#[derive(Debug, Clone, Default)]
pub(crate) struct Faults {
    unknown_value: Tally,
    no_time: Tally,
    jump: Tally,
    backwards: Tally,
    no_place: Tally,
    off_the_globe: Tally,
    doubtful_place: Tally,
    /// Record that the file ends in, and bytes left of it.
    cut_short: Option<(u64, usize)>,
}

/// A step in time from which on it is a jump.
const JUMP: SignedDuration = SignedDuration::from_hours(24);

impl Faults {
    pub fn cut_short(&mut self, record: u64, bytes: usize) {
        self.cut_short = Some((record, bytes));
    }

    pub fn unknown_values(&mut self, record: u64, count: usize) {
        if count > 0 {
            self.unknown_value.add(record, count as u64);
        }
    }

    pub fn place(&mut self, record: u64, place: Place, status: Option<u8>) {
        match place {
            Place::NotLogged => {}
            Place::NotAvailable => self.no_place.add(record, 1),
            Place::OffTheGlobe => self.off_the_globe.add(record, 1),
            // No fix, error, not available (memory).
            Place::Good if matches!(status, Some(0 | 14 | 15)) => self.doubtful_place.add(record, 1),
            Place::Good => {}
        }
    }

    pub fn time(&mut self, record: u64, last: Option<DateTime>, now: Option<DateTime>) {
        match (last, now) {
            (_, None) => self.no_time.add(record, 1),
            (Some(last), Some(now)) if now < last => self.backwards.add(record, 1),
            (Some(last), Some(now)) if now.duration_since(last) > JUMP => self.jump.add(record, 1),
            _ => {}
        }
    }

    pub fn notices(&self, file: &str) -> Vec<Notice> {
        let table = [
            (
                self.unknown_value,
                "log_unknown_channel",
                "values are of channels that the header does not name; they are left out",
                "compare the log with what the terminal shows; header and records may be of two logs",
            ),
            (
                self.no_time,
                "log_no_time",
                "records have a time of day beyond midnight; they have no time",
                "compare the log with what the terminal shows",
            ),
            (
                self.jump,
                "log_time_jumps",
                "records are more than a day after the one before",
                "look whether the clock was set, or the log is damaged from there on",
            ),
            (
                self.backwards,
                "log_time_backwards",
                "records are earlier than the one before",
                "look whether the clock was set, or the log is damaged from there on",
            ),
            (
                self.no_place,
                "log_no_position",
                "records have no position; the receiver had none",
                "nothing, unless there are many",
            ),
            (
                self.off_the_globe,
                "log_position_impossible",
                "records have a position that is not on the globe; it is left out",
                "look whether the log is damaged from there on",
            ),
            (
                self.doubtful_place,
                "log_position_doubtful",
                "records have a position whose status says that there is none; it is kept",
                "look whether they lie in the field",
            ),
        ];
        let mut notices: Vec<Notice> = table
            .into_iter()
            .filter(|(tally, ..)| tally.count > 0)
            .map(|(tally, code, what, remedy)| Notice {
                code,
                place: format!("{file}, from record {}", tally.first),
                count: tally.count,
                message: format!("{} {what}", tally.count),
                remedy,
            })
            .collect();
        if let Some((record, bytes)) = self.cut_short {
            let message = format!("the file ends inside this record, after {bytes} bytes of it; it is left out");
            let remedy = "copy the log from the terminal again if you can; records before it are read";
            notices.push(Notice {
                code: "log_cut_short",
                place: format!("{file}, record {record}"),
                count: 1,
                message,
                remedy,
            });
        }
        notices
    }
}
