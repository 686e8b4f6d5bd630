//! Whether settings stood side by side, and whether the actual force followed the set one.

use std::collections::BTreeMap;

use evenstand_tables::Finding;
use evenstand_tables::rows::StripRow;

use crate::group_answer::Members;
use crate::summary::{mean, standard_deviation};

/// Settings are apart where the heavier is at least this many times the lighter.
const APART: f64 = 1.2;
/// An actual force within this share of the set one follows it.
const FOLLOWS: f64 = 0.10;
/// Strips from which an offset common to all can be named, and its least size as a share of the set force.
const OFFSET_STRIPS: usize = 6;
const OFFSET_SHARE: f64 = 0.05;

/// Share of the strips of one group that stand in a field-season with another setting at least 20 % apart. `None` where no strip has a setting.
pub(crate) fn overlap_share(strips: &[&StripRow]) -> Option<f64> {
    let mut ranges: BTreeMap<(&str, i64), (f64, f64)> = BTreeMap::new();
    let set: Vec<((&str, i64), f64)> =
        strips.iter().filter_map(|strip| Some(((strip.field_id.as_str(), strip.season), strip.force_n?))).collect();
    for (place, force_n) in &set {
        let range = ranges.entry(*place).or_insert((*force_n, *force_n));
        *range = (range.0.min(*force_n), range.1.max(*force_n));
    }
    let beside = set.iter().filter(|(place, force_n)| {
        let (lightest, heaviest) = ranges[place];
        heaviest > lightest && (heaviest >= APART * force_n || *force_n >= APART * lightest)
    });
    (!set.is_empty()).then(|| beside.count() as f64 / set.len() as f64)
}

/// A finding for every group with several settings of which none stood side by side.
pub(crate) fn overlap_findings(members: &Members) -> Vec<Finding> {
    members
        .iter()
        .filter_map(|(key, strips)| {
            let forces: Vec<f64> = strips.iter().filter_map(|strip| strip.force_n).collect();
            let several = evenstand_agronomy::force_levels(&forces).1.len() > 1;
            let none = overlap_share(strips) == Some(0.0);
            (several && none).then(|| {
                Finding::note(
                    "no_overlap",
                    format!(
                        "{}: no two settings at least 20 % apart stood in one field-season, so a setting cannot be told from its field",
                        key.condition
                    ),
                )
                .remedy("lay out strips with a lighter and a heavier setting in one field, in three or four blocks")
            })
        })
        .collect()
}

/// How the actual force followed the set one, over strips that have both.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Compliance {
    pub strips: usize,
    /// Mean and standard deviation of actual − set, in newtons; the deviation is NaN for one strip.
    pub mean_n: f64,
    pub deviation_n: f64,
    /// Share of strips within 10 % of the set force.
    pub within: f64,
    /// Mean set force.
    pub set_n: f64,
}

/// Compliance of strips; `None` where none has both forces.
pub(crate) fn compliance<'a>(strips: impl Iterator<Item = &'a StripRow>) -> Option<Compliance> {
    let pairs: Vec<(f64, f64)> = strips.filter_map(|strip| Some((strip.set_force_n?, strip.actual_force_n?))).collect();
    let offsets: Vec<f64> = pairs.iter().map(|(set, actual)| actual - set).collect();
    let within = pairs.iter().filter(|(set, actual)| (actual - set).abs() <= FOLLOWS * set.abs() + 1e-9).count();
    (!pairs.is_empty()).then(|| Compliance {
        strips: pairs.len(),
        mean_n: mean(&offsets),
        deviation_n: standard_deviation(&offsets),
        within: within as f64 / pairs.len() as f64,
        set_n: mean(&pairs.iter().map(|(set, _)| *set).collect::<Vec<_>>()),
    })
}

/// A finding for every planter whose actual force is off by the same way throughout.
///
/// Common means: at least nine strips in ten off to one side, by 5 % of the set force or more and by more than twice the standard deviation.
pub(crate) fn offset_findings(strips: &[StripRow]) -> Vec<Finding> {
    let mut by_planter: BTreeMap<&str, Vec<&StripRow>> = BTreeMap::new();
    for strip in strips {
        by_planter.entry(strip.planter_id.as_deref().unwrap_or_default()).or_default().push(strip);
    }
    by_planter
        .into_iter()
        .filter_map(|(planter, strips)| {
            let found = compliance(strips.iter().copied())?;
            let one_side = strips
                .iter()
                .filter(|strip| match (strip.set_force_n, strip.actual_force_n) {
                    (Some(set), Some(actual)) => (actual - set) * found.mean_n > 0.0,
                    _ => false,
                })
                .count() as f64;
            let common = found.strips >= OFFSET_STRIPS
                && one_side >= 0.9 * found.strips as f64
                && found.mean_n.abs() >= OFFSET_SHARE * found.set_n.abs()
                && found.mean_n.abs() > 2.0 * found.deviation_n;
            common.then(|| {
                Finding::warning(
                    "actual_force_offset",
                    format!(
                        "{}the actual force is {:.0} N {} the set force throughout ({:.0} N set on average, {} strips); a calibration that is off shifts all answers in newtons alike",
                        if planter.is_empty() { String::new() } else { format!("planter {planter}: ") },
                        found.mean_n.abs(),
                        if found.mean_n > 0.0 { "above" } else { "below" },
                        found.set_n,
                        found.strips
                    ),
                )
                .remedy("weigh the closing force again and correct force_n in evenstand.toml, or check the zero of the sensor; answers in the planter's own knob stay the same")
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn strip(field: &str, set: f64, actual: Option<f64>) -> StripRow {
        StripRow {
            field_id: field.into(),
            season: 2025,
            force_n: Some(set),
            set_force_n: Some(set),
            actual_force_n: actual,
            planter_id: Some("P".into()),
            ..StripRow::default()
        }
    }

    #[test]
    fn overlap_counts_the_strips_that_have_a_setting_a_fifth_apart_beside_them() {
        let strips = [("A", 100.0), ("A", 110.0), ("A", 125.0), ("B", 200.0), ("B", 200.0), ("C", 100.0)]
            .map(|(field, set)| strip(field, set, None));
        let all: Vec<&StripRow> = strips.iter().collect();
        // 100 and 125 are a quarter apart; 110 has neither 132 nor 91.7 beside it.
        assert_eq!(overlap_share(&all), Some(2.0 / 6.0));
        assert_eq!(overlap_share(&all[3..]), Some(0.0));
        assert_eq!(overlap_share(&[]), None);
    }

    #[test]
    fn a_common_offset_is_named_and_scatter_about_the_set_force_is_not() {
        let off = |offset: fn(usize) -> f64| {
            (0..12)
                .map(|row| strip("A", 100.0 + 10.0 * row as f64, Some(100.0 + 10.0 * row as f64 + offset(row))))
                .collect::<Vec<_>>()
        };
        let constant = offset_findings(&off(|row| -20.0 + (row % 3) as f64));
        assert_eq!(constant.len(), 1);
        assert!(constant[0].message.contains("19 N below"), "{}", constant[0].message);
        assert_eq!(offset_findings(&off(|row| if row % 2 == 0 { 20.0 } else { -18.0 })), vec![]);
        assert_eq!(offset_findings(&off(|_| 2.0)), vec![]);
        let strips = off(|row| if row < 9 { 0.0 } else { 40.0 });
        let found = compliance(strips.iter()).unwrap();
        assert_eq!((found.within, found.mean_n), (0.75, 10.0));
    }
}
