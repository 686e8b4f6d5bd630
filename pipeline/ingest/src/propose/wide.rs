//! Columns that are visits, rows or measures, each of which becomes a row.

use evenstand_tables::TableSchema;
use jiff::civil::Date;

use super::columns::{Match, Sure, joined_aliases};
use super::dates::{day_of, month_and_day};
use super::header_rows::short_day;
use super::names::{variants, words};
use super::table::Table;
use crate::reading::Reading;

/// What the name of a column of counts says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Visit {
    /// A day, and whether day and month could be the other way round.
    Day(Date, bool),
    /// A month and a day without a year, and whether they could be the other way round.
    MonthDay(i8, i8, bool),
    /// Days after planting.
    Days(i64),
    /// The first, second … count.
    Number(i64),
    /// A row of the planter.
    Row(i64),
    /// A counted place.
    Place(i64),
}

/// Columns that each become a row.
#[derive(Debug)]
pub(super) struct Wide {
    /// Positions in the file, with what their names say.
    pub visits: Vec<(usize, Visit)>,
    /// Column of ours that takes the name.
    pub name_to: &'static str,
    pub value_to: &'static str,
    /// Whether cells are what is new since the visit before; `None` where the numbers do not tell.
    pub newly: Option<bool>,
}

/// Words that may stand beside the day of a count.
const STAND: &[&str] = &[
    "stand",
    "count",
    "emerged",
    "emergence",
    "plant",
    "pop",
    "population",
    "no",
    "of",
    "on",
    "up",
    "total",
    "the",
    "seedling",
    "counted",
    "date",
    "visit",
    "bestand",
    "planting",
    "after",
];

/// Finds columns whose names are days, numbered visits, rows or places, and most of whose cells are counts: at least two of
/// one sort, or one whose name speaks of a stand and a day. A column belongs to its neighbours by its name, whatever stands
/// in it: an odd cell must not cost a visit.
pub(super) fn visits(table: &Table, reading: &Reading) -> Option<Wide> {
    let mut sorts: [Vec<(usize, Visit)>; 5] = Default::default();
    for (index, column) in table.columns.iter().enumerate() {
        let Some(visit) = column.reference.as_ref().and_then(|_| visit_of(&column.name)) else { continue };
        let sort = match visit {
            Visit::Day(..) | Visit::MonthDay(..) => 0,
            Visit::Days(_) => 1,
            Visit::Number(_) => 2,
            Visit::Row(_) => 3,
            Visit::Place(_) => 4,
        };
        sorts[sort].push((index, visit));
    }
    let speaks = |(index, _): &(usize, Visit)| {
        table
            .columns
            .get(*index)
            .is_some_and(|column| words(&column.name).iter().any(|word| STAND[..7].contains(&word.as_str())))
    };
    // Names that speak of a stand need no counts below them, if only nothing else is measured there.
    let are_counts = |visits: &[(usize, Visit)]| {
        let (mut counts, mut others, mut parts) = (0, 0, 0);
        for column in visits.iter().filter_map(|(index, _)| table.columns.get(*index)) {
            let (numbers, words) = column.numbers(reading);
            let here = numbers.iter().filter(|number| is_count(**number)).count();
            counts += here;
            others += numbers.len() - here + words;
            parts += numbers.iter().filter(|number| number.fract() != 0.0).count();
        }
        counts > others || (parts == 0 && visits.iter().all(speaks))
    };
    for visits in sorts.iter_mut().filter(|visits| !are_counts(visits)) {
        visits.clear();
    }
    let alone = sorts[0].len() == 1 && sorts[0].iter().all(speaks);
    let most = (0..sorts.len()).rev().max_by_key(|sort| sorts[*sort].len()).filter(|sort| sorts[*sort].len() > 1);
    let visits = std::mem::take(&mut sorts[most.or(alone.then_some(0))?]);
    let name_to = match visits.first().map(|(_, visit)| visit) {
        Some(Visit::Row(_)) => "row_unit",
        Some(Visit::Place(_)) => "sample_id",
        _ => "counted_at",
    };
    let several = name_to == "counted_at" && visits.len() > 1;
    let newly = if several { new_or_sum(table, reading, &visits) } else { Some(false) };
    Some(Wide { visits, name_to, value_to: "emerged", newly })
}

