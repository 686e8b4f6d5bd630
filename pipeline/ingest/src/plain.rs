//! The commonest ways to write a number and a time, read without detours.
//!
//! What stands here gives exactly what [`read_cell`](crate::value::read_cell) gives, or `None`, and then that is asked: a
//! second way to read a cell may be faster, but never know better.

use jiff::civil::{Date, DateTime};

/// Digits up to which a decimal number is read here.
const DIGITS: usize = 15;
/// Powers of ten that a double holds exactly.
const POWERS: [f64; DIGITS + 1] =
    [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15];

/// A decimal number of up to 15 digits, such as `-12.5`; the same double as `str::parse` gives.
///
/// Its digits as a whole number and the power of ten below them are exact doubles, so one division rounds once, to the
/// nearest (Clinger 1990, "How to read floating point numbers accurately").
pub(crate) fn decimal(text: &[u8], point: u8) -> Option<f64> {
    let (negative, digits) = match text {
        [b'-', digits @ ..] => (true, digits),
        digits => (false, digits),
    };
    let (mut whole, mut behind, mut seen) = (0_u64, 0, false);
    if digits.len() > DIGITS + 1 || !digits.first()?.is_ascii_digit() {
        return None;
    }
    for byte in digits {
        let digit = byte.wrapping_sub(b'0');
        if digit <= 9 {
            whole = 10 * whole + u64::from(digit);
            behind += usize::from(seen);
        } else if *byte == point && !seen {
            seen = true;
        } else {
            return None;
        }
    }
    if whole >= 1_000_000_000_000_000 {
        return None;
    }
    let number = whole as f64 / POWERS[behind];
    Some(if negative { -number } else { number })
}

/// A time as it was written.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Written {
    /// With an offset from UTC: microseconds since 1970 UTC.
    Instant(i64),
    /// Without one.
    Local(DateTime),
}

/// A time from 1970 to 2199 such as `2025-04-28T07:30:00.2Z` or `2025-04-28 07:30`, to the microsecond.
pub(crate) fn time(text: &[u8]) -> Option<Written> {
    let number = |from: usize, to: usize| {
        text.get(from..to)?.iter().try_fold(0_i32, |number, byte| {
            let digit = byte.wrapping_sub(b'0');
            (digit <= 9).then_some(10 * number + i32::from(digit))
        })
    };
    let is = |at: usize, byte: u8| text.get(at) == Some(&byte);
    if !(is(4, b'-') && is(7, b'-') && (is(10, b'T') || is(10, b' ')) && is(13, b':')) {
        return None;
    }
    let (year, month, day) = (number(0, 4)?, number(5, 7)?, number(8, 10)?);
    let (hour, minute) = (number(11, 13)?, number(14, 16)?);
    let (second, mut at) = if is(16, b':') { (number(17, 19)?, 19) } else { (0, 16) };
    let mut micro = 0;
    if at == 19 && is(19, b'.') {
        let digits = text[20..].iter().take_while(|byte| byte.is_ascii_digit()).count();
        if !(1..=6).contains(&digits) {
            return None;
        }
        at = 20 + digits;
        micro = number(20, at)? * 10_i32.pow(6 - digits as u32);
    }
    if !(1970..2200).contains(&year) || hour > 23 || minute > 59 || second > 59 {
        return None;
    }
    let days = days_since_1970(year, month, day)?;
    let on_its_clock =
        (i64::from(days) * 86_400 + i64::from(hour * 3600 + minute * 60 + second)) * 1_000_000 + i64::from(micro);
    match &text[at..] {
        [] => {
            let date = Date::new(year as i16, month as i8, day as i8).ok()?;
            Some(Written::Local(date.at(hour as i8, minute as i8, second as i8, 1000 * micro)))
        }
        // An offset behind a time without seconds is a rare way to write it.
        b"Z" if at >= 19 => Some(Written::Instant(on_its_clock)),
        [sign @ (b'+' | b'-'), _, _, b':', _, _] if at >= 19 => {
            let (hours, minutes) = (number(at + 1, at + 3)?, number(at + 4, at + 6)?);
            if hours > 23 || minutes > 59 {
                return None;
            }
            let offset = i64::from(hours * 3600 + minutes * 60) * 1_000_000;
            Some(Written::Instant(if *sign == b'-' { on_its_clock + offset } else { on_its_clock - offset }))
        }
        _ => None,
    }
}

