//! Matches a header line to a schema: which cell feeds which column, and in which unit.

use std::collections::BTreeMap;

use evenstand_agronomy::{Kind, closest};
use evenstand_tables::{Column, TableSchema};

/// Where a column's cells come from.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Feed {
    /// Position of the cell in the row; `None` where the file lacks the column.
    pub cell: Option<usize>,
    /// Unit kind and suffix of the cell, where the column has a unit kind.
    pub unit: Option<(Kind, String)>,
}

impl Feed {
    /// The column as the file names it, unit and all.
    pub fn name(&self, column: &Column) -> String {
        match (&column.stem, &self.unit) {
            (Some(stem), Some((_, suffix))) => format!("{stem}_{suffix}"),
            _ => column.name.clone(),
        }
    }
}

/// A header that can be used, and what in it was not.
#[derive(Debug)]
pub(crate) struct Header {
    /// One feed a column of the schema, in its order.
    pub feeds: Vec<Feed>,
    /// Columns of the file that no column of the schema takes: position, name and the nearest known name.
    pub unknown: Vec<(usize, String, Option<String>)>,
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

/// Matches the names of a file's header to a schema. `default_units` gives the unit of columns that name none.
pub(crate) fn match_header(
    schema: &TableSchema,
    names: &[String],
    default_units: &BTreeMap<String, String>,
) -> Result<Header, HeaderFault> {
    let mut feeds: Vec<Feed> = schema.columns.iter().map(|_| Feed { cell: None, unit: None }).collect();
    let mut unknown = Vec::new();
    for (cell, name) in names.iter().enumerate() {
        if name.is_empty() {
            continue;
        }
        let Some((index, unit)) = find(schema, cell, name, default_units)? else {
            unknown.push((cell, name.clone(), nearest(schema, name).map(str::to_owned)));
            continue;
        };
        let column = &schema.columns[index];
        if let Some(first) = feeds[index].cell {
            return Err(HeaderFault {
                code: "duplicate_column",
                message: format!(
                    "columns {} and {} (\"{}\" and \"{name}\") both give {}",
                    first + 1,
                    cell + 1,
                    names[first],
                    column.name
                ),
                remedy: "keep one of them, or rename the other to a name that is not a column of this table".into(),
            });
        }
        feeds[index] = Feed { cell: Some(cell), unit };
    }
    let missing: Vec<&Column> = schema
        .columns
        .iter()
        .zip(&feeds)
        .filter(|(column, feed)| column.required() && feed.cell.is_none())
        .map(|(column, _)| column)
        .collect();
    if !missing.is_empty() {
        let wanted: Vec<&str> = missing.iter().map(|column| column.name.as_str()).collect();
        let rename = missing.iter().find_map(|column| {
            let (cell, name, _) = unknown.iter().find(|(_, _, near)| near.as_deref() == Some(&column.name))?;
            Some(format!("rename column {} \"{name}\" to {}", cell + 1, column.name))
        });
        return Err(HeaderFault {
            code: "missing_column",
            message: format!(
                "the column {} is missing; found {}; a {} file needs {}",
                wanted.join(", "),
                if names.is_empty() { "an empty header".to_owned() } else { names.join(", ") },
                schema.name,
                schema
                    .columns
                    .iter()
                    .filter(|column| column.required())
                    .map(|column| column.name.as_str())
                    .collect::<Vec<_>>()
                    .join(", "),
            ),
            remedy: rename.unwrap_or_else(|| format!("add the column {} to the file", wanted.join(", "))),
        });
    }
    Ok(Header { feeds, unknown })
}

/// The column that a name probably meant: one it begins, else one a few letters away.
fn nearest<'a>(schema: &'a TableSchema, name: &str) -> Option<&'a str> {
    let known = || schema.columns.iter().map(|column| column.name.as_str());
    known()
        .find(|column| column.strip_prefix(name).is_some_and(|rest| rest.starts_with('_')))
        .or_else(|| closest(name, known()))
}

type Found = Option<(usize, Option<(Kind, String)>)>;

fn find(
    schema: &TableSchema,
    cell: usize,
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
                message: format!("column {}: \"{name}\" does not say its unit", cell + 1),
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
                message: format!(
                    "column {}: \"{name}\" ends in \"{suffix}\", which is not a unit of {}",
                    cell + 1,
                    kind.name()
                ),
                remedy: format!("rename it to one of {}, with the numbers in that unit", with_suffixes(stem, kind)),
            });
        }
    }
    Ok(None)
}

fn with_suffixes(stem: &str, kind: Kind) -> String {
    kind.suffixes().iter().map(|suffix| format!("{stem}_{suffix}")).collect::<Vec<_>>().join(", ")
}

/// A header cell as names are compared: trimmed, lower case, blanks as underscores.
pub(crate) fn tidy(cell: &str) -> String {
    cell.trim().trim_start_matches('\u{feff}').to_lowercase().replace([' ', '\t'], "_")
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstand_tables::{Group, schema};

    fn matched(table: &str, names: &[&str]) -> Result<Header, HeaderFault> {
        let names: Vec<String> = names.iter().map(|name| tidy(name)).collect();
        match_header(schema(Group::Raw, table).unwrap(), &names, &BTreeMap::new())
    }

    #[test]
    fn any_unit_of_the_kind_is_taken() {
        let header =
            matched("stand_count", &["field_id", "season", "strip_id", "Row length_ft", "emerged", "counted_at"])
                .unwrap();
        let feeds: Vec<_> = header.feeds.iter().filter_map(|feed| feed.unit.clone()).collect();
        assert_eq!(feeds, vec![(Kind::Length, "ft".to_owned())]);
        assert!(header.unknown.is_empty());
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
