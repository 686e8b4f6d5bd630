//! Next season's strip trial, into plan/.

use std::fs;
use std::io;

use evenstand_store::replace_folder;
use evenstand_trial::{Layout, Plan, plan, shown};

use crate::failure::Failure;
use crate::review::Review;
use crate::trial::{ReviewFacts, TrialArgs, ask, ground, request};
use crate::voice::Voice;

/// Plans a trial and writes its papers into plan/FIELD-SEASON/.
pub fn trial(review: &Review, arguments: &TrialArgs, voice: &mut Voice) -> Result<bool, Failure> {
    let facts = ReviewFacts::read(review)?;
    let mut arguments = arguments.clone();
    if arguments.ask {
        ask(review, &facts, &mut arguments, &mut io::stdin().lock(), &mut io::stderr());
    }
    let (request, known, notes) = request(review, &facts, &arguments)?;
    let ground = ground(&facts, &arguments, &request.field_id)?;
    let mut plan = plan(&request, &known, &ground, &review.settings)?;
    plan.notes.splice(0..0, notes);
    let papers = vec![("trial.json", serde_json::to_vec_pretty(&plan).unwrap())];
    let folder = review.plan.join(format!("{}-{}", plan.field_id, plan.season));
    fs::create_dir_all(&review.plan).unwrap();
    replace_folder(&folder, |staging| -> Result<(), Failure> {
        for (name, bytes) in &papers {
            fs::write(staging.join(name), bytes).unwrap();
        }
        Ok(())
    })?;
    say(&plan, voice);
    Ok(false)
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
