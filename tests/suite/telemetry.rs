//! Setting logs: telemetry and hand-written rows become one setting a strip.

use std::collections::BTreeMap;
use std::fmt::Write;

use crate::support::TestReview;

const PLANTER: &str = "[[planter]]\nid = \"p\"\n[planter.closing]\nkind = \"pressure\"\nmax_kpa = 500\ndefault_kpa = 200\nforce_n = [[0, 0], [200, 200], [400, 500]]\n";

fn strips(log: &str, settings: &str) -> (BTreeMap<String, BTreeMap<String, String>>, TestReview) {
    let review = TestReview::new(&[
        ("field.csv", "field_id,season,planter_id\nA,2025,p\n"),
        ("setting_log.csv", log),
        ("stand_count.csv", "field_id,season,strip_id,seeds_sown,emerged\nA,2025,1,100,90\nA,2025,2,100,91\n"),
        ("evenstand.toml", settings),
    ]);
    let said = review.run("run", &[]);
    assert!(said.status < 2, "{}", said.stderr);
    (review.result("strips").into_iter().map(|row| (row["strip_id"].clone(), row)).collect(), review)
}

fn number(row: &BTreeMap<String, String>, name: &str) -> f64 {
    row[name].parse().unwrap_or_else(|_| panic!("{name} is \"{}\"", row[name]))
}

#[test]
fn telemetry_is_averaged_over_rows_at_working_speed_and_turned_into_force_row_by_row() {
    let mut log = String::from("field_id,season,strip_id,time,speed_km_h,set_pressure_kpa,actual_pressure_kpa\n");
    for (second, (speed, set, actual)) in
        [(8.0, 100.0, 90.0), (8.0, 300.0, 310.0), (9.0, 300.0, 290.0), (3.0, 0.0, 0.0), (2.0, 500.0, 500.0)]
            .into_iter()
            .enumerate()
    {
        let _ = writeln!(log, "A,2025,1,2025-05-01T10:00:{second:02}Z,{speed},{set},{actual}");
    }
    let (strips, _) = strips(&log, PLANTER);
    let strip = &strips["1"];
    // By hand: 100 kPa is 100 N and 300 kPa is 350 N, so the mean is 800/3 N; the force of the mean pressure would be 250 N.
    assert!((number(strip, "force_n") - 800.0 / 3.0).abs() < 1e-5);
    // 90, 365 and 335 N were measured: mean 790/3 N, and their standard deviation.
    let mean = 790.0 / 3.0;
    let deviation = ([90.0, 365.0, 335.0_f64].iter().map(|force| (force - mean).powi(2)).sum::<f64>() / 2.0).sqrt();
    assert!((number(strip, "actual_force_n") - mean).abs() < 1e-5);
    // Exact but for rounding each row to 0.01 N.
    assert!((number(strip, "force_sd_n") - deviation).abs() < 1e-2);
    assert!((number(strip, "speed_m_s") - 25.0 / 3.0 / 3.6).abs() < 1e-6);
    assert_eq!(strip["force_source"], "set_pressure");
    assert_eq!(strips["2"]["force_n"], "");
}

#[test]
fn the_axis_can_be_turned_to_the_measured_force() {
    let log = "field_id,season,strip_id,set_force_n,actual_force_n\nA,2025,1,200,150\nA,2025,2,300,290\n";
    let (set, _) = strips(log, PLANTER);
    assert_eq!((set["1"]["force_n"].as_str(), set["1"]["force_source"].as_str()), ("200.0", "set_force"));
    let (actual, _) = strips(log, &format!("axis = \"actual\"\n{PLANTER}"));
    assert_eq!((actual["1"]["force_n"].as_str(), actual["1"]["force_source"].as_str()), ("150.0", "actual_force"));
}

#[test]
fn a_row_about_the_field_or_a_block_speaks_for_strips_without_their_own() {
    let log = "field_id,season,strip_id,block,set_pressure_kpa\nA,2025,,,200\nA,2025,2,,400\n";
    let (strips, _) = strips(log, PLANTER);
    assert_eq!((number(&strips["1"], "force_n"), number(&strips["2"], "force_n")), (200.0, 500.0));
}

#[test]
fn row_unit_downforce_is_never_taken_for_closing_force() {
    let (strips, _) = strips("field_id,season,strip_id,row_downforce_lbf\nA,2025,1,250\nA,2025,2,300\n", PLANTER);
    assert!(strips.values().all(|strip| strip["force_n"].is_empty() && strip["actual_force_n"].is_empty()));
}

#[test]
fn weighed_positions_are_forces_and_unweighed_ones_are_not() {
    let planter = "[[planter]]\nid = \"p\"\n[planter.closing]\nkind = \"positions\"\npositions = [{ label = \"1\", force_n = 130 }, { label = \"2\" }]\n";
    let (strips, review) = strips("field_id,season,strip_id,closing_position\nA,2025,1,1\nA,2025,2,2\n", planter);
    assert_eq!((strips["1"]["force_n"].as_str(), strips["1"]["force_source"].as_str()), ("130.0", "position"));
    assert_eq!(strips["2"]["force_n"], "");
    assert!(
        review
            .result("findings")
            .iter()
            .any(|row| row["code"] == "strip_without_force" && row["message"].contains("no weighed force"))
    );
}

