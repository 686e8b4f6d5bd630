//! A `[[source]]` block for a file that nobody made for this program: proposed from its first rows, with what is unsure left
//! as a question.
//!
//! [`look_at_text`] and `look_at_parquet` collect the first rows of a file; [`FirstRows::propose`] finds the header
//! (`header_rows`), how numbers and dates are written (`numbers`, `dates`), which raw table it is (`kinds`, by the aliases in
//! the schema files) and writes the block (`compose`). Nothing is guessed in silence: what the rows do not show is a
//! commented-out line.

mod beside_lines;
mod block;
mod columns;
mod compose;
mod dates;
mod formats;
mod header_rows;
mod headless;
mod identity;
mod kinds;
mod look;
mod names;
mod numbers;
mod table;
mod times;
mod title_lines;
mod units;
mod vocabulary;
mod wide;
mod wide_lines;

pub use look::{FirstRows, look_at_parquet, look_at_text, look_at_workbook};
pub use times::ask_for_the_day;

use std::collections::BTreeSet;

use evenstand_tables::{Group, schemas};

use crate::kind::kind_of;
use crate::reading::Reading;
use crate::record::OwnedCell;
use block::{comment, quoted, some};
use identity::Season;
use numbers::NumberStyle;
use table::{Body, Table};

/// A block, ready to be pasted into `evenstand.toml`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Proposal {
    /// Raw table that the file is, or the likeliest of several; `None` where it is not recognised.
    pub kind: Option<&'static str>,
    /// One `[[source]]` block a raw table as TOML with comments; only comments where the file is not recognised.
    pub block: String,
    /// What a person should look at or add: the line and what is unsure about it.
    pub questions: Vec<String>,
    /// Names of the columns of counts that nothing dates; where several files share them, [`ask_for_the_day`].
    pub undated: Option<Vec<String>>,
}

/// What is known about a table beyond its rows.
#[derive(Debug, Clone, Default)]
pub(crate) struct Facts {
    /// Sheet of a workbook, where the file has several.
    pub sheet: Option<String>,
    /// Part of a sheet, where it holds several tables.
    pub range: Option<String>,
    /// Other tables of the same file have the same columns.
    pub alike: bool,
    /// What divides cells, where it must be said.
    pub delimiter: Option<&'static str>,
    /// Encoding, where it is not one that is understood unsaid.
    pub encoding: Option<&'static str>,
    /// The format keeps names apart from rows: the first row is the header.
    pub names_apart: bool,
}

/// Everything that a block is written from.
struct Context<'a> {
    file: &'a str,
    facts: &'a Facts,
    table: &'a Table,
    style: &'a NumberStyle,
    missing: &'a [String],
    reading: &'a Reading,
    season: Option<Season>,
}

impl<'a> Context<'a> {
    /// Name of the file without its folders and its ending.
    fn stem(&self) -> &'a str {
        stem_of(self.file)
    }
}

fn stem_of(file: &str) -> &str {
    let name = file.rsplit('/').next().unwrap_or(file);
    name.rsplit_once('.').map_or(name, |(stem, _)| stem)
}

/// Proposes how a table is read, from its first rows. `file` is its path below `raw/`; rows are numbered as the file counts
/// them.
pub(crate) fn propose(file: &str, rows: &[(i64, Vec<OwnedCell>)], facts: &Facts) -> Proposal {
    let table = Table::of(rows, facts.names_apart);
    let texts = table.columns.iter().flat_map(|column| column.texts());
    let style = NumberStyle::of(texts, facts.delimiter == Some(";"));
    let missing = vocabulary::missing(&table, &style);
    let reading = style.reading(missing.clone());
    let name = file.rsplit('/').next().unwrap_or(file);
    let names: Vec<&str> = facts.sheet.as_deref().into_iter().chain([stem_of(file)]).collect();
    let named = kind_of(name);
    let season = identity::season(&years(&table, &reading), &names, &table.titles);
    let context = Context { file, facts, table: &table, style: &style, missing: &missing, reading: &reading, season };
    if table.header.at.is_empty() {
        return headless::propose(&context, kinds::hinted(&names, named));
    }
    let kinds = kinds::kinds(&table, &reading, &names, named);
    let Some(first) = kinds.first() else { return not_recognised(&context) };
    let mut blocks: Vec<block::Block> = kinds.iter().map(|kind| compose::block(&context, kind)).collect();
    if let Some(last) = blocks.last_mut() {
        last.unused = compose::unused(&context, &kinds);
    }
    let mut questions: Vec<String> = Vec::new();
    for question in blocks.iter().flat_map(block::Block::questions) {
        if !questions.contains(&question) {
            questions.push(question);
        }
    }
    let block = blocks.iter().map(block::Block::text).collect::<Vec<_>>().join("\n");
    let undated = kinds.iter().any(|kind| kind.schema.name == "stand_count") && !block.contains("counted_at");
    let undated = undated.then(|| table.columns.iter().map(|column| column.name.clone()).collect());
    Proposal { kind: Some(first.schema.name.as_str()), block, questions, undated }
}

/// Years of the dates in a table, those in names of columns among them.
fn years(table: &Table, reading: &Reading) -> BTreeSet<i16> {
    let mut years = BTreeSet::new();
    for column in &table.columns {
        if let Some(wide::Visit::Day(day, _)) = wide::visit_of(&column.name) {
            years.insert(day.year());
        }
        let typed = column.cells.iter().any(|cell| matches!(cell, Body::Time(_)));
        if typed || column.is_numeric(reading) == Some(false) {
            let texts: Vec<String> = column.filled().filter(|text| !reading.is_missing(text)).collect();
            let found = dates::dates(texts.iter().map(String::as_str));
            if found.are_dates() {
                years.extend(found.years);
            }
        }
    }
    years
}

/// A block of comments alone: a file is never forced into a table.
fn not_recognised(context: &Context) -> Proposal {
    let kinds: Vec<&str> =
        schemas().iter().filter(|table| table.group == Group::Raw).map(|table| table.name.as_str()).collect();
    let names: Vec<String> =
        context.table.columns.iter().map(|column| column.name.clone()).filter(|name| !name.is_empty()).collect();
    let found =
        if names.is_empty() { "it holds nothing".to_owned() } else { format!("its columns are {}", some(&names, 12)) };
    let by_area = context.table.columns.iter().find(|column| columns::is_by_area(&column.name));
    let by_area = by_area.map_or(String::new(), |column| {
        format!(
            "; \"{}\" counts plants by area, and a stand_count needs the plants of a counted place and its row length",
            column.name
        )
    });
    let kinds = kinds.join(", ");
    let question = format!("{} is not recognised: {found}; if it is one of {kinds}, say which{by_area}", context.file);
    let block = format!(
        "# [[source]]\n# file = {}\n# kind = \"\"   # ?  {}\n",
        quoted(&glob::Pattern::escape(context.file)),
        comment(&question)
    );
    Proposal { kind: None, block, questions: vec![comment(&question)], undated: None }
}
