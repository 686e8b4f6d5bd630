//! What lines above the header say of the whole table: `Field: North 40`, `Row length: 17.5 ft`.

use std::collections::BTreeSet;

use evenstand_tables::ColumnType;

use super::Context;
use super::block::{Block, quoted};
use super::columns::{joined_aliases, kind_of_unit, own_name};
use super::dates::day_of;
use super::kinds::Candidate;
use super::names::{joined, suffix_of_kind};

/// Longest value that is taken.
const MOST_LETTERS: usize = 80;

/// Adds a constant for every column that no column of the file gives and a line above the header does. Returns their names.
pub(super) fn write(context: &Context, block: &mut Block, candidate: &Candidate) -> BTreeSet<String> {
    let pairs = pairs(&context.table.titles);
    let wide = candidate.wide.as_ref();
    let taken = |name: &str| wide.is_some_and(|wide| name == wide.name_to || name == wide.value_to);
    let mut given = BTreeSet::new();
    for ours in candidate.schema.columns.iter().filter(|ours| ours.name != "season") {
        if candidate.of(&ours.name).is_some() || taken(&ours.name) {
            continue;
        }
        let aliases = joined_aliases(candidate.schema, &ours.name);
        let Some((label, value)) = pairs.iter().find(|(label, _)| aliases.contains(&joined(label))) else { continue };
        let constant = match (ours.column_type, kind_of_unit(ours)) {
            (ColumnType::String, _) if ours.allowed().is_empty() => Some((ours.name.clone(), quoted(value))),
            (ColumnType::Date | ColumnType::Datetime, _) => day_of(value)
                .filter(|(_, either)| !either)
                .map(|(day, _)| (ours.name.clone(), quoted(&day.to_string()))),
            (ColumnType::Number, Some(kind)) => value.split_once(' ').and_then(|(number, unit)| {
                let number = number.parse::<f64>().ok().filter(|number| number.is_finite())?;
                Some((format!("{}_{}", own_name(ours), suffix_of_kind(unit, kind)?), format!("{number:?}")))
            }),
            _ => None,
        };
        if let Some((name, text)) = constant {
            let doubt = format!("taken from \"{label}\" above the header; is it so for every row");
            block.top.unsure(format!("constants.{name} = {text}"), doubt);
            given.insert(ours.name.clone());
        }
    }
    given
}

/// Labels and values: in one cell divided by a colon, or in two cells of which the first ends in one.
fn pairs(titles: &[String]) -> Vec<(String, String)> {
    let mut pairs = Vec::new();
    for (index, title) in titles.iter().enumerate() {
        let Some((label, value)) = title.split_once(':') else { continue };
        let beside = titles.get(index + 1).map(String::as_str).filter(|next| !next.contains(':')).unwrap_or_default();
        let value = if value.trim().is_empty() { beside } else { value.trim() };
        if !value.is_empty() && value.chars().count() <= MOST_LETTERS {
            pairs.push((label.trim().to_owned(), value.to_owned()));
        }
    }
    pairs
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_stand_in_the_same_cell_or_before_their_value() {
        let titles = ["Trial of May", "Field: North 40", "Date:", "2025-05-08", "Note:", "Who: JD"].map(str::to_owned);
        let found = pairs(&titles);
        let expected = [("Field", "North 40"), ("Date", "2025-05-08"), ("Who", "JD")];
        assert_eq!(found, expected.map(|(label, value)| (label.to_owned(), value.to_owned())));
    }
}
