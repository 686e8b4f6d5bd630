//! Two runs on one review at once.

use std::io::Read;
use std::process::{Child, Stdio};

use crate::support::{TestReview, files_below};
use crate::world::{made, program, review};

/// A run that holds the review until it is answered: the first question of a trial that is laid out.
fn holding(review: &TestReview) -> Child {
    let mut child = program()
        .args(["trial", "--ask"])
        .arg(review.path())
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // It asks once it has taken the folder.
    child.stderr.as_mut().unwrap().read_exact(&mut [0]).unwrap();
    child
}

#[test]
fn a_second_run_is_told_what_to_do_and_the_hold_ends_with_the_process() {
    let review = review();
    review.run("run", &[]);
    let (before, out) = (files_below(review.path()), tempfile::tempdir().unwrap());
    let mut first = holding(&review);
    for command in ["run", "ingest", "model", "report", "link", "sheets"] {
        let said = review.run(command, &[]);
        assert_eq!(said.status, 2, "{command}: {}", said.stderr);
        for word in ["another run is at work", "wait until it is done", "--out", "nothing was changed"] {
            assert!(said.stderr.contains(word), "{command}: {}", said.stderr);
        }
    }
    assert!(review.run("check", &[]).status < 2, "a check writes nothing and waits for nobody");
    assert!(review.run("run", &["--out", out.path().to_str().unwrap()]).status < 2, "another folder is free");
    assert_eq!(made(out.path()), made(review.path()));
    first.kill().unwrap();
    first.wait().unwrap();
    assert!(review.run("run", &[]).status < 2, "a killed run holds nothing");
    assert_eq!(files_below(review.path()), before, "and leaves nothing behind to say so");
}