/// Whether a number can be a count of plants.
pub(super) fn is_count(number: f64) -> bool {
    number >= 0.0 && number.fract() == 0.0
}

/// Columns of a file that are measures; each is a row of `measure`.
pub(super) fn measures(schema: &TableSchema, table: &Table, reading: &Reading, found: &[Match]) -> Option<Wide> {
    let named = |name: &str| schema.columns.iter().position(|column| column.name == name);
    let value = named("value")?;
    // A table that has a column of names is long already.
    let long = found.iter().any(|found| Some(found.ours) == named("name"));
    if long || found.iter().any(|found| found.ours == value && found.sure == Sure::Own) {
        return None;
    }
    let aliases = joined_aliases(schema, "value");
    let visits: Vec<(usize, Visit)> = table
        .columns
        .iter()
        .enumerate()
        .filter(|(_, column)| column.reference.is_some() && column.is_numeric(reading) == Some(true))
        .filter(|(_, column)| variants(&column.name).iter().any(|variant| aliases.contains(&variant.words)))
        .map(|(index, _)| (index, Visit::Number(0)))
        .collect();
    (!visits.is_empty()).then_some(Wide { visits, name_to: "name", value_to: "value", newly: Some(false) })
}

/// Whether rows of counts rise, as sums do, or fall back, as what is new at each visit does.
fn new_or_sum(table: &Table, reading: &Reading, visits: &[(usize, Visit)]) -> Option<bool> {
    let mut order: Vec<(usize, Visit)> = visits.to_vec();
    order.sort_by_key(|(index, visit)| match visit {
        Visit::Day(day, _) => (i64::from(day.year()) * 400 + i64::from(day.day_of_year()), *index),
        Visit::MonthDay(month, day, _) => (i64::from(*month) * 40 + i64::from(*day), *index),
        Visit::Days(number) | Visit::Number(number) | Visit::Row(number) | Visit::Place(number) => (*number, *index),
    });
    let columns: Vec<Vec<Option<f64>>> = order
        .iter()
        .filter_map(|(index, _)| table.columns.get(*index))
        .map(|column| {
            column.cells.iter().map(|cell| reading.number(&cell.text()).filter(|number| is_count(*number))).collect()
        })
        .collect();
    let (mut rising, mut falling, mut dipping) = (0, 0, 0);
    for row in 0..table.rows {
        let counts: Vec<f64> = columns.iter().filter_map(|column| column.get(row).copied().flatten()).collect();
        if counts.len() < 2 {
            continue;
        }
        let most = counts.iter().copied().fold(0.0, f64::max);
        let last = counts.last().copied().unwrap_or(0.0);
        let falls = counts.windows(2).any(|pair| pair[1] < pair[0]);
        if !falls {
            rising += 1;
        } else if last < 0.5 * most {
            falling += 1;
        } else {
            dipping += 1;
        }
    }
    let all = rising + falling + dipping;
    if falling > 0 && 2 * falling >= all {
        Some(true)
    } else if falling == 0 && dipping == 0 && rising >= 2 {
        Some(false)
    } else {
        None
    }
}

/// What a column's name says, if it is the name of a visit, a row or a place.
pub(super) fn visit_of(name: &str) -> Option<Visit> {
    if name.len() > 80 {
        return None;
    }
    let parts: Vec<&str> = name.rsplit(" / ").chain(name.split([' ', '_'])).chain([name]).collect();
    let parted = words(name);
    let others_fit = |allowed: &dyn Fn(&str) -> bool| {
        parted
            .iter()
            .filter(|word| word.chars().all(char::is_alphabetic))
            .all(|word| STAND.contains(&word.as_str()) || allowed(word))
    };
    if others_fit(&|_| false) {
        if let Some((day, either)) = parts.iter().find_map(|part| day_of(part.trim_matches(['(', ')', ',']))) {
            return Some(Visit::Day(day, either));
        }
        if let Some((day, month)) = parts.iter().find_map(|part| short_day(part)) {
            return Some(Visit::MonthDay(month, day, false));
        }
        if let Some((first, second)) = parts.iter().find_map(|part| slash(part)) {
            match (first <= 12, second <= 12) {
                (true, either) => return Some(Visit::MonthDay(first, second, either && first != second)),
                (false, true) => return Some(Visit::MonthDay(second, first, false)),
                _ => {}
            }
        }
    }
    if let Some((month, day)) = month_and_day(name)
        && others_fit(&|word| month_and_day(&format!("{word} 1")).is_some())
    {
        let year = parted.iter().find_map(|word| word.parse::<i16>().ok().filter(|year| (1950..=2100).contains(year)));
        return match year.and_then(|year| Date::new(year, month, day).ok()) {
            Some(date) => Some(Visit::Day(date, false)),
            None => Some(Visit::MonthDay(month, day, false)),
        };
    }
    numbered(&parted)
}

