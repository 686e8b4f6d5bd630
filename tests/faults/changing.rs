//! Files that change or go while they are read.

use std::fs::{self, File};
use std::io::Write;
use std::path::Path;
use std::process::{Command, Output};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use crate::support::files_below;
use crate::world::{program, review, same, says};

/// Runs `ingest` while `disturb` is done to a file of `raw/` again and again.
fn disturbed(folder: &Path, disturb: impl Fn(&Path, usize) + Send + Sync) -> Output {
    let (over, path) = (AtomicBool::new(false), folder.join("raw/setting_log-east.csv"));
    std::thread::scope(|scope| {
        scope.spawn(|| {
            let mut times = 0;
            while !over.load(Ordering::Relaxed) {
                disturb(&path, times);
                times += 1;
                std::thread::sleep(Duration::from_millis(1));
            }
        });
        std::thread::sleep(Duration::from_millis(20));
        let output = program().arg("ingest").arg(folder).output();
        over.store(true, Ordering::Relaxed);
        output.unwrap()
    })
}

/// A file large enough that reading it takes longer than a change.
fn lengthen(folder: &Path) -> String {
    let path = folder.join("raw/setting_log-east.csv");
    let (mut text, row) = (fs::read_to_string(&path).unwrap(), "East,2025,1,2025-05-01T09:30:00,2.1,160,160\n");
    text.push_str(&row.repeat(150_000));
    fs::write(&path, &text).unwrap();
    text
}

#[test]
fn a_file_that_grows_or_shrinks_while_it_is_read_ends_the_run_and_the_store_stays() {
    let review = review();
    review.run("ingest", &[]);
    let text = lengthen(review.path());
    let before = files_below(&review.path().join("store"));
    let grow = |path: &Path, _: usize| {
        let mut file = File::options().append(true).open(path).unwrap();
        file.write_all(b"East,2025,1,2025-05-01T09:31:00,2.1,160,160\n").unwrap();
    };
    says(&disturbed(review.path(), grow), 2, &["setting_log-east.csv", "changed while it was read", "run again"]);
    let (whole, cut) = (text.len() as u64, text.len() as u64 / 2);
    let shrink = |path: &Path, times: usize| {
        let file = File::options().write(true).open(path).unwrap();
        file.set_len(if times.is_multiple_of(2) { cut } else { whole }).unwrap();
    };
    says(&disturbed(review.path(), shrink), 2, &["setting_log-east.csv", "changed while it was read"]);
    same(&files_below(&review.path().join("store")), &before, "a file that changes");
    fs::write(review.path().join("raw/setting_log-east.csv"), text).unwrap();
    assert!(review.run("ingest", &[]).status < 2, "once it is quiet");
}

/// It is there or it is not; a digest of one file never stands beside rows of another, nor rows of half a file.
#[test]
fn a_file_that_comes_and_goes_is_read_whole_or_not_at_all() {
    let review = review();
    lengthen(review.path());
    let away = review.path().join("away.csv");
    let without = {
        let path = review.path().join("raw/setting_log-east.csv");
        fs::rename(&path, &away).unwrap();
        review.run("ingest", &["--afresh"]);
        let without = files_below(&review.path().join("store"));
        fs::rename(&away, &path).unwrap();
        without
    };
    let come_and_go = |path: &Path, times: usize| {
        let _ = if times.is_multiple_of(2) { fs::rename(path, &away) } else { fs::rename(&away, path) };
    };
    for _ in 0..3 {
        let output = disturbed(review.path(), come_and_go);
        let _ = fs::rename(&away, review.path().join("raw/setting_log-east.csv"));
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(!said.contains("panicked"), "{said}");
        if output.status.code() == Some(2) {
            assert!(said.contains("setting_log-east.csv"), "{said}");
        }
        same(&files_below(&review.path().join("store")), &without, "a file that comes and goes");
    }
}

/// A pipe has no end to wait for.
#[test]
fn a_pipe_in_raw_is_named_and_not_waited_for() {
    let review = review();
    let pipe = review.path().join("raw/stand_count-live.csv");
    if !Command::new("mkfifo").arg(&pipe).status().is_ok_and(|status| status.success()) {
        println!("skipped: there is no mkfifo");
        return;
    }
    let said = review.run("ingest", &[]);
    assert!(said.status < 2 && said.stderr.contains("stand_count-live.csv"), "{}", said.stderr);
    assert!(said.stderr.contains("no plain file"), "{}", said.stderr);
}
