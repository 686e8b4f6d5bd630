//! Local time in minutes since 1970-01-01 00:00, and its written forms.
//!
//! Every time of the review lies between April and June, when the invented fields' zone (America/Chicago) is five hours
//! behind UTC, so no time zone table is needed here.

/// A local time, to the minute.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct LocalMinute(pub i64);

/// Minutes in a day.
pub const DAY: i64 = 24 * 60;

impl LocalMinute {
    /// The time of a calendar day and a clock reading.
    pub fn new(year: i32, month: u32, day: u32, hour: i64, minute: i64) -> Self {
        Self(days_from_civil(year, month, day) * DAY + hour * 60 + minute)
    }

    /// The time that many minutes later.
    pub fn plus(self, minutes: i64) -> Self {
        Self(self.0 + minutes)
    }

    /// `2024-05-06`.
    pub fn date(self) -> String {
        let (year, month, day) = civil_from_days(self.0.div_euclid(DAY));
        format!("{year:04}-{month:02}-{day:02}")
    }

    /// `2024-05-06 07:30`, local.
    pub fn plain(self) -> String {
        let minute = self.0.rem_euclid(DAY);
        format!("{} {:02}:{:02}", self.date(), minute / 60, minute % 60)
    }

    /// `2024-05-06T07:30:12-05:00`, with `seconds` beyond the minute.
    pub fn rfc3339(self, seconds: i64) -> String {
        let whole = self.plus(seconds.div_euclid(60));
        let minute = whole.0.rem_euclid(DAY);
        format!("{}T{:02}:{:02}:{:02}-05:00", whole.date(), minute / 60, minute % 60, seconds.rem_euclid(60))
    }
}

/// Days since 1970-01-01 of a day in the Gregorian calendar (years counted from March, so that a leap day comes last).
fn days_from_civil(year: i32, month: u32, day: u32) -> i64 {
    let year = i64::from(year) - i64::from(month <= 2);
    let era = year.div_euclid(400);
    let year_of_era = year.rem_euclid(400);
    let shifted_month = i64::from((month + 9) % 12);
    let day_of_year = (153 * shifted_month + 2) / 5 + i64::from(day) - 1;
    era * 146_097 + year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year - 719_468
}

/// The calendar day of a number of days since 1970-01-01.
fn civil_from_days(days: i64) -> (i64, i64, i64) {
    let days = days + 719_468;
    let era = days.div_euclid(146_097);
    let day_of_era = days.rem_euclid(146_097);
    let year_of_era = (day_of_era - day_of_era / 1_460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
    let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let shifted_month = (5 * day_of_year + 2) / 153;
    let day = day_of_year - (153 * shifted_month + 2) / 5 + 1;
    let month = if shifted_month < 10 { shifted_month + 3 } else { shifted_month - 9 };
    (era * 400 + year_of_era + i64::from(month <= 2), month, day)
}
