//! The `[source.wide]` part of a block.

use evenstand_tables::{Group, schema};
use jiff::civil::Date;

use super::Context;
use super::block::{Block, quoted, some};
use super::columns::{joined_aliases, matches};
use super::dates::dates;
use super::kinds::Candidate;
use super::names::variants;
use super::wide::{Visit, Wide, is_count, visit_of};

/// Measures of which more is better (from memory; common sense of the trade).
const HIGHER: &[&str] = &[
    "yield",
    "grain yield",
    "corn yield",
    "dry yield",
    "vigor",
    "vigour",
    "vigor score",
    "vigor rating",
    "test weight",
    "ndvi",
    "biomass",
];

/// Adds which columns become rows, and what their names stand for.
pub(super) fn write(context: &Context, block: &mut Block, candidate: &Candidate, wide: &Wide) {
    let mut visits: Vec<(&str, Visit)> = Vec::new();
    let mut doubts = if wide.value_to == "emerged" { count_doubts(context, candidate, wide) } else { Vec::new() };
    for (column, visit) in &wide.visits {
        let Some(name) = context.table.columns.get(*column).map(|column| column.name.as_str()) else { continue };
        // Columns are picked by name, so a name that stands twice is written once and takes both.
        if visits.iter().any(|(known, _)| *known == name) {
            doubts.push(format!(
                "\"{name}\" heads more than one column, and all of them are read as that; is one of them something else"
            ));
        } else {
            visits.push((name, *visit));
        }
    }
    let names: Vec<&str> = visits.iter().map(|(name, _)| *name).collect();
    let listed: Vec<String> = names.iter().map(|name| quoted(name)).collect();
    block.wide.put(format!("columns = [{}]", listed.join(", ")), (!doubts.is_empty()).then(|| doubts.join("; ")));
    block.wide.sure(format!("name_to = {}", quoted(wide.name_to)));
    block.wide.sure(format!("value_to = {}", quoted(wide.value_to)));
    if wide.value_to == "value" {
        measure_lines(block, candidate, &names);
        return;
    }
    match wide.newly {
        Some(true) => block.wide.sure("newly = true".into()),
        Some(false) => {}
        None => block.wide.open(
            "newly = true".into(),
            "are these all plants up by then, or those that are new since the count before; take the line if they are new",
        ),
    }
    if wide.name_to != "counted_at" {
        return;
    }
    if wide.visits.iter().any(|(_, visit)| matches!(visit, Visit::Days(_))) {
        day_zero(context, block);
        return;
    }
    let day_first = day_first(&names);
    for (name, visit) in visits {
        day_line(context, block, settled(visit, day_first), name);
    }
}

/// What is odd in columns of counts, and columns that may be counts as well and are not among them.
fn count_doubts(context: &Context, candidate: &Candidate, wide: &Wide) -> Vec<String> {
    let mut doubts = Vec::new();
    for column in wide.visits.iter().filter_map(|(column, _)| context.table.columns.get(*column)) {
        let odd: Vec<String> = column
            .distinct()
            .into_iter()
            .filter(|text| !context.reading.is_missing(text) && !context.reading.number(text).is_some_and(is_count))
            .collect();
        let filled = column.filled().any(|text| !context.reading.is_missing(&text));
        if !odd.is_empty() {
            doubts.push(format!(
                "\"{}\" holds {}, which is no count of plants: add it to missing if nothing was counted there, else \
                 correct the cell; until then its row is set aside",
                column.name,
                some(&odd, 3)
            ));
        } else if !filled {
            doubts.push(format!("\"{}\" holds no count in the rows looked at; was nothing counted then", column.name));
        }
    }
    if wide.name_to == "counted_at" {
        let used = candidate.columns();
        let counts = joined_aliases(candidate.schema, "emerged");
        let others = context.table.columns.iter().enumerate().filter(|(index, column)| {
            !used.contains(index)
                && column.reference.is_some()
                && column.is_whole(context.reading)
                && (visit_of(&column.name).is_some()
                    || variants(&column.name).iter().any(|variant| counts.contains(&variant.words)))
        });
        doubts.extend(others.map(|(_, column)| {
            format!(
                "\"{}\" may be a count too and is left out; if it is one, add it here and its day below",
                column.name
            )
        }));
    }
    doubts
}

