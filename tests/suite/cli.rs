//! Commands, exit statuses, help, JSON.

use serde_json::Value;

use crate::support::{TestReview, evenstand, files_below};

/// Four strips of one field with two settings, and nothing wrong.
pub fn small_review() -> TestReview {
    TestReview::new(&[
        (
            "field.csv",
            "field_id,season,planted_at,timezone,row_spacing_cm,seed_rate_per_ha\nA,2025,2025-05-01 08:00,America/Chicago,75,80000\n",
        ),
        (
            "setting_log.csv",
            "field_id,season,strip_id,block,set_force_n\nA,2025,1,I,100\nA,2025,2,I,200\nA,2025,3,II,100\nA,2025,4,II,200\n",
        ),
        (
            "stand_count.csv",
            "field_id,season,strip_id,sample_id,seeds_sown,counted_at,emerged\n\
             A,2025,1,a,100,2025-05-08,0\nA,2025,1,a,100,2025-05-12,80\n\
             A,2025,2,a,100,2025-05-08,0\nA,2025,2,a,100,2025-05-12,84\n\
             A,2025,3,a,100,2025-05-08,0\nA,2025,3,a,100,2025-05-12,78\n\
             A,2025,4,a,100,2025-05-08,0\nA,2025,4,a,100,2025-05-12,86\n",
        ),
    ])
}

#[test]
fn the_help_of_run_shows_an_example() {
    let said = evenstand(&["help", "run"]);
    assert_eq!(said.status, 0);
    assert!(said.stdout.contains("Example:") && said.stdout.contains("stand_count.csv"), "{}", said.stdout);
}

#[test]
fn a_wrong_command_is_status_2() {
    assert_eq!(evenstand(&["sow", "x"]).status, 2);
    assert_eq!(evenstand(&["run", "no-such-folder"]).status, 2);
}

#[test]
fn stages_can_be_run_one_by_one_and_give_what_run_gives() {
    let (one, all) = (small_review(), small_review());
    for command in ["ingest", "model", "report"] {
        let said = one.run(command, &[]);
        assert!(said.status < 2, "{command}: {}", said.stderr);
    }
    all.run("run", &[]);
    for folder in ["store", "results"] {
        let (left, right) = (files_below(&one.path().join(folder)), files_below(&all.path().join(folder)));
        assert_eq!(left.keys().collect::<Vec<_>>(), right.keys().collect::<Vec<_>>());
        for (name, bytes) in left {
            // The title of a review without a name is its folder's, which differs here.
            let of_the_name = name.starts_with("model.")
                || folder == "results" && (name.starts_with(".made") || name == "datapackage.json");
            assert!(of_the_name || right[&name] == bytes, "{folder}/{name} differs");
        }
    }
}

#[test]
fn a_stage_without_the_one_before_says_what_to_run() {
    let review = small_review();
    let said = review.run("model", &[]);
    assert_eq!(said.status, 2);
    assert!(said.stderr.contains("evenstand ingest"), "{}", said.stderr);
    let said = review.run("report", &[]);
    assert_eq!(said.status, 2);
    assert!(said.stderr.contains("evenstand run"), "{}", said.stderr);
}

#[test]
fn json_is_one_object_with_the_counts() {
    let review = small_review();
    let said = review.run("ingest", &["--json"]);
    let object: Value = serde_json::from_str(&said.stdout).unwrap();
    assert_eq!(object["status"], 0);
    assert_eq!(
        (&object["rows_read"], &object["rows_kept"], &object["rows_set_aside"]),
        (&13.into(), &13.into(), &0.into())
    );
    assert!(object["elapsed_s"].is_number() && object["findings"]["error"] == 0);
}

#[test]
fn json_tells_of_a_failure_too() {
    let said = evenstand(&["run", "no-such-folder", "--json"]);
    let object: Value = serde_json::from_str(&said.stdout).unwrap();
    assert_eq!(object["status"], 2);
    assert!(object["message"].as_str().unwrap().contains("no-such-folder"));
}

#[test]
fn out_leaves_the_review_untouched() {
    let review = small_review();
    let before = files_below(review.path());
    let out = tempfile::tempdir().unwrap();
    let said = review.run("run", &["--out", out.path().to_str().unwrap()]);
    assert!(said.status < 2, "{}", said.stderr);
    assert_eq!(files_below(review.path()), before);
    for name in ["store/manifest.json", "results/datapackage.json", "report/index.html"] {
        assert!(out.path().join(name).exists(), "{name}");
    }
}

#[test]
fn check_writes_nothing_and_counts_strips() {
    let review = small_review();
    let before = files_below(review.path());
    let said = review.run("check", &[]);
    assert_eq!(said.status, 0, "{}", said.stderr);
    assert_eq!(files_below(review.path()), before);
    assert!(said.stdout.contains("4 strips, of which 4 have both"), "{}", said.stdout);
}

#[test]
fn quiet_says_nothing_when_all_is_well() {
    let review = small_review();
    let said = review.run("ingest", &["--quiet"]);
    assert_eq!((said.status, said.stdout.as_str(), said.stderr.as_str()), (0, "", ""));
}

#[test]
fn files_of_somebody_else_survive_in_every_output_folder() {
    let review = small_review();
    review.run("run", &[]);
    for folder in ["store", "results", "report"] {
        std::fs::write(review.path().join(folder).join("mine.txt"), "mine").unwrap();
    }
    review.put("stand_count.csv", "field_id,season,strip_id,seeds_sown,emerged\nA,2025,1,100,70\nA,2025,2,100,80\n");
    assert!(review.run("run", &[]).status < 2);
    for folder in ["store", "results", "report"] {
        assert_eq!(std::fs::read_to_string(review.path().join(folder).join("mine.txt")).unwrap(), "mine");
    }
}

#[test]
fn output_into_raw_is_refused() {
    let review = small_review();
    let raw = review.path().join("raw/sub");
    let before = files_below(review.path());
    assert_eq!(review.run("run", &["--out", raw.to_str().unwrap()]).status, 2);
    assert!(!raw.exists());
    assert_eq!(files_below(review.path()), before);
}

#[test]
fn runs_at_once_leave_a_whole_review_and_the_late_ones_say_so() {
    let review = small_review();
    review.run("run", &[]);
    let before = files_below(review.path());
    let children: Vec<_> = (0..6)
        .map(|_| {
            std::process::Command::new(env!("CARGO_BIN_EXE_evenstand"))
                .args(["run", review.path().to_str().unwrap()])
                .stdout(std::process::Stdio::null())
                .stderr(std::process::Stdio::piped())
                .spawn()
                .unwrap()
        })
        .collect();
    let said: Vec<_> = children.into_iter().map(|child| child.wait_with_output().unwrap()).collect();
    assert!(said.iter().any(|run| run.status.code().unwrap() < 2), "every run failed");
    for run in said.iter().filter(|run| run.status.code() == Some(2)) {
        let stderr = String::from_utf8_lossy(&run.stderr);
        assert!(stderr.contains("another run is at work"), "{stderr}");
    }
    assert_eq!(files_below(review.path()), before);
}

#[cfg(unix)]
#[test]
fn a_link_in_raw_is_named() {
    let review = small_review();
    let elsewhere = review.path().join("counts.csv");
    std::fs::rename(review.path().join("raw/stand_count.csv"), &elsewhere).unwrap();
    std::os::unix::fs::symlink(&elsewhere, review.path().join("raw/stand_count.csv")).unwrap();
    let said = review.run("ingest", &[]);
    assert!(said.stderr.contains("stand_count.csv") && said.stderr.contains("a copy"), "{}", said.stderr);
}
