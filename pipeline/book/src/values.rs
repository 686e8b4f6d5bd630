//! The values of a column, whatever their type.

use evenstand_tables::{Cell, Column, ColumnType, Day, Moment, Table, TablesError};

/// The cells of one column in the order of the table.
#[derive(Debug, Clone)]
pub(crate) enum Values {
    Text(Vec<Option<String>>),
    Number(Vec<Option<f64>>),
    Whole(Vec<Option<i64>>),
    Flag(Vec<Option<bool>>),
    Day(Vec<Option<Day>>),
    Moment(Vec<Option<Moment>>),
}

impl Values {
    /// Reads a column of a table.
    pub fn read(table: &Table, column: &Column) -> Result<Self, TablesError> {
        let name = &column.name;
        Ok(match column.column_type {
            ColumnType::String => Values::Text(Cell::read(table, name)?),
            ColumnType::Number => Values::Number(Cell::read(table, name)?),
            ColumnType::Integer => Values::Whole(Cell::read(table, name)?),
            ColumnType::Boolean => Values::Flag(Cell::read(table, name)?),
            ColumnType::Date => Values::Day(Cell::read(table, name)?),
            ColumnType::Datetime => Values::Moment(Cell::read(table, name)?),
        })
    }
}

/// A column of text; nothing where the table has no such column.
pub(crate) fn texts(table: &Table, column: &str) -> Result<Option<Vec<Option<String>>>, TablesError> {
    if table.schema().column(column).is_none() {
        return Ok(None);
    }
    let texts: Vec<Option<String>> = Cell::read(table, column)?;
    Ok(Some(texts.into_iter().map(|text| text.filter(|text| !text.is_empty())).collect()))
}

/// A column of whole numbers; nothing where the table has no such column.
pub(crate) fn wholes(table: &Table, column: &str) -> Result<Option<Vec<Option<i64>>>, TablesError> {
    table.schema().column(column).map(|_| Cell::read(table, column)).transpose()
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
