//! `[[source]]`: how a file that was not made for this program is read.

use std::collections::BTreeMap;

use serde::Deserialize;

use crate::SettingsError;

/// How the files of one pattern are read. Every key but `file` and `kind` may be absent.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SourceRule {
    /// Files below `raw/`: names in which `*` stands for any letters of one folder and `**` for any folders.
    #[serde(deserialize_with = "one_or_more")]
    pub file: Vec<String>,
    /// Raw table that their rows become.
    pub kind: String,
    /// Sheets of a workbook, by name; `*` is understood. Empty means the only one that holds anything.
    #[serde(default, deserialize_with = "one_or_more")]
    pub sheet: Vec<String>,
    /// Part of a sheet that is read, such as `B3:H60`.
    pub range: Option<String>,
    /// Row, or two rows, that hold the names of the columns, as the file counts them. `0`: there is none, and columns are
    /// called by their letters. Absent means the first row that holds anything.
    #[serde(default, deserialize_with = "rows")]
    pub header_row: Option<Vec<u32>>,
    /// Rows that are not read, as the file counts them.
    #[serde(default, deserialize_with = "one_or_more")]
    pub skip_rows: Vec<u32>,
    /// Rows that are not read because their first filled cell is one of these, such as `Total`.
    #[serde(default, deserialize_with = "one_or_more")]
    pub skip_rows_with: Vec<String>,
    /// What stands between cells: one letter, `tab`, or `blanks` for runs of blanks.
    pub delimiter: Option<String>,
    /// Letters of each column of a file whose columns stand under each other.
    #[serde(default)]
    pub widths: Vec<usize>,
    /// Encoding of the text, by its name on the web: `utf-8`, `latin1`, `windows-1252`, `utf-16le`, …
    pub encoding: Option<String>,
    /// What stands before the decimals.
    #[serde(default = "point")]
    pub decimal: char,
    /// What stands between thousands, if anything.
    pub thousands: Option<char>,
    /// IANA zone of times without an offset.
    pub timezone: Option<String>,
    /// Formats of times, in `strftime` letters, tried in order before those of the whole review.
    #[serde(default, deserialize_with = "one_or_more")]
    pub time_formats: Vec<String>,
    /// Further text that stands for a missing value.
    #[serde(default, deserialize_with = "one_or_more")]
    pub missing: Vec<String>,
    /// Column of ours → column, or columns, of the file.
    #[serde(default)]
    pub columns: BTreeMap<String, ColumnRule>,
    /// Column of ours → one value for every row of the file.
    #[serde(default)]
    pub constants: BTreeMap<String, toml::Value>,
    /// Column of ours → (word of the file → word of ours).
    #[serde(default)]
    pub synonyms: BTreeMap<String, BTreeMap<String, String>>,
    /// Columns of the file that are not read although their names are ours.
    #[serde(default, deserialize_with = "one_or_more")]
    pub ignore: Vec<String>,
    /// Columns that each become a row.
    pub wide: Option<WideRule>,
    /// Channels of task data that become columns.
    #[serde(default)]
    pub channel: Vec<ChannelRule>,
}

/// Where a column of ours comes from.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(from = "ColumnText")]
pub struct ColumnRule {
    /// Names in the file; several are joined.
    pub from: Vec<String>,
    /// What stands between joined cells; by default `-`, and a blank between date and time.
    pub joined_by: Option<String>,
    /// Unit suffix of the numbers, where the name of our column carries none.
    pub unit: Option<String>,
}

#[derive(Deserialize)]
#[serde(untagged, expecting = "a name, a list of names, or { from = …, unit = … }")]
enum ColumnText {
    One(String),
    Joined(Vec<String>),
    Full(ColumnTable),
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ColumnTable {
    #[serde(deserialize_with = "one_or_more")]
    from: Vec<String>,
    joined_by: Option<String>,
    unit: Option<String>,
}

impl From<ColumnText> for ColumnRule {
    fn from(text: ColumnText) -> Self {
        let (from, joined_by, unit) = match text {
            ColumnText::One(name) => (vec![name], None, None),
            ColumnText::Joined(names) => (names, None, None),
            ColumnText::Full(table) => (table.from, table.joined_by, table.unit),
        };
        Self { from, joined_by, unit }
    }
}

/// Columns of a wide table that each become a row: one column a visit, or one a measure.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct WideRule {
    /// The columns, by name; `*` is understood.
    #[serde(deserialize_with = "one_or_more")]
    pub columns: Vec<String>,
    /// Column of ours that takes the column's name, such as `counted_at`.
    pub name_to: String,
    /// Column of ours that takes the cell, such as `emerged`.
    pub value_to: String,
    /// What each column's name stands for, where it does not say it itself.
    #[serde(default)]
    pub names: BTreeMap<String, String>,
    /// The names count days from this date.
    pub day_zero: Option<String>,
    /// Cells hold what is new since the column before, not the sum so far.
    #[serde(default)]
    pub newly: bool,
}

/// A channel of task data that becomes a column. What is left out is not asked for.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ChannelRule {
    /// Column of ours, with its unit, such as `set_pressure_kpa`.
    pub column: String,
    /// Designator or id of the device element; `*` is understood. Each element that fits becomes a row unit.
    pub element: Option<String>,
    /// Designator of the process data; `*` is understood.
    pub data: Option<String>,
    /// Number in the data dictionary, four hexadecimal digits.
    pub ddi: Option<String>,
    /// Name of the time log; `*` is understood.
    pub log: Option<String>,
}

