//! One notebook, run: the text stays, and what its fenced blocks show is made again.
//!
//! | block | what happens |
//! | --- | --- |
//! | ` ```console ` | lines that begin with `$ ` are run and their output put below: `evenstand …` (standard output, and the exit status where it is not 0), `head -N FILE`, `cp FROM TO` |
//! | ` ```rows FILE: columns; where ` | rows of a CSV table, some columns of it: `a, b_kpa in psi as shorter name; a = this; b = that` |
//! | ` ```toml FILE `, ` ```csv FILE ` | the block as it stands is written to the file, as a person would who follows the page |
//!
//! Everything happens in a scratch folder that holds a copy of `sample-data/`.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::Command;

use evenstand_agronomy::Kind;

use crate::support::read_csv;

/// Widest cell of a table; rows with a wider one are shown as a list.
const WIDEST: usize = 60;
/// Width of a list.
const LIST: usize = 100;

/// What the lines of a fenced block are.
enum Block<'a> {
    /// None, or one that is left as it is.
    Plain,
    /// Commands and their output.
    Console,
    /// Rows of a table; the fence says which.
    Rows(&'a str),
    /// Lines that go to this file.
    File(&'a str, String),
}

/// The page as it would stand if it were written now.
pub fn run_page(text: &str, work: &Path) -> String {
    let mut page = String::new();
    let mut block = None;
    for line in text.lines() {
        let Some(inside) = &mut block else {
            page.push_str(line);
            page.push('\n');
            block = line.strip_prefix("```").map(opened);
            continue;
        };
        if line == "```" {
            match inside {
                Block::Rows(asked) => page.push_str(&rows(asked, work)),
                Block::File(name, lines) => {
                    let file = work.join(name);
                    fs::create_dir_all(file.parent().unwrap()).unwrap();
                    fs::write(file, lines).unwrap();
                }
                Block::Plain | Block::Console => {}
            }
            page.push_str("```\n");
            block = None;
            continue;
        }
        match inside {
            Block::Console => {
                if let Some(command) = line.strip_prefix("$ ") {
                    page.push_str(line);
                    page.push('\n');
                    page.push_str(&output_of(command, work));
                }
            }
            Block::Rows(_) => {}
            Block::Plain => page.push_str(&format!("{line}\n")),
            Block::File(_, lines) => {
                page.push_str(&format!("{line}\n"));
                lines.push_str(&format!("{line}\n"));
            }
        }
    }
    page
}

/// What a fence opens.
fn opened(info: &str) -> Block<'_> {
    match info.split_once(' ').unwrap_or((info, "")) {
        ("console", "") => Block::Console,
        ("rows", asked) => Block::Rows(asked),
        ("toml" | "csv", file) if !file.is_empty() => Block::File(file, String::new()),
        _ => Block::Plain,
    }
}

/// Output of a line of a console block.
fn output_of(command: &str, work: &Path) -> String {
    let words = words(command);
    match words.as_slice() {
        ["evenstand", arguments @ ..] => evenstand(arguments, work),
        ["head", count, file] => {
            let count = count.trim_start_matches('-').parse().unwrap_or_else(|_| panic!("{command}: how many lines?"));
            read(work, file).lines().take(count).map(|line| format!("{line}\n")).collect()
        }
        ["cp", from, to] => {
            fs::copy(work.join(from), work.join(to)).unwrap_or_else(|error| panic!("{command}: {error}"));
            String::new()
        }
        _ => panic!("a notebook runs evenstand, head -N FILE and cp FROM TO, not: {command}"),
    }
}

/// Words of a command; what stands in double quotes is one.
fn words(command: &str) -> Vec<&str> {
    let parts = command.split('"').enumerate();
    parts.flat_map(|(part, text)| if part % 2 == 1 { vec![text] } else { text.split_whitespace().collect() }).collect()
}

fn evenstand(arguments: &[&str], work: &Path) -> String {
    let output = Command::new(env!("CARGO_BIN_EXE_evenstand")).args(arguments).current_dir(work).output().unwrap();
    let mut text = String::from_utf8(output.stdout).unwrap();
    if !output.status.success() {
        text.push_str(&format!("[exit {}]\n", output.status.code().unwrap_or(-1)));
    }
    text
}

fn read(work: &Path, file: &str) -> String {
    fs::read_to_string(work.join(file)).unwrap_or_else(|error| panic!("{file}: {error}"))
}

/// A column that a page asks for.
struct Asked<'a> {
    column: &'a str,
    unit: Option<&'a str>,
    shown: &'a str,
}

impl<'a> Asked<'a> {
    /// `column`, `column in unit`, `column as name` or `column in unit as name`.
    fn read(text: &'a str) -> Self {
        let (text, name) =
            text.trim().split_once(" as ").map_or((text.trim(), None), |(text, name)| (text, Some(name)));
        let (column, unit) = text.split_once(" in ").map_or((text, None), |(column, unit)| (column, Some(unit)));
        Self { column, unit, shown: name.unwrap_or(column) }
    }

