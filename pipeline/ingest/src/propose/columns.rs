//! Which columns of a file are which columns of ours, by the words people write above them.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::LazyLock;

use evenstand_agronomy::Kind;
use evenstand_tables::{Column as Ours, ColumnType, Group, TableSchema, schemas};

use super::dates::dates;
use super::names::{joined, suffix, suffix_of_kind, variants};
use super::table::{Body, Column, Table};
use super::times::since_1970;
use crate::reading::Reading;

/// How sure it is that two columns are the same.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Sure {
    /// The name is the one of the schema.
    Own,
    /// The name is one that people use for it.
    Alias,
    /// Two words or more of such a name stand in it, among others.
    Near,
    /// One word stands in it, among others.
    Hint,
}

/// What the header says of the unit.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Unit {
    /// The column has none.
    NotNeeded,
    Known(&'static str),
    Absent,
    /// It names one that a column of this kind cannot have.
    Strange(String),
}

/// A column of the file that is taken for one of ours.
#[derive(Debug, Clone)]
pub(super) struct Match {
    /// Position in the schema.
    pub ours: usize,
    /// Position in the file.
    pub column: usize,
    pub sure: Sure,
    pub unit: Unit,
    /// Another column of the file that could be it as well.
    pub rival: Option<usize>,
}

/// Aliases of a table as words, with the position of their column.
type Aliases = Vec<(String, usize)>;

static ALIASES: LazyLock<BTreeMap<&'static str, Aliases>> = LazyLock::new(|| {
    let raw = schemas().iter().filter(|table| table.group == Group::Raw);
    raw.map(|table| (table.name.as_str(), aliases_of(table))).collect()
});

static KNOWN: LazyLock<BTreeSet<&'static str>> =
    LazyLock::new(|| ALIASES.values().flatten().map(|(words, _)| words.as_str()).collect());

fn aliases_of(table: &'static TableSchema) -> Aliases {
    let of = |(index, column): (usize, &'static Ours)| {
        let own = joined(own_name(column));
        let others = column.aliases.iter().map(|alias| joined(alias));
        std::iter::once(own).chain(others).map(move |words| (words, index)).collect::<Vec<_>>()
    };
    table.columns.iter().enumerate().flat_map(of).collect()
}

/// The name without its unit.
pub(super) fn own_name(column: &Ours) -> &str {
    column.stem.as_deref().unwrap_or(&column.name)
}

/// Words that people use for a column, its own name among them.
pub(super) fn joined_aliases(schema: &TableSchema, name: &str) -> Vec<String> {
    let column = schema.columns.iter().filter(|column| column.name == name);
    column
        .flat_map(|column| column.aliases.iter().map(|alias| joined(alias)).chain([joined(own_name(column))]))
        .collect()
}

/// Whether a column holds blocks or repetitions of a trial, by its name.
pub(super) fn names_blocks(name: &str) -> bool {
    static BLOCKS: LazyLock<Vec<String>> = LazyLock::new(|| {
        schemas()
            .iter()
            .filter(|table| table.name == "setting_log" && table.group == Group::Raw)
            .flat_map(|table| joined_aliases(table, "block"))
            .collect()
    });
    variants(name).iter().any(|variant| BLOCKS.contains(&variant.words))
}

/// The kind of quantity that a column measures.
pub(super) fn kind_of_unit(column: &Ours) -> Option<Kind> {
    column.unit_kind.as_deref().and_then(Kind::parse)
}

/// Whether any raw table has a column that people call so.
pub(super) fn is_known(name: &str) -> bool {
    variants(name).iter().any(|variant| KNOWN.contains(variant.words.as_str()))
}

