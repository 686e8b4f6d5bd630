//! Version, completions and manual pages.

use std::env;
use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use crate::support::{evenstand, root};

/// Commands that every completion and the manual must know.
const COMMANDS: [&str; 10] =
    ["ingest", "link", "model", "report", "run", "check", "sheets", "trial", "completions", "man"];

/// What a program says that may not be installed here; none where it is not.
fn output_of(program: &str, arguments: &[&str]) -> Option<String> {
    let output = Command::new(program).args(arguments).current_dir(root()).stderr(Stdio::null()).output().ok()?;
    output.status.success().then(|| String::from_utf8_lossy(&output.stdout).trim().to_owned())
}

/// Gives a program text on its standard input; its exit status and all that it says, or none where it is not installed.
fn fed(program: &str, arguments: &[&str], text: &[u8]) -> Option<(bool, String)> {
    let (input, out, err) = (Stdio::piped(), Stdio::piped(), Stdio::piped());
    let mut child = Command::new(program).args(arguments).stdin(input).stdout(out).stderr(err).spawn().ok()?;
    let mut input = child.stdin.take().unwrap();
    let text = text.to_owned();
    let writer = std::thread::spawn(move || input.write_all(&text));
    let output = child.wait_with_output().unwrap();
    let _ = writer.join();
    let said = [output.stdout, output.stderr].concat();
    Some((output.status.success(), String::from_utf8_lossy(&said).into_owned()))
}

#[test]
fn the_version_tells_the_commit_and_its_date() {
    let said = evenstand(&["--version"]);
    assert_eq!(said.status, 0);
    let line = said.stdout.trim();
    let inside = line
        .strip_prefix(&format!("evenstand {} (", env!("CARGO_PKG_VERSION")))
        .and_then(|rest| rest.strip_suffix(')'))
        .unwrap_or_else(|| panic!("{line}"));
    let is_repository = output_of("git", &["rev-parse", "--show-prefix"]).is_some_and(|prefix| prefix.is_empty());
    let Some(told) = is_repository.then(|| output_of("git", &["log", "-1", "--format=%H %cs"])).flatten() else {
        assert_eq!(inside, "commit unknown");
        return;
    };
    let (commit, date) = told.split_once(' ').unwrap();
    let (short, rest) = inside.strip_prefix("commit ").and_then(|words| words.split_once(" of ")).unwrap();
    assert!(short.len() >= 7 && commit.starts_with(short), "{line} was built from another commit than {commit}");
    assert_eq!(rest.trim_end_matches(", with changes"), date, "{line}");
}

#[test]
fn completions_of_every_shell_know_every_command() {
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let said = evenstand(&["completions", shell]);
        assert_eq!((said.status, said.stderr.as_str()), (0, ""), "{shell}");
        for command in COMMANDS {
            assert!(said.stdout.contains(command), "{shell}: {command} is missing");
        }
        assert!(said.stdout.contains("strip-totals"), "{shell}: an option is missing");
    }
    assert_eq!(evenstand(&["completions", "csh"]).status, 2);
}

#[test]
fn the_shells_that_are_here_load_their_completions() {
    for shell in ["bash", "zsh", "fish"] {
        let script = evenstand(&["completions", shell]).stdout;
        let options: &[&str] = if shell == "fish" { &["--no-execute"] } else { &["-n"] };
        match fed(shell, options, script.as_bytes()) {
            Some((ok, said)) => assert!(ok, "{shell}: {said}"),
            None => eprintln!("skipped: completions of {shell}: the shell is not installed"),
        }
    }
    // What Tab offers after a command and the start of an option.
    let script = evenstand(&["completions", "bash"]).stdout
        + "\nCOMP_WORDS=(evenstand model --str); COMP_CWORD=2; _evenstand evenstand --str model; printf 'offered %s\\n' \"${COMPREPLY[@]}\"\n";
    match fed("bash", &["--norc"], script.as_bytes()) {
        Some((_, said)) => assert!(said.contains("offered --strip-totals"), "{said}"),
        None => eprintln!("skipped: what bash offers: it is not installed"),
    }
}

#[test]
fn manual_pages_render_and_show_the_examples() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("deep/man1");
    let said = evenstand(&["man", "--out", out.to_str().unwrap()]);
    assert_eq!((said.status, said.stderr.as_str()), (0, ""));
    let mut pages = vec!["evenstand".to_owned()];
    pages.extend(COMMANDS.map(|command| format!("evenstand-{command}")));
    assert_eq!(fs::read_dir(&out).unwrap().count(), pages.len());
    for page in &pages {
        let file = out.join(format!("{page}.1"));
        assert!(fs::read_to_string(&file).unwrap().contains(".SH NAME"), "{page}");
        rendered(&file, page);
    }
}

/// Has groff set the page, with its warnings, and looks for what a reader wants.
fn rendered(file: &Path, page: &str) {
    let arguments = ["-man", "-Tutf8", "-ww", "-P-cbou"];
    let Some((ok, said)) = fed("groff", &arguments, &fs::read(file).unwrap()) else {
        eprintln!("skipped: {page}.1 as man shows it: groff is not installed");
        return;
    };
    assert!(ok && !said.contains("warning"), "{page}: {said}");
    assert!(
        said.contains("NAME") && said.contains("SYNOPSIS") && said.contains(&format!("{page}(1)")),
        "{page}: {said}"
    );
    if page == "evenstand-run" {
        assert!(said.contains("--afresh"), "{said}");
        // Lines of an example stay as they are.
        let kept = said.lines().any(|line| line.trim() == "soil_note.csv         moisture and residue near planting");
        assert!(kept, "{said}");
    }
}

#[test]
fn a_folder_that_cannot_be_made_is_a_message() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("file");
    fs::write(&file, "").unwrap();
    let said = evenstand(&["man", "--out", file.to_str().unwrap()]);
    assert_eq!(said.status, 2);
    assert!(said.stderr.contains("cannot be written") && said.stderr.contains("--out"), "{}", said.stderr);
}
