//! Numbers that a format makes dates, and dates written out.

use jiff::civil::{Date, DateTime, Time};
use jiff::{SignedDuration, ToSpan, Unit};

use crate::format::NumberFormat;
use crate::{Oddity, SheetCell};

const DAY_SECONDS: i64 = 86_400;

/// The day that numbers of a workbook count from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) enum DateSystem {
    /// 1 is 1900-01-01, and 60 is a 29 February that never was.
    #[default]
    From1900,
    /// 0 is 1904-01-01.
    From1904,
}

/// A number as its format shows it, to the second, with what is odd about it.
///
/// A date with a time stays one where the format hides its time. A number from 0 to 1 is a time of day where the format
/// shows no date, and in the 1900 system, where it is no day, also where it does. Below 0 the 1900 system counts back from 1899-12-30, as programs
/// that write such numbers do (ISO/IEC 29500-1, 18.17.4.1).
pub(crate) fn cell_of(number: f64, format: NumberFormat, system: DateSystem) -> (SheetCell, Option<Oddity>) {
    if format == NumberFormat::Number {
        return (SheetCell::Number(number), None);
    }
    if format == NumberFormat::Share {
        return (SheetCell::Share(number), None);
    }
    let no_such_day = (SheetCell::Number(number), Some(Oddity::NoSuchDay));
    // Ten thousand years are 3.7 million days.
    if !number.is_finite() || number.abs() > 4e6 {
        return no_such_day;
    }
    let seconds = (number * DAY_SECONDS as f64).round() as i64;
    if format == NumberFormat::Duration {
        return (SheetCell::Duration(SignedDuration::from_secs(seconds)), None);
    }
    let within_day = (0.0..1.0).contains(&number);
    let counts_from_zero = system == DateSystem::From1900 && within_day;
    if within_day
        && (format == NumberFormat::Clock || (counts_from_zero && (number > 0.0 || format == NumberFormat::Moment)))
    {
        return (SheetCell::Clock(time_of(seconds.min(DAY_SECONDS - 1))), None);
    }
    let (days, time) = (seconds.div_euclid(DAY_SECONDS), time_of(seconds.rem_euclid(DAY_SECONDS)));
    let time_counts = time != Time::midnight() || matches!(format, NumberFormat::Moment | NumberFormat::Clock);
    let never = match (system, days) {
        (DateSystem::From1900, 0) => Some("1900-01-00"),
        (DateSystem::From1900, 60) => Some("1900-02-29"),
        _ => None,
    };
    if let Some(day) = never {
        let text = if time_counts { format!("{day}T{time}") } else { day.to_owned() };
        return (SheetCell::Text(text), Some(Oddity::NoSuchDay));
    }
    let (origin, days) = match (system, days) {
        (DateSystem::From1904, days) => (jiff::civil::date(1904, 1, 1), days),
        (DateSystem::From1900, 1..60) => (jiff::civil::date(1899, 12, 31), days),
        (DateSystem::From1900, days) => (jiff::civil::date(1899, 12, 30), days),
    };
    match origin.checked_add(days.days()) {
        Ok(day) if time_counts => (SheetCell::Moment(day.to_datetime(time)), None),
        Ok(day) => (SheetCell::Day(day), None),
        Err(_) => no_such_day,
    }
}

/// A date, a time or both, as ISO 8601 has them, to the second; `None` where it is none. A `Z` at the end is not a zone
/// that a sheet shows and is dropped.
pub(crate) fn cell_of_iso(text: &str) -> Option<SheetCell> {
    let text = text.trim().trim_end_matches('Z');
    if text.contains('T') && !text.starts_with('T') {
        let moment: DateTime = text.parse().ok()?;
        return moment.round(Unit::Second).ok().map(SheetCell::Moment);
    }
    match text.contains(':') {
        true => text.parse::<Time>().ok()?.round(Unit::Second).ok().map(SheetCell::Clock),
        false => text.parse::<Date>().ok().map(SheetCell::Day),
    }
}

/// A length of time such as `PT07H30M00S`: a time of day where it is shorter than a day and not negative, for ODS cells
/// do not tell one from the other. `None` where it is none.
pub(crate) fn cell_of_iso_duration(text: &str) -> Option<SheetCell> {
    let length: SignedDuration = text.trim().parse().ok()?;
    let seconds = length.round(Unit::Second).ok()?.as_secs();
    match (0..DAY_SECONDS).contains(&seconds) {
        true => Some(SheetCell::Clock(time_of(seconds))),
        false => Some(SheetCell::Duration(SignedDuration::from_secs(seconds))),
    }
}

