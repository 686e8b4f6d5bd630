//! A full disk, a folder that is read-only, and a standard output that takes nothing.

use std::fs::{self, File};
use std::process::{Command, Output, Stdio};

use crate::support::files_below;
use crate::world::{MADE, can, change, made, program, review, same, says};

/// Runs a script of the shell with mounts of its own; `$1` is the binary.
fn with_own_mounts(script: &str, arguments: &[&std::path::Path]) -> Output {
    let mut command = Command::new("unshare");
    command.args(["-rm", "sh", "-c", script, "sh", env!("CARGO_BIN_EXE_evenstand")]).args(arguments);
    command.output().unwrap()
}

fn mounts() -> bool {
    cfg!(target_os = "linux") && can("unshare", &["-rm", "sh", "-c", "mount -t tmpfs none /mnt"])
}

/// A small disk is filled but for so many kilobytes, so that the run fails at one place or another.
#[test]
fn a_full_disk_is_said_and_leaves_what_was_there() {
    if !mounts() {
        return;
    }
    let (review, disk, copies) = (review(), tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let old = made_elsewhere(&review);
    let changed = crate::support::TestReview::copy_of(review.path());
    change(changed.path());
    let new = made_elsewhere(&changed);
    let size: usize = new.values().map(|bytes| bytes.len() / 4096 + 1).sum::<usize>() * 4;
    let frees: Vec<String> = [0, 40, 120, size / 4, size / 2, size * 9 / 10].iter().map(ToString::to_string).collect();
    // The whole new version fits beside the old one only where nothing else is on the disk.
    let script = format!(
        "mount -t tmpfs -o size={}k none \"$4\" && cd \"$4\" || exit 99
         $1 run \"$2\" --out \"$4\" --quiet; test $? -lt 2 || exit 98
         for free in {}; do
           dd if=/dev/zero of=filler bs=1024 count=$(( $(df -k --output=avail . | tail -1) - free )) 2>/dev/null
           $1 run \"$3\" --out \"$4\" --quiet 2>\"$5/said-$free\"; echo $? >\"$5/status-$free\"
           mkdir \"$5/$free\" && cp -r store results report \"$5/$free/\"; ls -A >\"$5/beside-$free\"
           rm filler; $1 run \"$2\" --out \"$4\" --quiet
         done
         $1 run \"$3\" --out \"$4\" --quiet; mkdir \"$5/after\" && cp -r store results report \"$5/after/\"",
        size * 3,
        frees.join(" ")
    );
    let output = with_own_mounts(&script, &[review.path(), changed.path(), disk.path(), copies.path()]);
    assert!(output.status.success(), "{}: {}", output.status, String::from_utf8_lossy(&output.stderr));
    let mut failed = 0;
    for free in &frees {
        let read = |name: &str| fs::read_to_string(copies.path().join(format!("{name}-{free}"))).unwrap();
        let (said, found) = (read("said"), made(&copies.path().join(free)));
        assert!(!said.contains("panicked"), "{said}");
        if read("status").trim() == "2" {
            failed += 1;
            assert!(said.contains("the disk is full") && said.contains("--out"), "{free} kB free: {said}");
            assert!(!read("beside").contains(".new"), "{free} kB free: a folder half made stays and takes space");
        } else {
            same(&found, &new, "what a run said it made");
        }
        for part in MADE {
            let of = |files: &std::collections::BTreeMap<String, Vec<u8>>| {
                let below = format!("{part}/");
                files.clone().into_iter().filter(|(name, _)| name.starts_with(&below)).collect()
            };
            if of(&found) != of(&new) {
                same(&of(&found), &of(&old), &format!("{free} kB free, {part}"));
            }
        }
    }
    assert!(failed >= 4, "only {failed} runs met a full disk");
    same(&made(&copies.path().join("after")), &new, "once there is space");
}

/// What a run makes of a review, in a folder that goes again.
fn made_elsewhere(review: &crate::support::TestReview) -> std::collections::BTreeMap<String, Vec<u8>> {
    let out = tempfile::tempdir().unwrap();
    assert!(review.run("run", &["--out", out.path().to_str().unwrap()]).status < 2);
    made(out.path())
}

#[test]
fn a_review_on_a_read_only_disk_is_told_so_and_can_be_run_into_another_folder() {
    if !mounts() {
        return;
    }
    let (review, out) = (review(), tempfile::tempdir().unwrap());
    let before = files_below(review.path());
    let read_only = "mount --bind \"$2\" \"$2\" && mount -o remount,bind,ro \"$2\" || exit 99\n";
    for command in ["run", "ingest", "sheets"] {
        let output = with_own_mounts(&format!("{read_only} $1 {command} \"$2\""), &[review.path()]);
        says(&output, 2, &["ead-only", "--out"]);
    }
    let elsewhere = format!("{read_only} $1 run \"$2\" --out \"$3\" --quiet; test $? -lt 2");
    says(&with_own_mounts(&elsewhere, &[review.path(), out.path()]), 0, &[]);
    assert_eq!(files_below(review.path()), before);
    same(&made(out.path()), &made_elsewhere(&review), "from a read-only disk");
}

#[test]
fn a_folder_that_somebody_else_owns_is_told() {
    let mine = cfg!(unix) && can("setpriv", &["--reuid=65534", "--clear-groups", "true"]);
    // The binary may lie where others cannot go, so it is copied.
    let (review, place) = (review(), tempfile::tempdir().unwrap());
    let binary = place.path().join("evenstand");
    if !mine
        || fs::hard_link(env!("CARGO_BIN_EXE_evenstand"), &binary)
            .or_else(|_| fs::copy(env!("CARGO_BIN_EXE_evenstand"), &binary).map(drop))
            .is_err()
    {
        return;
    }
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let open = |path: &std::path::Path| fs::set_permissions(path, fs::Permissions::from_mode(0o755)).unwrap();
        [review.path(), place.path(), binary.as_path()].into_iter().for_each(open);
        if !can("setpriv", &["--reuid=65534", "--clear-groups", binary.to_str().unwrap(), "--version"]) {
            return;
        }
        let run = |arguments: &[&std::path::Path]| {
            let mut command = Command::new("setpriv");
            command.args(["--reuid=65534", "--clear-groups"]).arg(&binary).arg("run").args(arguments).output().unwrap()
        };
        says(&run(&[review.path()]), 2, &["permission denied"]);
        let secret = review.path().join("raw/stand_count-east.csv");
        fs::set_permissions(&secret, fs::Permissions::from_mode(0o600)).unwrap();
        says(
            &run(&[review.path(), std::path::Path::new("--out"), &place.path().join("out")]),
            2,
            &["Permission denied"],
        );
    }
}

