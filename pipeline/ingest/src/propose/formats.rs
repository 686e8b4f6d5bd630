//! In which formats the columns of a block write their times.

use evenstand_tables::{Column as Ours, ColumnType};

use super::block::{Block, list, some};
use super::dates::{Dates, dates};
use super::names::joined;
use super::table::{Body, Column};
use super::{Context, times};

/// A column of times of day beside a column of dates.
pub(super) fn clock_beside(context: &Context, ours: &Ours, column: &Column) -> Option<String> {
    let is_clock = |text: &str| {
        let (hour, rest) = text.split_once(':')?;
        let minute = rest.get(..2)?;
        (hour.trim().parse::<u8>().ok()? < 24 && minute.parse::<u8>().ok()? < 60).then_some(())
    };
    let has_times = column.filled().any(|text| text.contains(':'));
    if ours.column_type != ColumnType::Datetime || has_times || times::since_1970(column, context.reading).is_some() {
        return None;
    }
    context
        .table
        .columns
        .iter()
        .filter(|other| {
            matches!(joined(&other.name).as_str(), "time" | "hour" | "clock" | "time of day" | "uhrzeit" | "hora")
        })
        .find(|other| other.filled().count() > 0 && other.filled().all(|text| is_clock(&text).is_some()))
        .and_then(|other| other.reference.clone())
}

/// Formats of the dates of a block.
#[derive(Default)]
pub(super) struct Formats {
    sure: Vec<String>,
    /// A format of numbers since 1970, and the question about it.
    since_1970: Option<(&'static str, String)>,
    either: Option<(String, Dates)>,
    /// Whether a column's name says that its times are universal time.
    universal: bool,
}

impl Formats {
    /// Adds the formats of one column.
    pub fn add(&mut self, context: &Context, column: &Column, ours: &Ours, reference: &str, block: &mut Block) {
        if let Some(format) = times::since_1970(column, context.reading) {
            let what = if format == "%s" { "seconds" } else { "milliseconds" };
            let doubt = format!("the numbers in \"{}\" look like {what} since 1970, UTC; are they", column.name);
            self.since_1970.get_or_insert((format, doubt));
            return;
        }
        self.universal |= says_universal_time(&column.name);
        let clock = clock_beside(context, ours, column);
        let tail = clock.and_then(|name| {
            let other = context.table.columns.iter().find(|other| other.reference.as_ref() == Some(&name))?;
            let first = other.filled().next()?;
            let lower = first.to_lowercase();
            Some(match (lower.ends_with('m'), first.matches(':').count()) {
                (true, 1) => " %I:%M %p",
                (true, _) => " %I:%M:%S %p",
                (false, 1) => " %H:%M",
                (false, _) => " %H:%M:%S",
            })
        });
        let texts: Vec<String> = column
            .cells
            .iter()
            .filter(|cell| !matches!(cell, Body::Time(_)))
            .map(Body::text)
            .filter(|text| !context.reading.is_missing(text))
            .collect();
        let mut found = dates(texts.iter().map(String::as_str));
        let whole = |format: &String| format!("{format}{}", tail.unwrap_or(""));
        for format in &found.formats {
            for format in tail.map(|_| whole(format)).into_iter().chain([format.clone()]) {
                if !self.sure.contains(&format) {
                    self.sure.push(format);
                }
            }
        }
        if let Some([first, second]) = &found.either {
            found.either = Some([whole(first), whole(second)]);
            self.either.get_or_insert((reference.to_owned(), found));
        } else if !found.unread.is_empty() {
            let all: Vec<String> = context.missing.iter().chain(found.unread.iter().take(1)).cloned().collect();
            let instead =
                if context.missing.is_empty() { "" } else { "; if so, take this line instead of the other one" };
            block.top.open(
                format!("missing = {}", list(&all)),
                format!(
                    "{} in \"{}\" is no date; does it mean that there is none{instead}",
                    some(&found.unread, 3),
                    column.name
                ),
            );
        }
    }

    /// Writes them, with what is unsure about them.
    pub fn write(mut self, block: &mut Block) {
        if self.universal {
            block.top.unsure(
                "timezone = \"UTC\"".into(),
                "the name of a time column says so; are all times of this file universal time",
            );
        }
        if let Some((format, doubt)) = self.since_1970.take() {
            self.sure.push(format.to_owned());
            if self.either.is_none() {
                block.top.unsure(format!("time_formats = {}", list(&self.sure)), doubt);
                return;
            }
        }
        let formats =
            |first: Option<&String>| -> Vec<String> { first.into_iter().chain(&self.sure).cloned().collect() };
        let Some((reference, found)) = &self.either else {
            if !self.sure.is_empty() {
                block.top.sure(format!("time_formats = {}", list(&self.sure)));
            }
            return;
        };
        let Some([month_first, day_first]) = &found.either else { return };
        // Another column may have decided.
        for (decided, other) in [(month_first, day_first), (day_first, month_first)] {
            if self.sure.contains(decided) && !self.sure.contains(other) {
                block.top.sure(format!("time_formats = {}", list(&self.sure)));
                return;
            }
        }
        let [months, days] = found.spans;
        let ways = [("month", month_first, months), ("day", day_first, days)];
        for (first, format, span) in ways {
            block.top.open(
                format!("time_formats = {}", list(&formats(Some(format)))),
                format!("the dates in \"{reference}\" can be read both ways; {first} first they span {span} days: take one of the two lines"),
            );
        }
    }
}

/// Whether a name such as "Time (UTC)" or "gmt" says that times are universal time.
fn says_universal_time(name: &str) -> bool {
    let lower = name.to_lowercase();
    lower.split(|letter: char| !letter.is_alphanumeric()).any(|word| matches!(word, "utc" | "gmt" | "z" | "zulu"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_says_whether_its_times_are_universal() {
        for name in ["Time (UTC)", "UTC time", "timestamp_utc", "Logged [Z]", "GMT"] {
            assert!(says_universal_time(name), "{name}");
        }
        assert!(!says_universal_time("Time") && !says_universal_time("Zone"));
    }
}
