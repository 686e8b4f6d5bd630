//! The values of a column, whatever their type.

use std::borrow::Cow;

use arrow::array::{
    Array, ArrayRef, BooleanArray, Date32Array, Float64Array, Int64Array, StringArray, TimestampMicrosecondArray,
};
use evenstand_tables::{Moment, Table, TablesError};

/// The cells of one column.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Cells<'a> {
    Text(&'a StringArray),
    Number(&'a Float64Array),
    Whole(&'a Int64Array),
    Flag(&'a BooleanArray),
    Day(&'a Date32Array),
    Moment(&'a TimestampMicrosecondArray),
}

/// What stands in a cell.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Content<'a> {
    Text(Cow<'a, str>),
    Number(f64),
    /// A point in time, as a spreadsheet counts it.
    Time(f64),
    Flag(bool),
}

impl<'a> Cells<'a> {
    /// The cells of an array; nothing where tables have no such type.
    pub fn of(array: &'a ArrayRef) -> Option<Self> {
        let array = array.as_any();
        None.or_else(|| array.downcast_ref().map(Cells::Text))
            .or_else(|| array.downcast_ref().map(Cells::Number))
            .or_else(|| array.downcast_ref().map(Cells::Whole))
            .or_else(|| array.downcast_ref().map(Cells::Flag))
            .or_else(|| array.downcast_ref().map(Cells::Day))
            .or_else(|| array.downcast_ref().map(Cells::Moment))
    }

    /// What a cell holds; nothing where that is not known.
    pub fn at(self, row: usize) -> Option<Content<'a>> {
        match self {
            Cells::Text(texts) => {
                let text = texts.is_valid(row).then(|| texts.value(row)).filter(|text| !text.is_empty())?;
                Some(Content::Text(Cow::Borrowed(text)))
            }
            Cells::Number(numbers) => numbers.is_valid(row).then(|| Content::Number(numbers.value(row))),
            Cells::Whole(numbers) => numbers.is_valid(row).then(|| Content::Number(numbers.value(row) as f64)),
            Cells::Flag(flags) => flags.is_valid(row).then(|| Content::Flag(flags.value(row))),
            Cells::Day(days) => days.is_valid(row).then(|| {
                let day = days.value(row);
                let written = || written_day(i64::from(day));
                serial(f64::from(day)).map_or_else(|| Content::Text(Cow::Owned(written())), Content::Time)
            }),
            Cells::Moment(moments) => moments.is_valid(row).then(|| {
                let moment = Moment(moments.value(row));
                let written = || written_moment(moment);
                serial(moment.days()).map_or_else(|| Content::Text(Cow::Owned(written())), Content::Time)
            }),
        }
    }
}

/// A column of text.
#[derive(Debug, Clone)]
pub(crate) struct Texts(StringArray);

impl Texts {
    /// The text of a row; nothing where it is empty.
    pub fn at(&self, row: usize) -> Option<&str> {
        (row < self.0.len() && self.0.is_valid(row)).then(|| self.0.value(row)).filter(|text| !text.is_empty())
    }

    /// The texts of all rows.
    pub fn iter(&self) -> impl Iterator<Item = Option<&str>> {
        (0..self.0.len()).map(|row| self.at(row))
    }
}

fn array<A: Array + Clone + 'static>(table: &Table, column: &str) -> Result<Option<A>, TablesError> {
    if table.schema().column(column).is_none() {
        return Ok(None);
    }
    let array = table.batch().column_by_name(column).and_then(|array| array.as_any().downcast_ref::<A>());
    array.cloned().map(Some).ok_or_else(|| TablesError::Mismatch {
        table: table.schema().name.clone(),
        problem: format!("column {column} has another type than its schema says"),
    })
}

/// A column of text; nothing where the table has no such column.
pub(crate) fn texts(table: &Table, column: &str) -> Result<Option<Texts>, TablesError> {
    Ok(array(table, column)?.map(Texts))
}

/// A column of whole numbers; nothing where the table has no such column.
pub(crate) fn wholes(table: &Table, column: &str) -> Result<Option<Int64Array>, TablesError> {
    array(table, column)
}

/// Days from 1970-01-01 to 1900-03-01. Spreadsheets count a 29 February 1900 that there never was, so that earlier days
/// differ from one program to the next.
const FIRST_DAY: f64 = -25_508.0;
/// Days from 1970-01-01 to the day after 9999-12-31, the last one that a spreadsheet knows.
const AFTER_LAST_DAY: f64 = 2_932_897.0;

/// The number that a spreadsheet keeps for a point in time, from days since 1970-01-01; nothing where it has none.
pub(crate) fn serial(days: f64) -> Option<f64> {
    (FIRST_DAY..AFTER_LAST_DAY).contains(&days).then_some(days + 25_569.0)
}

/// A point in time, where a spreadsheet cannot hold it.
fn written_moment(moment: Moment) -> String {
    let seconds = moment.0.div_euclid(1_000_000);
    let of_day = seconds.rem_euclid(86_400);
    let day = written_day(seconds.div_euclid(86_400));
    format!("{day} {:02}:{:02}:{:02}", of_day / 3_600, of_day / 60 % 60, of_day % 60)
}

/// Year, month and day of days since 1970-01-01, for days that a spreadsheet cannot hold.
/// Source of the steps: the proleptic Gregorian calendar, in eras of 400 years of 146,097 days from 1 March of year 0.
pub(crate) fn written_day(days: i64) -> String {
    let from_march = days + 719_468;
    let era = from_march.div_euclid(146_097);
    let day_of_era = from_march.rem_euclid(146_097);
    let year_of_era = (day_of_era - day_of_era / 1_460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
    let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let month_from_march = (5 * day_of_year + 2) / 153;
    let day = day_of_year - (153 * month_from_march + 2) / 5 + 1;
    let month = if month_from_march < 10 { month_from_march + 3 } else { month_from_march - 9 };
    let year = year_of_era + era * 400 + i64::from(month <= 2);
    format!("{year:04}-{month:02}-{day:02}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_become_the_numbers_that_spreadsheets_count() {
        // 2025-04-28 is day 20206 since 1970 and 45775 in a spreadsheet; 1970-01-01 is 25569, 1900-03-01 is 61.
        assert_eq!(serial(20_206.0), Some(45_775.0));
        assert_eq!(serial(0.5), Some(25_569.5));
        assert_eq!(serial(-25_508.0), Some(61.0));
        assert_eq!(serial(-25_509.0), None);
        assert_eq!(serial(2_932_896.5), Some(2_958_465.5));
        assert_eq!(serial(2_932_897.0), None);
    }

    #[test]
    fn days_beyond_a_spreadsheet_are_written_out() {
        assert_eq!(written_day(0), "1970-01-01");
        assert_eq!(written_day(-25_509), "1900-02-28");
        assert_eq!(written_day(2_932_897), "10000-01-01");
        assert_eq!(written_day(20_206), "2025-04-28");
        assert_eq!(written_day(19_782), "2024-02-29");
    }
}