/// Standard output that takes nothing is no success, and no panic either.
#[test]
fn a_full_or_closed_standard_output_is_an_error_and_the_folders_are_whole() {
    let review = review();
    let whole = made_elsewhere(&review);
    let folder = review.path().to_str().unwrap();
    let commands: [&[&str]; 6] = [
        &["run", folder],
        &["run", folder, "--json"],
        &["check", folder],
        &["--help"],
        &["help", "run"],
        &["--version"],
    ];
    if let Ok(full) = File::options().write(true).open("/dev/full") {
        for arguments in commands {
            let mut command = program();
            command.args(arguments).stdout(Stdio::from(full.try_clone().unwrap())).stderr(Stdio::piped());
            let output = command.spawn().unwrap().wait_with_output().unwrap();
            says(&output, 2, if arguments.len() > 1 && arguments[0] != "help" { &["standard output"] } else { &[] });
        }
    } else {
        println!("skipped: there is no /dev/full");
    }
    for arguments in commands {
        let mut child = program().args(arguments).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        drop(child.stdout.take());
        let output = child.wait_with_output().unwrap();
        assert!(output.status.code() == Some(2) || arguments.len() == 1, "{arguments:?}: {}", output.status);
        assert!(!String::from_utf8_lossy(&output.stderr).contains("panicked"), "{arguments:?}");
    }
    same(&made(review.path()), &whole, "with nobody listening");
}
