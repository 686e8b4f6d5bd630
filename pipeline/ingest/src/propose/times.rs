//! Times of a table that nothing calls a time: columns of times under other names, numbers of seconds since 1970, and days that
//! only the name of a sheet or file says.

use std::collections::BTreeSet;

use evenstand_tables::{ColumnType, Group, TableSchema, schema};
use jiff::civil::Date;

use super::Context;
use super::block::{Block, quoted};
use super::columns::{Match, Sure, Unit, joined_aliases};
use super::dates::{dates, day_of, month_and_day};
use super::header_rows::short_day;
use super::kinds::Candidate;
use super::names::{variants, words};
use super::table::{Body, Column, Table};
use super::wide::{Visit, Wide, slash, visit_of};
use crate::reading::Reading;

/// Columns of ours that say when a row was taken.
const TIMES: &[&str] = &["counted_at", "dug_at", "taken_at", "time"];

/// The format of times that are numbers since 1970, judged by their size: seconds or milliseconds between 2020 and 2033.
pub(super) fn since_1970(column: &Column, reading: &Reading) -> Option<&'static str> {
    let (numbers, others) = column.numbers(reading);
    let all = |low: f64, high: f64| numbers.iter().all(|number| (low..=high).contains(number));
    if numbers.len() <= others {
        return None;
    }
    if all(1.6e9, 2.0e9) {
        return Some("%s");
    }
    all(1.6e12, 2.0e12).then_some("unix_ms")
}

/// A column of times for a table whose own column of times nothing is called like: the first that holds several times. In a
/// log they have a time of day; elsewhere days will do, unless they are those of planting.
pub(super) fn unnamed_time(
    schema: &TableSchema,
    table: &Table,
    reading: &Reading,
    found: &[Match],
    wide: Option<&Wide>,
) -> Option<Match> {
    let ours = schema.columns.iter().position(|column| TIMES.contains(&column.name.as_str()))?;
    let name = schema.columns.get(ours)?.name.as_str();
    if found.iter().any(|found| found.ours == ours) || wide.is_some_and(|wide| wide.name_to == name) {
        return None;
    }
    let planted = planting();
    let could = |column: &Column| {
        let cells = column.distinct();
        if variants(&column.name).iter().any(|variant| planted.contains(&variant.words)) || cells.len() < 2 {
            return false;
        }
        let clock = cells.iter().any(|text| text.contains(':'));
        let typed = column.cells.iter().any(|cell| matches!(cell, Body::Time(_)));
        let are_dates = || typed || dates(cells.iter().map(String::as_str)).are_dates();
        if name == "time" {
            since_1970(column, reading).is_some() || (clock && are_dates())
        } else {
            column.is_numeric(reading) == Some(false) && are_dates()
        }
    };
    let free = |index: usize| {
        let is_visit = wide.is_some_and(|wide| wide.visits.iter().any(|(visit, _)| *visit == index));
        !is_visit && found.iter().all(|found| found.column != index)
    };
    let columns = table.columns.iter().enumerate();
    let mut could = columns
        .filter(|(index, column)| column.reference.is_some() && free(*index) && could(column))
        .map(|(index, _)| index);
    let column = could.next()?;
    Some(Match { ours, column, sure: Sure::Near, unit: Unit::NotNeeded, rival: could.next() })
}

/// What people call the day of planting.
fn planting() -> BTreeSet<String> {
    let field = schema(Group::Raw, "field").ok();
    field.into_iter().flat_map(|field| joined_aliases(field, "planted_at")).collect()
}

/// Adds the day of a table that has no time of its own: the one that the name of its sheet or file says, else a question where
/// other tables have the same columns. `titled` are columns that a line above the header gives already.
pub(super) fn day_of_table(context: &Context, block: &mut Block, candidate: &Candidate, titled: &BTreeSet<String>) {
    let Some(ours) = candidate.schema.columns.iter().find(|ours| TIMES.contains(&ours.name.as_str())) else { return };
    let by_wide = candidate.wide.as_ref().is_some_and(|wide| wide.name_to == ours.name);
    let is_given = candidate.of(&ours.name).is_some() || by_wide || titled.contains(&ours.name);
    if is_given || ours.column_type != ColumnType::Datetime || ours.name == "time" {
        return;
    }
    let stem = context.stem();
    let names = context.facts.sheet.as_deref().map(|sheet| (sheet, "sheet")).into_iter().chain([(stem, "file")]);
    let line = |day: &str| format!("constants.{} = {}", ours.name, quoted(day));
    for (name, what) in names {
        let Some(visit) = day_in(name) else { continue };
        let from = format!("the day that the name of the {what} says, \"{name}\"");
        let season = context.season.as_ref();
        let (month, day, either, year) = match visit {
            Visit::Day(date, either) => (date.month(), date.day(), either, Some(date.year())),
            Visit::MonthDay(month, day, either) => (month, day, either, season.map(|season| season.year)),
            _ => continue,
        };
        let text = line(&format!("{:04}-{month:02}-{day:02}", year.unwrap_or(2025)));
        match (year, either, visit) {
            (None, ..) => block.top.open(text, format!("{from}; in which year was it")),
            (_, true, _) => block.top.open(text, format!("{from}; day and month could be the other way round")),
            (_, _, Visit::Day(..)) => block.top.unsure(text, format!("{from}; is it so for every row")),
            _ => block.top.unsure(
                text,
                format!(
                    "{from}, with the year from {}; is it so for every row",
                    season.map_or("", |season| season.from.as_str())
                ),
            ),
        }
        return;
    }
    let numbered = matches!(visit_of(stem), Some(Visit::Number(_) | Visit::Days(_)));
    if context.facts.alike || numbered {
        let why = if context.facts.alike {
            "several tables of this file have these columns, and none says when"
        } else {
            "the name of the file speaks of one visit of several, and no column says when"
        };
        block.top.open(line("2025-05-08"), format!("{why}: on which day were these rows taken"));
    }
}

