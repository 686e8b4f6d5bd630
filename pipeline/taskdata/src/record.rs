//! One record of a time log.

use jiff::Timestamp;
use jiff::civil::{Date, DateTime, Time};

use crate::header::{POSITION, Slot};

/// What a machine reported at one moment.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Record {
    /// Number in the log, from 1.
    pub number: u64,
    /// Time by the machine's clock, in no stated zone. None where the time of day is beyond midnight.
    pub local: Option<DateTime>,
    /// Universal time from the positioning system, where it is logged and available.
    pub utc: Option<Timestamp>,
    /// Latitude in degrees (WGS 84), where it is logged, available and on the globe.
    pub latitude: Option<f64>,
    /// Longitude in degrees, as the latitude: there are both or neither.
    pub longitude: Option<f64>,
    /// Quality of the position by number: 0 none, 1 satellites, 2 differential, 4 fixed to a centimetre or two, 5 floating,
    /// 14 error, 15 not available (memory; 4 is seen).
    pub status: Option<u8>,
    /// Values that this record has, in its order. A channel that is not here keeps its value.
    pub changes: Vec<Change>,
}

/// A value in a record.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Change {
    /// Position of the channel in the log.
    pub position: u8,
    /// Raw value.
    pub raw: i32,
}

/// What became of the position of a record.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Place {
    NotLogged,
    Good,
    NotAvailable,
    OffTheGlobe,
}

const MILLISECONDS_PER_DAY: u32 = 86_400_000;
/// Days are counted from here (seen).
const FIRST_DAY: Date = Date::constant(1980, 1, 1);
/// 1980-01-01T00:00:00Z in seconds since 1970: ten years of 365 days and the leap days of 1972 and 1976.
const FIRST_DAY_SECONDS: i64 = (10 * 365 + 2) * 86_400;

/// Civil time of milliseconds since midnight and days since 1980; none beyond midnight.
pub(crate) fn civil(milliseconds: u32, days: u16) -> Option<DateTime> {
    if milliseconds >= MILLISECONDS_PER_DAY {
        return None;
    }
    let part = |value: u32| i8::try_from(value).ok();
    let (seconds, rest) = (milliseconds / 1000, milliseconds % 1000);
    let nanoseconds = i32::try_from(rest).ok()?.checked_mul(1_000_000)?;
    let time = Time::new(part(seconds / 3600)?, part(seconds / 60 % 60)?, part(seconds % 60)?, nanoseconds).ok()?;
    let date = FIRST_DAY.checked_add(jiff::SignedDuration::from_hours(i64::from(days) * 24)).ok()?;
    Some(DateTime::from_parts(date, time))
}

fn universal(milliseconds: u32, days: u16) -> Option<Timestamp> {
    // All bits set say "not available" (memory).
    if milliseconds >= MILLISECONDS_PER_DAY || days == u16::MAX {
        return None;
    }
    let seconds = FIRST_DAY_SECONDS + i64::from(days) * 86_400;
    Timestamp::from_millisecond(seconds * 1000 + i64::from(milliseconds)).ok()
}

/// Reads the bytes of a record one after another.
pub(crate) struct Bytes<'a> {
    pub bytes: &'a [u8],
    pub at: usize,
}

impl Bytes<'_> {
    pub fn take<const N: usize>(&mut self) -> Option<[u8; N]> {
        let end = self.at.checked_add(N)?;
        let taken = self.bytes.get(self.at..end)?.try_into().ok()?;
        self.at = end;
        Some(taken)
    }

    /// Little-endian number of 1, 2 or 4 bytes.
    fn number(&mut self, size: usize) -> Option<u32> {
        match size {
            1 => self.take::<1>().map(|byte| u32::from(u8::from_le_bytes(byte))),
            2 => self.take::<2>().map(|bytes| u32::from(u16::from_le_bytes(bytes))),
            _ => self.take::<4>().map(u32::from_le_bytes),
        }
    }
}

/// Reads the next record from `bytes` into `record`, values of unknown channels too. None where the bytes end inside it.
pub(crate) fn read(bytes: &mut Bytes<'_>, position: &[Slot; 9], record: &mut Record) -> Option<Place> {
    let milliseconds = u32::from_le_bytes(bytes.take()?);
    let days = u16::from_le_bytes(bytes.take()?);
    record.local = civil(milliseconds, days);
    let mut logged = [None; 9];
    for ((slot, (_, size)), value) in position.iter().zip(POSITION).zip(&mut logged) {
        if *slot == Slot::Logged {
            *value = Some(bytes.number(size)?);
        }
    }
    let [north, east, _, status, _, _, _, time, date] = logged;
    let [fixed_north, fixed_east, _, fixed_status, ..] = position;
    record.status = status.and_then(|status| u8::try_from(status).ok()).or(match fixed_status {
        Slot::Constant(status) if (0.0..=255.0).contains(status) => Some(*status as u8),
        _ => None,
    });
    record.utc = time.zip(date).and_then(|(time, date)| universal(time, u16::try_from(date).ok()?));
    let place = set_place(record, degrees(north, fixed_north), degrees(east, fixed_east));
    record.changes.clear();
    for _ in 0..u8::from_le_bytes(bytes.take()?) {
        let [position] = bytes.take()?;
        record.changes.push(Change { position, raw: i32::from_le_bytes(bytes.take()?) });
    }
    Some(place)
}

/// A coordinate in steps of 1e-7 degree and in degrees; a fixed one has no raw value.
fn degrees(raw: Option<u32>, fixed: &Slot) -> Option<(Option<i32>, f64)> {
    match (raw, fixed) {
        (Some(raw), _) => {
            let raw = i32::from_le_bytes(raw.to_le_bytes());
            Some((Some(raw), f64::from(raw) / 1e7))
        }
        (None, Slot::Constant(degrees)) => Some((None, *degrees)),
        _ => None,
    }
}

fn set_place(record: &mut Record, north: Option<(Option<i32>, f64)>, east: Option<(Option<i32>, f64)>) -> Place {
    (record.latitude, record.longitude) = (None, None);
    let (Some((raw_north, north)), Some((raw_east, east))) = (north, east) else { return Place::NotLogged };
    let unset = |raw: Option<i32>| matches!(raw, Some(i32::MAX | i32::MIN));
    // The extremes of the number say "not available" (memory); all zeros or all ones are what a receiver without a fix
    // leaves, a place in the ocean where nobody plants.
    let nowhere = |raw: Option<i32>| matches!(raw, Some(0 | -1));
    if unset(raw_north) || unset(raw_east) || (nowhere(raw_north) && nowhere(raw_east)) {
        return Place::NotAvailable;
    }
    if north.abs() > 90.0 || east.abs() > 180.0 {
        return Place::OffTheGlobe;
    }
    (record.latitude, record.longitude) = (Some(north), Some(east));
    Place::Good
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn milliseconds_and_days_give_the_civil_and_the_universal_time() {
        let civil = |milliseconds, days| civil(milliseconds, days).map(|time| time.to_string());
        assert_eq!(civil(43_200_000, 16_562).as_deref(), Some("2025-05-06T12:00:00"));
        assert_eq!(civil(86_399_999, 0).as_deref(), Some("1980-01-01T23:59:59.999"));
        assert_eq!(civil(86_400_000, 0), None);
        assert!(civil(0, u16::MAX).is_some());
        assert_eq!(universal(43_200_000, 16_562).unwrap().to_string(), "2025-05-06T12:00:00Z");
        assert_eq!(universal(u32::MAX, 16_562), None);
        assert_eq!(universal(0, u16::MAX), None);
    }
}
