//! The columns of each sheet in the order in which people fill them in.

use evenstand_tables::{Column, TableSchema};

/// Columns that stand first, by table; the rest of the schema follows in its own order, places on the map last.
const FIRST: [(&str, &[&str]); 10] = [
    (
        "field",
        &[
            "field_id",
            "season",
            "crop",
            "hybrid",
            "planted_at",
            "planter_id",
            "row_spacing_m",
            "seed_rate_per_m2",
            "seed_depth_m",
            "tillage",
            "previous_crop",
            "germination_frac",
            "replanted",
            "timezone",
        ],
    ),
    ("strip", &["field_id", "season", "strip_id", "block", "treatment", "condition", "started_at", "ended_at"]),
    (
        "setting_log",
        &[
            "field_id",
            "season",
            "strip_id",
            "block",
            "planter_id",
            "set_pressure_kpa",
            "closing_position",
            "actual_pressure_kpa",
            "condition",
            "set_force_n",
            "actual_force_n",
            "press_position",
            "depth_stop",
            "gauge_wheel",
            "speed_m_s",
        ],
    ),
    (
        "soil_note",
        &[
            "field_id",
            "season",
            "strip_id",
            "block",
            "taken_at",
            "moisture_feel",
            "residue_cover_frac",
            "crust",
            "texture",
            "depth_m",
            "soil_temp_c",
            "note",
        ],
    ),
    // The order of the questions on the card.
    (
        "dig_check",
        &[
            "field_id",
            "season",
            "strip_id",
            "row_unit",
            "dug_at",
            "trench_shut",
            "light_at_seed",
            "air_gap",
            "firm_all_round",
            "press_mark",
            "dig_effort",
            "soil_thrown",
            "seed_depth_m",
        ],
    ),
    (
        "stand_count",
        &[
            "field_id",
            "season",
            "strip_id",
            "sample_id",
            "counted_at",
            "emerged",
            "row_length_m",
            "seeds_sown",
            "row_unit",
        ],
    ),
    ("spacing", &["field_id", "season", "strip_id", "sample_id", "plant", "position_m"]),
    ("plant", &["field_id", "season", "strip_id", "sample_id", "plant", "leaf_stage", "height_m"]),
    ("measure", &["field_id", "season", "strip_id", "name", "value", "unit", "better", "sample_id"]),
    ("weather", &["field_id", "season", "date", "tmin_c", "tmax_c", "rain_mm"]),
];

/// What machines write and no person types. A log with a time is telemetry, and positions belong to telemetry.
const LEFT_OUT: [(&str, &str); 4] =
    [("setting_log", "time"), ("setting_log", "lat"), ("setting_log", "lon"), ("strip", "boundary")];

/// The columns of a blank sheet of the table.
pub(crate) fn in_order(table: &'static TableSchema) -> Vec<&'static Column> {
    let first = FIRST.iter().find(|(name, _)| *name == table.name).map_or(&[][..], |(_, columns)| columns);
    let mut columns: Vec<&Column> = first.iter().filter_map(|name| table.column(name)).collect();
    let left_out = |name: &str| LEFT_OUT.contains(&(table.name.as_str(), name));
    let is_place = |column: &Column| column.name == "lat" || column.name == "lon";
    let rest: Vec<&Column> = table
        .columns
        .iter()
        .filter(|column| !first.contains(&column.name.as_str()) && !left_out(&column.name))
        .collect();
    columns.extend(rest.iter().copied().filter(|column| !is_place(column)));
    columns.extend(rest.iter().copied().filter(|column| is_place(column)));
    columns
}

#[cfg(test)]
mod tests {
    use evenstand_tables::{Group, schemas};

    use super::*;

    #[test]
    fn every_column_is_there_once_but_those_that_only_machines_write() {
        for table in schemas().iter().filter(|table| table.group == Group::Raw) {
            let mut sheet: Vec<&str> = in_order(table).iter().map(|column| column.name.as_str()).collect();
            assert_eq!(sheet.first(), Some(&"field_id"), "{}", table.name);
            sheet.extend(LEFT_OUT.iter().filter(|(name, _)| *name == table.name).map(|(_, column)| *column));
            sheet.sort_unstable();
            let mut schema: Vec<&str> = table.columns.iter().map(|column| column.name.as_str()).collect();
            schema.sort_unstable();
            assert_eq!(sheet, schema, "{}", table.name);
        }
    }

    #[test]
    fn every_name_in_the_order_is_a_column_of_its_table() {
        for (name, columns) in FIRST {
            let table = evenstand_tables::schema(Group::Raw, name).unwrap();
            assert!(columns.iter().all(|column| table.column(column).is_some()), "{name}");
        }
    }
}
