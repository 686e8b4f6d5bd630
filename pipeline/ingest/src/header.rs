//! Matches a header to a schema: which cell feeds which column, and in which unit.

use std::collections::BTreeMap;

use evenstand_agronomy::{Kind, closest};
use evenstand_tables::{Column, TableSchema};

use crate::record::OwnedCell;
use crate::value::shorten;

/// What a column's values come from.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Origin {
    /// The file lacks the column.
    Absent,
    /// The cell at this position.
    Cell(usize),
    /// Several cells, joined by a text.
    Joined(Vec<usize>, String),
    /// One value for every row.
    Constant(OwnedCell),
    /// Another cell, or name, for each column of a wide table.
    EachColumn,
}

/// How a column is fed.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Feed {
    pub origin: Origin,
    /// Unit kind and suffix of the numbers, where the column has a unit kind.
    pub unit: Option<(Kind, String)>,
    /// What a message calls it.
    pub label: String,
    /// Words of the file, in lower case, and the words they stand for.
    pub synonyms: BTreeMap<String, String>,
}

/// How the rows of a file are read.
#[derive(Debug)]
pub(crate) struct Layout {
    /// One feed a column of the schema, in its order.
    pub feeds: Vec<Feed>,
    /// Columns of a wide table; empty where the table is long.
    pub each: Vec<EachColumn>,
    /// Position in the schema of the columns that take the name and the cell of each wide column.
    pub each_to: Option<(usize, usize)>,
    /// Whether cells of a wide table are what is new since the column before.
    pub newly: bool,
    /// Columns of the file that are not used.
    pub unused: Vec<Unused>,
    /// Cells of the header.
    pub columns: usize,
}

/// A column of a wide table.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct EachColumn {
    pub cell: usize,
    /// What its name stands for.
    pub name: String,
    /// Its name in the file.
    pub label: String,
}

/// A column of the file that is not used.
#[derive(Debug, PartialEq)]
pub(crate) struct Unused {
    pub cell: usize,
    pub name: String,
    /// What might be done about it.
    pub remedy: String,
}

/// A header that cannot be used.
#[derive(Debug)]
pub(crate) struct HeaderFault {
    pub code: &'static str,
    pub message: String,
    pub remedy: String,
}

/// Longest text after a stem that is taken for a unit; anything longer is another column.
const LONGEST_UNIT: usize = 7;

/// A layout in which nothing is fed yet.
pub(crate) fn unfed(schema: &TableSchema, columns: usize) -> Layout {
    let feed = |column: &Column| Feed {
        origin: Origin::Absent,
        unit: None,
        label: column.name.clone(),
        synonyms: BTreeMap::new(),
    };
    Layout {
        feeds: schema.columns.iter().map(feed).collect(),
        each: Vec::new(),
        each_to: None,
        newly: false,
        unused: Vec::new(),
        columns,
    }
}

/// Feeds columns from cells of the same name. `default_units` gives the unit of columns that name none.
pub(crate) fn match_names(
    schema: &TableSchema,
    names: &[String],
    default_units: &BTreeMap<String, String>,
) -> Result<Layout, HeaderFault> {
    let mut layout = unfed(schema, names.len());
    for (cell, name) in names.iter().enumerate().filter(|(_, name)| !name.is_empty()) {
        let Some((index, unit)) = find(schema, &place(cell), name, default_units)? else {
            layout.unused.push(unused(schema, cell, name));
            continue;
        };
        if let Origin::Cell(first) = layout.feeds[index].origin {
            return Err(HeaderFault {
                code: "duplicate_column",
                message: format!(
                    "columns {} and {} (\"{}\" and \"{name}\") both give {}",
                    first + 1,
                    cell + 1,
                    names[first],
                    schema.columns[index].name
                ),
                remedy: "keep one of them, or rename the other to a name that is not a column of this table".into(),
            });
        }
        feed_from_cell(&mut layout.feeds[index], &schema.columns[index], cell, unit);
    }
    Ok(layout)
}

