//! No run asks a network for anything.

use std::fs;
use std::process::Command;

use crate::support::{TestReview, root};
use crate::world::{can, made, review, same};

#[test]
fn the_demo_runs_without_a_network_and_asks_for_none() {
    let demo = TestReview::copy_of(&root().join("sample-data/winter-review"));
    if !can("unshare", &["-rn", "true"]) {
        return;
    }
    let log = demo.path().join("calls.txt");
    let traced = can("strace", &["-o", "/dev/null", "true"]);
    let mut command = Command::new("unshare");
    command.arg("-rn");
    if traced {
        command.args(["strace", "-f", "--seccomp-bpf", "-qq", "-e", "trace=%network", "-o"]).arg(&log);
    }
    let output =
        command.arg(env!("CARGO_BIN_EXE_evenstand")).args(["run", "--quiet"]).arg(demo.path()).output().unwrap();
    assert!(output.status.code().unwrap() < 2, "{}", String::from_utf8_lossy(&output.stderr));
    assert!(demo.path().join("report/index.html").exists());
    if traced {
        let calls = fs::read_to_string(&log).unwrap();
        let asked: Vec<&str> =
            calls.lines().filter(|line| line.contains("AF_INET") || line.contains("connect(")).collect();
        assert!(asked.is_empty(), "{asked:?}");
    }
}

#[test]
fn results_without_a_network_are_those_with_one() {
    if !can("unshare", &["-rn", "true"]) {
        return;
    }
    let (with, without) = (review(), review());
    with.run("run", &[]);
    let mut command = Command::new("unshare");
    command.arg("-rn").arg(env!("CARGO_BIN_EXE_evenstand")).args(["run", "--quiet"]).arg(without.path());
    assert!(command.status().unwrap().code().unwrap() < 2);
    same(&made(without.path()), &made(with.path()), "without a network");
}