/// Adds the question for the day to a block of counts that nothing dates, as where several files have the same columns: without
/// it their visits would become one.
pub fn ask_for_the_day(block: &mut String, questions: &mut Vec<String>) {
    let kind = "\nkind = \"stand_count\"\n";
    let Some(at) = block.find(kind).map(|at| at + kind.len()) else { return };
    let line = "constants.counted_at = \"2025-05-08\"";
    let doubt = "several files have these columns, and none says when: on which day were these rows counted";
    block.insert_str(at, &format!("# {line}   # ?  {doubt}\n"));
    questions.push(format!("{line}: {doubt}"));
}

/// The day that a name says among other words, with its year or without.
fn day_in(name: &str) -> Option<Visit> {
    if let Some(visit @ (Visit::Day(..) | Visit::MonthDay(..))) = visit_of(name) {
        return Some(visit);
    }
    let parts = || name.split([' ', '_', ',', '(', ')']).filter(|part| !part.is_empty());
    if let Some((date, either)) = parts().find_map(day_of) {
        return Some(Visit::Day(date, either));
    }
    let parted = words(name);
    let kept: Vec<&String> =
        parted.iter().filter(|word| !matches!(word.as_str(), "st" | "nd" | "rd" | "th" | "of")).collect();
    // Day and month stand side by side: in `Field 3 North May` there is no day.
    let beside = kept.windows(2).find_map(|pair| {
        let (first, second) = (pair.first()?, pair.last()?);
        let (numbers, found) = (
            [first, second].iter().filter(|word| word.parse::<i8>().is_ok()).count(),
            month_and_day(&format!("{first} {second}")),
        );
        found.filter(|_| numbers == 1)
    });
    if let Some((month, day)) = beside {
        let year = kept.iter().find_map(|word| word.parse::<i16>().ok().filter(|year| (1950..=2100).contains(year)));
        let date = year.and_then(|year| Date::new(year, month, day).ok());
        return Some(date.map_or(Visit::MonthDay(month, day, false), |date| Visit::Day(date, false)));
    }
    if let Some((day, month)) = parts().find_map(short_day) {
        return Some(Visit::MonthDay(month, day, false));
    }
    let pair = slash(&name.trim().replace('.', "-"))?;
    match pair {
        (first, second) if first <= 12 => Some(Visit::MonthDay(first, second, second <= 12 && first != second)),
        (first, second) if second <= 12 => Some(Visit::MonthDay(second, first, false)),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_day_is_found_in_names_of_sheets_and_files_and_not_where_there_is_none() {
        let date = Date::constant(2025, 5, 10);
        for (name, day) in [
            ("10 May", Visit::MonthDay(5, 10, false)),
            ("May 10th", Visit::MonthDay(5, 10, false)),
            ("North field 10 May 2025", Visit::Day(date, false)),
            ("dig_20250510", Visit::Day(date, false)),
            ("Field A 2025-05-10", Visit::Day(date, false)),
            ("North 10.05.2025", Visit::Day(date, false)),
            ("10.05.", Visit::MonthDay(5, 10, false)),
            ("5-13", Visit::MonthDay(5, 13, false)),
            ("13.5", Visit::MonthDay(5, 13, false)),
            ("5-10", Visit::MonthDay(5, 10, true)),
        ] {
            assert_eq!(day_in(name), Some(day), "{name}");
        }
        for name in ["Sheet1", "Counts 2025", "Field 3 North May", "May", "North 40", "17.5 ft rows", "", "99-99"] {
            assert_eq!(day_in(name), None, "{name}");
        }
    }
}
