//! The lines of one block: how the file is written, where each column comes from, what its words mean.

use std::collections::BTreeSet;

use evenstand_tables::{Column as Ours, ColumnType};

use super::block::{Block, list, quoted, some};
use super::columns::{Match, Sure, Unit, kind_of_unit, own_name};
use super::formats::{Formats, clock_beside};
use super::identity;
use super::kinds::Candidate;
use super::names::{joined, suffix_of_kind, words as words_of};
use super::table::{Body, Column};
use super::units::{likely, usual};
use super::vocabulary::{has_words, words};
use super::{Context, beside_lines, times, title_lines, wide_lines};

/// Words of a column that are asked about one by one.
const MOST_WORDS: usize = 12;

/// The block that reads the file as the table of this candidate.
pub(super) fn block(context: &Context, candidate: &Candidate) -> Block {
    let mut block = file_lines(context, &candidate.schema.name);
    let mut formats = Formats::default();
    for found in &candidate.matches {
        let (Some(ours), Some(column)) =
            (candidate.schema.columns.get(found.ours), context.table.columns.get(found.column))
        else {
            continue;
        };
        let Some(reference) = &column.reference else { continue };
        match identity::strip_in_block(context.table, candidate, reference).filter(|_| ours.name == "strip_id") {
            Some((line, doubt)) => {
                let rival = found.rival.and_then(|rival| context.table.columns.get(rival)?.reference.as_ref());
                let rival = rival.map_or(String::new(), |rival| format!("; or is it \"{rival}\""));
                block.columns.unsure(line, format!("{doubt}{rival}"));
            }
            None if ours.name == "emerged" && beside_lines::is_population(context, column) => block.columns.open(
                format!("emerged = {}", quoted(reference)),
                "its numbers look like plants on an acre or a hectare; emerged is the plants counted in one place: is there \
                 a column of those",
            ),
            None => column_line(context, &mut block, found, ours, column, reference),
        }
        if matches!(ours.column_type, ColumnType::Date | ColumnType::Datetime) {
            formats.add(context, column, ours, reference, &mut block);
        }
        if has_words(ours) {
            word_lines(context, &mut block, ours, column);
        }
    }
    formats.write(&mut block);
    beside_lines::needed_lines(&mut block, candidate);
    beside_lines::misfit_lines(context, &mut block, candidate);
    beside_lines::day_count_line(context, &mut block, candidate);
    let titled = title_lines::write(context, &mut block, candidate);
    times::day_of_table(context, &mut block, candidate, &titled);
    beside_lines::place_line(context, &mut block, candidate);
    if candidate.schema.name == "soil_note" {
        beside_lines::moisture_lines(context, &mut block, candidate);
    }
    identity::complete(&mut block, candidate, context.table, context.season.as_ref(), &titled);
    if let Some(wide) = &candidate.wide {
        wide_lines::write(context, &mut block, candidate, wide);
    }
    block
}

/// Lines about the file as a whole.
pub(super) fn file_lines(context: &Context, kind: &str) -> Block {
    let mut block = Block::default();
    let (facts, header) = (context.facts, &context.table.header);
    let top = &mut block.top;
    top.sure(format!("file = {}", quoted(&glob::Pattern::escape(context.file))));
    top.sure(format!("kind = {}", quoted(kind)));
    if let Some(sheet) = &facts.sheet {
        top.sure(format!("sheet = {}", quoted(sheet)));
    }
    if let Some(range) = &facts.range {
        top.sure(format!("range = {}", quoted(range)));
    }
    match header.numbers.as_slice() {
        _ if header.first || facts.names_apart => {}
        [] => top.unsure(
            "header_row = 0".into(),
            "no row of names was found; columns are called by their letters, A, B, C …",
        ),
        [only] => top.sure(format!("header_row = {only}")),
        rows => top.sure(format!("header_row = [{}]", rows.iter().map(i64::to_string).collect::<Vec<_>>().join(", "))),
    }
    if let Some(delimiter) = facts.delimiter {
        top.sure(format!("delimiter = {}", quoted(delimiter)));
    }
    if let Some(encoding) = facts.encoding {
        top.unsure(
            format!("encoding = {}", quoted(encoding)),
            "the text is not UTF-8; are letters such as ä, é or ° right when it is read so",
        );
    }
    let mut doubt = context.style.doubt.clone();
    if context.style.comma {
        top.put("decimal = \",\"".into(), doubt.take());
    }
    if let Some(mark) = context.style.thousands {
        top.put(format!("thousands = {}", quoted(&mark.to_string())), doubt.take());
    }
    if let Some(doubt) = doubt {
        top.open("decimal = \",\"".into(), doubt);
    }
    if !context.missing.is_empty() {
        top.sure(format!("missing = {}", list(context.missing)));
    }
    if !context.table.totals.is_empty() {
        let totals: Vec<String> = context.table.totals.iter().cloned().collect();
        top.unsure(
            format!("skip_rows_with = {}", list(&totals)),
            "such rows were taken for sums or means of others, not for rows of the table",
        );
    }
    block
}

