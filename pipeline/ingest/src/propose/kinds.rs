//! Which raw table a file is: the one whose own columns it has.

use evenstand_tables::{Group, TableSchema, schemas};

use super::columns::{Match, Sure, Unit, matches};
use super::identity::strips_within_blocks;
use super::names::joined;
use super::table::Table;
use super::times::unnamed_time;
use super::wide::{Wide, measures, visits};
use crate::reading::Reading;

/// A raw table that a file may be.
pub(super) struct Candidate {
    pub schema: &'static TableSchema,
    pub matches: Vec<Match>,
    pub wide: Option<Wide>,
    /// Column of blocks, where each block numbers its strips anew: strips are told apart by both together.
    pub block: Option<usize>,
    score: u32,
    /// Whether what it has is enough to call it one.
    enough: bool,
}

/// Columns of which a table of each kind has at least one, and words in names of files that speak for it.
const KINDS: &[(&str, &[&str], &[&str])] = &[
    ("stand_count", &["emerged"], &["stand", "emergence", "emerged", "count", "population", "bestand"]),
    (
        "setting_log",
        &[
            "set_pressure_kpa",
            "actual_pressure_kpa",
            "set_force_n",
            "actual_force_n",
            "closing_position",
            "press_position",
            "depth_stop",
            "row_downforce_n",
            "gauge_wheel",
        ],
        &["setting", "closing", "planter log", "pressure", "downforce", "as planted"],
    ),
    (
        "dig_check",
        &["trench_shut", "light_at_seed", "air_gap", "firm_all_round", "press_mark", "dig_effort", "soil_thrown"],
        &["dig", "trench", "furrow", "dug"],
    ),
    (
        "soil_note",
        &[
            "texture",
            "sand_frac",
            "water_gravimetric_frac",
            "water_volumetric_frac",
            "moisture_feel",
            "soil_temp_c",
            "residue_cover_frac",
            "penetration_kpa",
            "crust",
        ],
        &["soil note", "soil", "moisture", "residue"],
    ),
    ("spacing", &["position_m"], &["spacing", "plant position"]),
    ("plant", &["leaf_stage", "height_m"], &["leaf", "staging", "growth stage", "plant height"]),
    ("weather", &["tmin_c", "tmax_c", "rain_mm"], &["weather", "station", "climate", "rain", "met"]),
    (
        "field",
        &[
            "row_spacing_m",
            "seed_rate_per_m2",
            "seed_spacing_m",
            "tillage",
            "previous_crop",
            "seed_lot",
            "germination_frac",
            "replanted",
            "seed_depth_m",
            "planted_at",
        ],
        &["field", "planting", "paddock"],
    ),
    ("strip", &["treatment", "length_m", "passes"], &["strip", "layout", "plot plan", "plot map"]),
    ("measure", &["value"], &["yield", "harvest", "vigor", "vigour"]),
];
/// Columns of one table alone that others would carry along as well.
const CARRIED_ALONG: &[&str] = &[
    "crop",
    "client",
    "farm",
    "previous_crop",
    "note",
    "name",
    "unit",
    "treatment",
    "rows",
    "passes",
    "length_m",
    "time",
    "date",
    "speed_m_s",
    "row_downforce_n",
    "seeds_sown",
    "timezone",
    "seed_lot",
    "taken_at",
    "dug_at",
    "depth_m",
    "row_length_m",
    "counted_at",
];

/// The tables that a file is, the likeliest first; each later one has columns of its own that the ones before do not use.
/// `named` is the kind that the file's name says by the rules for names.
pub(super) fn kinds(table: &Table, reading: &Reading, names: &[&str], named: Option<&str>) -> Vec<Candidate> {
    let raw = schemas().iter().filter(|table| table.group == Group::Raw);
    let mut all: Vec<Candidate> = raw.map(|schema| candidate(schema, table, reading, names, named)).collect();
    all.retain(|candidate| candidate.enough && named.is_none_or(|named| named == candidate.schema.name));
    all.sort_by_key(|candidate| std::cmp::Reverse(candidate.score));
    let mut chosen: Vec<Candidate> = Vec::new();
    for candidate in all {
        let own = core_columns(&candidate);
        let used: Vec<usize> = chosen.iter().flat_map(core_columns).collect();
        // One more table in the same file must rest on names that leave no doubt.
        let sure = candidate.matches.iter().any(|found| {
            own.contains(&found.column)
                && found.sure <= Sure::Alias
                && !used.contains(&found.column)
                && found.unit != Unit::Absent
        });
        let wide = candidate.wide.iter().flat_map(|wide| &wide.visits).any(|(column, _)| !used.contains(column));
        let sure = sure || wide;
        let strips = !matches!(candidate.schema.name.as_str(), "strip" | "field" | "weather");
        if chosen.is_empty() || (sure && strips) {
            chosen.push(candidate);
        }
    }
    chosen
}

