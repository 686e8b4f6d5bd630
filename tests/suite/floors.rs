//! Dependencies point down: a crate names only crates of a lower floor.

use std::collections::BTreeMap;
use std::fs;

use crate::support::root;

const FLOORS: [(&str, u8); 19] = [
    ("stats", 0),
    ("agronomy", 0),
    ("tables", 0),
    ("bundle", 0),
    ("paper", 0),
    ("settings", 1),
    ("workbook", 1),
    ("taskdata", 1),
    ("places", 1),
    ("book", 1),
    ("store", 2),
    ("ingest", 2),
    ("link", 2),
    ("model", 2),
    ("report", 2),
    ("sheets", 2),
    ("trial", 2),
    ("cli", 3),
    ("cluster", 3),
];

fn manifest(folder: &str) -> toml::Table {
    let path =
        if folder == "cli" { root().join("Cargo.toml") } else { root().join(format!("pipeline/{folder}/Cargo.toml")) };
    fs::read_to_string(path).unwrap().parse().unwrap()
}

fn dependencies(folder: &str) -> Vec<String> {
    let manifest = manifest(folder);
    let table = manifest["dependencies"].as_table().unwrap();
    table.keys().map(|name| name.trim_start_matches("evenstand-").to_owned()).collect()
}

#[test]
fn every_crate_names_only_crates_of_a_lower_floor() {
    let floors: BTreeMap<&str, u8> = FLOORS.into_iter().collect();
    for (folder, floor) in FLOORS {
        for dependency in dependencies(folder) {
            if let Some(other) = floors.get(dependency.as_str()) {
                assert!(*other < floor, "{folder} (floor {floor}) names {dependency} (floor {other})");
            }
        }
    }
}

#[test]
fn every_folder_of_the_pipeline_has_a_floor() {
    for entry in fs::read_dir(root().join("pipeline")).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        assert!(FLOORS.iter().any(|(folder, _)| *folder == name), "pipeline/{name} has no floor");
    }
}

#[test]
fn heavy_crates_stay_in_their_rooms() {
    let rooms = [
        ("polars", vec!["link"]),
        ("plotters", vec!["report"]),
        ("linfa-linear", vec!["stats"]),
        ("parquet", vec!["tables", "store", "ingest", "link", "cluster"]),
        ("rusqlite", vec!["places"]),
        ("pdf-writer", vec!["paper"]),
    ];
    for (heavy, allowed) in rooms {
        for (folder, _) in FLOORS {
            let named = dependencies(folder).iter().any(|name| name == heavy);
            assert!(!named || allowed.contains(&folder), "{folder} names {heavy}");
            assert!(named || !allowed.contains(&folder), "{folder} no longer names {heavy}: correct this test");
        }
    }
}

#[test]
fn the_report_sees_result_tables_alone() {
    let ours: Vec<String> =
        dependencies("report").into_iter().filter(|name| FLOORS.iter().any(|(folder, _)| folder == name)).collect();
    assert_eq!(ours, ["book", "paper", "tables"], "and crates that turn them into bytes");
}

/// Manifests of the workspace and of the workspaces beside it.
fn manifests() -> Vec<std::path::PathBuf> {
    let (mut found, mut folders) = (Vec::new(), vec![root()]);
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).unwrap() {
            let path = entry.unwrap().path();
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            if path.is_dir() && !path.is_symlink() && !name.starts_with('.') && name != "target" {
                folders.push(path);
            } else if name == "Cargo.toml" {
                found.push(path);
            }
        }
    }
    found
}

#[test]
fn no_crate_may_hold_unsafe_code() {
    let manifests = manifests();
    for path in &manifests {
        let manifest: toml::Table = fs::read_to_string(path).unwrap().parse().unwrap();
        let lints = manifest.get("lints").unwrap_or_else(|| panic!("{} has no [lints]", path.display()));
        let inherits = lints.get("workspace").and_then(toml::Value::as_bool) == Some(true);
        let own = lints.get("rust").and_then(|rust| rust.get("unsafe_code")).and_then(toml::Value::as_str);
        assert!(inherits || own == Some("forbid"), "{}: write [lints] workspace = true", path.display());
        let shared =
            manifest.get("workspace").and_then(|workspace| workspace.get("lints")?.get("rust")?.get("unsafe_code"));
        assert!(shared.is_none_or(|level| level.as_str() == Some("forbid")), "{}", path.display());
    }
    assert!(manifests.len() >= FLOORS.len() + 2, "{} manifests were found", manifests.len());
}