/// Where a column of ours comes from.
fn column_line(context: &Context, block: &mut Block, found: &Match, ours: &Ours, column: &Column, reference: &str) {
    let (numbers, _) = column.numbers(context.reading);
    let lines = &mut block.columns;
    let mut doubts: Vec<String> = Vec::new();
    match found.sure {
        Sure::Near | Sure::Hint => doubts.push(format!("is \"{}\" what we call {}", column.name, own_name(ours))),
        Sure::Own | Sure::Alias => {}
    }
    if let Some(rival) = found.rival.and_then(|rival| context.table.columns.get(rival)) {
        doubts.push(format!("or is it \"{}\"", rival.reference.as_deref().unwrap_or_default()));
    }
    if ours.name == "row_downforce_n"
        && !["row", "gauge", "unit"].iter().any(|word| joined(&column.name).contains(word))
    {
        doubts.push(
            "downforce of the row unit or its gauge wheels, not of the closing system; if it is the closing system's, write set_force instead"
                .into(),
        );
    }
    doubts.extend(cell_doubts(context, ours, column));
    let line = |name: &str| format!("{name} = {}", quoted(reference));
    let said = |doubts: &[String]| (!doubts.is_empty()).then(|| doubts.join("; "));
    match (&found.unit, kind_of_unit(ours)) {
        (Unit::Known(suffix), Some(kind)) => {
            if !usual(ours, suffix, &numbers) {
                let label = kind.label(suffix).unwrap_or(suffix);
                doubts.push(format!("numbers such as {} are unusual in {label}; is the unit right", example(&numbers)));
            }
            let text = line(&format!("{}_{suffix}", own_name(ours)));
            // 34 thousand an acre are no 34 seeds an acre.
            let thousands = ours.name == "seed_rate_per_m2" && says_thousands(&column.name);
            if thousands {
                doubts.push("thousands must be written out, 34000 for 34".into());
            }
            if found.sure == Sure::Hint || thousands {
                lines.open(text, doubts.join("; "));
            } else {
                lines.put(text, said(&doubts));
            }
        }
        (unit, Some(kind)) => {
            let labels = |suffixes: &[&'static str]| -> String {
                suffixes.iter().map(|suffix| format!("{}_{suffix}", own_name(ours))).collect::<Vec<_>>().join(", ")
            };
            let units = likely(ours, &numbers);
            // `(k/ac)` is no unit of ours, and says acres all the same.
            let said_area = match unit {
                Unit::Strange(text) => {
                    text.rsplit_once('/').and_then(|(_, area)| suffix_of_kind(&format!("/{area}"), kind))
                }
                _ => None,
            };
            let first = said_area.or(units.first().copied()).unwrap_or(kind.kept_suffix());
            doubts.push(match unit {
                Unit::Strange(text) => format!("its unit \"{text}\" is none that is read here; write the line as one of {} if it is one of these after all", labels(kind.suffixes())),
                _ => format!("the header does not say the unit; judged by its numbers ({}) it is {}", example(&numbers), one_of(&labels(&units))),
            });
            let text = line(&format!("{}_{first}", own_name(ours)));
            // 34 is 34 seeds a square metre, or 34 thousand an acre.
            let thousands = ours.name == "seed_rate_per_m2" && (first == "per_m2" || says_thousands(&column.name));
            if thousands {
                doubts.push("thousands an acre must be written out, 34000 for 34".into());
            }
            let one = !thousands
                && units.len() == 1
                && *unit == Unit::Absent
                && found.sure <= Sure::Near
                && !numbers.is_empty();
            if one { lines.unsure(text, doubts.join("; ")) } else { lines.open(text, doubts.join("; ")) }
        }
        _ if found.sure == Sure::Hint => lines.open(line(&ours.name), doubts.join("; ")),
        _ => {
            let clock = clock_beside(context, ours, column);
            match clock {
                Some(clock) => {
                    lines.put(format!("{} = [{}, {}]", ours.name, quoted(reference), quoted(&clock)), said(&doubts))
                }
                None => lines.put(line(&ours.name), said(&doubts)),
            }
        }
    }
}

