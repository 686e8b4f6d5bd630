//! Blocks for files that nothing says how to read.

use std::collections::BTreeMap;
use std::fs::File;
use std::path::Path;

use evenstand_bundle::{Bundle, Limits};
use evenstand_ingest::{
    FirstRows, Format, ask_for_the_day, kind_of, look_at_parquet, look_at_text, look_at_workbook, survey_task_data,
};

use crate::failure::Failure;
use crate::reader::whole;
use crate::review::Review;
use crate::sources::mappings;
use crate::voice::Voice;

/// What is proposed for one file, or one table of it.
pub struct Proposed {
    /// Path below raw/.
    pub file: String,
    /// Raw table that it looks like.
    pub kind: Option<&'static str>,
    /// What a person should know before the block: the channels of task data.
    pub lines: Vec<String>,
    /// TOML to paste.
    pub block: String,
    /// What is unsure.
    pub questions: Vec<String>,
}

/// Blocks for files that no block is about and that cannot be read by their name and header. A file that cannot be read at
/// all is left to the findings of reading it.
pub fn proposals(review: &Review) -> Result<Vec<Proposed>, Failure> {
    let mappings = mappings(review)?;
    let raw = review.raw_files()?;
    let mut proposed: Vec<Proposed> = Vec::new();
    let mut undated: BTreeMap<Vec<String>, Vec<usize>> = BTreeMap::new();
    let folders = raw.task_data.into_iter().map(|(file, path)| (file, path, Some(Format::TaskData)));
    let files = raw.files.into_iter().map(|(file, path)| {
        let format = Format::of(&file);
        (file, path, format)
    });
    for (file, path, format) in files.chain(folders) {
        let mut fitting = mappings.iter().filter(|mapping| mapping.fits(&file)).peekable();
        let is_unsaid = fitting.peek().is_none();
        let names_channels = fitting.any(|mapping| mapping.names_channels());
        let looked = match format {
            Some(format @ (Format::Text | Format::Parquet | Format::Workbook)) if is_unsaid => {
                first_rows(&file, &path, format)
            }
            Some(Format::TaskData | Format::Archive) if !names_channels => {
                let bundle = if format == Some(Format::TaskData) {
                    Bundle::of_folder(&path, Limits::default())
                } else {
                    Bundle::of_zip(&path, Limits::default())
                };
                proposed.extend(bundle.ok().and_then(|bundle| channels(&file, bundle)));
                continue;
            }
            _ => continue,
        };
        let name = file.rsplit('/').next().unwrap_or(&file);
        let tables = match looked {
            Ok(tables) => tables,
            // One that is called like a table is told by reading it.
            Err(problem) if kind_of(name).is_none() => {
                let (lines, block) = (Vec::new(), String::new());
                proposed.push(Proposed { file, kind: None, lines, block, questions: vec![problem] });
                continue;
            }
            Err(_) => continue,
        };
        let fits = |table: &FirstRows| kind_of(name).is_some_and(|kind| table.fits(kind, &review.settings));
        if let [only] = tables.as_slice()
            && fits(only)
        {
            continue;
        }
        for table in &tables {
            let proposal = table.propose(&file);
            if let Some(columns) = proposal.undated {
                undated.entry(columns).or_default().push(proposed.len());
            }
            proposed.push(Proposed {
                file: file.clone(),
                kind: proposal.kind,
                lines: Vec::new(),
                block: proposal.block,
                questions: proposal.questions,
            });
        }
    }
    for at in undated.into_values().filter(|alike| alike.len() > 1).flatten() {
        if let Some(proposal) = proposed.get_mut(at) {
            ask_for_the_day(&mut proposal.block, &mut proposal.questions);
        }
    }
    Ok(proposed)
}

/// The first rows of every table of a file, or why there are none to look at.
fn first_rows(file: &str, path: &Path, format: Format) -> Result<Vec<FirstRows>, String> {
    let open = || File::open(path).map_err(|error| format!("{file} cannot be opened: {error}"));
    let looked = match format {
        Format::Parquet => look_at_parquet(file, open()?).map(|table| vec![table]),
        Format::Workbook => look_at_workbook(file, whole(path).map_err(|problem| format!("{file}: {problem}"))?),
        _ => look_at_text(file, open()?).map(|table| vec![table]),
    };
    looked.map_err(|error| error.to_string())
}

/// The channels of task data, and a block to fill in.
fn channels(file: &str, mut bundle: Bundle) -> Option<Proposed> {
    if Format::in_archive(&bundle) != Some(Format::TaskData) {
        return None;
    }
    let survey = survey_task_data(file, &mut bundle).ok()?;
    let question = "which channel is the closing force or pressure, the data dictionary cannot say".to_owned();
    Some(Proposed {
        file: file.to_owned(),
        kind: Some("setting_log"),
        lines: survey.lines,
        block: survey.block,
        questions: vec![question],
    })
}

/// Prints what is proposed, ready to be pasted.
pub fn print(proposed: &[Proposed], voice: &mut Voice) {
    if proposed.iter().any(|proposal| proposal.kind.is_some()) {
        voice.say(
            "\nThe following can be pasted into evenstand.toml. Lines that end in # ? hold a question; take away the # in \
             front of a line that you complete.",
        );
    }
    let mut strangers: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for proposal in proposed {
        let Some(kind) = proposal.kind else {
            strangers.entry(&proposal.file).or_default().extend(proposal.questions.first().map(String::as_str));
            continue;
        };
        voice.say(&format!("\n# {}: looks like {kind}", proposal.file));
        for line in &proposal.lines {
            voice.say(&format!("# {line}"));
        }
        voice.say(proposal.block.trim_end());
    }
    for (file, questions) in strangers {
        match questions.as_slice() {
            [only] => voice.say(&format!("\n# {only}")),
            several => voice.say(&format!(
                "\n# {file}: {} tables, none of them recognised; name one in a [[source]] block (sheet, range) and say what it is",
                several.len()
            )),
        }
    }
}
