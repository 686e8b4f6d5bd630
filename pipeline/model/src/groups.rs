//! Strips pooled under one curve, and whether their settings can tell anything.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_agronomy::force_levels;
use evenstand_tables::rows::StripRow;

use crate::dig_window::Allowed;

/// Strips under one curve: a condition and a closer; a planter too where planters cannot be pooled.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) struct GroupKey {
    pub condition: String,
    pub closer: String,
    /// Empty where planters are pooled.
    pub planter_id: String,
}

impl GroupKey {
    /// The planter, where planters are not pooled.
    pub fn planter(&self) -> Option<String> {
        (!self.planter_id.is_empty()).then(|| self.planter_id.clone())
    }
}

/// The force axis a strip stands on: newtons, or the pressure of one planter that has no calibration.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) enum Axis {
    Force,
    Nominal(String),
}

impl Axis {
    /// Name in the model table.
    pub fn name(&self) -> &str {
        match self {
            Axis::Force => "force",
            Axis::Nominal(planter) => planter,
        }
    }
}

/// The axis of a strip; `None` where its setting is not known as a number.
pub(crate) fn axis_of(strip: &StripRow) -> Option<Axis> {
    strip.force_n?;
    Some(if strip.force_source.as_deref() == Some("nominal") {
        Axis::Nominal(strip.planter_id.clone().unwrap_or_default())
    } else {
        Axis::Force
    })
}

/// The curve a strip belongs to.
pub(crate) fn group_of(strip: &StripRow, axis: Option<&Axis>) -> GroupKey {
    GroupKey {
        condition: strip.condition.clone(),
        closer: strip.closer.clone().unwrap_or_else(|| "other".into()),
        planter_id: match axis {
            Some(Axis::Nominal(planter)) => planter.clone(),
            _ => String::new(),
        },
    }
}

/// How settings varied under a curve.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Basis {
    /// Inside field-seasons.
    Trial,
    /// Only between field-seasons.
    Logs,
}

impl Basis {
    pub fn name(self) -> &'static str {
        match self {
            Basis::Trial => "trial",
            Basis::Logs => "logs",
        }
    }
}

/// What the settings under a curve can tell.
#[derive(Debug, Clone)]
pub(crate) struct Coverage {
    pub basis: Basis,
    /// Field-seasons behind the answer: those in which settings varied, for a trial; all of them, for logs.
    pub field_seasons: usize,
    pub strips: usize,
    /// Mean force of each setting told apart.
    pub level_forces: Vec<f64>,
    /// Lightest and heaviest force tested.
    pub tested: (f64, f64),
    /// Whether settings varied inside the same field, at least between its seasons.
    pub varied_within_fields: bool,
    /// Blocks that hold two settings or more, over all field-seasons.
    pub blocks: usize,
    /// Whether some setting stands in two strips or more.
    pub repeated: bool,
    /// Strips of the setting that stands in the fewest.
    pub fewest_strips: usize,
    /// Lightest and heaviest force of each field-season behind the answer.
    pub spans: Vec<(f64, f64)>,
    /// Forces that digging allows a start to have.
    pub allowed: Allowed,
}

impl Coverage {
    /// Field-seasons whose own settings reach around a force, give or take a hundredth of the tested range.
    pub fn tried_around(&self, force_n: f64) -> usize {
        let slack = 0.01 * (self.tested.1 - self.tested.0);
        self.spans.iter().filter(|(low, high)| (low - slack..=high + slack).contains(&force_n)).count()
    }
}

/// One strip as coverage sees it.
pub(crate) struct Placed<'a> {
    pub field_id: &'a str,
    pub season: i64,
    pub block: Option<&'a str>,
    pub force_n: f64,
}

/// Works out what settings can tell. `strips` must not be empty.
pub(crate) fn coverage(strips: &[Placed]) -> Coverage {
    let mut by_season: BTreeMap<(&str, i64), Vec<&Placed>> = BTreeMap::new();
    let mut by_field: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
    for strip in strips {
        by_season.entry((strip.field_id, strip.season)).or_default().push(strip);
        by_field.entry(strip.field_id).or_default().push(strip.force_n);
    }
    let forces = |members: &[&Placed]| members.iter().map(|strip| strip.force_n).collect::<Vec<_>>();
    let several = |forces: &[f64]| force_levels(forces).1.len() > 1;
    let trials: Vec<&Vec<&Placed>> = by_season.values().filter(|members| several(&forces(members))).collect();
    let basis = if trials.is_empty() { Basis::Logs } else { Basis::Trial };
    let counted: Vec<&Placed> = match basis {
        Basis::Trial => trials.iter().flat_map(|members| members.iter().copied()).collect(),
        Basis::Logs => strips.iter().collect(),
    };
    let all = forces(&counted);
    let mut blocks: BTreeMap<(&str, i64, Option<&str>), Vec<f64>> = BTreeMap::new();
    for strip in &counted {
        blocks.entry((strip.field_id, strip.season, strip.block)).or_default().push(strip.force_n);
    }
    let range = |forces: &[f64]| {
        forces.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), force| (low.min(*force), high.max(*force)))
    };
    let spans: Vec<(f64, f64)> = match basis {
        Basis::Trial => trials.iter().map(|members| range(&forces(members))).collect(),
        Basis::Logs => by_season.values().map(|members| range(&forces(members))).collect(),
    };
    let tested = range(&all);
    let (levels, level_forces) = force_levels(&all);
    let strips_of = |level: usize| levels.iter().filter(|own| **own == level).count();
    Coverage {
        basis,
        field_seasons: if basis == Basis::Trial { trials.len() } else { by_season.len() },
        strips: counted.len(),
        repeated: level_forces.len() < all.len(),
        fewest_strips: (0..level_forces.len()).map(strips_of).min().unwrap_or(0),
        level_forces,
        tested,
        varied_within_fields: by_field.values().any(|forces| several(forces)),
        blocks: blocks.values().filter(|forces| several(forces)).count(),
        spans,
        allowed: Allowed::default(),
    }
}

/// Distinct conditions, for messages.
pub(crate) fn distinct<'a>(words: impl Iterator<Item = &'a str>) -> Vec<String> {
    words.map(str::to_owned).collect::<BTreeSet<_>>().into_iter().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn placed(field_id: &'static str, season: i64, force_n: f64) -> Placed<'static> {
        Placed { field_id, season, block: Some("I"), force_n }
    }

    #[test]
    fn settings_that_vary_inside_a_field_season_are_a_trial_and_only_those_count() {
        let found = coverage(&[placed("A", 2024, 100.0), placed("A", 2024, 200.0), placed("B", 2024, 400.0)]);
        assert_eq!((found.basis, found.field_seasons, found.strips), (Basis::Trial, 1, 2));
        assert_eq!(found.tested, (100.0, 200.0));
        assert_eq!(found.blocks, 1);
    }

    #[test]
    fn settings_that_vary_only_between_fields_are_logs_that_followed_the_field() {
        let found = coverage(&[placed("A", 2023, 100.0), placed("A", 2024, 100.0), placed("B", 2024, 200.0)]);
        assert_eq!((found.basis, found.field_seasons, found.varied_within_fields), (Basis::Logs, 3, false));
        let found = coverage(&[placed("A", 2023, 100.0), placed("A", 2024, 150.0)]);
        assert!(found.varied_within_fields);
    }
}
