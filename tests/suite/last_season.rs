//! Last season's answers of the demo: made by running it as it stood a year ago, and named by the demo of today.

use std::fs;
use std::path::Path;
use std::process::Command;

use crate::support::{files_below, matches_snapshot, root};

const NEWEST: &str = "2025";

#[test]
fn last_seasons_answers_of_the_demo_are_those_of_its_records_of_a_year_ago() {
    let work = tempfile::tempdir().unwrap();
    let demo = root().join("sample-data/winter-review");
    for (name, bytes) in files_below(&demo.join("raw")) {
        if name.contains(NEWEST) || !name.ends_with(".csv") {
            continue;
        }
        let target = work.path().join("raw").join(&name);
        fs::create_dir_all(target.parent().unwrap()).unwrap();
        fs::write(target, without_newest(&String::from_utf8(bytes).unwrap())).unwrap();
    }
    let settings = fs::read_to_string(demo.join("evenstand.toml")).unwrap();
    let (before, after) = settings.split_once("[last_season]").expect("the demo names last season's answers");
    let after = after.split_once("\n\n").map_or("", |(_, rest)| rest);
    fs::write(work.path().join("evenstand.toml"), format!("{before}{after}")).unwrap();
    run(work.path(), &["run"]);
    let made = fs::read(work.path().join("results/starting_points.csv")).unwrap();
    matches_snapshot(&demo.join("last-season/starting_points.csv"), &made);
}

#[test]
fn a_table_of_last_season_that_is_not_there_or_is_none_stops_the_model_with_the_way_out() {
    let work = tempfile::tempdir().unwrap();
    let raw = work.path().join("raw");
    fs::create_dir_all(&raw).unwrap();
    fs::write(
        raw.join("stand_count.csv"),
        "field_id,season,strip_id,seeds_sown,counted_at,emerged\nA,2025,1,100,2025-05-09T10:00Z,80\n",
    )
    .unwrap();
    let settings = "[last_season]\nstarting_points = \"last/starting_points.csv\"\n";
    fs::write(work.path().join("evenstand.toml"), settings).unwrap();
    let said = refused(work.path());
    assert!(said.contains("last/starting_points.csv cannot be read") && said.contains("[last_season]"), "{said}");
    fs::create_dir_all(work.path().join("last")).unwrap();
    let table = work.path().join("last/starting_points.csv");
    fs::write(&table, "condition,closer\nmoist,discs\n").unwrap();
    let said = refused(work.path());
    assert!(said.contains("there is no column response; the columns are condition, closer"), "{said}");
    let head = "condition,closer,planter_id,response,evidence,start_n\n";
    fs::write(&table, format!("{head}moist,discs,,on_time_share,settled,12 kg\n")).unwrap();
    let said = refused(work.path());
    assert!(said.contains("row 2, column start_n: \"12 kg\" is no number"), "{said}");
    assert!(!work.path().join("results").exists(), "nothing is half written");
    fs::write(&table, format!("{head}moist,discs,,on_time_share,settled,200\n")).unwrap();
    run(work.path(), &["run"]);
    let told = fs::read_to_string(work.path().join("results/since_last.csv")).unwrap();
    assert!(told.contains("gone"), "{told}");
}

fn refused(review: &Path) -> String {
    let output = Command::new(env!("CARGO_BIN_EXE_evenstand")).arg("run").arg(review).output().unwrap();
    assert_eq!(output.status.code(), Some(2));
    String::from_utf8(output.stderr).unwrap()
}

fn run(review: &Path, command: &[&str]) {
    let output = Command::new(env!("CARGO_BIN_EXE_evenstand")).args(command).arg(review).arg("-q").output().unwrap();
    assert_ne!(output.status.code(), Some(2), "{}", String::from_utf8_lossy(&output.stderr));
}

/// Rows of a table without those of the newest season, by its column `season` or by its dates.
fn without_newest(table: &str) -> String {
    let head: Vec<&str> = table.lines().next().unwrap_or_default().split(',').collect();
    let place = head.iter().position(|name| *name == "season").or(head.iter().position(|name| *name == "date"));
    let old = |line: &&str| {
        let cell = place.and_then(|place| line.split(',').nth(place)).unwrap_or_default();
        !cell.starts_with(NEWEST)
    };
    table.lines().filter(old).map(|line| format!("{line}\n")).collect()
}
