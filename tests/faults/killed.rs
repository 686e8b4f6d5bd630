//! A run killed at any moment leaves the old folder or the new one, and the next run comes to what it would have come to.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::Stdio;
use std::time::{Duration, Instant};

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::support::files_below;
use crate::world::{can, change, copy, made, program, review, same, says};

type Files = BTreeMap<String, Vec<u8>>;

/// A stage with the review as it stands before it and after it.
struct Stage {
    command: &'static str,
    /// The folder that it makes.
    makes: &'static str,
    before: tempfile::TempDir,
    old: Files,
    after: Files,
    length: Duration,
}

fn run(command: &str, folder: &Path) -> Duration {
    let start = Instant::now();
    let status = program().args([command, "--quiet"]).arg(folder).stderr(Stdio::null()).status().unwrap();
    assert!(status.code().is_some_and(|code| code < 2), "{command}");
    start.elapsed()
}

/// The three stages of a review in which one count changed after everything was made.
fn stages() -> Vec<Stage> {
    let review = review();
    run("run", review.path());
    change(review.path());
    let mut stages = Vec::new();
    for (command, makes) in [("ingest", "store"), ("model", "results"), ("report", "report")] {
        let before = tempfile::tempdir().unwrap();
        copy(review.path(), before.path());
        let old = files_below(review.path());
        let length = run(command, review.path());
        let after = files_below(review.path());
        assert_ne!(part(&old, makes), part(&after, makes), "{command} changes nothing");
        stages.push(Stage { command, makes, before, old, after, length });
    }
    stages
}

/// The files of one folder.
fn part(files: &Files, folder: &str) -> Files {
    let below = format!("{folder}/");
    files
        .iter()
        .filter(|(name, _)| name.starts_with(&below))
        .map(|(name, bytes)| (name.clone(), bytes.clone()))
        .collect()
}

/// The files of everything that is not a folder half made or half removed beside the one that a stage makes.
fn in_their_places(folder: &Path, makes: &str) -> Files {
    let aside = [format!(".{makes}.new/"), format!(".{makes}.old/")];
    let mut files = files_below(folder);
    files.retain(|name, _| !aside.iter().any(|aside| name.starts_with(aside)));
    files
}

/// Whether what a killed run left is the old review or the new one. Panics where it is neither.
fn old_or_new(stage: &Stage, folder: &Path, when: &str) -> bool {
    let found = in_their_places(folder, stage.makes);
    if found == stage.after {
        return true;
    }
    same(&found, &stage.old, &format!("{} killed {when}", stage.command));
    false
}

/// Kills a stage after this time; how long it took where it was done before.
fn killed_after(command: &str, folder: &Path, moment: Duration) -> Option<Duration> {
    let start = Instant::now();
    let mut child = program().args([command, "--quiet"]).arg(folder).stderr(Stdio::null()).spawn().unwrap();
    while start.elapsed() < moment {
        if child.try_wait().unwrap().is_some() {
            return Some(start.elapsed());
        }
        std::thread::sleep(Duration::from_millis(1).min(moment.saturating_sub(start.elapsed())));
    }
    child.kill().unwrap();
    child.wait().unwrap().code().map(|_| start.elapsed())
}

