//! What one group can tell of one response, and groups that no model speaks for.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_settings::{Planter, Settings};
use evenstand_tables::rows::StripRow;

use crate::decision::Picture;
use crate::dig_window::{Allowed, DigWindow};
use crate::draws::GroupDraws;
use crate::groups::{Basis, Coverage, GroupKey, axis_of, group_of};
use crate::label_answer::{Labelled, by_label};
use crate::left_out::LeftOut;
use crate::levels::LevelTest;
use crate::own_answer::OwnAnswer;

/// One group and response: what it can tell.
pub(crate) struct GroupAnswer {
    pub key: GroupKey,
    pub response: String,
    pub primary: bool,
    pub tolerance: f64,
    pub coverage: Coverage,
    pub finding: Outlook,
}

impl GroupAnswer {
    /// What the answer rests on, as the tables name it.
    pub fn basis(&self) -> &'static str {
        match self.finding {
            Outlook::Dug(_) => "digs",
            _ => self.coverage.basis.name(),
        }
    }
}

/// What came of it.
pub(crate) enum Outlook {
    /// Nothing could be worked out, and why.
    Open(String),
    /// A curve, as draws, and what is read from it.
    Told(Box<Told>),
    /// Positions without weighed forces, compared by label.
    Labelled(Box<Labelled>),
    /// No stand counts: what digging alone says.
    Dug(Box<DigWindow>),
}

/// What a group can tell.
pub(crate) struct Told {
    pub draws: GroupDraws,
    pub picture: Picture,
    /// What the settings show without a curve.
    pub levels: Option<LevelTest>,
    /// What its trials say alone.
    pub own: Option<OwnAnswer>,
    /// What its trials say alone without each of their field-seasons.
    pub left_out: Option<LeftOut>,
    /// How much of its slope comes from other conditions.
    pub borrowed_share: f64,
    /// Variance between strips of one setting in one block, on the model's scale.
    pub strip_variance: f64,
}

/// The strips of each group.
pub(crate) type Members<'a> = BTreeMap<GroupKey, Vec<&'a StripRow>>;

/// Sorts strips into groups; one without a known setting belongs to the group of its condition and closer, and to that of its planter where positions
/// of this one are compared by label.
pub(crate) fn members<'a>(strips: &'a [StripRow], settings: &Settings) -> Members<'a> {
    let unweighed = |planter: &&Planter| planter.unweighed_positions().is_some();
    let by_label: BTreeSet<&str> =
        settings.planters.iter().filter(unweighed).map(|planter| planter.id.as_str()).collect();
    let mut members = Members::new();
    for strip in strips {
        let axis = axis_of(strip);
        let mut key = group_of(strip, axis.as_ref());
        if let (None, Some(planter)) = (axis, strip.planter_id.as_ref().filter(|id| by_label.contains(id.as_str()))) {
            key.planter_id = planter.clone();
        }
        members.entry(key).or_default().push(strip);
    }
    members
}

/// What a starting point from digging alone is a response of.
pub(crate) const DIG_CHECK: &str = "dig_check";

/// The response that decides for a group: digging where there is nothing else; the one asked for,
/// else on-time share, or emerged share where no course was taken.
fn deciding<'a>(key: &GroupKey, answered: &[GroupAnswer], settings: &'a Settings) -> &'a str {
    let dug = |answer: &GroupAnswer| answer.key == *key && matches!(answer.finding, Outlook::Dug(_));
    if answered.iter().any(dug) {
        return DIG_CHECK;
    }
    let with_course = answered.iter().any(|answer| answer.key == *key && answer.response == "on_time_share");
    match &settings.analysis.primary {
        Some(primary) => primary,
        None if with_course => "on_time_share",
        None => "emerged_share",
    }
}

/// Groups that have no answer in the response that decides, each with the reason. Another response never takes its place.
pub(crate) fn open_from_the_start(
    members: &Members,
    answered: &[GroupAnswer],
    settings: &Settings,
) -> Vec<GroupAnswer> {
    let mut open = Vec::new();
    for (key, strips) in members {
        let response = deciding(key, answered, settings).to_owned();
        if answered.iter().any(|answer| answer.key == *key && answer.response == response) {
            continue;
        }
        open.push(GroupAnswer {
            tolerance: settings.tolerance.of(&response).unwrap_or(0.0),
            coverage: Coverage {
                basis: Basis::Logs,
                field_seasons: strips
                    .iter()
                    .map(|strip| (&strip.field_id, strip.season))
                    .collect::<BTreeSet<_>>()
                    .len(),
                strips: strips.len(),
                level_forces: Vec::new(),
                tested: (f64::NAN, f64::NAN),
                varied_within_fields: false,
                blocks: 0,
                repeated: false,
                fewest_strips: 0,
                spans: Vec::new(),
                allowed: Allowed::default(),
            },
            finding: Outlook::Open(why_silent(strips, &response, by_label(key, strips))),
            response,
            primary: false,
            key: key.clone(),
        });
    }
    open
}

/// Why strips say nothing of a response.
fn why_silent(strips: &[&StripRow], response: &str, by_label: bool) -> String {
    let any = |has: fn(&StripRow) -> bool| strips.iter().any(|strip| has(strip));
    let positions = any(|strip| strip.closing_position.is_some());
    let compared = by_label && positions;
    if !compared && !any(|strip| strip.force_n.is_some()) {
        if positions {
            return "The positions that were used have no weighed forces, and their order is not known. Write all positions of the planter into evenstand.toml, lightest first, and the weighed force of each; or of none, to compare them as treatments.".to_owned();
        }
        return "No closing downforce is known for these strips: no log has a set pressure, force or weighed position that can be used. Without it, emergence cannot be tied to the setting. Log the setting of each strip.".to_owned();
    }
    if !response.ends_with("_share") {
        return format!(
            "The response that was chosen to decide, {response}, has no values in these strips that say which way is better. Add its values, or choose another with primary in evenstand.toml."
        );
    }
    if !any(|strip| strip.emerged.is_some()) {
        return "There are no stand counts that can be used in these strips.".to_owned();
    }
    if !any(|strip| strip.emerged_share.is_some()) {
        return "Seeds sown are not known for these strips, so no share can be told. Give seeds_sown, or the row length with the field's seed rate and row spacing.".to_owned();
    }
    if !any(|strip| strip.usable == Some(true)) {
        return "No count can be used: in each strip either more plants came up than seeds were sown, or the setting is not known. Check the counts, the row lengths and the seed rate.".to_owned();
    }
    format!("No strip has both a setting and {response}.")
}

/// Marks the response that decides in each group.
pub(crate) fn mark_primary(groups: &mut [GroupAnswer], settings: &Settings) {
    let primary: Vec<bool> =
        groups.iter().map(|group| deciding(&group.key, groups, settings) == group.response).collect();
    groups.iter_mut().zip(primary).for_each(|(group, primary)| group.primary = primary);
}
