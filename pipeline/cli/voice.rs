//! What a command says: results on standard output, everything else on standard error.

use std::collections::BTreeMap;
use std::io::{self, IsTerminal, Write};
use std::time::{Duration, Instant};

use evenstand_tables::{Finding, turns_words};
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use serde_json::{Map, Value, json};

use crate::args::Common;
use crate::failure::Failure;

/// Findings of one kind that are printed before the rest is counted.
const SHOWN: usize = 4;

/// Speaks for one command.
pub struct Voice {
    json: bool,
    quiet: bool,
    start: Instant,
    facts: Map<String, Value>,
    findings: BTreeMap<String, usize>,
    progress: ProgressBar,
    /// Why standard output could not be written to.
    unheard: Option<io::Error>,
}

impl Voice {
    /// A voice as loud as the arguments say.
    pub fn new(common: &Common) -> Self {
        let progress = ProgressBar::hidden();
        if !common.json && !common.quiet && std::io::stderr().is_terminal() {
            progress.set_draw_target(ProgressDrawTarget::stderr());
        }
        if let Ok(style) = ProgressStyle::with_template("{spinner} {msg} {wide_bar} {pos}/{len}") {
            progress.set_style(style);
        }
        Self {
            json: common.json,
            quiet: common.quiet,
            start: Instant::now(),
            facts: Map::new(),
            findings: BTreeMap::new(),
            progress,
            unheard: None,
        }
    }

    /// Starts a stage of `steps` steps.
    pub fn stage(&self, name: &str, steps: usize) {
        self.progress.reset();
        self.progress.set_length(steps as u64);
        self.progress.set_message(name.to_owned());
        self.progress.enable_steady_tick(Duration::from_millis(120));
    }

    /// One step further.
    pub fn step(&self) {
        self.progress.inc(1);
    }

    /// Ends the progress display.
    pub fn stage_done(&self) {
        self.progress.disable_steady_tick();
        self.progress.finish_and_clear();
    }

    /// A line for people, on standard output.
    pub fn say(&mut self, text: &str) {
        if !self.json && !self.quiet {
            self.print(&printable(text));
        }
    }

    /// Prints a line on standard output. Where that cannot be written to, the command goes on and says so at its end.
    fn print(&mut self, line: &str) {
        let mut out = io::stdout();
        if let Err(error) = writeln!(out, "{line}").and_then(|()| out.flush()) {
            self.unheard.get_or_insert(error);
        }
    }

    /// A line about how it goes, on standard error.
    pub fn note(&self, text: &str) {
        if !self.quiet && !self.json {
            let _ = writeln!(std::io::stderr(), "{}", printable(text));
        }
    }

    /// A fact for the JSON object.
    pub fn fact(&mut self, name: &str, value: impl Into<Value>) {
        self.facts.insert(name.to_owned(), value.into());
    }

    /// Prints errors and warnings, a few of each kind, and counts all.
    pub fn findings(&mut self, findings: &[Finding]) {
        let mut of_code: BTreeMap<(&str, &str), usize> = BTreeMap::new();
        for finding in findings {
            *self.findings.entry(finding.severity.clone()).or_default() += 1;
            let seen = of_code.entry((&finding.severity, &finding.code)).or_default();
            *seen += 1;
            if self.quiet || finding.severity == "note" || *seen > SHOWN {
                continue;
            }
            let place = finding.place();
            let place = if place.is_empty() { String::new() } else { format!("{place}: ") };
            let remedy = finding.remedy.as_ref().map(|remedy| format!("\n    {remedy}")).unwrap_or_default();
            let _ = writeln!(
                std::io::stderr(),
                "{}",
                printable(&format!("{}: {place}{}{remedy}", finding.severity, finding.message))
            );
        }
        for ((severity, code), count) in of_code {
            if !self.quiet && severity != "note" && count > SHOWN {
                let _ = writeln!(
                    std::io::stderr(),
                    "{severity}: {} more of the kind {code}; `run` writes all of them into results/findings.csv",
                    count - SHOWN
                );
            }
        }
    }

    /// Says why nothing could be done. Never silent.
    pub fn failure(&mut self, failure: &Failure) {
        self.stage_done();
        *self.findings.entry("error".to_owned()).or_default() += 1;
        print_failure(failure);
        self.fact("message", failure.message.clone());
    }

    /// Ends the command: the JSON object, where it was asked for. Returns the exit status, which is 2 where something could not be printed.
    pub fn close(mut self, status: u8) -> u8 {
        self.stage_done();
        if self.json {
            let mut object = Map::new();
            object.insert("status".into(), json!(status));
            object.insert("elapsed_s".into(), json!((self.start.elapsed().as_secs_f64() * 1000.0).round() / 1000.0));
            let count = |severity: &str| self.findings.get(severity).copied().unwrap_or(0);
            object.insert(
                "findings".into(),
                json!({ "error": count("error"), "warning": count("warning"), "note": count("note") }),
            );
            object.append(&mut self.facts);
            self.print(&Value::Object(object).to_string());
        }
        let Some(error) = self.unheard else { return status };
        let _ = writeln!(
            io::stderr(),
            "error: standard output could not be written to, so not all of it was told: {error}\n    the folders are as \
             the command left them; run it again with standard output going somewhere else"
        );
        2
    }
}

/// Why nothing could be done and what to do next, on standard error.
pub fn print_failure(failure: &Failure) {
    let _ = writeln!(std::io::stderr(), "error: {}", printable(&failure.message));
    if let Some(remedy) = &failure.remedy {
        let _ = writeln!(std::io::stderr(), "    {}", printable(remedy));
    }
}

/// Text without control characters and marks that turn words around, which a name in somebody's file could use to write over the terminal.
fn printable(text: &str) -> String {
    let hidden = |letter: char| letter.is_control() && letter != '\n' || turns_words(letter);
    text.chars().map(|letter| if hidden(letter) { '\u{fffd}' } else { letter }).collect()
}
