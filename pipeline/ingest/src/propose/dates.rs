//! In which format a file writes its dates.

use std::collections::BTreeSet;

use jiff::civil::{Date, DateTime};
use jiff::fmt::strtime;

use super::names::words;

/// Formats of a day that are tried, the safest first.
const DAYS: &[&str] = &[
    "%Y%m%d",
    "%Y/%m/%d",
    "%Y.%m.%d",
    "%d.%m.%Y",
    "%d.%m.%y",
    "%m/%d/%Y",
    "%d/%m/%Y",
    "%m/%d/%y",
    "%d/%m/%y",
    "%m-%d-%Y",
    "%d-%m-%Y",
    "%m-%d-%y",
    "%d-%m-%y",
    "%d-%b-%Y",
    "%d-%b-%y",
    "%d %b %Y",
    "%d %B %Y",
    "%b %d, %Y",
    "%B %d, %Y",
    "%b %d %Y",
    "%B %d %Y",
    "%a %b %d %Y",
    "%d. %B %Y",
];
/// What may stand behind the day.
const TIMES: &[&str] = &["", " %H:%M", " %H:%M:%S", " %I:%M %p", " %I:%M:%S %p", "T%H:%M", "T%H:%M:%S"];
/// Texts of a column that are tried.
const MOST_TEXTS: usize = 100;

/// How the dates of a column are written.
#[derive(Debug, Default, PartialEq)]
pub(super) struct Dates {
    /// Formats to declare, in the order in which they are tried; none where all are in ISO order.
    pub formats: Vec<String>,
    /// Two formats that both read every cell differently: month first, day first.
    pub either: Option<[String; 2]>,
    /// Days that each of the two would span.
    pub spans: [i32; 2],
    pub years: BTreeSet<i16>,
    /// Texts that are no dates.
    pub unread: Vec<String>,
    pub read: usize,
    /// The only day there is, where it is one and known.
    pub only_day: Option<Date>,
}

impl Dates {
    /// Whether most cells are dates.
    pub fn are_dates(&self) -> bool {
        self.read > 0 && self.read >= self.unread.len()
    }
}

/// Reads the texts of one column.
pub(super) fn dates<'a>(texts: impl Iterator<Item = &'a str>) -> Dates {
    let distinct: BTreeSet<&str> = texts.filter(|text| !text.is_empty()).collect();
    let mut found = Dates::default();
    let mut days: BTreeSet<Date> = BTreeSet::new();
    let mut open: Vec<&str> = Vec::new();
    for text in distinct.into_iter().take(MOST_TEXTS) {
        match iso(text) {
            Some(day) => {
                days.insert(day);
                found.read += 1;
            }
            None => open.push(text),
        }
    }
    while let Some(format) = best_format(&open) {
        let here: Vec<&str> = open.iter().copied().filter(|text| read(&format, text).is_some()).collect();
        if let Some(swapped) = swapped(&format)
            && here.iter().all(|text| read(&swapped, text).is_some())
            && here.iter().any(|text| read(&swapped, text) != read(&format, text))
        {
            let span = |format: &str| {
                let days: BTreeSet<Date> = here.iter().filter_map(|text| read(format, text)).collect();
                days.first().zip(days.last()).map_or(0, |(first, last)| (*last - *first).get_days())
            };
            found.spans = [span(&format), span(&swapped)];
            found.years.extend(here.iter().filter_map(|text| read(&format, text)).map(|day| day.year()));
            found.either = Some([format.clone(), swapped]);
        } else {
            days.extend(here.iter().filter_map(|text| read(&format, text)));
            found.formats.push(format.clone());
        }
        found.read += here.len();
        open.retain(|text| !here.contains(text));
    }
    found.years.extend(days.iter().map(|day| day.year()));
    found.only_day = days.first().copied().filter(|_| days.len() == 1 && found.either.is_none());
    found.unread = open.into_iter().map(str::to_owned).collect();
    found
}

/// Whether a text is a date in any of the formats.
pub(super) fn looks_like_a_date(text: &str) -> bool {
    iso(text).is_some() || (may_be_a_date(text) && best_format(&[text]).is_some())
}

/// The day that a text says, and whether day and month could be the other way round.
pub(super) fn day_of(text: &str) -> Option<(Date, bool)> {
    if let Some(day) = iso(text) {
        return Some((day, false));
    }
    let format = best_format(&[text])?;
    let day = read(&format, text)?;
    let other = swapped(&format).and_then(|swapped| read(&swapped, text));
    Some((day, other.is_some_and(|other| other != day)))
}

/// A month by its name and a day, as in `Stand May 8`: month and day.
pub(super) fn month_and_day(name: &str) -> Option<(i8, i8)> {
    let words = words(name);
    let is = |word: &String, month: &str| word == month || (word.starts_with(month) && FULL.contains(&word.as_str()));
    let month = words.iter().find_map(|word| {
        let at = MONTHS.iter().position(|month| is(word, month))?;
        i8::try_from(at + 1).ok()
    })?;
    let day = words.iter().find_map(|word| {
        let digits = word.trim_end_matches(|letter: char| letter.is_alphabetic());
        digits.parse::<i8>().ok().filter(|day| (1..=31).contains(day))
    })?;
    Some((month, day))
}