/// Rows were once cut to 0.01 N instead of rounded, and a small spread around a large force came out too small.
#[test]
fn a_small_spread_around_a_large_force_is_not_lost() {
    let mut log = String::from("field_id,season,strip_id,time,speed_m_s,set_force_n,actual_force_n\n");
    let forces: Vec<f64> = (0..40).map(|row| 299.0 + f64::from(row * 7 % 20) * 0.1 + 0.0099).collect();
    for (second, force) in forces.iter().enumerate() {
        let _ = writeln!(log, "A,2025,1,2025-05-01T10:00:{second:02}Z,2,300,{force}");
    }
    let (strips, _) = strips(&log, PLANTER);
    let mean = forces.iter().sum::<f64>() / 40.0;
    let deviation = (forces.iter().map(|force| (force - mean).powi(2)).sum::<f64>() / 39.0).sqrt();
    assert!(
        (number(&strips["1"], "force_sd_n") - deviation).abs() < 2e-4,
        "{} against {deviation}",
        strips["1"]["force_sd_n"]
    );
    assert!((number(&strips["1"], "actual_force_n") - mean).abs() < 1e-6);
}

/// Days of weather are days of the field, not of Greenwich: planted at 21:00 in Chicago is still the first day.
#[test]
fn the_thermal_clock_turns_at_local_midnight() {
    let review = TestReview::new(&[
        ("field.csv", "field_id,season,planted_at,timezone\nA,2025,2025-05-01 21:00,America/Chicago\n"),
        (
            "stand_count.csv",
            "field_id,season,strip_id,sample_id,seeds_sown,counted_at,emerged\n\
             A,2025,1,a,100,2025-05-02 00:00,0\nA,2025,1,a,100,2025-05-03 00:00,100\n",
        ),
        ("weather.csv", "field_id,date,tmin_c,tmax_c\n,2025-05-01,18,18\n,2025-05-02,22,22\n,2025-05-03,10,10\n"),
        ("evenstand.toml", "clock = \"thermal\"\n"),
    ]);
    let said = review.run("run", &[]);
    assert!(said.status < 2, "{}", said.stderr);
    let strip = &review.result("strips")[0];
    // 3 of 24 hours of a day of 8 degree-days, then the share of a day of 12.
    assert!((number(strip, "t50_cd") - (1.0 + 6.0)).abs() < 1e-9, "{}", strip["t50_cd"]);
    assert!((number(strip, "t10_cd") - (1.0 + 1.2)).abs() < 1e-9);
}

#[test]
fn telemetry_tells_where_and_when_a_strip_was_planted_and_how_the_planter_was_set_up() {
    let mut log =
        String::from("field_id,season,strip_id,time,speed_m_s,set_force_n,lat,lon,depth_stop,press_position\n");
    // A planter that stands still at the headland tells the time, not the place.
    for (second, speed, lat) in [(7, 2.0, 47.0), (5, 0.2, 49.0), (9, 2.0, 47.5)] {
        let _ = writeln!(log, "A,2025,1,2025-05-01T10:00:{second:02}Z,{speed},200,{lat},-93.25,3,hard");
    }
    let (strips, _) = strips(&log, PLANTER);
    let strip = &strips["1"];
    assert!((number(strip, "lat") - 47.25).abs() < 1e-6 && (number(strip, "lon") + 93.25).abs() < 1e-6);
    assert!(strip["started_at"].starts_with("2025-05-01T10:00:05"), "{}", strip["started_at"]);
    assert_eq!((strip["depth_stop"].as_str(), strip["press_position"].as_str()), ("3", "hard"));
    assert_eq!((strips["2"]["lat"].as_str(), strips["2"]["started_at"].as_str()), ("", ""));
}

#[test]
fn parts_of_a_condition_stand_beside_its_label_whether_the_scheme_uses_them_or_not() {
    let review = TestReview::new(&[
        ("field.csv", "field_id,season,planter_id,tillage\nA,2025,p,no_till\n"),
        (
            "setting_log.csv",
            "field_id,season,strip_id,set_force_n,condition,lat,lon\nA,2025,1,200,headland,47.5,-93.5\n",
        ),
        ("stand_count.csv", "field_id,season,strip_id,seeds_sown,emerged\nA,2025,1,100,90\n"),
        ("soil_note.csv", "field_id,season,texture,moisture_feel,residue_cover_pct\nA,2025,silt loam,moist,10\n"),
        ("evenstand.toml", &format!("{PLANTER}[condition]\nby = [\"moisture\"]\n")),
    ]);
    assert!(review.run("run", &[]).status < 2);
    let strip = &review.result("strips")[0];
    let parts =
        ["condition", "moisture", "residue", "texture_group", "tillage", "logged"].map(|name| strip[name].as_str());
    assert_eq!(parts, ["moist", "moist", "bare", "medium", "no-till", "headland"]);
    assert_eq!((number(strip, "lat"), number(strip, "lon")), (47.5, -93.5));
}
