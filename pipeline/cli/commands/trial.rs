//! Next season's strip trial, into plan/.

use std::fs;
use std::io;
use std::path::Path;

use evenstand_store::replace_folder;
use evenstand_trial::{Layout, Paper, Plan, file_stem, papers, plan, shown};

use crate::failure::Failure;
use crate::review::Review;
use crate::trial::{ReviewFacts, TrialArgs, ask, ground, request};
use crate::voice::Voice;

/// Plans a trial and writes its papers into plan/FIELD-SEASON/.
pub fn trial(review: &Review, arguments: &TrialArgs, voice: &mut Voice) -> Result<bool, Failure> {
    let facts = ReviewFacts::read(review)?;
    let mut arguments = arguments.clone();
    let answered = if arguments.ask {
        ask(review, &facts, &mut arguments, &mut io::stdin().lock(), &mut io::stderr())
    } else {
        Vec::new()
    };
    let (request, known, notes) = request(review, &facts, &arguments)?;
    let ground = ground(&facts, &arguments, &request.field_id)?;
    let mut plan = plan(&request, &known, &ground, &review.settings)?;
    plan.notes.splice(0..0, notes);
    let papers = papers(&plan, &ground, &review.settings, &command_line(&answered))?;
    let folder = review.plan.join(file_stem(&plan));
    refuse_filled(&folder, &papers)?;
    let blocked = |error: io::Error| {
        Failure::new(
            format!("{} cannot be written: {error}", folder.display()),
            "free some space, or give another folder with --out",
        )
    };
    fs::create_dir_all(&review.plan).map_err(blocked)?;
    replace_folder(&folder, |staging| -> Result<(), Failure> {
        papers.iter().try_for_each(|paper| fs::write(staging.join(&paper.name), &paper.bytes)).map_err(blocked)
    })?;
    say(&plan, voice);
    voice.say(&format!(
        "Wrote {} files to {}. Print cab-card.html and count-sheets.html; plan.html says what the trial can show.",
        papers.len(),
        folder.display()
    ));
    Ok(false)
}

/// The command line that makes the plan again: as it was typed, and with what was answered.
fn command_line(answered: &[String]) -> String {
    let quoted = |argument: String| {
        let plain = !argument.is_empty()
            && argument.chars().all(|letter| letter.is_alphanumeric() || "-_./,:=".contains(letter));
        if plain { argument } else { format!("'{}'", argument.replace('\'', "'\\''")) }
    };
    let typed = std::env::args_os().skip(1).map(|argument| argument.to_string_lossy().into_owned());
    let all = typed.filter(|argument| argument != "--ask").chain(answered.iter().cloned()).map(quoted);
    std::iter::once("evenstand".to_owned()).chain(all).collect::<Vec<_>>().join(" ")
}

/// A sheet that was filled in where it lies must not be lost to a new one; the papers of another plan may go.
fn refuse_filled(folder: &Path, papers: &[Paper]) -> Result<(), Failure> {
    let stands = |paper: &&Paper| fs::read(folder.join(&paper.name)).is_ok_and(|bytes| bytes == paper.bytes);
    let same_plan = papers.iter().filter(stands).any(|paper| paper.name == "trial.json");
    let changed = papers
        .iter()
        .filter(|paper| paper.name.ends_with(".csv"))
        .find(|paper| fs::read(folder.join(&paper.name)).is_ok_and(|bytes| bytes != paper.bytes));
    match changed {
        Some(sheet) if same_plan => Err(Failure::new(
            format!("{} is there already and was filled in", folder.join(&sheet.name).display()),
            "move the folder away (what is filled in belongs into raw/), then run again; nothing was changed",
        )),
        Some(_) => Err(Failure::new(
            format!("{} holds another plan", folder.display()),
            "move the folder away if its papers are in use, or delete it, then run again; nothing was changed",
        )),
        None => Ok(()),
    }
}

/// The plan in a few lines.
fn say(plan: &Plan, voice: &mut Voice) {
    let gauge = plan.planters[0].gauge.as_deref();
    let settings: Vec<String> = plan
        .levels
        .iter()
        .map(|level| format!("{}{}", shown(&level.knobs[0], gauge), if level.is_default { " (default)" } else { "" }))
        .collect();
    let layout = match plan.layout {
        Layout::CompleteBlocks => "every setting once in every block",
        Layout::IncompleteBlocks => "blocks smaller than the number of settings",
        Layout::SplitPlot => "closers on groups of strips, settings inside them",
        Layout::StripSplit => "two planters side by side, settings along the pass",
    };
    voice.say(&format!(
        "Trial in {}, {}: {} strips in {} blocks, {layout}. Seed {}.",
        plan.field_id,
        plan.season,
        plan.strips.len(),
        plan.blocks,
        plan.seed
    ));
    voice.say(&format!("Settings: {}.", settings.join(", ")));
    for sentence in plan.worth.sentences.iter().chain(&plan.notes) {
        voice.say(sentence);
    }
    voice.fact("strips", plan.strips.len());
    voice.fact("blocks", plan.blocks);
    voice.fact("seed", plan.seed);
    voice.fact("detectable", plan.worth.detectable);
}
