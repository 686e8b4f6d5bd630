//! Times as people write them, with the time zone of their field.

use std::collections::HashMap;

use jiff::Timestamp;
use jiff::civil::{Date, DateTime};
use jiff::fmt::strtime;
use jiff::tz::TimeZone;

/// Time zones of fields, for times that carry no offset.
#[derive(Debug, Default)]
pub struct Zones {
    default: Option<TimeZone>,
    by_field: HashMap<(String, i64), TimeZone>,
    formats: Vec<String>,
}

/// Why a time could not be read.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct TimeFault {
    pub code: &'static str,
    pub expected: String,
    pub remedy: &'static str,
}

impl Zones {
    /// Zones with a default for fields that name none, and further formats (`strftime` letters), tried in order.
    /// Errors where the default is not an IANA zone.
    pub fn new(default: Option<&str>, formats: Vec<String>) -> Result<Self, String> {
        let default = default.map(zone).transpose()?;
        Ok(Self { default, by_field: HashMap::new(), formats })
    }

    /// Notes the time zone of a field and season.
    pub(crate) fn set(&mut self, field_id: &str, season: i64, zone: TimeZone) {
        self.by_field.insert((field_id.to_owned(), season), zone);
    }

    /// The time zone of a field and season; UTC where neither the field nor the settings name one.
    pub(crate) fn of(&self, field_id: &str, season: i64) -> TimeZone {
        self.by_field.get(&(field_id.to_owned(), season)).or(self.default.as_ref()).cloned().unwrap_or(TimeZone::UTC)
    }

    /// Whether local times of this field are read in a zone that somebody named.
    pub(crate) fn known(&self, field_id: &str, season: i64) -> bool {
        self.default.is_some() || self.by_field.contains_key(&(field_id.to_owned(), season))
    }

    /// Microseconds since 1970 UTC, and whether the text carried no offset. A date alone is the start of its day.
    /// `formats` are tried before those of the review.
    pub(crate) fn moment(
        &self,
        text: &str,
        formats: &[String],
        zone: impl FnOnce() -> TimeZone,
    ) -> Result<(i64, bool), TimeFault> {
        if let Ok(timestamp) = text.parse::<Timestamp>() {
            return Ok((timestamp.as_microsecond(), false));
        }
        if let Some(microseconds) = formats.iter().chain(&self.formats).find_map(|format| since_1970(format, text)) {
            return Ok((microseconds, false));
        }
        Ok((at_zone(self.local(text, formats)?, zone)?, true))
    }

    /// Days since 1970-01-01.
    pub(crate) fn day(&self, text: &str, formats: &[String]) -> Result<i32, TimeFault> {
        let date = match text.get(..10).filter(|_| iso_date(text)).map(str::parse::<Date>) {
            Some(Ok(date)) => date,
            _ => self.local(text, formats)?.date(),
        };
        Ok(days_since_1970(date))
    }

    fn local(&self, text: &str, formats: &[String]) -> Result<DateTime, TimeFault> {
        if iso_date(text) {
            let parsed = if text.len() == 10 {
                text.parse::<Date>().map(|date| date.to_datetime(jiff::civil::Time::midnight()))
            } else {
                text.parse::<DateTime>().or_else(|error| with_two_digit_hour(text).parse().map_err(|_| error))
            };
            return parsed.map_err(|_| TimeFault {
                code: "bad_time",
                expected: "a day and time that exist, such as 2025-04-28 07:30".into(),
                remedy: "correct the day or the time in this cell",
            });
        }
        for format in formats.iter().chain(&self.formats) {
            if let Ok(parsed) = strtime::parse(format, text) {
                if let Ok(local) = parsed.to_datetime() {
                    return Ok(local);
                }
                if let Ok(date) = parsed.to_date() {
                    return Ok(date.to_datetime(jiff::civil::Time::midnight()));
                }
            }
        }
        Err(if looks_like_a_short_date(text) && !tells_its_day(text) {
            TimeFault {
                code: "ambiguous_date",
                expected: "an unambiguous date such as 2025-04-03; day and month could be either way round, so it is not guessed".into(),
                remedy: TIME_REMEDY,
            }
        } else {
            TimeFault {
                code: "bad_time",
                expected: "a date or time such as 2025-04-03, 2025-04-03 07:30 or 2025-04-03T07:30:00-05:00".into(),
                remedy: TIME_REMEDY,
            }
        })
    }
}

/// Microseconds since 1970 UTC of a local time. Of a time that a clock showed twice it is the first; one that was left out
/// lies as far behind the gap as it was to lie behind its start.
pub(crate) fn at_zone(local: DateTime, zone: impl FnOnce() -> TimeZone) -> Result<i64, TimeFault> {
    let timestamp = zone().to_timestamp(local).map_err(|_| TimeFault {
        code: "bad_time",
        expected: "a time that the calendar of this time zone has".into(),
        remedy: "correct the day or the time in this cell",
    })?;
    Ok(timestamp.as_microsecond())
}

/// Days since 1970-01-01.
pub(crate) fn days_since_1970(date: Date) -> i32 {
    (date - Date::constant(1970, 1, 1)).get_days()
}