/// Whether the day stands before the month in names such as `20/5`; `None` where no name, or not all, decide it.
fn day_first(names: &[&str]) -> Option<bool> {
    let numbers = |name: &str| {
        let part = name
            .split([' ', '_'])
            .find(|part| part.contains(['/', '-']) && part.starts_with(|letter: char| letter.is_ascii_digit()))?;
        let mut parts = part.split(['/', '-']).map(|part| part.parse::<u8>().ok());
        Some((parts.next()??, parts.next()??))
    };
    let decided =
        names.iter().filter_map(|name| numbers(name)).filter_map(|(first, second)| match (first > 12, second > 12) {
            (true, false) => Some(true),
            (false, true) => Some(false),
            _ => None,
        });
    let decided: Vec<bool> = decided.collect();
    decided.first().copied().filter(|first| decided.iter().all(|other| other == first))
}

/// A visit in the order of day and month that its neighbours show.
fn settled(visit: Visit, day_first: Option<bool>) -> Visit {
    match (visit, day_first) {
        (Visit::Day(day, true), Some(false)) => Visit::Day(day, false),
        (Visit::Day(day, true), Some(true)) => {
            Date::new(day.year(), day.day(), day.month()).map_or(visit, |day| Visit::Day(day, false))
        }
        (Visit::MonthDay(month, day, true), Some(false)) => Visit::MonthDay(month, day, false),
        (Visit::MonthDay(month, day, true), Some(true)) => Visit::MonthDay(day, month, false),
        _ => visit,
    }
}

/// The day that one column stands for.
fn day_line(context: &Context, block: &mut Block, visit: Visit, name: &str) {
    let line = |day: &str| format!("names.{} = {}", quoted(name), quoted(day));
    let (month, day, either, year, from) = match visit {
        Visit::Day(date, either) => (date.month(), date.day(), either, Some(date.year()), None),
        Visit::MonthDay(month, day, either) => {
            let season = context.season.as_ref();
            (month, day, either, season.map(|season| season.year), season.map(|season| season.from.as_str()))
        }
        _ => {
            block.wide.open(line("2025-05-08"), "on which day was it counted");
            return;
        }
    };
    let text = line(&format!("{:04}-{month:02}-{day:02}", year.unwrap_or(2025)));
    match (year, either, from) {
        (_, true, _) => block.wide.open(text, "day and month could be the other way round"),
        (None, ..) => block.wide.open(text, "in which year was it counted"),
        (Some(_), false, Some(from)) => {
            block.wide.unsure(text, format!("the name says no year; it was taken from {from}"))
        }
        (Some(_), false, None) => block.wide.sure(text),
    }
}

/// The day from which names such as `Day 7` count.
fn day_zero(context: &Context, block: &mut Block) {
    let planted = schema(Group::Raw, "field").ok().and_then(|field| {
        let found = matches(field, context.table, context.reading);
        let found = found.into_iter().find(|found| field.columns[found.ours].name == "planted_at")?;
        let column = context.table.columns.get(found.column)?;
        let texts: Vec<String> = column.filled().collect();
        Some((dates(texts.iter().map(String::as_str)).only_day?, column.name.clone()))
    });
    match planted {
        Some((day, name)) => block.wide.unsure(
            format!("day_zero = {}", quoted(&day.to_string())),
            format!("the only day in \"{name}\"; do the names count from it"),
        ),
        None => block
            .wide
            .open("day_zero = \"2025-04-28\"".into(), "from which day do the names count; the day of planting, say"),
    }
}

fn measure_lines(block: &mut Block, candidate: &Candidate, names: &[&str]) {
    let aliases = joined_aliases(candidate.schema, "value");
    let mut units: Vec<String> = Vec::new();
    let mut measures: Vec<String> = Vec::new();
    for name in names {
        let variant = variants(name).into_iter().find(|variant| aliases.contains(&variant.words));
        let Some(variant) = variant else { continue };
        units.push(variant.unit.unwrap_or_default());
        block.wide.sure(format!("names.{} = {}", quoted(name), quoted(&variant.words)));
        measures.push(variant.words);
    }
    if let [unit] = units.as_slice()
        && !unit.is_empty()
        && candidate.of("unit").is_none()
    {
        block.top.sure(format!("constants.unit = {}", quoted(unit)));
    }
    if candidate.of("better").is_none() && measures.iter().all(|measure| HIGHER.contains(&measure.as_str())) {
        block.top.unsure("constants.better = \"higher\"".into(), "is more better; else lower or none");
    }
}
