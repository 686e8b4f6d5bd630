//! What tells rows apart: season, field and strip, where no column of the file is called so.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_tables::TableSchema;

use super::block::{Block, quoted, some};
use super::columns::{Match, names_blocks};
use super::dates::looks_like_a_date;
use super::kinds::Candidate;
use super::table::{Body, Column, Table};
use crate::reading::Reading;

/// Columns that are offered for a name.
const MOST_OFFERED: usize = 4;

/// A season, and where it was found.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Season {
    pub year: i16,
    pub from: String,
}

/// The season that dates say, else the name of the file or sheet, else a title above the header.
pub(super) fn season(years: &BTreeSet<i16>, names: &[&str], titles: &[String]) -> Option<Season> {
    if let (Some(year), 1) = (years.first(), years.len()) {
        return Some(Season { year: *year, from: "its dates".into() });
    }
    let titles = titles.iter().map(|title| (title.as_str(), "the title above the header"));
    let named = names.iter().map(|name| (*name, "the name of the file or sheet"));
    named.chain(titles).find_map(|(text, from)| Some(Season { year: year_in(text)?, from: from.to_owned() }))
}

/// The only year that stands in a text.
fn year_in(text: &str) -> Option<i16> {
    let runs = text.split(|letter: char| !letter.is_ascii_digit());
    let mut years: Vec<i16> = runs
        .filter(|run| run.len() == 4)
        .filter_map(|run| run.parse().ok())
        .filter(|year| (1990..=2099).contains(year))
        .collect();
    years.dedup();
    if let [year] = years.as_slice() { Some(*year) } else { None }
}

/// Adds the season, the field and the strip where the table needs them and no column gives them.
///
/// `titled` are columns that a line above the header gives already.
pub(super) fn complete(
    block: &mut Block,
    candidate: &Candidate,
    table: &Table,
    season: Option<&Season>,
    titled: &BTreeSet<String>,
) {
    if candidate.of("season").is_none() && candidate.schema.name != "weather" {
        match season {
            Some(season) => block.top.unsure(
                format!("constants.season = {}", season.year),
                format!("the year of planting, taken from {}; is it right?", season.from),
            ),
            None => block.top.open("constants.season = 2025".into(), "in which year was it planted?"),
        }
    }
    let used: BTreeSet<usize> = candidate.columns().into_iter().collect();
    if candidate.of("field_id").is_none() && candidate.schema.name != "weather" && !titled.contains("field_id") {
        let groups = offered(table, &used, |distinct, rows| distinct >= 1 && 3 * distinct <= rows.max(3));
        let could = match groups.as_slice() {
            [] => String::new(),
            names => format!("; or does a column name it: field_id = {} ?", some(names, MOST_OFFERED)),
        };
        block.top.open(
            "constants.field_id = \"name of the field\"".into(),
            format!("no column is called a field: which field is it, as other files call it{could}"),
        );
    }
    let needs_strip = candidate.schema.column("strip_id").is_some_and(|column| column.required());
    match candidate.of("strip_id") {
        None if needs_strip && !titled.contains("strip_id") => offer_strips(block, table, &used),
        Some(found) if matches!(candidate.schema.name.as_str(), "stand_count" | "strip") => {
            let mut keys: Vec<usize> = vec![found.column];
            let others = ["field_id", "season", "sample_id", "row_unit", "counted_at"];
            keys.extend(others.iter().filter_map(|name| candidate.of(name)).map(|found| found.column));
            let (rows, distinct) = distinct_rows(table, &keys, 1);
            let better = offered(table, &used, |distinct, rows| rows > 2 && distinct == rows);
            let name = table.columns.get(found.column).map(|column| column.name.clone()).unwrap_or_default();
            if distinct < rows && candidate.block.is_none() && candidate.wide.is_none() && !better.is_empty() {
                block.columns.open(
                    format!("strip_id = {}", quoted(&better[0])),
                    format!(
                        "several rows share one \"{name}\"; \"{}\" tells all rows apart: if that is the strip, take this line instead of the other one",
                        better[0]
                    ),
                );
            }
        }
        _ => {}
    }
}