/// Kills each stage at moments spread over its length; `EVENSTAND_KILLS` says how often in all.
#[test]
fn a_run_killed_at_any_moment_leaves_the_old_or_the_new_and_the_next_one_completes() {
    let kills: usize = std::env::var("EVENSTAND_KILLS").ok().and_then(|text| text.parse().ok()).unwrap_or(42);
    let mut random = ChaCha8Rng::seed_from_u64(7);
    let stages = stages();
    let each = kills.div_ceil(stages.len());
    for stage in &stages {
        let (mut cut_short, mut new, mut length) = (0, 0, stage.length);
        for kill in 0..each {
            let folder = tempfile::tempdir().unwrap();
            copy(stage.before.path(), folder.path());
            // One moment in each of as many equal pieces of the stage's length.
            let moment = length.mul_f64((kill as f64 + random.random::<f64>()) / each as f64);
            match killed_after(stage.command, folder.path(), moment) {
                None => cut_short += 1,
                // It was done before: the machine has more time for it than when its length was measured.
                Some(done) => length = length.min(done),
            }
            new += usize::from(old_or_new(stage, folder.path(), &format!("after {moment:?}")));
            run(stage.command, folder.path());
            same(
                &files_below(folder.path()),
                &stage.after,
                &format!("{} again, killed after {moment:?}", stage.command),
            );
        }
        println!(
            "{}: {length:?} long, {each} kills, {cut_short} cut it short, {new} left the new folder",
            stage.command
        );
        if cfg!(unix) {
            assert!(cut_short * 2 >= each, "{}: only {cut_short} of {each} kills came in time", stage.command);
        }
    }
}

/// The moments that chance hardly meets: at the exchange of the folders, and while the old one is removed.
#[test]
fn a_run_killed_while_folders_change_places_leaves_the_old_or_the_new() {
    if !can("strace", &["-o", "/dev/null", "true"]) {
        return;
    }
    let mut left_new = 0;
    for stage in stages() {
        for (call, times) in [("renameat2", 1), ("unlink", 1), ("unlink", 2), ("unlinkat", 1), ("rmdir", 1)] {
            let folder = tempfile::tempdir().unwrap();
            copy(stage.before.path(), folder.path());
            let inject = format!("inject={call}:signal=SIGKILL:when={times}");
            let status = std::process::Command::new("strace")
                .args(["-f", "-qq", "-o", "/dev/null", "-e", &format!("trace={call}"), "-e", &inject])
                .arg(env!("CARGO_BIN_EXE_evenstand"))
                .args([stage.command, "--quiet"])
                .arg(folder.path())
                .stderr(Stdio::null())
                .status()
                .unwrap();
            let when = format!("at {call} {times}");
            assert!(
                call == "rmdir" || status.code().is_none_or(|code| code > 128),
                "{} was not killed {when}",
                stage.command
            );
            left_new += usize::from(old_or_new(&stage, folder.path(), &when));
            run(stage.command, folder.path());
            same(&files_below(folder.path()), &stage.after, &format!("{} again, killed {when}", stage.command));
        }
    }
    assert!(left_new >= 3, "a run that was killed while it removed the old folder left the new one {left_new} times");
}

/// A run that has nothing to do also clears away what a killed one left.
#[test]
fn leftovers_of_a_killed_run_are_no_results_and_are_cleared_away() {
    let review = review();
    run("run", review.path());
    let whole = files_below(review.path());
    for name in [".store.new", ".results.new", ".report.new", ".report.old"] {
        fs::create_dir(review.path().join(name)).unwrap();
        fs::write(review.path().join(name).join("half.csv"), "half").unwrap();
        // The list of its files is there from the start, and last to go.
        fs::write(review.path().join(name).join(".made-by-evenstand"), "").unwrap();
    }
    run("run", review.path());
    same(&files_below(review.path()), &whole, "leftovers");
    // Where folders cannot be exchanged in one step, a run may die between two renames.
    fs::rename(review.path().join("results"), review.path().join(".results.old")).unwrap();
    run("report", review.path());
    same(&made(review.path()), &made_of(&whole), "a folder that was out of the way");
    // A folder of such a name without it is somebody else's.
    let theirs = review.path().join(".report.old/thesis.txt");
    fs::create_dir(theirs.parent().unwrap()).unwrap();
    fs::write(&theirs, "chapter one").unwrap();
    let refused = program().arg("report").arg(review.path()).output().unwrap();
    says(&refused, 2, &[".report.old", "move it away"]);
    assert!(theirs.exists());
}

fn made_of(files: &Files) -> Files {
    let ours = |name: &str| crate::world::MADE.iter().any(|part| name.starts_with(&format!("{part}/")));
    files.iter().filter(|(name, _)| ours(name)).map(|(name, bytes)| (name.clone(), bytes.clone())).collect()
}