/// Finds the columns of a table of ours in a file. Each column on either side is used once.
pub(super) fn matches(schema: &TableSchema, table: &Table, reading: &Reading) -> Vec<Match> {
    let Some(aliases) = ALIASES.get(schema.name.as_str()) else { return Vec::new() };
    let mut candidates: Vec<Match> = Vec::new();
    for (index, column) in table.columns.iter().enumerate().filter(|(_, column)| column.reference.is_some()) {
        candidates.extend(exact(schema, aliases, index, &column.name));
        candidates.extend(by_unit(schema, index, &column.name));
        candidates.extend(near(schema, aliases, index, &column.name));
    }
    // Plots in rows and ranges are a grid, not rows of a planter.
    let grid =
        table.columns.iter().any(|column| matches!(joined(&column.name).as_str(), "range" | "column" | "col" | "tier"));
    candidates.retain(|found| !(grid && schema.columns[found.ours].name == "row_unit"));
    candidates.retain(|found| fits(&table.columns[found.column], &schema.columns[found.ours], reading));
    candidates.sort_by(|left, right| {
        (left.sure, unit_rank(&left.unit), left.column, left.ours).cmp(&(
            right.sure,
            unit_rank(&right.unit),
            right.column,
            right.ours,
        ))
    });
    let mut chosen: Vec<Match> = Vec::new();
    for found in candidates {
        match chosen.iter().position(|other| other.ours == found.ours) {
            Some(at) => {
                let other = &mut chosen[at];
                if other.column != found.column && other.sure == found.sure && other.rival.is_none() {
                    other.rival = Some(found.column);
                }
            }
            None if chosen.iter().any(|other| other.column == found.column) => {}
            None => chosen.push(found),
        }
    }
    for at in 0..chosen.len() {
        let rival = chosen[at].rival;
        if rival.is_some_and(|rival| chosen.iter().any(|other| other.column == rival)) {
            chosen[at].rival = None;
        }
    }
    chosen.sort_by_key(|found| found.ours);
    chosen
}

/// Columns that are called like one of ours that nothing gives, and whose cells are of another type: ours and theirs.
pub(super) fn misfits(
    schema: &TableSchema,
    table: &Table,
    reading: &Reading,
    used: &BTreeSet<usize>,
) -> Vec<(usize, usize)> {
    let Some(aliases) = ALIASES.get(schema.name.as_str()) else { return Vec::new() };
    let mut found: BTreeMap<usize, usize> = BTreeMap::new();
    for (index, column) in table.columns.iter().enumerate() {
        if used.contains(&index) || column.reference.is_none() {
            continue;
        }
        for called in exact(schema, aliases, index, &column.name) {
            if !fits(column, &schema.columns[called.ours], reading) {
                found.entry(called.ours).or_insert(index);
            }
        }
    }
    found.into_iter().collect()
}

fn unit_rank(unit: &Unit) -> u8 {
    match unit {
        Unit::NotNeeded | Unit::Known(_) => 0,
        Unit::Absent => 1,
        Unit::Strange(_) => 2,
    }
}

/// Matches by the whole name, unit aside.
fn exact(schema: &TableSchema, aliases: &Aliases, column: usize, name: &str) -> Vec<Match> {
    let mut found = Vec::new();
    for variant in variants(name) {
        for (_, ours) in aliases.iter().filter(|(words, _)| *words == variant.words) {
            let target = &schema.columns[*ours];
            let sure = if joined(own_name(target)) == variant.words { Sure::Own } else { Sure::Alias };
            let known = variant.unit.as_deref().and_then(suffix);
            // One plant is a name, several are a count.
            if target.name == "emerged" && variant.words == "plant" && !name.to_lowercase().contains("plants") {
                continue;
            }
            let unit = match (kind_of_unit(target), &variant.unit) {
                (None, None) => Unit::NotNeeded,
                // Plants by area are no plants of a place.
                (None, Some(_)) if target.name == "emerged" && known.is_some_and(|unit| unit.starts_with("per_")) => {
                    continue;
                }
                // `Field / strip` is no field in the unit of strips.
                (None, Some(text)) if aliases.iter().any(|(words, other)| other != ours && *words == joined(text)) => {
                    continue;
                }
                // `Plot` above `Block` is the block of a plot.
                (None, Some(text)) if names_blocks(text) => continue,
                (None, Some(_)) if variant.apart || target.name == "value" => Unit::NotNeeded,
                (None, Some(_)) => continue,
                (Some(_), None) => Unit::Absent,
                (Some(kind), Some(text)) => match suffix_of_kind(text, kind) {
                    Some(suffix) => Unit::Known(suffix),
                    None if variant.apart || known.is_some() => Unit::Strange(text.clone()),
                    None => continue,
                },
            };
            found.push(Match { ours: *ours, column, sure, unit, rival: None });
        }
    }
    found
}