/// Whether a name counts in thousands, as `k/ac` does.
fn says_thousands(name: &str) -> bool {
    let parted = words_of(name);
    parted.iter().any(|word| matches!(word.as_str(), "k" | "1000" | "thousand" | "ths"))
}

fn one_of(names: &str) -> String {
    if names.contains(", ") { format!("one of {names}") } else { names.to_owned() }
}

fn example(numbers: &[f64]) -> String {
    let mut shown: Vec<String> = Vec::new();
    for number in numbers {
        let number = number.to_string();
        if !shown.contains(&number) && shown.len() < 3 {
            shown.push(number);
        }
    }
    if shown.is_empty() { "none".to_owned() } else { shown.join(", ") }
}

/// Cells that the type of our column refuses.
fn cell_doubts(context: &Context, ours: &Ours, column: &Column) -> Vec<String> {
    let mut doubts = Vec::new();
    let numeric = matches!(ours.column_type, ColumnType::Number | ColumnType::Integer);
    if !numeric {
        return doubts;
    }
    let reading = context.reading;
    let refused: BTreeSet<String> = column
        .texts()
        .filter(|text| !reading.is_missing(text) && reading.number(text).is_none())
        .map(str::to_owned)
        .collect();
    if !refused.is_empty() {
        let refused: Vec<String> = refused.into_iter().collect();
        doubts
            .push(format!("{} is no number: add it to missing if it means that nothing was taken", some(&refused, 3)));
    }
    let (numbers, _) = column.numbers(reading);
    let limits = ours.minimum().unwrap_or(f64::NEG_INFINITY)..=ours.maximum().unwrap_or(f64::INFINITY);
    if kind_of_unit(ours).is_none()
        && let Some(outside) = numbers.iter().find(|number| !limits.contains(number))
    {
        doubts.push(format!("{outside} is outside what is possible here; rows with such a cell are set aside"));
    }
    if ours.column_type == ColumnType::Integer
        && let Some(part) = numbers.iter().find(|number| number.fract() != 0.0)
    {
        doubts.push(format!("{part} is not a whole number; rows with such a cell are set aside"));
    }
    doubts
}

/// Words of a column that stand for ours.
fn word_lines(context: &Context, block: &mut Block, ours: &Ours, column: &Column) {
    if column.cells.iter().all(|cell| matches!(cell, Body::Boolean | Body::Empty)) {
        return;
    }
    let found: BTreeSet<String> =
        column.distinct().into_iter().filter(|word| !context.reading.is_missing(word)).collect();
    let said = words(ours, &found);
    for (word, meaning, guess) in &said.synonyms {
        let text = format!("synonyms.{}.{} = {}", ours.name, quoted(word), quoted(meaning));
        let doubt = guess.then(|| format!("a guess; {}", allowed(ours)));
        block.top.put(text, doubt);
    }
    for word in said.unknown.iter().take(MOST_WORDS) {
        let first = ours.allowed().first().map_or("yes", String::as_str);
        let text = format!("synonyms.{}.{} = {}", ours.name, quoted(word), quoted(first));
        block.top.open(text, format!("what does \"{word}\" stand for; {}", allowed(ours)));
    }
}

fn allowed(ours: &Ours) -> String {
    let allowed = ours.allowed().join(", ");
    if allowed.is_empty() { "yes or no".to_owned() } else { format!("one of {allowed}") }
}

/// Columns of the file that none of the blocks reads.
pub(super) fn unused(context: &Context, candidates: &[Candidate]) -> Vec<String> {
    let used: BTreeSet<usize> = candidates.iter().flat_map(Candidate::columns).collect();
    let columns = context.table.columns.iter().enumerate();
    columns
        .filter(|(index, column)| !used.contains(index) && !column.name.is_empty())
        .map(|(_, column)| column.name.chars().take(60).collect())
        .collect()
}