/// Time of day of `seconds` after midnight, taken within the day.
fn time_of(seconds: i64) -> Time {
    let [hour, minute, second] = [seconds / 3600 % 24, seconds / 60 % 60, seconds % 60].map(|part| part as i8);
    Time::new(hour, minute, second, 0).unwrap_or(Time::midnight())
}

#[cfg(test)]
mod tests {
    use super::*;
    use DateSystem::{From1900, From1904};

    /// The two systems are in ECMA-376 part 1, 18.17.4.1; the days were counted with another language's calendar.
    #[test]
    fn serial_numbers_are_the_days_that_spreadsheets_show() {
        for (number, format, system, text) in [
            (1.0, NumberFormat::Day, From1900, "1900-01-01"),
            (59.0, NumberFormat::Day, From1900, "1900-02-28"),
            (60.0, NumberFormat::Day, From1900, "1900-02-29"),
            (60.5, NumberFormat::Moment, From1900, "1900-02-29T12:00:00"),
            (61.0, NumberFormat::Day, From1900, "1900-03-01"),
            (0.0, NumberFormat::Day, From1900, "1900-01-00"),
            (0.0, NumberFormat::Clock, From1900, "00:00:00"),
            (-1.0, NumberFormat::Day, From1900, "1899-12-29"),
            (45_778.0, NumberFormat::Day, From1900, "2025-05-01"),
            (45778.3125, NumberFormat::Day, From1900, "2025-05-01T07:30:00"),
            (45_778.0, NumberFormat::Moment, From1900, "2025-05-01T00:00:00"),
            (45778.3125, NumberFormat::Clock, From1900, "2025-05-01T07:30:00"),
            (0.3125, NumberFormat::Clock, From1900, "07:30:00"),
            (0.3125, NumberFormat::Day, From1900, "07:30:00"),
            (0.9999999, NumberFormat::Clock, From1900, "23:59:59"),
            // The nearest double below 07:30 of a day is still 07:30:00.
            (45778.31249999999, NumberFormat::Moment, From1900, "2025-05-01T07:30:00"),
            (1.25, NumberFormat::Duration, From1900, "30:00:00"),
            (-0.5, NumberFormat::Duration, From1900, "-12:00:00"),
            (2_958_465.0, NumberFormat::Day, From1900, "9999-12-31"),
            (2_958_466.0, NumberFormat::Day, From1900, "2958466"),
            (0.0, NumberFormat::Day, From1904, "1904-01-01"),
            (60.0, NumberFormat::Day, From1904, "1904-03-01"),
            (0.3125, NumberFormat::Clock, From1904, "07:30:00"),
            (44_316.0, NumberFormat::Day, From1904, "2025-05-01"),
            (-1.0, NumberFormat::Day, From1904, "1903-12-31"),
            (f64::MAX, NumberFormat::Day, From1900, f64::MAX.to_string().as_str()),
            (45_778.0, NumberFormat::Number, From1900, "45778"),
        ] {
            assert_eq!(cell_of(number, format, system).0.text(), text, "{number} {format:?} {system:?}");
        }
        assert_eq!(cell_of(60.0, NumberFormat::Day, From1900).1, Some(Oddity::NoSuchDay));
        assert_eq!(cell_of(61.0, NumberFormat::Day, From1900).1, None);
    }

    #[test]
    fn dates_and_durations_that_are_written_out_are_read() {
        for (text, wanted) in [
            ("2025-05-01", Some("2025-05-01")),
            ("2025-05-01T07:30:00", Some("2025-05-01T07:30:00")),
            ("2025-05-01T07:29:59.9996Z", Some("2025-05-01T07:30:00")),
            ("07:30:00", Some("07:30:00")),
            ("1066-10-14", Some("1066-10-14")),
            ("2025-02-30", None),
            ("soon", None),
            ("", None),
        ] {
            assert_eq!(cell_of_iso(text).as_ref().map(SheetCell::text).as_deref(), wanted, "{text}");
        }
        for (text, wanted) in [
            ("PT07H30M00S", Some("07:30:00")),
            ("PT7H29M59.9996S", Some("07:30:00")),
            ("PT30H00M00S", Some("30:00:00")),
            ("-PT01H00M00S", Some("-1:00:00")),
            ("7:30", None),
            ("", None),
        ] {
            assert_eq!(cell_of_iso_duration(text).as_ref().map(SheetCell::text).as_deref(), wanted, "{text}");
        }
    }
}