/// The column of blocks within which strips are numbered anew: one name of a strip stands in several blocks of a field.
pub(super) fn strips_within_blocks(schema: &TableSchema, table: &Table, found: &[Match]) -> Option<usize> {
    let column_of =
        |name: &str| found.iter().find(|found| schema.columns[found.ours].name == name).map(|found| found.column);
    let strip = column_of("strip_id")?;
    let within: Vec<usize> = [Some(strip), column_of("field_id"), column_of("season")].into_iter().flatten().collect();
    let missing = Reading::default();
    block_columns(table).filter(|block| !within.contains(block)).find(|block| {
        let mut first: BTreeMap<Vec<String>, String> = BTreeMap::new();
        (0..table.rows).any(|row| {
            let text = |column: &usize| {
                table.columns.get(*column).and_then(|column| column.cells.get(row)).map(Body::text).unwrap_or_default()
            };
            let (strip, own) = (within.iter().map(text).collect::<Vec<_>>(), text(block));
            let told = !missing.is_missing(&own) && strip.first().is_some_and(|strip| !missing.is_missing(strip));
            told && *first.entry(strip).or_insert_with(|| own.clone()) != own
        })
    })
}

/// Columns of blocks or repetitions, by their names.
fn block_columns(table: &Table) -> impl Iterator<Item = usize> + '_ {
    let columns = table.columns.iter().enumerate();
    columns.filter(|(_, column)| column.reference.is_some() && names_blocks(&column.name)).map(|(index, _)| index)
}

/// The line of the strip where a table has blocks: both together, or the strip alone with a question. `None` where no column
/// of blocks is left over.
pub(super) fn strip_in_block(table: &Table, candidate: &Candidate, strip: &str) -> Option<(String, String)> {
    let named = |column: usize| table.columns.get(column).and_then(|column| column.reference.as_deref());
    if let Some(block) = candidate.block.and_then(named) {
        return Some((
            format!("strip_id = [{}, {}]", quoted(block), quoted(strip)),
            format!(
                "one \"{strip}\" stands in several of \"{block}\", so both together were taken for the strip; if it is the \
                 same strip in all of them, write strip_id = {} and say so in every file alike",
                quoted(strip)
            ),
        ));
    }
    let used = candidate.columns();
    let block = block_columns(table).find(|column| !used.contains(column)).and_then(named)?;
    Some((
        format!("strip_id = {}", quoted(strip)),
        format!(
            "\"{block}\" is not read, because each \"{strip}\" stands in one \"{block}\" only; is every strip of a field \
             called otherwise, or must it be strip_id = [{}, {}]",
            quoted(block),
            quoted(strip)
        ),
    ))
}

/// Offers columns that could name the strip: one that tells rows apart, else two that do together.
fn offer_strips(block: &mut Block, table: &Table, used: &BTreeSet<usize>) {
    let alone = offered(table, used, |distinct, rows| distinct == rows && rows > 1);
    let why = "no column is called a strip or plot";
    let trial = block_columns(table).find(|column| !used.contains(column)).and_then(|column| table.columns.get(column));
    let aside = trial.map_or(String::new(), |trial| format!("; \"{}\" is not read then", trial.name));
    if let [only] = alone.as_slice() {
        block
            .columns
            .unsure(format!("strip_id = {}", quoted(only)), format!("{why}, but this one tells all rows apart{aside}"));
        return;
    }
    for name in alone.iter().take(MOST_OFFERED) {
        block.columns.open(
            format!("strip_id = {}", quoted(name)),
            format!("{why}; this one tells all rows apart: take one such line{aside}"),
        );
    }
    if !alone.is_empty() {
        return;
    }
    let few: Vec<usize> =
        free_columns(table, used).filter(|column| table.columns[*column].distinct().len() > 1).take(12).collect();
    let (mut pairs, full) = (0, full_rows(table));
    for (at, first) in few.iter().enumerate() {
        for second in few.iter().skip(at + 1) {
            let (rows, distinct) = distinct_rows(table, &[*first, *second], 2);
            if rows > 1 && 10 * rows >= 9 * full && distinct == rows && pairs < MOST_OFFERED {
                pairs += 1;
                let name = |column: usize| table.columns[column].reference.as_deref().map(quoted).unwrap_or_default();
                block.columns.open(
                    format!("strip_id = [{}, {}]", name(*first), name(*second)),
                    format!("{why}; these two together tell all rows apart: take one such line"),
                );
            }
        }
    }
    if pairs == 0 {
        block.columns.open(
            "strip_id = \"column of the file\"".into(),
            format!("{why}; which column, or columns, name the strip?"),
        );
    }
}

