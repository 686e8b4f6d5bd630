//! ISO 11783-10 task data: logs, plans, and sets that are broken.

use std::collections::BTreeMap;

use super::{Reading, block, check_all, kept_rows, reading};
use crate::support::shared;

const FOLDER: &str = "data/isoxml";
const PLANTER: &str = "planter32_gaugewheel_singlelayer.zip";
const TRACTOR: &str = "v4_tractor_timelog_external_files.zip";

fn channel(column: &str, further: &str) -> String {
    format!("[[source.channel]]\ncolumn = \"{column}\"\n{further}")
}

fn planter() -> Reading {
    let force = channel("row_downforce_n", "element = \"Seed Unit/Row *\"\nddi = \"01AB\"\n");
    reading(PLANTER, block("planter32*", "setting_log", "", &force))
}

/// Any block that asks for the force of a row.
fn asked(file: &'static str) -> Reading {
    reading(file, block(file, "setting_log", "", &channel("row_downforce_n", "ddi = \"01AB\"\n")))
}

/// Records, places, times and held values: the binary logs decoded with Python's struct; times are those of the satellites.
#[rustfmt::skip]
fn readings() -> Vec<Reading> {
    let speed = channel("speed_km_h", "data = \"Speed\"\n");
    vec![
        // 32 rows in 3633 records.
        planter().balance(32 * 3633, 0)
            .row(1, &[("row_unit", "Seed Unit/Row 10"), ("time", "2022-10-19T07:30:52.130Z"), ("season", "2022"),
                ("lat", "52.3597005"), ("lon", "8.0346125"), ("row_downforce_n", "0.0")])
            .row(3633, &[("row_unit", "Seed Unit/Row 8"), ("time", "2022-10-19T07:36:55.320Z"), ("lon", "8.0297518"),
                ("row_downforce_n", "458.0")]),
        // The first two of 207 records come before the first speed; 72.4 m/s is the sum of what is held in the others.
        reading(TRACTOR, block("v4_tractor*", "setting_log", "", &speed)).balance(205, 0)
            .sum("speed_m_s", 72.4)
            .row(3, &[("time", "2021-04-09T15:28:04.200Z"), ("speed_m_s", "0.595"), ("lat", "45.5277543"), ("lon", "9.5777896")])
            .row(207, &[("time", "2021-04-09T15:28:42.799Z"), ("lat", "45.5278066"), ("speed_m_s", "0.0")]),
        // The field that its task names.
        reading(TRACTOR, block("v4_tractor*", "setting_log", "", &speed).replace("constants.field_id = \"A\"\n", ""))
            .balance(205, 0).row(207, &[("field_id", "9 Test G-SDS 2019")]),
        reading(TRACTOR, block("v4_tractor*", "setting_log", "", &speed.replace("Speed", "Sped")))
            .says(&[TRACTOR, "no log holds a channel like speed_km_h (data = \"Sped\")", "evenstand check"]),
        reading(TRACTOR, block("v4_tractor*", "setting_log", "", ""))
            .says(&[TRACTOR, "nothing says which channel is the closing force or pressure", "evenstand check"]),
        // A pressure where the dictionary says force.
        reading(PLANTER, block("planter32*", "setting_log", "", &channel("set_pressure_kpa", "ddi = \"01AB\"\n")))
            .says(&[PLANTER, "measures force by the dictionary", "set_pressure_kpa wants pressure"]),
        // A column misspelt must not be left out in silence.
        reading(PLANTER, block("planter32*", "setting_log", "", &channel("row_downfore_n", "ddi = \"01AB\"\n")))
            .says(&[PLANTER, "setting_log has no column \"row_downfore_n\"; did you mean row_downforce?"]),
        asked("v4_seeding_zones").says(&["v4_seeding_zones: these task data hold no log", "tasks: 1", "after the work"]),
        asked("v3_grid_type2").says(&["v3_grid_type2: these task data hold no log", "remove them from raw/"]),
        asked("grid_in_subfolder.zip").says(&["grid_in_subfolder.zip: these task data hold no log"]),
        asked("grid_without_binary.zip").says(&["grid_without_binary.zip: these task data hold no log"]),
        asked("bad_no_taskdata.zip").says(&["bad_no_taskdata.zip: this archive holds neither task data (TASKDATA.XML)",
            "found LINKLIST.xml", "copy its whole TASKDATA folder again"]),
        asked("duplicate_xmlid.zip").says(&["the id CTP-1 is carried twice", "line 3", "line 6"]),
        asked("two_taskdata_in_zip.zip").says(&["2 task data sets", "TASKDATA.XML and task2/TASKDATA.XML",
            "a folder or an archive of its own"]),
        asked("invalid_xml").says(&["invalid_xml: TASKDATA.xml, line 3", "bare \"<\"", "&lt;"]),
    ]
}

#[test]
fn every_set_of_task_data_is_read_or_refused_for_its_own_reason() {
    check_all(FOLDER, &readings());
}

/// A kept row carries the value that holds, so that only a change of it can be counted. The expected figures count what was
/// logged: a value logged twice in a row would be one more there and none here. This log has none: both are equal.
#[test]
fn changes_of_the_kept_forces_are_the_logged_ones_in_every_row_unit() {
    let Some((folder, json)) = shared(FOLDER).zip(shared("data/expected_public.json")) else { return };
    let mut by_unit: BTreeMap<String, BTreeMap<i64, f64>> = BTreeMap::new();
    for row in kept_rows(&planter().run(&folder).1) {
        let (record, force) = (row["source_row"].parse().unwrap(), row["row_downforce_n"].parse().unwrap());
        assert_eq!(by_unit.entry(row["row_unit"].clone()).or_default().insert(record, force), None, "{row:?}");
    }
    let json: serde_json::Value = serde_json::from_slice(&std::fs::read(json).unwrap()).unwrap();
    let expected = &json[format!("isoxml/{PLANTER}")]["gauge_wheel_force_raw_per_row"].as_object().unwrap().clone();
    assert_eq!((expected.len(), by_unit.len()), (32, 32));
    for (unit, series) in &by_unit {
        assert_eq!(series.len(), 3633, "{unit}");
        let mut changes: Vec<f64> = series.values().copied().collect();
        changes.dedup();
        let number = |key: &str| expected[unit][key].as_f64().unwrap();
        assert_eq!(changes.len() as f64, number("n"), "{unit}");
        assert_eq!((changes[0], changes[changes.len() - 1]), (number("first"), number("last")), "{unit}");
        let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
        assert!((mean(&changes) - number("mean_of_logged_changes")).abs() < 5e-5, "{unit}");
        changes.retain(|force| *force != 0.0);
        assert!((mean(&changes) - number("nonzero_mean")).abs() < 5e-5, "{unit}");
    }
}

#[test]
fn a_missing_grid_of_a_plan_is_noted() {
    let Some(folder) = shared(FOLDER) else { return };
    let (said, review) = asked("grid_without_binary.zip").run(&folder);
    let findings = review.kept("findings");
    let codes: Vec<&str> = findings.iter().map(|row| row["code"].as_str()).collect();
    assert!(codes.contains(&"grid_missing") && codes.contains(&"no_log"), "{codes:?} {}", said.stderr);
    assert_eq!(said.status, 1);
}