    /// The cell of a row as it is shown: in the unit asked for, a number to three digits.
    fn cell(&self, row: &BTreeMap<String, String>) -> String {
        let cell = row.get(self.column).unwrap_or_else(|| panic!("no column {}", self.column));
        let (Some(unit), Ok(value)) = (self.unit, cell.parse::<f64>()) else {
            return short(cell);
        };
        if unit == "points" {
            return short(&format!("{:?}", value * 100.0));
        }
        let kind = [Kind::Force, Kind::Pressure]
            .into_iter()
            .find(|kind| self.column.ends_with(&format!("_{}", kind.kept_suffix())))
            .unwrap_or_else(|| panic!("{} has no unit", self.column));
        let value = kind.from_kept(unit, value).unwrap_or_else(|| panic!("{}: unit {unit}", self.column));
        short(&format!("{value:?}"))
    }
}

/// `FILE: a, b as name; c = this` as aligned text: a line of names, a line a row; as a list where cells are wide.
fn rows(asked: &str, work: &Path) -> String {
    let (file, rest) = asked.split_once(": ").unwrap_or_else(|| panic!("{asked}: FILE: columns; where"));
    let mut parts = rest.split(';');
    let columns: Vec<Asked> = parts.next().unwrap_or_default().split(',').map(Asked::read).collect();
    let conditions: Vec<(&str, &str)> = parts
        .map(|part| part.split_once('=').unwrap_or_else(|| panic!("{asked}: column = value, not {part}")))
        .map(|(column, value)| (column.trim(), value.trim()))
        .collect();
    let mut lines = vec![columns.iter().map(|column| column.shown.to_owned()).collect::<Vec<_>>()];
    for row in read_csv(&work.join(file)) {
        let holds = |(column, value): &(&str, &str)| row.get(*column).is_some_and(|cell| cell == value);
        if conditions.iter().all(holds) {
            lines.push(columns.iter().map(|column| column.cell(&row)).collect());
        }
    }
    assert!(lines.len() > 1, "{asked}: no such row");
    if lines.iter().flatten().any(|cell| cell.chars().count() > WIDEST) { listed(&lines) } else { aligned(&lines) }
}

/// Row below row, a line a cell: `name: text`, broken between words.
fn listed(lines: &[Vec<String>]) -> String {
    let (names, rows) = lines.split_first().unwrap();
    let row = |row: &Vec<String>| {
        let mut text = String::new();
        for (name, cell) in names.iter().zip(row) {
            let mut line = format!("{name}:");
            for word in cell.split_whitespace() {
                if line.chars().count() + 1 + word.chars().count() > LIST {
                    text.push_str(&format!("{line}\n"));
                    line = "   ".into();
                }
                line.push(' ');
                line.push_str(word);
            }
            text.push_str(&format!("{line}\n"));
        }
        text
    };
    rows.iter().map(row).collect::<Vec<_>>().join("\n")
}

/// A number to three digits; other text as it is, and `-` where there is none.
fn short(cell: &str) -> String {
    if cell.is_empty() {
        return "-".into();
    }
    match cell.parse::<f64>() {
        Ok(number) if cell.contains('.') && number != 0.0 => {
            let decimals = (2 - number.abs().log10().floor() as i64).clamp(0, 6);
            format!("{number:.0$}", decimals as usize)
        }
        Ok(_) if cell.contains('.') => "0".into(),
        _ => cell.to_owned(),
    }
}

/// Columns side by side, two blanks apart; numbers to the right.
fn aligned(lines: &[Vec<String>]) -> String {
    let columns = lines[0].len();
    let width = |column: usize| lines.iter().map(|line| line[column].chars().count()).max().unwrap_or(0);
    let is_number = |text: &String| text == "-" || text.parse::<f64>().is_ok();
    let mut text = String::new();
    for line in lines {
        let cells = (0..columns).map(|column| {
            let wide = width(column);
            let right = lines[1..].iter().all(|line| is_number(&line[column]));
            if right { format!("{:>wide$}", line[column]) } else { format!("{:<wide$}", line[column]) }
        });
        text.push_str(cells.collect::<Vec<_>>().join("  ").trim_end());
        text.push('\n');
    }
    text
}

#[test]
fn blocks_of_a_page_are_written_shown_and_run() {
    let work = tempfile::tempdir().unwrap();
    let page = "Text.\n```csv a/b.csv\nname,share,note\nx,0.123456,far\ny,,\n```\n```rows a/b.csv: name, share as part; note = far\nold\n```\n\
                ```console\n$ cp a/b.csv c.csv\n$ head -1 \"c.csv\"\nold\n```\n```sh\nleft $ alone\n```\n";
    let expected = "Text.\n```csv a/b.csv\nname,share,note\nx,0.123456,far\ny,,\n```\n```rows a/b.csv: name, share as part; note = far\n\
                    name   part\nx     0.123\n```\n```console\n$ cp a/b.csv c.csv\n$ head -1 \"c.csv\"\nname,share,note\n```\n```sh\nleft $ alone\n```\n";
    assert_eq!(run_page(page, work.path()), expected);
}