fn free_columns<'a>(table: &'a Table, used: &'a BTreeSet<usize>) -> impl Iterator<Item = usize> + 'a {
    let columns = table.columns.iter().enumerate();
    columns.filter(|(index, column)| !used.contains(index) && column.reference.is_some()).map(|(index, _)| index)
}

/// Free columns of names whose number of distinct values among so many filled rows is as wanted.
fn offered(table: &Table, used: &BTreeSet<usize>, wanted: impl Fn(usize, usize) -> bool) -> Vec<String> {
    let full = full_rows(table);
    let named = free_columns(table, used).filter_map(|index| table.columns.get(index));
    named
        .filter(|column| !column.filled().next().is_some_and(|text| looks_like_a_date(&text)))
        .filter(|column| !column.filled().any(|text| text.contains(['.', ',']) && text.parse::<f64>().is_ok()))
        .filter(|column| {
            let (distinct, rows) = (column.distinct().len(), column.filled().count());
            10 * rows >= 9 * full && wanted(distinct, rows)
        })
        .filter_map(|column| column.reference.clone())
        .take(MOST_OFFERED)
        .collect()
}

/// Rows in which at least half of the columns hold something: others are gaps in the file.
fn full_rows(table: &Table) -> usize {
    let missing = Reading::default();
    let holds =
        |row: usize, column: &&Column| column.cells.get(row).is_some_and(|cell| !missing.is_missing(&cell.text()));
    let named: Vec<&Column> = table.columns.iter().filter(|column| column.reference.is_some()).collect();
    (0..table.rows).filter(|row| 2 * named.iter().filter(|column| holds(*row, column)).count() >= named.len()).count()
}

/// Rows in which the first columns of these, so many, are filled, and how many different rows there are.
fn distinct_rows(table: &Table, columns: &[usize], needed: usize) -> (usize, usize) {
    let missing = Reading::default();
    let mut seen: BTreeMap<Vec<String>, usize> = BTreeMap::new();
    for row in 0..table.rows {
        let key: Vec<String> = columns
            .iter()
            .filter_map(|column| table.columns.get(*column))
            .map(|column| column.cells.get(row).map(|cell| cell.text()).unwrap_or_default())
            .collect();
        if key.iter().take(needed).all(|part| !missing.is_missing(part)) {
            *seen.entry(key).or_default() += 1;
        }
    }
    (seen.values().sum(), seen.len())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_season_comes_from_dates_before_names_before_titles() {
        let years = |years: &[i16]| years.iter().copied().collect::<BTreeSet<i16>>();
        let title = ["Counts of 2023".to_owned()];
        assert_eq!(season(&years(&[2025]), &["counts 2024.csv"], &title).unwrap().year, 2025);
        assert_eq!(season(&years(&[2024, 2025]), &["counts 2024.csv"], &title).unwrap().year, 2024);
        assert_eq!(season(&years(&[]), &["counts.csv"], &title).unwrap().year, 2023);
        assert_eq!(season(&years(&[]), &["counts 2023 2024.csv", "54902"], &[]), None);
    }
}
