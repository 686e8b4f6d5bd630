//! The review as a Markdown notebook: the numbers filled in, the tables they stand in, and the commands that made them.

use std::fmt::Write;

use evenstand_tables::{forbidden_in_xml, turns_words};

use crate::results::Results;
use crate::words::answer::{Card, cards};
use crate::words::growers::owner;
use crate::words::in_short::in_short;
use crate::words::method::method;
use crate::words::missing::missing;
use crate::words::scope::scope;
use crate::words::since_last::since_last;
use crate::words::why::{Why, WordTable};

/// The notebook. `conditions` are the sections of the winter review.
pub(crate) fn review_markdown(results: &Results, conditions: &[Why]) -> String {
    let mut page = Notebook::default();
    let scope = scope(results);
    page.heading(1, &scope.review);
    if scope.invented {
        page.paragraph(
            "**Invented data.** Made up to show what the page looks like; no field stands behind any number here.",
        );
    }
    page.lines(scope.lines.iter());
    page.paragraph("Made by these commands, REVIEW being the folder of the review:");
    page.commands(&["evenstand ingest REVIEW", "evenstand model REVIEW", "evenstand report REVIEW"]);
    let short = in_short(results);
    page.heading(2, "What was asked");
    page.lines(short.asked.iter());
    page.heading(2, "What was seen");
    page.lines(short.seen.iter());
    page.heading(2, "Where to start");
    for card in cards(results) {
        page.heading(3, &format!("Planter {}", card.planter));
        page.text(&card.knob);
        page.table(&answers(&card));
    }
    page.paragraph("From `results/settings.csv`. A starting point, not a command: the operator's manual and local licensed advice come first, and digging has the last word.");
    if let Some(since) = since_last(results) {
        page.heading(2, "Since last season");
        page.table(&since.table);
        if !since.followed.is_empty() {
            page.text("This is not a trial: who followed a start chose to, and may differ in other ways too.");
            page.lines(since.followed.iter());
        }
    }
    page.heading(2, "Why");
    for section in conditions {
        page.condition(section);
    }
    page.heading(2, "Field by field");
    page.table(&fields(results));
    if let Some(missing) = missing(results) {
        page.heading(2, "What was missing");
        page.table(&missing);
    }
    let method = method(results);
    page.heading(2, "How it was worked out");
    page.lines(method.formulas.iter());
    if !method.failed_checks.is_empty() {
        page.text("Checks of the fits that failed:");
        page.lines(method.failed_checks.iter());
    }
    page.heading(2, "About this run");
    for (name, value) in &method.run_facts {
        if value.contains('\n') {
            page.text(&format!("{name}:"));
            page.code(value);
        } else {
            page.item(&format!("{name}: {value}"));
        }
    }
    page.finish()
}

fn answers(card: &Card) -> WordTable {
    let word = |value: &Option<String>| value.clone().unwrap_or_else(|| "–".to_owned());
    WordTable {
        caption: String::new(),
        head: ["Condition", "Start", "Force", "How sure", "In words"].map(str::to_owned).to_vec(),
        rows: card
            .answers
            .iter()
            .map(|answer| {
                let says = [&answer.advice_words, &answer.window, &answer.gain, &answer.digging, &answer.reason];
                let says: Vec<&str> = says.into_iter().flatten().map(String::as_str).collect();
                vec![
                    answer.condition.clone(),
                    answer.start.clone().unwrap_or_else(|| "no start yet".to_owned()),
                    word(&answer.start_force),
                    answer.evidence.word().to_owned(),
                    says.join(" "),
                ]
            })
            .collect(),
        rest: None,
    }
}

fn fields(results: &Results) -> WordTable {
    let files = crate::words::fields::files(results);
    let lines = crate::words::fields::groups(results, &files).into_iter().flat_map(|group| group.fields);
    let owners =
        crate::words::fields::ordered(results).into_iter().map(|field| owner(field).unwrap_or_else(|| "–".to_owned()));
    WordTable {
        caption: String::new(),
        head: ["Field", "Season", "Farm", "Conditions", "Kind", "Strips", "Settings", "Strips ran from, to"]
            .map(str::to_owned)
            .to_vec(),
        rows: lines
            .zip(owners)
            .map(|(line, owner)| {
                vec![
                    line.field,
                    line.season.to_string(),
                    owner,
                    line.conditions.join("; "),
                    line.kind.to_owned(),
                    line.strips,
                    line.settings,
                    line.range,
                ]
            })
            .collect(),
        rest: Some("Strip by strip in results/strips.csv.".to_owned()),
    }
}

/// A Markdown page under construction. All text that comes from people goes through [`escaped`].
#[derive(Default)]
struct Notebook {
    page: String,
}

impl Notebook {
    fn block(&mut self, text: &str) {
        if !self.page.is_empty() {
            self.page.push('\n');
        }
        self.page.push_str(text);
        self.page.push('\n');
    }

    fn heading(&mut self, level: usize, text: &str) {
        self.block(&format!("{} {}", "#".repeat(level), escaped(text)));
    }

    /// Words of our own, with marks.
    fn paragraph(&mut self, text: &str) {
        self.block(text);
    }