/// Errors where a column that is needed is fed by nothing. `found_later` are columns that place or time may give.
pub(crate) fn check_required(
    schema: &TableSchema,
    layout: &Layout,
    names: &[String],
    found_later: &[&str],
) -> Result<(), HeaderFault> {
    let missing: Vec<&Column> = schema
        .columns
        .iter()
        .zip(&layout.feeds)
        .filter(|(column, feed)| column.required() && feed.origin == Origin::Absent)
        .map(|(column, _)| column)
        .filter(|column| !found_later.contains(&column.name.as_str()))
        .collect();
    if missing.is_empty() {
        return Ok(());
    }
    let wanted: Vec<&str> = missing.iter().map(|column| column.name.as_str()).collect();
    let rename = missing.iter().find_map(|column| {
        let unused = layout.unused.iter().find(|unused| nearest(schema, &unused.name) == Some(&column.name))?;
        Some(format!("rename column {} \"{}\" to {}", unused.cell + 1, unused.name, column.name))
    });
    Err(HeaderFault {
        code: "missing_column",
        message: format!(
            "the column {} is missing; found {}; a {} file needs {}",
            wanted.join(", "),
            told(names),
            schema.name,
            schema
                .columns
                .iter()
                .filter(|column| column.required())
                .map(|column| column.name.as_str())
                .collect::<Vec<_>>()
                .join(", "),
        ),
        remedy: rename.unwrap_or_else(|| {
            format!(
                "add the column {} to the file, or say in a [[source]] block of evenstand.toml where it comes from; \
                 `evenstand check` proposes one",
                wanted.join(", ")
            )
        }),
    })
}

/// Names of columns in words, the first few of very many.
pub(crate) fn told(names: &[String]) -> String {
    const MOST: usize = 60;
    let first: Vec<String> = names.iter().take(MOST).map(|name| shorten(name)).collect();
    match names.len() {
        0 => "an empty header".to_owned(),
        many if many > MOST => format!("{} and {} more", first.join(", "), many - MOST),
        _ => first.join(", "),
    }
}

pub(crate) fn feed_from_cell(feed: &mut Feed, column: &Column, cell: usize, unit: Option<(Kind, String)>) {
    if let (Some(stem), Some((_, suffix))) = (&column.stem, &unit) {
        feed.label = format!("{stem}_{suffix}");
    }
    feed.origin = Origin::Cell(cell);
    feed.unit = unit;
}

/// Where a cell of the header stands, in words.
pub(crate) fn place(cell: usize) -> String {
    format!("column {}", cell + 1)
}

/// A column that no column of the schema takes.
pub(crate) fn unused(schema: &TableSchema, cell: usize, name: &str) -> Unused {
    let remedy = match nearest(schema, name) {
        Some(near) => format!("if {near} was meant, rename the column; otherwise nothing need be done"),
        None => "nothing need be done if it is not about the closing system or emergence".to_owned(),
    };
    Unused { cell, name: name.to_owned(), remedy }
}

/// The column that a name probably meant: one it begins, else one a few letters away.
fn nearest<'a>(schema: &'a TableSchema, name: &str) -> Option<&'a str> {
    let known = || schema.columns.iter().map(|column| column.name.as_str());
    known()
        .find(|column| column.strip_prefix(name).is_some_and(|rest| rest.starts_with('_')))
        .or_else(|| closest(name, known()))
}

type Found = Option<(usize, Option<(Kind, String)>)>;