/// `5/8` or `5-8`: two numbers that could be a month and a day.
pub(super) fn slash(text: &str) -> Option<(i8, i8)> {
    let (first, second) = text.trim().split_once(['/', '-'])?;
    let (first, second): (i8, i8) = (first.parse().ok()?, second.parse().ok()?);
    ((1..=31).contains(&first) && (1..=31).contains(&second)).then_some((first, second))
}

fn numbered(parted: &[String]) -> Option<Visit> {
    let mut numbers = parted.iter().filter_map(|word| word.parse::<i64>().ok());
    let number = numbers.next().filter(|number| (0..400).contains(number))?;
    if numbers.next().is_some() {
        return None;
    }
    let kept: Vec<&str> = parted.iter().map(String::as_str).filter(|word| word.parse::<i64>().is_err()).collect();
    let has = |wanted: &[&str]| kept.iter().any(|word| wanted.contains(word));
    let only = |more: &[&str]| kept.iter().all(|word| more.contains(word) || STAND.contains(word));
    let days = ["day", "d", "dap", "dae", "das", "tag"];
    if has(&days) && only(&days) {
        return Some(Visit::Days(number));
    }
    let rows = ["row", "reihe"];
    if has(&rows) && only(&rows) {
        return Some(Visit::Row(number));
    }
    let places = ["sample", "spot", "place", "location", "loc", "rep", "quadrat", "plot"];
    if has(&places[..4]) && only(&places[..4]) {
        return Some(Visit::Place(number));
    }
    let counts = ["v", "visit", "count", "c", "stand", "time", "t", "round", "check", "emergence", "emerged"];
    (has(&counts) && only(&counts)).then_some(Visit::Number(number))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_visits_are_understood_and_other_names_are_not() {
        let day = |month, day| Date::constant(2025, month, day);
        for (name, visit) in [
            ("Stand May 8", Visit::MonthDay(5, 8, false)),
            ("May 8, 2025", Visit::Day(day(5, 8), false)),
            ("2025-05-08", Visit::Day(day(5, 8), false)),
            ("08.05.2025", Visit::Day(day(5, 8), false)),
            ("stand_20250508", Visit::Day(day(5, 8), false)),
            ("Count 5/8/2025", Visit::Day(day(5, 8), true)),
            ("Count 5/8", Visit::MonthDay(5, 8, true)),
            ("Count 5/28", Visit::MonthDay(5, 28, false)),
            ("5-8 stand", Visit::MonthDay(5, 8, true)),
            ("Bestand / 08.05.", Visit::MonthDay(5, 8, false)),
            ("Day 7", Visit::Days(7)),
            ("Day07", Visit::Days(7)),
            ("DAP 10", Visit::Days(10)),
            ("V1", Visit::Number(1)),
            ("Count 2", Visit::Number(2)),
            ("Row 3", Visit::Row(3)),
            ("Sample 1", Visit::Place(1)),
        ] {
            assert_eq!(visit_of(name), Some(visit), "{name}");
        }
        for name in [
            "Yield 2025",
            "Effort 1-5",
            "soil_temp_5_daily",
            "CEC_7",
            "1",
            "Strip 4",
            "Field",
            "Row length",
            "May",
            "N 2",
        ] {
            assert_eq!(visit_of(name), None, "{name}");
        }
    }
}