/// Names that mean another column once they have a unit: `Closing setting (psi)` is a pressure, not a label. Column, words, and the
/// columns that they mean.
const WITH_UNIT: &[(&str, &[&str], &[&str])] = &[
    (
        "setting_log",
        &[
            "closing",
            "closing wheel",
            "closing system",
            "closer",
            "closing setting",
            "closing wheel setting",
            "closer setting",
        ],
        &["set_pressure_kpa", "set_force_n"],
    ),
    ("stand_count", &["row", "of row", "row counted"], &["row_length_m"]),
];
/// What is sown on an area, in names that say no more than that, as `seeds/ac` (from memory; the trade's words).
const SOWN: &[&str] = &["seed", "target seed", "seed sown", "seed planted", "kernel", "körner", "korn", "seed drop"];
/// The same for plants, which could be those that came up, and for thousands.
const MAYBE_SOWN: &[&str] = &["plant", "pflanzen", "k", "1000", "thousand", "target plant", "target k"];

/// Names that say too little to be sure of (from memory): column of the setting log, words.
const LOOSE: &[(&str, &[&str])] = &[
    ("set_pressure_kpa", &["pressure", "air pressure", "air", "pressure setting"]),
    ("set_force_n", &["force", "force setting"]),
];

/// Matches by the unit, and by names that are no more than likely.
fn by_unit(schema: &TableSchema, column: usize, name: &str) -> Vec<Match> {
    let place = |wanted: &str| schema.columns.iter().position(|ours| ours.name == wanted);
    let mut found = Vec::new();
    for variant in variants(name) {
        let by_area = variant.unit.as_deref().and_then(|unit| suffix_of_kind(unit, Kind::Population));
        if let Some((ours, suffix)) = place("seed_rate_per_m2").zip(by_area) {
            let sure = if SOWN.contains(&variant.words.as_str()) { Some(Sure::Alias) } else { None };
            let sure = sure.or(MAYBE_SOWN.contains(&variant.words.as_str()).then_some(Sure::Near));
            let unit = Unit::Known(suffix);
            found.extend(sure.map(|sure| Match { ours, column, sure, unit, rival: None }));
        }
        for (_, words, means) in WITH_UNIT.iter().filter(|(table, ..)| *table == schema.name) {
            let Some(unit) = variant.unit.as_deref().filter(|_| words.contains(&variant.words.as_str())) else {
                continue;
            };
            let meant = means.iter().filter_map(|name| place(name)).find_map(|ours| {
                let kind = kind_of_unit(&schema.columns[ours])?;
                Some((ours, suffix_of_kind(unit, kind)?))
            });
            found.extend(meant.map(|(ours, suffix)| Match {
                ours,
                column,
                sure: Sure::Own,
                unit: Unit::Known(suffix),
                rival: None,
            }));
        }
        for (wanted, _) in LOOSE.iter().filter(|(_, words)| words.contains(&variant.words.as_str())) {
            let Some(ours) = place(wanted) else { continue };
            let kind = kind_of_unit(&schema.columns[ours]);
            let unit = match &variant.unit {
                None => Unit::Absent,
                Some(text) => match kind.and_then(|kind| suffix_of_kind(text, kind)) {
                    Some(suffix) => Unit::Known(suffix),
                    None => continue,
                },
            };
            found.push(Match { ours, column, sure: Sure::Near, unit, rival: None });
        }
    }
    found
}

/// Columns whose name must be met in full: a part of it says too little.
const NEVER_NEAR: &[&str] = &[
    "field_id",
    "season",
    "strip_id",
    "sample_id",
    "block",
    "row_unit",
    "plant",
    "name",
    "value",
    "unit",
    "better",
    "note",
    "rows",
    "passes",
    "length_m",
    "time",
    "date",
    "lat",
    "lon",
    "client",
    "farm",
    "crop",
    "taken_at",
    "dug_at",
    "counted_at",
    "seeds_sown",
];

