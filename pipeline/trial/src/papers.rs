//! The papers of a plan: what goes into the cab, what is counted with, what comes back, and what the planner keeps.

mod cab;
mod counting;
mod delimited;
mod drawing;
mod map;
mod outlines;
mod page;
mod plan_page;
mod records;
mod units;
mod words;

use evenstand_settings::Settings;

use crate::{Ground, Plan, TrialError};
use units::Units;

pub(crate) use units::number;

/// One file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Paper {
    /// Name without a folder.
    pub name: String,
    /// What it holds.
    pub bytes: Vec<u8>,
}

/// Makes every paper of a plan: pages to print, the map, record sheets that are ready but for what the field tells, outlines of the
/// strips where the ground lies on the globe, and the plan itself. Same plan, same bytes.
///
/// `command` is the command line that makes the plan again; it stands on the planner's page. Numbers that are set are in the unit
/// of the gauge, lengths in the units of the report.
///
/// Errors where a page cannot be made, which is a fault of ours, and where the plan names a pass, planter or setting that it does not
/// have.
pub fn papers(plan: &Plan, ground: &Ground, settings: &Settings, command: &str) -> Result<Vec<Paper>, TrialError> {
    check(plan)?;
    let units = Units::new(plan, settings);
    let maps: Vec<String> = map::panels(plan, &units).iter().map(drawing::Drawing::svg).collect();
    let mut papers = vec![
        paper("cab-card.html", cab::cab_card(plan, &units)?),
        paper("count-sheets.html", counting::count_sheets(plan, &units)?),
        paper("plan.html", plan_page::plan_page(plan, ground, &units, &maps, command)?),
        paper("layout.svg", map::map(plan, &units).svg()),
    ];
    papers.extend(records::records(plan, &units).into_iter().map(|(name, text)| paper(&name, text)));
    let stem = file_stem(plan);
    if let Some(text) = outlines::outlines(plan, ground, &units) {
        papers.push(paper(&format!("strip-{stem}.geojson"), text));
    }
    let text = serde_json::to_string_pretty(plan)
        .map_err(|error| TrialError::request("the plan", error, "a plan that can be written as JSON"))?;
    papers.push(paper("trial.json", text + "\n"));
    Ok(papers)
}

fn paper(name: &str, text: String) -> Paper {
    Paper { name: name.to_owned(), bytes: text.into_bytes() }
}

/// Positions that the plan points to are there, so that no paper leaves anything out.
fn check(plan: &Plan) -> Result<(), TrialError> {
    let planters = plan.planters.len();
    let strip = |strip: &crate::Strip| {
        strip.pass < plan.passes.len()
            && strip.planter < planters
            && strip.closer < plan.closers.len()
            && plan.levels.get(strip.level).is_some_and(|level| level.knobs.len() == planters)
    };
    let pass =
        |pass: &crate::Pass| pass.planter < planters && pass.strips.iter().all(|strip| *strip < plan.strips.len());
    if let Some(wrong) = plan.strips.iter().find(|one| !strip(one)) {
        let found = format!("strip {} with a pass, planter, closer or setting that is not in it", wrong.strip_id);
        return Err(TrialError::request("the plan", found, "positions inside its lists; plan it again"));
    }
    if let Some(wrong) = plan.passes.iter().find(|one| !pass(one)) {
        let found = format!("pass {} with a planter or strip that is not in it", wrong.number);
        return Err(TrialError::request("the plan", found, "positions inside its lists; plan it again"));
    }
    Ok(())
}

/// Most letters of a field's name in the name of a file.
const MOST_LETTERS: usize = 40;

/// Field and season as a part of file names, and of the folder they go to: letters and digits of ASCII, everything else a dash.
pub fn file_stem(plan: &Plan) -> String {
    let mut name = String::new();
    for letter in plan.field_id.chars() {
        if letter.is_ascii_alphanumeric() {
            name.push(letter);
        } else if !name.is_empty() && !name.ends_with('-') {
            name.push('-');
        }
        if name.len() == MOST_LETTERS {
            break;
        }
    }
    let name = name.trim_end_matches('-');
    format!("{}-{}", if name.is_empty() { "field" } else { name }, plan.season)
}

#[cfg(test)]
mod tests;
