//! All that the report says, in English: one file a subject, from the rows of the tables to sentences, tables and the texts of charts.
//!
//! Text stands here and in `templates/`, and nowhere else in the report, so that a translation has one place to work in. Sentences are made by
//! code and not from a list of messages: which hedge, which number and which unit a sentence takes depends on the row, and a test of each rule
//! holds it. [`number`], [`gauge`] and [`response`] are the only places where a number becomes text.

pub(crate) mod answer;
pub(crate) mod aside;
pub(crate) mod calendar;
pub(crate) mod condition_tables;
pub(crate) mod difference_seen;
pub(crate) mod dig_chart;
pub(crate) mod dig_limit;
pub(crate) mod dig_list;
pub(crate) mod dig_numbers;
pub(crate) mod dig_says;
pub(crate) mod dig_stand;
pub(crate) mod evidence_behind;
pub(crate) mod field_chart;
pub(crate) mod fields;
pub(crate) mod gauge;
pub(crate) mod ground;
pub(crate) mod growers;
pub(crate) mod hardware;
pub(crate) mod how_sure;
pub(crate) mod in_short;
pub(crate) mod labels;
mod legends;
pub(crate) mod method;
pub(crate) mod missing;
pub(crate) mod next_trial;
pub(crate) mod number;
pub(crate) mod overview;
pub(crate) mod pair_says;
pub(crate) mod paper;
pub(crate) mod research;
mod research_factors;
pub(crate) mod response;
pub(crate) mod review_markdown;
pub(crate) mod scheme;
pub(crate) mod scope;
pub(crate) mod set_actual;
pub(crate) mod shape_seen;
pub(crate) mod since_last;
pub(crate) mod strip_says;
pub(crate) mod telemetry;
pub(crate) mod terminal;
pub(crate) mod units;
pub(crate) mod what_can_be_best;
pub(crate) mod why;

#[cfg(test)]
mod tests {
    use std::fs;
    use std::path::Path;

    /// Words in a row from which a text is a sentence or a label, and not a name in a file of marks.
    const WORDS: usize = 2;

    fn rust_files(folder: &Path, found: &mut Vec<std::path::PathBuf>) {
        for entry in fs::read_dir(folder).expect("the source is there") {
            let path = entry.expect("an entry").path();
            if path.is_dir() && path.file_name().is_some_and(|name| name != "words") {
                rust_files(&path, found);
            } else if path.extension().is_some_and(|ending| ending == "rs") {
                found.push(path);
            }
        }
    }

    /// Texts between quotes with so many plain words in a row.
    fn sentences(line: &str) -> Vec<&str> {
        let plain =
            |word: &str| word.len() > 1 && word.chars().all(|letter| letter.is_ascii_alphabetic() || letter == ',');
        line.split('"')
            .skip(1)
            .step_by(2)
            .filter(|text| {
                text.split(' ').collect::<Vec<_>>().windows(WORDS).any(|words| words.iter().all(|word| plain(word)))
            })
            .collect()
    }

    #[test]
    fn what_a_reader_sees_is_written_here_and_in_the_templates_alone() {
        assert_eq!(sentences("let a = \"as good\"; let b = \"x\";"), ["as good"]);
        assert!(sentences("let mark = \"<circle r=\\\"4\\\"/>\";").is_empty());
        let mut files = Vec::new();
        rust_files(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src"), &mut files);
        assert!(files.len() > 15, "the source was found");
        let mut strays = Vec::new();
        for path in files {
            let name = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
            // Made-up rows, tests and the name of the typeface are not shown; errors are for the terminal and stand together.
            if name.starts_with("made_up") || ["tests.rs", "error.rs", "font.rs"].contains(&name.as_str()) {
                continue;
            }
            let text = fs::read_to_string(&path).expect("a file of source");
            let shown = text.split("#[cfg(test)]").next().unwrap_or_default();
            for (number, line) in (1..).zip(shown.lines()) {
                let line = line.trim_start();
                if line.starts_with("//") || line.contains("expect(\"") || line.contains("ReportError") {
                    continue;
                }
                strays.extend(sentences(line).into_iter().map(|text| format!("{name}:{number}: {text}")));
            }
        }
        assert!(strays.is_empty(), "texts outside words/ and templates/: {strays:#?}");
    }
}
