//! The packages that the program is made of, as cargo knows them. Nothing is fetched.

use std::collections::BTreeMap;
use std::env;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

use crate::support::root;

/// The target that lists are made for: on another machine the same list comes out.
const TARGET: &str = "x86_64-unknown-linux-gnu";

/// One package, with where its sources lie on this machine.
pub struct Package {
    pub name: String,
    pub version: String,
    pub licence: Option<String>,
    pub authors: Vec<String>,
    pub folder: PathBuf,
}

/// One entry of a lock file.
#[derive(Debug)]
pub struct Locked {
    pub name: String,
    pub version: String,
    pub source: Option<String>,
    pub checksum: Option<String>,
}

/// The entries of the lock file in a folder of the repository.
pub fn locked(folder: &str) -> Vec<Locked> {
    let text = fs::read_to_string(root().join(folder).join("Cargo.lock")).unwrap();
    let lock: toml::Table = text.parse().unwrap();
    let entries = lock["package"].as_array().unwrap().iter();
    entries
        .map(|entry| {
            let text = |key: &str| entry.get(key).map(|value| value.as_str().unwrap().to_owned());
            Locked {
                name: text("name").unwrap(),
                version: text("version").unwrap(),
                source: text("source"),
                checksum: text("checksum"),
            }
        })
        .collect()
}

/// The rules of `.ci/deny.toml`.
pub fn rules() -> toml::Table {
    fs::read_to_string(root().join(".ci/deny.toml")).unwrap().parse().unwrap()
}

/// The licences that may be, in the order in which a choice is taken.
pub fn allowed_licences() -> Vec<String> {
    let rules = rules();
    let allowed = rules["licenses"]["allow"].as_array().unwrap().iter();
    allowed.map(|licence| licence.as_str().unwrap().to_owned()).collect()
}

/// Every package that the workspace in a folder of the repository needs, tests and tools of the build among them. None where this
/// machine has not got the sources of all of them.
pub fn packages(folder: &str) -> Option<Vec<Package>> {
    let said =
        cargo(folder, &["metadata", "--format-version", "1", "--locked", "--offline", "--filter-platform", TARGET])?;
    let metadata: Value = serde_json::from_str(&said).unwrap();
    let all = metadata["packages"].as_array().unwrap().iter();
    let text = |value: &Value| value.as_str().map(str::to_owned);
    Some(
        all.map(|package| Package {
            name: text(&package["name"]).unwrap(),
            version: text(&package["version"]).unwrap(),
            licence: text(&package["license"]),
            authors: package["authors"].as_array().unwrap().iter().filter_map(text).collect(),
            folder: Path::new(package["manifest_path"].as_str().unwrap()).parent().unwrap().to_owned(),
        })
        .collect(),
    )
}

/// Name and version of what `cargo tree` lists, each with the features that are turned on.
pub fn tree(arguments: &[&str]) -> Option<BTreeMap<(String, String), String>> {
    let always = ["tree", "--locked", "--offline", "--target", TARGET, "--prefix", "none", "--format", "{p}|{f}"];
    let said = cargo(".", &[&always, arguments].concat())?;
    // Between the packages that were asked for stand empty lines.
    let lines = said.lines().filter(|line| !line.is_empty()).map(|line| line.trim_end_matches(" (*)"));
    Some(
        lines
            .map(|line| {
                let (package, features) = line.split_once('|').unwrap();
                let mut words = package.split(' ');
                let name = words.next().unwrap().to_owned();
                let version = words.next().unwrap().trim_start_matches('v').to_owned();
                ((name, version), features.to_owned())
            })
            .collect(),
    )
}

/// What cargo prints; none where it would have to fetch something.
fn cargo(folder: &str, arguments: &[&str]) -> Option<String> {
    let program = env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let output = Command::new(program).args(arguments).current_dir(root().join(folder)).output().unwrap();
    if output.status.success() {
        return Some(String::from_utf8(output.stdout).unwrap());
    }
    let problem = String::from_utf8_lossy(&output.stderr);
    // In these words where an archive is missing, and where the index has never heard of a package.
    let absent = ["--offline was specified", "you're using offline mode (--offline)"];
    assert!(absent.iter().any(|words| problem.contains(words)), "cargo {}: {problem}", arguments.join(" "));
    None
}