    fn text(&mut self, text: &str) {
        self.block(&escaped(text));
    }

    fn item(&mut self, text: &str) {
        // A list begins after a blank line.
        let above = self.page.trim_end_matches('\n').rsplit('\n').next().unwrap_or_default();
        if !above.starts_with("- ") && !self.page.ends_with("\n\n") {
            self.page.push('\n');
        }
        let _ = writeln!(self.page, "- {}", escaped(text));
    }

    fn lines<'a>(&mut self, lines: impl Iterator<Item = &'a String>) {
        for line in lines {
            self.item(line);
        }
    }

    fn commands(&mut self, commands: &[&str]) {
        let lines: Vec<String> = commands.iter().map(|command| format!("$ {command}")).collect();
        self.block(&format!("```console\n{}\n```", lines.join("\n")));
    }

    /// Text as it is, fenced so that no line of it can end the fence.
    fn code(&mut self, text: &str) {
        let mut fence = "```".to_owned();
        while text.contains(&fence) {
            fence.push('`');
        }
        self.block(&format!("{fence}\n{}\n{fence}", text.trim_end()));
    }

    fn table(&mut self, table: &WordTable) {
        let row = |cells: &[String]| {
            format!("| {} |", cells.iter().map(|cell| escaped(cell)).collect::<Vec<_>>().join(" | "))
        };
        let mut text = String::new();
        if !table.caption.is_empty() {
            let _ = writeln!(text, "{}\n", escaped(&table.caption));
        }
        let _ = writeln!(text, "{}", row(&table.head));
        let _ = writeln!(text, "|{}", " --- |".repeat(table.head.len()));
        for cells in &table.rows {
            let _ = writeln!(text, "{}", row(cells));
        }
        self.block(text.trim_end());
        if let Some(rest) = &table.rest {
            self.text(rest);
        }
    }

    fn condition(&mut self, section: &Why) {
        self.heading(3, &format!("{}: {}", section.title, section.evidence.word()));
        self.text(&section.reason);
        for figure in [&section.figure, &section.forest].into_iter().flatten() {
            self.block(&format!("![{}](charts/{}.svg)", escaped(&figure.alt), figure.file));
        }
        for asked in &section.asked {
            self.text(asked.question);
            self.lines(asked.says.iter());
        }
        if let Some(trial) = &section.next_trial {
            self.text(&format!("What to test next: {}", trial.advice));
            self.lines(trial.says.iter());
        }
        if let Some(curve) = &section.curve {
            self.table(curve);
        }
    }

    fn finish(self) -> String {
        // Spaces that hold a number to its unit are no use in a text that is read as it stands.
        self.page.replace('\u{a0}', " ")
    }
}

/// Text in which nothing is a mark of Markdown or of HTML: every ASCII punctuation that could be one has a backslash before it
/// (CommonMark 0.31, section 2.4), and line ends are spaces.
fn escaped(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '\\' | '`' | '*' | '_' | '[' | ']' | '<' | '>' | '|' | '#' | '~' | '&' | '!' => {
                escaped.push('\\');
                escaped.push(letter);
            }
            letter if letter.is_control() => escaped.push(' '),
            letter if turns_words(letter) || forbidden_in_xml(letter) => {}
            letter => escaped.push(letter),
        }
    }
    escaped
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::made_up;

    fn notebook(results: &Results) -> String {
        let mut names = crate::slug::Names::default();
        let pooled = crate::words::why::pooled_charts(results, &mut names, true);
        let forests: Vec<_> = crate::words::answer::deciding_points(results)
            .into_iter()
            .map(|point| crate::words::overview::forest(results, point, &mut names))
            .collect();
        let sections = crate::words::why::sections(results, &pooled, &forests).expect("charts can be drawn");
        review_markdown(results, &sections)
    }

    #[test]
    fn the_notebook_holds_the_answers_and_the_commands() {
        let page = notebook(&made_up::review());
        for words in [
            "$ evenstand model REVIEW",
            "## What was asked",
            "### Planter air-12",
            "| 260 kPa | 338 N | settled |",
            "![Chart of plants up on time",
            "(charts/condition-dry-covered-on-time-share.svg)",
            "## About this run",
        ] {
            assert!(page.contains(words), "{words}\n{page}");
        }
    }

    #[test]
    fn names_cannot_become_marks() {
        let evil = "a|b](x)\n# <img src=x> *c* `d`";
        assert_eq!(escaped(evil), "a\\|b\\](x) \\# \\<img src=x\\> \\*c\\* \\`d\\`");
        let mut results = made_up::review();
        for row in &mut results.settings {
            row.condition = evil.to_owned();
        }
        for field in &mut results.field_seasons {
            field.field_id = evil.to_owned();
        }
        let page = notebook(&results);
        assert!(!page.contains(" <img") && !page.contains("\n# <"), "{page}");
        let table_rows: Vec<&str> = page.lines().filter(|line| line.contains("img src=x")).collect();
        assert!(table_rows.iter().all(|line| line.starts_with('|') || line.starts_with('-') || line.starts_with("##")));
    }
}
