//! The cluster against `evenstand link`: the same table in one process, on two executors, and when one of them is killed.

#![allow(clippy::unwrap_used, missing_docs)]

mod support;

use std::path::Path;

use support::object_server;
use support::process::{Process, executor, scheduler, tasks};
use support::review::{Review, review};
use support::same_tables;

fn link(review: &Review, out: &Path, scheduler: Option<&str>) -> Process {
    link_store(review.store().to_str().unwrap(), review, out, scheduler, &[])
}

fn link_store(
    store: &str,
    review: &Review,
    out: &Path,
    scheduler: Option<&str>,
    environment: &[(&str, &str)],
) -> Process {
    let settings = review.settings();
    let mut arguments = vec!["link", "--store", store, "--settings", settings.to_str().unwrap()];
    arguments.extend(["--out", out.to_str().unwrap()]);
    arguments.extend(scheduler.iter().flat_map(|url| ["--scheduler", url]));
    Process::start_with(&arguments, environment)
}

#[test]
fn one_process_writes_the_table_that_evenstand_link_writes() {
    let Some(review) = review() else { return };
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("totals.parquet");
    let (well, said) = link(review, &out, None).finish();
    assert!(well, "{said:?}");
    same_tables(&out, &review.expected());
}

#[test]
fn two_executors_write_the_table_that_evenstand_link_writes() {
    let Some(review) = review() else { return };
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("totals.parquet");
    let (_scheduler, url) = scheduler(60, &[]);
    let executors = ["one", "two"].map(|name| executor(&url, &folder.path().join(name), 0, &[]));
    let (well, said) = link(review, &out, Some(&url)).finish();
    assert!(well, "{said:?}");
    same_tables(&out, &review.expected());
    for executor in executors {
        executor.wait_until("every executor has done some of it", |lines| (tasks(lines).1 > 0).then_some(()));
    }
}

/// The same from an object store, which scheduler and executors find by the environment.
#[test]
fn a_store_in_an_object_store_gives_the_same_table() {
    let Some(review) = review() else { return };
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("totals.parquet");
    let endpoint = object_server::serve(review.store().parent().unwrap());
    let environment = [
        ("AWS_ENDPOINT", endpoint.as_str()),
        ("AWS_ALLOW_HTTP", "true"),
        ("AWS_REGION", "local"),
        ("AWS_ACCESS_KEY_ID", "nobody"),
        ("AWS_SECRET_ACCESS_KEY", "nothing"),
    ];
    let (_scheduler, url) = scheduler(60, &environment);
    let _executors = ["one", "two"].map(|name| executor(&url, &folder.path().join(name), 0, &environment));
    let (well, said) = link_store("s3://reviews/store", review, &out, Some(&url), &environment).finish();
    assert!(well, "{said:?}");
    same_tables(&out, &review.expected());
}

/// Reads are slowed, so that the work lasts; the executor dies with a task begun and the results of another on its disk.
#[test]
fn an_executor_that_is_killed_at_work_changes_nothing() {
    let Some(review) = review() else { return };
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("totals.parquet");
    let (_scheduler, url) = scheduler(4, &[]);
    let dying = executor(&url, &folder.path().join("dying"), 250, &[]);
    let staying = executor(&url, &folder.path().join("staying"), 250, &[]);
    let mut run = link(review, &out, Some(&url));
    dying.wait_until("it has finished a task and is at work on another", |lines| {
        let (begun, finished) = tasks(lines);
        (finished > 0 && begun > finished).then_some(())
    });
    assert!(run.runs());
    let (begun, finished) = tasks(&dying.kill());
    assert!(finished > 0 && begun > finished, "{begun} tasks begun, {finished} finished: nothing was cut off");
    let at_death = tasks(&staying.said()).1;
    let (well, said) = run.finish();
    assert!(well, "{said:?}");
    same_tables(&out, &review.expected());
    assert!(tasks(&staying.said()).1 > at_death + 1, "the other executor did not take over");
}

#[test]
fn a_scheduler_that_is_not_there_or_has_nobody_is_named() {
    let Some(review) = review() else { return };
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("totals.parquet");
    let (well, said) = link(review, &out, Some("http://127.0.0.1:1")).finish();
    assert!(!well && said.join("\n").contains("no scheduler answers at 127.0.0.1:1"), "{said:?}");
    let (_scheduler, url) = scheduler(60, &[]);
    let (well, said) = link(review, &out, Some(&url)).finish();
    assert!(!well && said.join("\n").contains("has no executor"), "{said:?}");
    assert!(!out.exists());
}

#[test]
fn a_folder_that_is_no_store_and_a_file_that_cannot_be_written_are_named() {
    let Some(review) = review() else { return };
    let folder = tempfile::tempdir().unwrap();
    let place = |store: &Path, out: &Path| {
        let arguments = ["link", "--store", store.to_str().unwrap(), "--out", out.to_str().unwrap()];
        let (well, said) = Process::start(&arguments).finish();
        assert!(!well);
        said.join("\n")
    };
    let out = folder.path().join("totals.parquet");
    assert!(place(folder.path(), &out).contains("is no store: manifest.json"));
    assert!(place(&folder.path().join("gone"), &out).contains("cannot be opened"));
    assert!(place(&review.store(), folder.path()).contains("is a folder"));
    assert!(
        place(&review.store(), &folder.path().join("gone/totals.parquet"))
            .contains("lies in a folder that is not there")
    );
}