fn point() -> char {
    '.'
}

#[derive(Deserialize)]
#[serde(untagged, expecting = "one value or a list of them; rows are counted from 1")]
enum OneOrMore<T> {
    One(T),
    More(Vec<T>),
}

impl<T> From<OneOrMore<T>> for Vec<T> {
    fn from(value: OneOrMore<T>) -> Self {
        match value {
            OneOrMore::One(one) => vec![one],
            OneOrMore::More(more) => more,
        }
    }
}

fn one_or_more<'de, T: Deserialize<'de>, D: serde::Deserializer<'de>>(deserializer: D) -> Result<Vec<T>, D::Error> {
    Ok(OneOrMore::<T>::deserialize(deserializer)?.into())
}

fn rows<'de, D: serde::Deserializer<'de>>(deserializer: D) -> Result<Option<Vec<u32>>, D::Error> {
    let rows: Vec<u32> = one_or_more(deserializer)?;
    Ok(Some(rows.into_iter().filter(|row| *row > 0).collect()))
}

/// Reads one block. Errors name the block by its file and say what was expected.
pub(crate) fn parse(number: usize, block: &toml::Table) -> Result<SourceRule, SettingsError> {
    let name = match block.get("file") {
        Some(toml::Value::String(file)) => format!("source \"{file}\""),
        _ => format!("source {number}"),
    };
    let rule: SourceRule = block.clone().try_into().map_err(|error: toml::de::Error| {
        SettingsError::Syntax(format!("[[source]] block {number} ({name}): {}", error.to_string().trim_end()))
    })?;
    let fault =
        |key: &str, found: String, expected: &str| Err(SettingsError::value(format!("{name}, {key}"), found, expected));
    if rule.file.is_empty() || rule.file.iter().any(String::is_empty) {
        return fault("file", "nothing".into(), "the name of a file below raw/, such as \"counts.xlsx\"");
    }
    if rule.decimal != '.' && rule.decimal != ',' {
        return fault("decimal", format!("\"{}\"", rule.decimal), "\".\" or \",\"");
    }
    if rule.thousands == Some(rule.decimal) {
        return fault("thousands", format!("\"{}\"", rule.decimal), "another letter than the decimal one");
    }
    if rule.thousands.is_some_and(|letter| !matches!(letter, '.' | ',' | ' ' | '\'' | '\u{a0}' | '\u{202f}')) {
        return fault("thousands", format!("{:?}", rule.thousands), "a point, a comma, a blank or an apostrophe");
    }
    if rule.header_row.as_ref().is_some_and(|rows| rows.len() > 2) {
        return fault("header_row", format!("{:?}", rule.header_row), "one row or two, such as 3 or [3, 4]");
    }
    if let Some(text) = &rule.delimiter
        && text != "tab"
        && text != "blanks"
        && (text.len() != 1 || !text.is_ascii())
    {
        return fault("delimiter", format!("\"{text}\""), "one letter such as \";\", \"tab\", or \"blanks\"");
    }
    if let Some(wide) = &rule.wide {
        if wide.columns.is_empty() {
            return fault("wide.columns", "nothing".into(), "the names of the columns that each become a row");
        }
        if wide.name_to == wide.value_to {
            return fault("wide", format!("{} twice", wide.name_to), "two columns: for the name and for the cell");
        }
    }
    Ok(rule)
}

#[cfg(test)]
mod tests {
    use crate::Settings;

    #[test]
    fn a_block_says_where_each_column_comes_from() {
        let settings = Settings::parse(
            "[[source]]\nfile = \"*.xlsx\"\nkind = \"stand_count\"\nheader_row = [3, 4]\ndecimal = \",\"\n\
             columns.field_id = \"Field\"\ncolumns.counted_at = [\"Date\", \"Time\"]\n\
             columns.row_length = { from = \"Length\", unit = \"ft\" }\nconstants.season = 2025\n\
             [source.wide]\ncolumns = \"V*\"\nname_to = \"counted_at\"\nvalue_to = \"emerged\"\n",
        )
        .unwrap();
        let rule = &settings.sources[0];
        assert_eq!(rule.file, ["*.xlsx"]);
        assert_eq!(rule.header_row.as_deref(), Some([3, 4].as_slice()));
        assert_eq!(rule.columns["counted_at"].from, ["Date", "Time"]);
        assert_eq!(rule.columns["row_length"].unit.as_deref(), Some("ft"));
        assert_eq!(rule.wide.as_ref().unwrap().columns, ["V*"]);
    }

    #[test]
    fn a_fault_names_the_block_and_what_was_expected() {
        let message = |text: &str| Settings::parse(text).unwrap_err().to_string();
        let said = message("[[source]]\nfile = \"a.csv\"\nkind = \"field\"\ndecimal = \";\"\n");
        assert!(said.contains("a.csv") && said.contains("decimal"), "{said}");
        let said = message("[[source]]\nfile = \"a.csv\"\nkind = \"field\"\ncolums = {}\n");
        assert!(said.contains("a.csv") && said.contains("colums") && said.contains("columns"), "{said}");
        let said = message("[[source]]\nkind = \"field\"\n");
        assert!(said.contains("block 1") && said.contains("file"), "{said}");
    }
}
