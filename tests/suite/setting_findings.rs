//! Settings that cannot be as they stand in a log: each is named with field, season and strip, and with what to do.

use std::collections::BTreeMap;

use crate::support::TestReview;

const SETTINGS: &str = "timezone = \"UTC\"\nclock = \"thermal\"\n\
     [[planter]]\nid = \"air\"\ncloser = \"other\"\n[planter.closing]\nkind = \"pressure\"\nmax_kpa = 400\nstep_kpa = 10\nforce_n = [[0, 0], [400, 400]]\n\
     [[planter]]\nid = \"springs\"\ncloser = \"other\"\n[planter.closing]\nkind = \"positions\"\npositions = [{ label = \"1\", force_n = 100 }, { label = \"2\", force_n = 200 }]\n";

/// Six strips of one field, each but the last with a fault of its own.
fn review() -> TestReview {
    let mut log = String::from("field_id,season,strip_id,planter_id,set_pressure_kpa,set_force_n,closing_position\n");
    for row in [
        "unknown,springs,,,9",
        "varies,air,100,,",
        "varies,air,300,,",
        "disagrees,air,100,,",
        "outside,air,600,,",
        "slow,air,200,,",
        "right,air,200,,",
    ] {
        log += &format!("A,2025,{row}\n");
    }
    let mut telemetry = String::from("field_id,season,strip_id,planter_id,time,speed_m_s,set_pressure_kpa\n");
    for second in 0..20 {
        telemetry += &format!("A,2025,disagrees,air,2025-05-01T09:00:{second:02},2.0,300\n");
        telemetry += &format!("A,2025,slow,air,2025-05-01T10:00:{second:02},0.2,200\n");
    }
    let mut counts = String::from("field_id,season,strip_id,seeds_sown,counted_at,emerged\n");
    for strip in ["unknown", "varies", "disagrees", "outside", "slow", "right"] {
        for (day, up) in [(8, 20), (10, 110), (14, 150)] {
            counts += &format!("A,2025,{strip},180,2025-05-{day:02}T08:00,{up}\n");
        }
    }
    TestReview::new(&[
        ("field.csv", "field_id,season,planted_at\nA,2025,2025-05-01T08:00\n"),
        ("weather.csv", "field_id,season,date,tmin_c,tmax_c\nA,2025,2025-05-02,8,18\n"),
        ("setting_log-hand.csv", &log),
        ("setting_log-machine.csv", &telemetry),
        ("stand_count.csv", &counts),
        ("evenstand.toml", SETTINGS),
    ])
}

/// The only finding of a code.
fn finding<'a>(findings: &'a [BTreeMap<String, String>], code: &str) -> &'a BTreeMap<String, String> {
    let found: Vec<&BTreeMap<String, String>> = findings.iter().filter(|row| row["code"] == code).collect();
    assert_eq!(found.len(), 1, "{code}: {findings:?}");
    found[0]
}

#[test]
fn a_setting_that_cannot_be_is_named_with_its_strip_and_what_to_do() {
    let review = review();
    let said = review.run("run", &[]);
    assert_eq!(said.status, 1, "{}", said.stderr);
    let findings = review.result("findings");
    for (code, strip, file, row, parts) in [
        ("unknown_position", "unknown", "setting_log-hand.csv", "2", &["springs", "\"9\""][..]),
        ("setting_varies", "varies", "setting_log-hand.csv", "3", &["2 rows", "100 to 300 N", "mean is used"]),
        ("setting_disagrees", "disagrees", "", "", &["(100 N)", "(300 N)", "telemetry is used"]),
        ("setting_outside_knob", "outside", "", "", &["600 kPa", "0 to 400 kPa"]),
        ("telemetry_too_slow", "", "", "", &["slower than 1 m/s", "strips: 1"]),
        ("no_weather", "", "", "", &["daily weather is missing"]),
    ] {
        let found = finding(&findings, code);
        assert_eq!((found["severity"].as_str(), found["strip_id"].as_str()), ("warning", strip), "{found:?}");
        assert_eq!((found["field_id"].as_str(), found["season"].as_str()), ("A", "2025"), "{found:?}");
        assert_eq!((found["source_file"].as_str(), found["source_row"].as_str()), (file, row), "{found:?}");
        assert!(parts.iter().all(|part| found["message"].contains(part)), "{found:?}");
        assert!(!found["remedy"].is_empty(), "{found:?}");
    }
    let strips = review.result("strips");
    let force = |strip: &str| strips.iter().find(|row| row["strip_id"] == strip).unwrap()["force_n"].as_str();
    assert_eq!(
        [force("unknown"), force("varies"), force("disagrees"), force("right")],
        ["", "200.0", "300.0", "200.0"]
    );
}