/// What to do about a time that was not understood.
const TIME_REMEDY: &str = "write dates as year-month-day, or declare the format in evenstand.toml, for example time_formats = [\"%d/%m/%Y\"] for all files, or time_formats in a file's [[source]] block";

/// Finds an IANA time zone by name.
pub(crate) fn zone(name: &str) -> Result<TimeZone, String> {
    TimeZone::get(name)
        .map_err(|_| format!("\"{name}\" is not an IANA time zone such as America/Chicago or Europe/Berlin"))
}

/// Microseconds since 1970 UTC of a number of seconds (`%s`) or milliseconds (`unix_ms`), fractions too; `None` where the format
/// is another or the text is no number.
fn since_1970(format: &str, text: &str) -> Option<i64> {
    let per_second = match format {
        "%s" => 1e6,
        "unix_ms" => 1e3,
        _ => return None,
    };
    let number = text.parse::<f64>().ok().filter(|number| (number * per_second).abs() < 1e17)?;
    Some((number * per_second).round() as i64)
}

/// `2025-05-03 7:05` with its hour in two digits, as people write it.
fn with_two_digit_hour(text: &str) -> String {
    let (date, time) = text.split_at(10);
    let time = time.trim_start_matches(['T', ' ']);
    match time.split_once(':') {
        Some((hour, _)) if hour.len() == 1 => format!("{date}T0{time}"),
        _ => text.to_owned(),
    }
}

fn iso_date(text: &str) -> bool {
    let bytes = text.as_bytes();
    bytes.len() >= 10
        && bytes[..10].iter().enumerate().all(|(index, byte)| match index {
            4 | 7 => *byte == b'-',
            _ => byte.is_ascii_digit(),
        })
}

/// Whether a part of a date above 12 shows which part is the day. It is still not read: the next row of the file may be
/// the other way round, and only a person knows.
fn tells_its_day(text: &str) -> bool {
    let date = text.split(' ').next().unwrap_or_default();
    date.split(['/', '.', '-']).any(|part| part.len() <= 2 && part.parse::<u8>().is_ok_and(|number| number > 12))
}

fn looks_like_a_short_date(text: &str) -> bool {
    let parts: Vec<&str> = text.split(' ').next().unwrap_or_default().split(['/', '.', '-']).collect();
    parts.len() == 3 && parts.iter().all(|part| !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chicago() -> TimeZone {
        zone("America/Chicago").unwrap()
    }

    #[test]
    fn offsets_win_and_local_times_take_the_zone_of_the_field() {
        let zones = Zones::default();
        let with_offset = zones.moment("2025-04-28T07:30:00-05:00", &[], chicago).unwrap();
        assert_eq!(with_offset, (1_745_843_400_000_000, false));
        assert_eq!(zones.moment("2025-04-28 07:30", &[], chicago).unwrap(), (1_745_843_400_000_000, true));
        assert_eq!(zones.moment("2025-04-28", &[], chicago).unwrap().0, 1_745_843_400_000_000 - 27_000_000_000);
        // Winter time: an hour more behind UTC.
        assert_eq!(zones.moment("2025-01-28 07:30", &[], chicago).unwrap().0 % 86_400_000_000, 48_600_000_000);
    }

    #[test]
    fn a_short_date_is_refused_until_its_format_is_declared() {
        assert_eq!(Zones::default().moment("03/04/2025", &[], chicago).unwrap_err().code, "ambiguous_date");
        let declared = Zones::new(None, vec!["%d/%m/%Y".into(), "%d/%m/%Y %H:%M".into()]).unwrap();
        let expected = Zones::default().moment("2025-04-03", &[], chicago).unwrap();
        assert_eq!(declared.moment("03/04/2025", &[], chicago).unwrap(), expected);
        assert_eq!(declared.moment("03/04/2025 06:00", &[], chicago).unwrap().0, expected.0 + 21_600_000_000);
    }

    #[test]
    fn an_hour_of_one_digit_and_numbers_since_1970_are_read() {
        let zones = Zones::default();
        let expected = zones.moment("2025-04-28 07:05", &[], chicago).unwrap();
        assert_eq!(zones.moment("2025-04-28 7:05", &[], chicago).unwrap(), expected);
        assert!(zones.moment("2025-04-28 7x05", &[], chicago).is_err());
        let seconds = ["%s".to_owned()];
        assert_eq!(zones.moment("1745843400.25", &seconds, chicago).unwrap(), (1_745_843_400_250_000, false));
        let milliseconds = ["unix_ms".to_owned()];
        assert_eq!(zones.moment("1745843400250", &milliseconds, chicago).unwrap(), (1_745_843_400_250_000, false));
        assert!(zones.moment("1745843400", &[], chicago).is_err(), "never without being told");
    }

    #[test]
    fn days_count_from_1970() {
        assert_eq!(Zones::default().day("1970-01-02", &[]).unwrap(), 1);
        assert_eq!(Zones::default().day("2025-02-30", &[]).unwrap_err().code, "bad_time");
    }
}