fn candidate(
    schema: &'static TableSchema,
    table: &Table,
    reading: &Reading,
    names: &[&str],
    named: Option<&str>,
) -> Candidate {
    let mut found = matches(schema, table, reading);
    let mut wide = None;
    if schema.name == "stand_count" {
        wide = visits(table, reading);
    } else if schema.name == "measure" {
        wide = measures(schema, table, reading, &found);
    }
    if let Some(wide) = &wide {
        let taken = |name: &str| name == wide.value_to || name == wide.name_to;
        let is_visit = |column: usize| wide.visits.iter().any(|(visit, _)| *visit == column);
        found.retain(|found| !taken(&schema.columns[found.ours].name) && !is_visit(found.column));
    }
    let (_, core, words) = KINDS.iter().find(|(kind, ..)| *kind == schema.name).copied().unwrap_or(("", &[], &[]));
    let hinted = named == Some(schema.name.as_str()) || says(names, words);
    let name_of = |found: &Match| schema.columns[found.ours].name.as_str();
    let in_core = |found: &&Match| core.contains(&name_of(found)) && found.sure <= Sure::Near;
    let cores = found.iter().filter(in_core).count();
    let is_wide = wide.is_some();
    let has = |name: &str| found.iter().any(|found| name_of(found) == name);
    let place = has("field_id") || has("strip_id") || (has("lat") && has("lon"));
    let enough = match schema.name.as_str() {
        "weather" => cores > 0 && has("date"),
        "field" => cores > 1 && (has("field_id") || hinted) && (!has("strip_id")),
        "strip" => cores > 0 && has("strip_id"),
        "measure" => (is_wide || (has("value") && has("name"))) && (place || hinted),
        _ => (cores > 0 || is_wide) && (place || hinted),
    };
    let of_one_table = |name: &str| {
        let tables = schemas().iter().filter(|table| table.group == Group::Raw);
        tables.filter(|table| table.column(name).is_some()).count() == 1
    };
    let weight = |found: &Match| {
        let name = name_of(found);
        let full = match (of_one_table(name), CARRIED_ALONG.contains(&name)) {
            (true, false) => 12,
            (true, true) => 2,
            (false, _) => 1,
        };
        if found.sure <= Sure::Alias { full } else { full / 2 }
    };
    let mut score: u32 = found.iter().map(weight).sum();
    if is_wide {
        score += if schema.name == "stand_count" { 20 } else { 8 };
    }
    if hinted {
        score += 10;
    }
    let block = strips_within_blocks(schema, table, &found);
    found.extend(unnamed_time(schema, table, reading, &found, wide.as_ref()));
    Candidate { schema, matches: found, wide, block, score, enough: enough || named == Some(schema.name.as_str()) }
}

/// Whether one of these words stands in a name.
fn says(names: &[&str], words: &[&str]) -> bool {
    names.iter().any(|name| {
        let padded = format!(" {} ", joined(name));
        words.iter().any(|word| padded.contains(&format!(" {} ", joined(word))))
    })
}

/// The raw table that the name of a file or sheet says, by the rules for names or by a word in it.
pub(super) fn hinted(names: &[&str], named: Option<&str>) -> Option<&'static TableSchema> {
    let wanted = named.or_else(|| KINDS.iter().find(|(.., words)| says(names, words)).map(|(kind, ..)| *kind))?;
    schemas().iter().find(|table| table.group == Group::Raw && table.name == wanted)
}

/// Columns of the file that make the table what it is.
fn core_columns(candidate: &Candidate) -> Vec<usize> {
    let core = KINDS.iter().find(|(kind, ..)| *kind == candidate.schema.name).map_or(&[][..], |(_, core, _)| core);
    let own =
        candidate.matches.iter().filter(|found| core.contains(&candidate.schema.columns[found.ours].name.as_str()));
    let wide = candidate.wide.iter().flat_map(|wide| wide.visits.iter().map(|(column, _)| *column));
    own.map(|found| found.column).chain(wide).collect()
}

impl Candidate {
    /// The match for a column of ours.
    pub fn of(&self, name: &str) -> Option<&Match> {
        self.matches.iter().find(|found| self.schema.columns[found.ours].name == name)
    }

    /// Columns of the file that it reads.
    pub fn columns(&self) -> Vec<usize> {
        let wide = self.wide.iter().flat_map(|wide| wide.visits.iter().map(|(column, _)| *column));
        self.matches.iter().map(|found| found.column).chain(wide).chain(self.block).collect()
    }
}
