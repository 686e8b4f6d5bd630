//! The result as a page of markdown: every figure in it comes from the run.

use crate::calibration::Class;
use crate::judge::Record;
use crate::lines::Line;
use crate::print::{Cells, best_force, miss_in_words, points, points_with_error, share, share_with_error};
use crate::tally::Tally;

/// What was run.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    pub reviews: u64,
    pub draws: u64,
    pub first_seed: u64,
    /// Arguments of the command that makes the page again, without the file.
    pub scenarios: Vec<String>,
    /// Name of the page's file.
    pub file: String,
}

/// The page.
/// `first` has the first review of every scenario, as [`first_review`] puts it.
pub fn notebook(run: &Run, tallies: &[Tally], trials: &[Class], logs: &[Class], first: &[Cells]) -> String {
    let mut page = beginning(run, tallies);
    page.push_str(HOW_IT_WORKS);
    page.push_str(HOW_IT_IS_DRAWN);
    page.push_str("\n## Said and kept\n\n");
    page.push_str(SAID_AND_KEPT);
    for (title, classes) in [("trials", trials), ("logs", logs)] {
        if classes.iter().any(|class| class.kept.count > 0) {
            page.push_str(&classes_table(title, classes));
        }
    }
    page.push_str("\n## What is held\n\n");
    page.push_str(&held(tallies));
    page.push_str("\n## Is it right?\n\n");
    page.push_str(&right_table(tallies));
    page.push_str("\n## What does it cost?\n\n");
    page.push_str(&cost_table(tallies));
    page.push_str(HOW_TO_READ);
    page.push_str(FIRST_REVIEWS);
    let mut rows = vec![header("scenario|condition|evidence|shape|start, N|can be best, N")];
    rows.extend(first.iter().cloned());
    page.push_str(&markdown(&rows));
    page
}

const FIRST_REVIEWS: &str = "
## The first review of each scenario

The tests answer these again and compare: a page that no longer belongs to the code fails them.

";

/// One answer of the first review of a scenario.
pub fn first_review(scenario: &str, record: &Record) -> Cells {
    let force = |force: Option<f64>| force.map_or_else(|| "-".to_owned(), |force| format!("{force:.0}"));
    let cells = [
        scenario.to_owned(),
        record.condition.to_owned(),
        record.evidence.clone(),
        record.shape.clone(),
        force(record.start_n),
        format!("{} to {}", force(record.best_low_n), force(record.best_high_n)),
    ];
    cells.into_iter().collect()
}

fn beginning(run: &Run, tallies: &[Tally]) -> String {
    let scenarios: String = run.scenarios.iter().map(|text| format!(" --scenario \"{text}\"")).collect();
    let last_seed = run.first_seed.wrapping_add(run.reviews.saturating_sub(1));
    let Run { reviews, draws, first_seed, file, .. } = run;
    format!(
        "# Does the answer keep its promise?\n\n\
        *Question: is a starting point as often right as it says, in fields that no review has seen, and does it beat simpler \
        ways to choose?*\n\n\
        All of this is invented: fields, strips and plants are drawn from truths that we state, each review goes through the \
        code behind `evenstand model`, and the answer is judged by the truth. {reviews} reviews of each scenario (seeds \
        {first_seed} to {last_seed}), {draws} draws of the model, {} rows below. The same command writes the same page:\n\n\
        ```sh\ncargo run --release --example promise -- --reviews {reviews} --draws {draws} --first-seed \
        {first_seed}{scenarios} --notebook {file}\n```\n",
        tallies.len()
    )
}

/// The model in plain words.
pub const HOW_IT_WORKS: &str = include_str!("how_it_works.md");

const HOW_IT_IS_DRAWN: &str = "
## How it is drawn

A trial has five settings (80, 135, 190, 245, 300 N), each once in every block, four blocks in a field-season unless the scenario
says otherwise, and 90 to 110 seeds looked at in a strip. The share that comes up on time is, on the logit, the typical field's level, what
force does, and normal differences between field-seasons, blocks and strips; plants are binomial.

*Large* effects: 80 in 100 on time at the best; standard deviations 0.35 between fields, 0.15 between blocks, 0.25 between strips.
*Modest* ones have the size that trials of closing force suggest: 94, 89 and 92 in 100 at the best, which is at 160 N in moist, 100 N in
wet and 220 N in dry ground; two points are lost 110, 60 and 90 N away from it; fields differ by 3 points, blocks by 1, strips by 1.5, and counts vary by
1.3 times the binomial variance.

Where fields *vary*, each has its own best, with a standard deviation of that part of half the tested range. In *logs* there is one setting a
field-season, in five fields over four seasons, and settings were heavier where the ground was harder and the stand worse, with the correlation that is named.
Where force *varies*, strips got the set force give or take 20 N; where the calibration is *off*, 1.1 times the set force. The truth is always that of the set force.