/// Matches by words that stand among others.
fn near(schema: &TableSchema, aliases: &Aliases, column: usize, name: &str) -> Vec<Match> {
    let whole = joined(name);
    if is_by_area(name) {
        return Vec::new();
    }
    let padded = format!(" {whole} ");
    let mut best: BTreeMap<usize, (usize, Sure)> = BTreeMap::new();
    for (words, ours) in aliases {
        let count = words.split(' ').count();
        let long_enough = count > 1 || words.chars().count() >= 6;
        if !long_enough || *words == whole || NEVER_NEAR.contains(&schema.columns[*ours].name.as_str()) {
            continue;
        }
        if words.split(' ').all(|word| padded.contains(&format!(" {word} "))) {
            let sure = if count > 1 { Sure::Near } else { Sure::Hint };
            let longest = best.entry(*ours).or_insert((0, sure));
            if words.len() > longest.0 {
                *longest = (words.len(), sure);
            }
        }
    }
    let below = name.rsplit_once(" / ").map(|(_, below)| joined(below));
    for text in [Some(whole.clone()), below].into_iter().flatten() {
        let Some(words) = without_place(&text) else { continue };
        let counts = aliases.iter().filter(|(alias, ours)| {
            *alias == words && matches!(schema.columns[*ours].name.as_str(), "emerged" | "seeds_sown")
        });
        for (_, ours) in counts {
            best.insert(*ours, (whole.len(), Sure::Near));
        }
    }
    // The longest name counts: "actual closing pressure" is not "closing pressure".
    let longest = best.values().map(|(length, _)| *length).max().unwrap_or(0);
    let chosen = best.into_iter().filter(|(_, (length, _))| *length == longest);
    chosen
        .map(|(ours, (_, sure))| {
            let kind = kind_of_unit(&schema.columns[ours]);
            let units = variants(name);
            let known = kind.and_then(|kind| {
                units.iter().filter_map(|variant| variant.unit.as_deref()).find_map(|text| suffix_of_kind(text, kind))
            });
            let unit = match (kind, known) {
                (None, _) => Unit::NotNeeded,
                (Some(_), Some(suffix)) => Unit::Known(suffix),
                (Some(_), None) => Unit::Absent,
            };
            Match { ours, column, sure, unit, rival: None }
        })
        .collect()
}

/// The words of a name of counts without the size of the counted place, as in `Plants/17.5 ft`; `None` where it has none.
fn without_place(words: &str) -> Option<String> {
    const PLACE: &[&str] =
        &["ft", "feet", "foot", "m", "meter", "metre", "in", "inch", "row", "of", "per", "acre", "ac", "th"];
    let is_place = |word: &str| PLACE.contains(&word) || word.parse::<u32>().is_ok();
    let left: Vec<&str> = words.split(' ').filter(|word| !is_place(word)).collect();
    let sized = words.split(' ').any(|word| word.parse::<u32>().is_ok());
    (sized && !left.is_empty()).then(|| left.join(" "))
}

/// Whether a name counts plants by area, such as `Population (plants/ac)`: these are no plants of a place.
pub(super) fn is_by_area(name: &str) -> bool {
    let variants = variants(name);
    variants
        .iter()
        .any(|variant| variant.unit.as_deref().and_then(suffix).is_some_and(|suffix| suffix.starts_with("per_")))
        && schemas().iter().filter(|table| table.name == "stand_count" && table.group == Group::Raw).any(|table| {
            let aliases = joined_aliases(table, "emerged");
            variants.iter().any(|variant| aliases.contains(&variant.words))
        })
}

/// Whether the cells of a column are of the type of ours. A column without a value fits everything.
fn fits(column: &Column, ours: &Ours, reading: &Reading) -> bool {
    let numeric = column.is_numeric(reading);
    match ours.column_type {
        // A year of two digits is no season.
        ColumnType::Integer if ours.name == "season" => {
            column.numbers(reading).0.iter().all(|year| (1900.0..=2200.0).contains(year)) && numeric != Some(false)
        }
        ColumnType::Number | ColumnType::Integer => numeric != Some(false),
        ColumnType::Datetime | ColumnType::Date => {
            let typed = column.cells.iter().any(|cell| matches!(cell, Body::Time(_)));
            numeric.is_none()
                || typed
                || (ours.column_type == ColumnType::Datetime && since_1970(column, reading).is_some())
                || dates(column.filled().collect::<Vec<_>>().iter().map(String::as_str)).are_dates()
        }
        ColumnType::Boolean => column.distinct().len() <= 8,
        ColumnType::String if ours.allowed().is_empty() => true,
        ColumnType::String => numeric != Some(true) || column.distinct().len() <= 5 && ours.name == "trench_shut",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_two_columns_of_a_table_are_called_the_same() {
        for (table, aliases) in ALIASES.iter() {
            let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
            for (words, column) in aliases {
                let first = seen.entry(words).or_insert(*column);
                assert_eq!(first, column, "{table}: \"{words}\" stands twice");
                assert!(!words.is_empty(), "{table}: an empty name");
            }
        }
    }

    #[test]
    fn names_that_people_use_are_known_with_and_without_units() {
        for name in
            ["Fld", "Strip #", "Row length (ft)", "closing_force_lbs", "totalStandCount", "t_daily_max", "Residue %"]
        {
            assert!(is_known(name), "{name}");
        }
        for name in ["CEC_7", "nacl", "", "weather_code"] {
            assert!(!is_known(name), "{name}");
        }
    }
}