/// Days since 1970-01-01 of a day that exists (Hinnant 2014, "chrono-compatible low-level date algorithms").
fn days_since_1970(year: i32, month: i32, day: i32) -> Option<i32> {
    let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    let last = match month {
        2 => 28 + i32::from(leap),
        4 | 6 | 9 | 11 => 30,
        1..=12 => 31,
        _ => return None,
    };
    if !(1..=last).contains(&day) {
        return None;
    }
    // Years begin in March, so that the leap day is the last of one.
    let year = if month <= 2 { year - 1 } else { year };
    let (era, of_era) = (year / 400, year % 400);
    let of_year = (153 * ((month + 9) % 12) + 2) / 5 + day - 1;
    Some(era * 146_097 + of_era * 365 + of_era / 4 - of_era / 100 + of_year - 719_468)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::Zones;
    use jiff::tz::TimeZone;

    #[test]
    fn a_decimal_is_the_double_that_the_standard_library_reads() {
        let texts = [
            "0",
            "-0",
            "0.1",
            "0.3",
            "12.5",
            "-12.50",
            "007",
            "1.",
            "999999999999999",
            "0.000000000000001",
            "80.4",
            "123456.789012345",
            "2.675",
            "9007199254740993",
            "1234567890123456",
            "0.1234567890123456",
        ];
        let many = (0..20_000_i64).map(|number| format!("{}.{:03}", number * 7919 % 100_003, number * 31 % 1000));
        let mut read = 0;
        for text in texts.into_iter().map(str::to_owned).chain(many) {
            let expected: f64 = text.parse().unwrap();
            if let Some(number) = decimal(text.as_bytes(), b'.') {
                assert_eq!(number.to_bits(), expected.to_bits(), "{text}");
                read += 1;
            }
        }
        assert!(read > 20_010, "{read}");
        for text in ["", "-", ".", ".5", "+5", "1e3", "1.2.3", "1,5", "inf", "nan", "12 ", "--5", "0x10"] {
            assert_eq!(decimal(text.as_bytes(), b'.'), None, "{text}");
        }
        assert_eq!(decimal(b"12,5", b','), Some(12.5));
    }

    #[test]
    fn a_time_is_the_one_that_the_general_way_reads() {
        let zone = || TimeZone::get("America/Chicago").unwrap();
        let zones = Zones::default();
        let mut read = 0;
        for text in [
            "2016-04-20T14:06:00.0Z",
            "2016-02-29T00:00:00Z",
            "1970-01-01T00:00:00Z",
            "2100-02-28T23:59:59.999999Z",
            "2025-04-28T07:30:00-05:00",
            "2025-04-28T07:30:00+05:30",
            "2025-04-28 07:30",
            "2025-04-28T07:30:15",
            "2025-12-31 23:59:59.25",
            "2000-03-01T01:02:03.000001+00:00",
            "2025-11-02 01:30",
            "2025-03-09 02:30",
            "2025-04-28 07:30:00Z",
            "2000-02-29 00:00",
            "2199-12-31T23:59:59-23:59",
        ] {
            let expected = zones.moment(text, &[], zone).unwrap();
            let found = match time(text.as_bytes()) {
                Some(Written::Instant(microseconds)) => (microseconds, false),
                Some(Written::Local(local)) => (crate::time::at_zone(local, zone).unwrap(), true),
                None => continue,
            };
            assert_eq!(found, expected, "{text}");
            read += 1;
        }
        assert_eq!(read, 15);
        for text in [
            "",
            "2025-04-28",
            "2025-02-29T00:00:00Z",
            "2025-13-01T00:00:00Z",
            "2025-04-31 07:30",
            "2025-04-28T24:00:00Z",
            "2025-04-28T07:60:00Z",
            "2025-04-28T07:30:60Z",
            "2025-04-28T07:30:00.1234567Z",
            "2025-04-28T07:30:00.Z",
            "2025-04-28T07:30Z",
            "2025-04-28T07:30:00z",
            "2025-04-28T07:30:00-0500",
            "1969-12-31T23:59:59Z",
            "2025-04-28T7:30:00Z",
            "2025-04-28T07:30:00-05:00[America/Chicago]",
            "28.04.2025 07:30",
        ] {
            assert_eq!(time(text.as_bytes()), None, "{text}");
        }
    }

    #[test]
    fn days_are_those_of_the_calendar() {
        let first = Date::constant(1970, 1, 1);
        let mut date = first;
        for day in 0..84_000 {
            let found = days_since_1970(i32::from(date.year()), i32::from(date.month()), i32::from(date.day()));
            assert_eq!(found, Some(day), "{date}");
            date = date.tomorrow().unwrap();
        }
    }
}
