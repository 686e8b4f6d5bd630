//! One cell.

use std::borrow::Cow;

use jiff::SignedDuration;
use jiff::civil::{Date, DateTime, Time};

/// What a cell holds. Dates and times are as the spreadsheet shows them, without a zone, to the second.
#[derive(Debug, Clone, PartialEq, Default)]
pub enum SheetCell {
    /// Nothing.
    #[default]
    Empty,
    /// Text, with the blanks it has.
    Text(String),
    /// A number without unit; a currency is its amount.
    Number(f64),
    /// A number that the cell shows as a percentage, as its share: 35 % is 0.35.
    Share(f64),
    /// A truth value.
    Boolean(bool),
    /// A day with a time.
    Moment(DateTime),
    /// A day.
    Day(Date),
    /// A time of day.
    Clock(Time),
    /// A length of time, where the cell format counts hours, minutes or seconds on, or the time is a day or longer.
    Duration(SignedDuration),
    /// An error as the spreadsheet shows it, such as `#DIV/0!`.
    Fault(String),
}

impl SheetCell {
    /// How the cell reads as text: ISO dates and times, the shortest number that is the same, `true` and `false`, hours
    /// of a duration counted on (`30:05:00`); empty for an empty cell.
    pub fn text(&self) -> Cow<'_, str> {
        match self {
            Self::Empty => Cow::Borrowed(""),
            Self::Text(text) | Self::Fault(text) => Cow::Borrowed(text),
            // Minus zero is a zero to whoever reads the sheet.
            Self::Number(number) | Self::Share(number) => Cow::Owned((number + 0.0).to_string()),
            Self::Boolean(truth) => Cow::Borrowed(if *truth { "true" } else { "false" }),
            Self::Moment(moment) => Cow::Owned(moment.to_string()),
            Self::Day(day) => Cow::Owned(day.to_string()),
            Self::Clock(time) => Cow::Owned(time.to_string()),
            Self::Duration(length) => {
                let (sign, seconds) = (if length.is_negative() { "-" } else { "" }, length.as_secs().unsigned_abs());
                Cow::Owned(format!("{sign}{}:{:02}:{:02}", seconds / 3600, seconds / 60 % 60, seconds % 60))
            }
        }
    }

    /// Whether there is nothing to see: an empty cell, or a text of blanks only.
    pub fn is_blank(&self) -> bool {
        match self {
            Self::Empty => true,
            Self::Text(text) => text.trim().is_empty(),
            _ => false,
        }
    }
}