/// The column of the schema that a name means, and its unit. Errors where the name lacks its unit or has an unknown one.
pub(crate) fn find(
    schema: &TableSchema,
    place: &str,
    name: &str,
    default_units: &BTreeMap<String, String>,
) -> Result<Found, HeaderFault> {
    for (index, column) in schema.columns.iter().enumerate() {
        let (Some(stem), Some(kind)) = (&column.stem, column.unit_kind.as_deref().and_then(Kind::parse)) else {
            if column.name == name {
                return Ok(Some((index, None)));
            }
            continue;
        };
        if name == stem {
            let unit = default_units.get(kind.name()).ok_or_else(|| HeaderFault {
                code: "missing_unit",
                message: format!("{place}: \"{name}\" does not say its unit"),
                remedy: format!(
                    "rename it with one of {}, or give [units] {} = \"…\" in evenstand.toml",
                    with_suffixes(stem, kind),
                    kind.name()
                ),
            })?;
            return Ok(Some((index, Some((kind, unit.clone())))));
        }
        let Some(suffix) = name.strip_prefix(stem.as_str()).and_then(|rest| rest.strip_prefix('_')) else { continue };
        if kind.suffixes().contains(&suffix) {
            return Ok(Some((index, Some((kind, suffix.to_owned())))));
        }
        let another = schema.columns.iter().any(|other| other.name == name || other.stem.as_deref() == Some(name));
        if suffix.len() <= LONGEST_UNIT && !another {
            return Err(HeaderFault {
                code: "unknown_unit",
                message: format!("{place}: \"{name}\" ends in \"{suffix}\", which is not a unit of {}", kind.name()),
                remedy: format!("rename it to one of {}, with the numbers in that unit", with_suffixes(stem, kind)),
            });
        }
    }
    Ok(None)
}

fn with_suffixes(stem: &str, kind: Kind) -> String {
    kind.suffixes().iter().map(|suffix| format!("{stem}_{suffix}")).collect::<Vec<_>>().join(", ")
}

/// A header cell as names are compared: trimmed, lower case, blanks and line breaks as underscores.
pub(crate) fn tidy(cell: &str) -> String {
    let lower = cell.trim().trim_start_matches('\u{feff}').to_lowercase();
    lower.split_whitespace().collect::<Vec<_>>().join("_")
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstand_tables::{Group, schema};

    fn matched(table: &str, names: &[&str]) -> Result<Layout, HeaderFault> {
        let schema = schema(Group::Raw, table).unwrap();
        let names: Vec<String> = names.iter().map(|name| tidy(name)).collect();
        let layout = match_names(schema, &names, &BTreeMap::new())?;
        check_required(schema, &layout, &names, &[])?;
        Ok(layout)
    }

    #[test]
    fn any_unit_of_the_kind_is_taken() {
        let layout =
            matched("stand_count", &["field_id", "season", "strip_id", "Row length_ft", "emerged", "counted_at"])
                .unwrap();
        let units: Vec<_> = layout.feeds.iter().filter_map(|feed| feed.unit.clone()).collect();
        assert_eq!(units, vec![(Kind::Length, "ft".to_owned())]);
        assert!(layout.unused.is_empty());
    }

    #[test]
    fn an_unknown_unit_is_named_with_the_known_ones() {
        let fault =
            matched("stand_count", &["field_id", "season", "strip_id", "row_length_yd", "emerged"]).unwrap_err();
        assert_eq!(fault.code, "unknown_unit");
        assert!(fault.message.contains("column 4") && fault.message.contains("yd"), "{}", fault.message);
        assert!(fault.remedy.contains("row_length_ft"), "{}", fault.remedy);
    }

    #[test]
    fn a_missing_column_is_named_and_a_near_name_offered() {
        let fault = matched("stand_count", &["field_id", "season", "strip", "emerged"]).unwrap_err();
        assert_eq!(fault.code, "missing_column");
        assert!(fault.message.contains("strip_id"), "{}", fault.message);
        assert!(fault.remedy.contains("rename column 3"), "{}", fault.remedy);
    }

    #[test]
    fn a_depth_stop_is_not_a_depth_in_an_unknown_unit() {
        assert!(matched("setting_log", &["field_id", "season", "depth_stop", "set_force_lb"]).is_ok());
        let fault = matched("soil_note", &["field_id", "season", "depth"]).unwrap_err();
        assert_eq!(fault.code, "missing_unit");
    }

    #[test]
    fn two_columns_for_one_are_refused() {
        let fault =
            matched("stand_count", &["field_id", "season", "strip_id", "emerged", "row_length_m", "row_length_ft"])
                .unwrap_err();
        assert_eq!(fault.code, "duplicate_column");
    }
}