An answer is judged in 400 new fields of the same truth. Where it gives no start, the default stays. *Loss* is the best share
in the tested range less the share at the start, in points, and its mean over new fields.
";

const SAID_AND_KEPT: &str = "Of all answers that give a start: the probability that it is within 2 points of the best in a new field, as the \
answer said it, and the share of new fields in which it was. The mixture of scenarios is ours, so a class is a check and not a forecast. \
Errors are Monte Carlo standard errors throughout.\n";

const HOW_TO_READ: &str = "
## How to read it

- *said* and *kept* are means over answers that give a start. Said below kept is caution; said above kept is a fault.
- *holds the best* is the share of new fields whose best force meets the 90 % set, over settled and leaning answers; *width* is the set's mean share of
  the tested range. A set that always is the whole range would hold every best and say nothing.
- *names a shape*: the answer says inside, lighter, heavier or plateau. Where force does nothing, that is false.
- Losses of the other ways come from the same strips and the same new fields. *default* never moves; *best mean* takes the setting with
  the highest mean; *pooled quadratic* fits one parabola of the share with field-seasons apart; *field by field* takes the mean
  of the bests of a parabola in each. A difference is ours less theirs, review by review: below 0, ours loses less.
- A trait that no scenario has is not tested here: other layouts, other numbers of settings, plants that are counted wrongly.
";

fn markdown(rows: &[Cells]) -> String {
    let line = |cells: &Cells| format!("| {} |\n", cells.join(" | "));
    let Some((header, body)) = rows.split_first() else { return String::new() };
    let rule: String = (0..header.len()).map(|column| if column == 0 { "| --- |" } else { " ---: |" }).collect();
    format!("{}{rule}\n{}", line(header), body.iter().map(line).collect::<String>())
}

fn header(text: &str) -> Cells {
    text.split('|').map(str::to_owned).collect()
}

fn classes_table(title: &str, classes: &[Class]) -> String {
    let mut rows = vec![header(&format!("said ({title})|mean said|kept|answers"))];
    rows.extend(classes.iter().map(|class| {
        vec![
            format!("{:.2} to {:.2}", class.from, class.to),
            share(class.said),
            share_with_error(class.kept),
            class.kept.count.to_string(),
        ]
    }));
    format!("\n{}", markdown(&rows))
}

fn held(tallies: &[Tally]) -> String {
    let mut rows = vec![header("line|rows asked|held|missed within error|missed")];
    let mut missed = String::new();
    for line in Line::ALL {
        let asked: Vec<&Tally> = tallies.iter().filter(|tally| line.applies(tally)).collect();
        let misses: Vec<_> = asked.iter().map(|tally| line.misses(tally)).filter(|misses| !misses.is_empty()).collect();
        let within = misses.iter().filter(|misses| misses.iter().all(|miss| miss.within_error)).count();
        let counts = [asked.len(), asked.len() - misses.len(), within, misses.len() - within];
        rows.push([line.words()].into_iter().chain(counts.map(|count| count.to_string())).collect());
        missed.extend(misses.iter().flatten().map(|miss| format!("- {}\n", miss_in_words(miss))));
    }
    let table = markdown(&rows);
    if missed.is_empty() { table } else { format!("{table}\nMissed:\n\n{missed}") }
}

fn right_table(tallies: &[Tally]) -> String {
    let mut rows = vec![header(
        "scenario|default, N|best, N|settled|leaning|open|moved|said|kept|right when settled|holds the best|width|gain's interval holds|names a shape",
    )];
    rows.extend(tallies.iter().map(|tally| {
        vec![
            tally.name(),
            tally.default_n.to_string(),
            best_force(tally),
            share(tally.settled),
            share(tally.leaning),
            share(tally.open),
            share(tally.moved),
            share(tally.said),
            share(tally.kept),
            share_with_error(tally.settled_right),
            share_with_error(tally.covered_spoken),
            share(tally.width),
            share_with_error(tally.gain_covered_moved),
            share_with_error(tally.claimed),
        ]
    }));
    markdown(&rows)
}

fn cost_table(tallies: &[Tally]) -> String {
    let mut titles = header("scenario|loss|95 in 100 below");
    let rivals = tallies.first().map_or(&[][..], |tally| &tally.rivals);
    titles.extend(rivals.iter().map(|rival| rival.name.to_owned()));
    titles.extend(rivals.iter().map(|rival| format!("ours less {}", rival.name)));
    let mut rows = vec![titles];
    rows.extend(tallies.iter().map(|tally| {
        let mut row = vec![tally.name(), points_with_error(tally.loss), format!("{:.2}", 100.0 * tally.loss_95)];
        row.extend(tally.rivals.iter().map(|rival| points(rival.loss)));
        row.extend(tally.rivals.iter().map(|rival| points_with_error(rival.ours_less)));
        row
    }));
    markdown(&rows)
}