const MONTHS: [&str; 12] = ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"];
const FULL: [&str; 13] = [
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "sept",
    "october",
    "november",
    "december",
];

/// The format that reads most texts; of equals the first.
fn best_format(texts: &[&str]) -> Option<String> {
    let texts: Vec<&str> = texts.iter().copied().filter(|text| may_be_a_date(text)).collect();
    let clock = texts.iter().any(|text| text.contains(':'));
    let named = |text: &str| {
        text.split(':').next().is_some_and(|day| day.chars().any(|letter| letter.is_alphabetic() && letter != 'T'))
    };
    let (names, digits) = (texts.iter().any(|text| named(text)), texts.iter().any(|text| !named(text)));
    let mut best: Option<(usize, String)> = None;
    // Formats that none of the texts can have are not tried.
    for time in TIMES.iter().filter(|time| clock || time.is_empty()) {
        let days = DAYS.iter().filter(|day| if day.contains(['b', 'B']) { names } else { digits });
        for day in days {
            let format = format!("{day}{time}");
            let count = texts.iter().filter(|text| read(&format, text).is_some()).count();
            if count > best.as_ref().map_or(0, |(most, _)| *most) {
                best = Some((count, format));
            }
        }
    }
    best.map(|(_, format)| format)
}

fn may_be_a_date(text: &str) -> bool {
    let count = |is: fn(&char) -> bool| text.chars().filter(is).count();
    let marks = count(|letter| matches!(letter, '/' | '.' | '-' | ' ' | ','));
    let digits = count(char::is_ascii_digit);
    (6..=40).contains(&text.len()) && (3..=16).contains(&digits) && (marks >= 2 || (digits == 8 && text.len() == 8))
}

fn iso(text: &str) -> Option<Date> {
    let bytes = text.as_bytes();
    (bytes.len() >= 10 && bytes[4] == b'-' && bytes[7] == b'-').then_some(())?;
    let day = text.get(..10)?.parse::<Date>().ok().filter(plausible)?;
    let whole = bytes.len() == 10 || text.parse::<DateTime>().is_ok() || text.parse::<jiff::Timestamp>().is_ok();
    whole.then_some(day)
}

fn read(format: &str, text: &str) -> Option<Date> {
    let parsed = strtime::parse(format, text).ok()?;
    parsed.to_date().ok().filter(plausible)
}

/// A year of two digits read as four, or the reverse, gives years that no season has.
fn plausible(day: &Date) -> bool {
    (1950..=2100).contains(&day.year())
}

/// The format with day and month the other way round, where people write both.
fn swapped(format: &str) -> Option<String> {
    [("%m/%d/", "%d/%m/"), ("%m-%d-", "%d-%m-")]
        .iter()
        .find_map(|(month_first, day_first)| format.strip_prefix(month_first).map(|rest| format!("{day_first}{rest}")))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn formats(texts: &[&str]) -> Vec<String> {
        dates(texts.iter().copied()).formats
    }

    #[test]
    fn a_day_above_twelve_decides_and_nothing_else_does() {
        assert_eq!(formats(&["5/8/2025", "5/13/2025"]), ["%m/%d/%Y"]);
        assert_eq!(formats(&["08/05/2025", "13/05/2025"]), ["%d/%m/%Y"]);
        let either = dates(["05/08/2025", "05/12/2025"].into_iter());
        assert_eq!(either.either, Some(["%m/%d/%Y".into(), "%d/%m/%Y".into()]));
        assert_eq!((either.spans, either.formats.len()), ([4, 122], 0));
        assert_eq!(either.years, BTreeSet::from([2025]));
        assert_eq!(formats(&["05/05/2025"]), ["%m/%d/%Y"], "both ways round it is the same day");
    }

    #[test]
    fn every_usual_writing_has_its_format() {
        for (text, format) in [
            ("08.05.2025", "%d.%m.%Y"),
            ("8.5.2025", "%d.%m.%Y"),
            ("8.5.25", "%d.%m.%y"),
            ("20250508", "%Y%m%d"),
            ("2025/05/08", "%Y/%m/%d"),
            ("5/28/25", "%m/%d/%y"),
            ("8-May-25", "%d-%b-%y"),
            ("May 8, 2025", "%b %d, %Y"),
            ("8 May 2025", "%d %b %Y"),
            ("5/28/2025 7:30 AM", "%m/%d/%Y %I:%M %p"),
            ("28.05.2025 07:30", "%d.%m.%Y %H:%M"),
        ] {
            assert_eq!(formats(&[text]), [format], "{text}");
        }
        assert!(formats(&["2025-05-08", "2025-05-08 07:30", "2025-05-08T07:30:00-05:00"]).is_empty());
        let none = dates(["north", "17.5", "12"].into_iter());
        assert!(!none.are_dates());
    }

    #[test]
    fn a_day_can_stand_in_a_name() {
        assert_eq!(month_and_day("Stand May 8"), Some((5, 8)));
        assert_eq!(month_and_day("12 June count"), Some((6, 12)));
        assert_eq!(month_and_day("Mayor 8"), None);
        assert_eq!(month_and_day("Day 7"), None);
        assert_eq!(day_of("08.05.2025"), Some((Date::constant(2025, 5, 8), false)));
        assert_eq!(day_of("5/8/2025"), Some((Date::constant(2025, 5, 8), true)));
    }
}
