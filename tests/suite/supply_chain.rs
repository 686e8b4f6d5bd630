//! What the program is made of: where it comes from, under which licence, and what it cannot do. Needs no network.

mod licence;
mod notices;
mod packages;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;

use crate::support::{matches_snapshot, root};

use licence::chosen;
use packages::{allowed_licences, locked, packages, rules, tree};

/// The folders of the two workspaces.
const WORKSPACES: [&str; 2] = [".", "pipeline/cluster"];
const OURS: &str = "evenstand";

/// Says what could not be looked at.
fn untold(what: &str) {
    eprintln!("skipped: {what}: the sources of some crate are not on this machine (`cargo fetch --locked` gets them)");
}

#[test]
fn every_crate_comes_from_the_registry_and_has_a_checksum() {
    for workspace in WORKSPACES {
        let entries = locked(workspace);
        assert!(entries.len() > 300, "{workspace}");
        for entry in entries {
            if entry.name.starts_with(OURS) {
                assert!(entry.source.is_none(), "{workspace}: {entry:?} is ours and comes from elsewhere");
                continue;
            }
            let registry = "registry+https://github.com/rust-lang/crates.io-index";
            assert_eq!(entry.source.as_deref(), Some(registry), "{workspace}: {entry:?}");
            assert!(entry.checksum.is_some_and(|sum| sum.len() == 64), "{workspace}: {} has no checksum", entry.name);
        }
    }
}

#[test]
fn every_crate_may_be_taken_under_a_licence_of_the_list() {
    let allowed = allowed_licences();
    for workspace in WORKSPACES {
        let Some(packages) = packages(workspace) else {
            untold(&format!("licences of {workspace}"));
            continue;
        };
        assert!(packages.len() > 300, "{workspace}");
        for package in packages {
            let licence = package.licence.unwrap_or_default();
            let name = format!("{workspace}: {} {}", package.name, package.version);
            if package.name.starts_with(OURS) {
                assert_eq!(licence, "MIT OR Apache-2.0", "{name}");
            }
            assert!(
                chosen(&licence, &allowed).is_some(),
                "{name} is under {licence:?}, which .ci/deny.toml does not list"
            );
        }
    }
}

#[test]
fn every_crate_that_is_there_twice_has_its_reason() {
    let mut versions: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for entry in locked(".") {
        versions.entry(entry.name).or_default().insert(entry.version);
    }
    let rules = rules();
    let mut reasons = BTreeSet::new();
    for skip in rules["bans"]["skip"].as_array().unwrap() {
        assert!(skip["reason"].as_str().unwrap().len() > 4);
        reasons.insert(skip["crate"].as_str().unwrap().to_owned());
    }
    let mut used = BTreeSet::new();
    for (name, versions) in versions {
        let mut untold = Vec::new();
        for version in &versions {
            let known = reasons.iter().find(|reason| {
                let (of, start) = reason.split_once('@').unwrap();
                of == name && version.starts_with(&format!("{start}."))
            });
            match known {
                Some(reason) => drop(used.insert(reason.clone())),
                None => untold.push(version),
            }
        }
        assert!(untold.len() <= 1, "{name} is there as {untold:?}: name all but one in .ci/deny.toml, with the reason");
        assert!(!untold.is_empty(), "{name}: .ci/deny.toml passes over all its versions");
    }
    assert_eq!(used, reasons, "a reason in .ci/deny.toml for a crate that is not there twice");
}

#[test]
fn no_crate_that_speaks_with_a_network_is_in_the_program() {
    // tokio, mio and socket2 come with polars and are not listed: the next test shows that nothing of theirs that connects is left.
    let speakers = [
        "async-std",
        "curl",
        "h2",
        "h3",
        "hyper",
        "isahc",
        "native-tls",
        "object_store",
        "openssl",
        "quinn",
        "reqwest",
        "ring",
        "rustls",
        "smol",
        "tungstenite",
        "ureq",
    ];
    let Some(shipped) = tree(&["--package", OURS, "--edges", "normal"]) else {
        return untold("crates that speak with a network");
    };
    assert!(shipped.len() > 200);
    let found: Vec<_> = shipped.keys().filter(|(name, _)| speakers.contains(&name.as_str())).collect();
    assert!(found.is_empty(), "{found:?}");
}

#[test]
#[cfg(target_os = "linux")]
fn the_program_calls_nothing_that_opens_a_connection() {
    let program = fs::read(env!("CARGO_BIN_EXE_evenstand")).unwrap();
    let known = ["fsync", "mmap64"];
    let speaking = ["socket", "connect", "getaddrinfo", "gethostbyname", "sendto", "sendmsg", "recvfrom", "listen"];
    // Names of functions that come from the system stand between zero bytes in the list of what is to be linked.
    let looked_for: Vec<&[u8]> = known.iter().chain(&speaking).map(|name| name.as_bytes()).collect();
    let found: BTreeSet<&[u8]> = program.split(|byte| *byte == 0).filter(|name| looked_for.contains(name)).collect();
    for name in known {
        assert!(found.contains(name.as_bytes()), "{name} is called and was not found: this test sees nothing");
    }
    for name in speaking {
        assert!(!found.contains(name.as_bytes()), "the program calls {name}");
    }
}

#[test]
fn the_program_that_is_installed_is_the_one_that_is_tested() {
    let alone = tree(&["--package", OURS, "--edges", "normal,build"]);
    let tested = tree(&["--workspace", "--edges", "normal,build,dev"]);
    let (Some(alone), Some(tested)) = (alone, tested) else {
        return untold("features of the installed program");
    };
    assert!(alone.len() > 200 && alone.len() < tested.len());
    for (package, features) in alone {
        assert_eq!(
            features, tested[&package],
            "{package:?}: the tests turn on other features than an installation; name them in Cargo.toml"
        );
    }
}

#[test]
fn third_party_notices_are_up_to_date() {
    let shipped = tree(&["--package", OURS, "--edges", "normal,no-proc-macro"]);
    let (Some(shipped), Some(packages)) = (shipped, packages(".")) else {
        return untold("third-party notices");
    };
    let is_listed = |name: &str, version: &str| {
        !name.starts_with(OURS) && shipped.contains_key(&(name.to_owned(), version.to_owned()))
    };
    let mut listed: Vec<_> = packages.iter().filter(|package| is_listed(&package.name, &package.version)).collect();
    listed.sort_by_key(|package| (&package.name, &package.version));
    assert_eq!(listed.len(), shipped.keys().filter(|(name, version)| is_listed(name, version)).count());
    let page = notices::page(&listed, &allowed_licences());
    matches_snapshot(&root().join("THIRD-PARTY-NOTICES.md"), page.as_bytes());
}
