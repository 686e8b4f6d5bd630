//! What one group can tell of one response, and groups that no model speaks for.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_settings::Settings;
use evenstand_tables::rows::StripRow;

use crate::decision::Picture;
use crate::draws::GroupDraws;
use crate::groups::{Basis, Coverage, GroupKey, axis_of, distinct, group_of};
use crate::levels::LevelTest;

/// One group and response: what it can tell.
pub(crate) struct GroupAnswer {
    pub key: GroupKey,
    pub response: String,
    pub primary: bool,
    pub tolerance: f64,
    pub coverage: Option<Coverage>,
    pub levels: Option<LevelTest>,
    pub draws: Option<GroupDraws>,
    pub picture: Option<Picture>,
    pub borrowed_share: Option<f64>,
    pub open: Option<String>,
}

/// Groups of strips that no model speaks for, each with the reason.
pub(crate) fn open_from_the_start(
    strips: &[StripRow],
    answered: &[GroupAnswer],
    settings: &Settings,
) -> Vec<GroupAnswer> {
    let wanted = settings.analysis.primary.clone();
    let mut silent: BTreeMap<GroupKey, Vec<&StripRow>> = BTreeMap::new();
    for strip in strips {
        silent.entry(group_of(strip, axis_of(strip).as_ref())).or_default().push(strip);
    }
    silent.retain(|key, _| {
        !answered
            .iter()
            .any(|answer| answer.key == *key && wanted.as_ref().is_none_or(|wanted| answer.response == *wanted))
    });
    silent
        .into_iter()
        .filter(|(key, _)| !answered.iter().any(|answer| answer.key == *key && answer.response.ends_with("_share")))
        .map(|(key, strips)| {
            let counted = strips.iter().filter(|strip| strip.emerged.is_some()).count();
            let with_force = strips.iter().filter(|strip| strip.force_n.is_some()).count();
            let shares = strips.iter().filter(|strip| strip.emerged_share.is_some()).count();
            let why = if with_force == 0 && strips.iter().any(|strip| strip.closing_position.is_some()) {
                "The positions that were used have no weighed forces, so they are compared as treatments only. Weigh the force of each position and write it into evenstand.toml."
            } else if with_force == 0 {
                "No closing downforce is known for these strips: nobody logged a set pressure, force or weighed position. Without it, emergence cannot be tied to the setting. Log the setting of each strip."
            } else if counted == 0 {
                "There are no stand counts that can be used in these strips."
            } else if shares == 0 {
                "Seeds sown are not known for these strips, so no share can be told."
            } else {
                "No strip has both a setting and a usable count."
            };
            let response = wanted.clone().unwrap_or_else(|| {
                if strips.iter().any(|strip| strip.on_time_share.is_some()) { "on_time_share" } else { "emerged_share" }.to_owned()
            });
            GroupAnswer {
                tolerance: settings.tolerance.of(&response).unwrap_or(0.0),
                coverage: Some(Coverage {
                    basis: Basis::Logs,
                    field_seasons: distinct(strips.iter().map(|strip| strip.field_id.as_str())).len(),
                    strips: strips.len(),
                    level_forces: Vec::new(),
                    tested: (f64::NAN, f64::NAN),
                    varied_within_fields: false,
                    blocks: 0,
                }),
                response,
                primary: false,
                levels: None,
                draws: None,
                picture: None,
                borrowed_share: None,
                open: Some(why.to_owned()),
                key,
            }
        })
        .collect()
}

/// The response that decides: the one asked for, else on-time share, or emerged share where no course was taken.
pub(crate) fn mark_primary(groups: &mut [GroupAnswer], settings: &Settings) {
    let with_course: BTreeSet<GroupKey> =
        groups.iter().filter(|group| group.response == "on_time_share").map(|group| group.key.clone()).collect();
    for group in groups {
        let decides = match &settings.analysis.primary {
            Some(primary) => primary == &group.response,
            None if with_course.contains(&group.key) => group.response == "on_time_share",
            None => group.response == "emerged_share",
        };
        group.primary = decides;
    }
}
