//! Whatever machine it is: no home folder, odd paths, another system's line ends.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use crate::support::{TestReview, files_below, read_csv};
use crate::world::{copy, made, program, review, same};

#[test]
fn a_run_needs_no_home_folder_and_no_environment_at_all() {
    let (review, usual) = (review(), review());
    usual.run("run", &[]);
    let status = program().args(["run", "--quiet"]).arg(review.path()).env_clear().status().unwrap();
    assert!(status.code().unwrap() < 2);
    same(&made(review.path()), &made(usual.path()), "without an environment");
}

#[test]
fn a_path_with_blanks_and_letters_of_other_alphabets_is_a_path_like_any_other() {
    let (review, place) = (review(), tempfile::tempdir().unwrap());
    review.run("run", &[]);
    let raw = files_below(&review.path().join("raw"));
    let odd = place.path().join("Žito & Söhne (2025) 麦 'n' more");
    copy(&review.path().join("raw"), &odd.join("raw"));
    fs::copy(review.path().join("evenstand.toml"), odd.join("evenstand.toml")).unwrap();
    let output = program().args(["run", "--json"]).arg(&odd).output().unwrap();
    assert!(output.status.code().unwrap() < 2, "{}", String::from_utf8_lossy(&output.stderr));
    same(&made(&odd), &made(review.path()), "an odd path");
    assert_eq!(files_below(&odd.join("raw")), raw, "raw files are as they were");
    // A name of a file too, and the place of last season's answers.
    fs::create_dir(odd.join("last year")).unwrap();
    fs::copy(odd.join("results/starting_points.csv"), odd.join("last year/début.csv")).unwrap();
    let settings = fs::read_to_string(odd.join("evenstand.toml")).unwrap();
    let settings = settings + "[last_season]\nstarting_points = \"last year/début.csv\"\n";
    fs::write(odd.join("evenstand.toml"), settings).unwrap();
    fs::rename(odd.join("raw/soil_note.csv"), odd.join("raw/soil_note nördlich (1).csv")).unwrap();
    let output = program().arg("run").arg(&odd).output().unwrap();
    assert!(output.status.code().unwrap() < 2, "{}", String::from_utf8_lossy(&output.stderr));
    assert!(fs::read_to_string(odd.join("store/manifest.json")).unwrap().contains("soil_note nördlich (1).csv"));
}

/// Rows of every result table, without the digests of files and the text of the settings.
fn numbers(review: &Path) -> BTreeMap<String, Vec<BTreeMap<String, String>>> {
    let mut tables = BTreeMap::new();
    for name in files_below(&review.join("results")).into_keys().filter(|name| name.ends_with(".csv")) {
        let mut rows = read_csv(&review.join("results").join(&name));
        rows.retain(|row| {
            !["data_hash", "settings"].contains(&row.get("name").map_or("", String::as_str)) || name != "model.csv"
        });
        rows.iter_mut().for_each(|row| row.retain(|column, _| !column.ends_with("sha256")));
        tables.insert(name, rows);
    }
    tables
}

#[test]
fn line_ends_of_another_system_change_no_result() {
    let (plain, other) = (review(), review());
    let starts = "condition,closer,planter_id,response,primary,evidence,start_n\n\"moist, bare\",any,,emerged_share,true,leaning,150\n";
    let with_last_season = |review: &TestReview| {
        fs::create_dir(review.path().join("last-season")).unwrap();
        review.put("last-season/starting_points.csv", starts);
        let settings = fs::read_to_string(review.path().join("evenstand.toml")).unwrap();
        review.put(
            "evenstand.toml",
            &(settings + "[last_season]\nstarting_points = \"last-season/starting_points.csv\"\n"),
        );
    };
    [&plain, &other].into_iter().for_each(with_last_season);
    let mut changed = 0;
    for (name, bytes) in files_below(other.path()) {
        let text = String::from_utf8(bytes).unwrap();
        assert!(!text.contains('\r'));
        fs::write(other.path().join(name), text.replace('\n', "\r\n")).unwrap();
        changed += 1;
    }
    assert_eq!(changed, 9);
    for review in [&plain, &other] {
        let said = review.run("run", &[]);
        assert!(said.status < 2, "{}", said.stderr);
    }
    let (plain, other) = (numbers(plain.path()), numbers(other.path()));
    assert!(plain["strips.csv"].len() == 12 && !plain["since_last.csv"].is_empty());
    for (name, rows) in &plain {
        assert_eq!(&other[name], rows, "{name}");
    }
}
