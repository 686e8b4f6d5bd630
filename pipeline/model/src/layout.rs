//! What the layout of a trial cannot tell: findings by field-season, condition and closer.
//!
//! A setting must not go together with anything else that could raise a better stand: a place in the block, a side of the field, the
//! block itself, another part of the planter. Where it does, no model of these strips tells the two apart.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_agronomy::force_levels;
use evenstand_stats::blocked_rank_association;
use evenstand_tables::Finding;
use evenstand_tables::rows::StripRow;

use crate::condition_checks::Recorded;
use crate::group_answer::Members;
use crate::groups::GroupKey;
use crate::setting_terms::{linked_parts, renumber};
use crate::strip_order::{StripOrder, strip_order};

/// Below this chance of a drawn order a layout is taken for one that was not drawn.
const NOT_DRAWN: f64 = 0.05;
/// Settings go with a side of the field from this exact p value on: one field-season in a hundred of drawn orders.
const ALONG_FIELD: f64 = 0.01;

/// The strips of one group in one field-season that have a setting, and what the checks ask of them.
struct Trial<'a> {
    key: &'a GroupKey,
    place: (&'a str, i64),
    strips: Vec<&'a StripRow>,
    /// Setting of each strip, numbered from the lightest.
    settings: Vec<usize>,
    /// Mean force of each setting.
    forces: Vec<f64>,
    /// Block of each strip, numbered.
    blocks: Vec<usize>,
    /// Names of the blocks.
    names: Vec<&'a str>,
}

/// Field and season.
type Place<'a> = (&'a str, i64);

/// Findings about the layout of every trial.
pub(crate) fn layout_findings(members: &Members) -> Vec<Finding> {
    let mut fields: BTreeMap<Place, Vec<&StripRow>> = BTreeMap::new();
    for strip in members.values().flatten() {
        fields.entry((strip.field_id.as_str(), strip.season)).or_default().push(strip);
    }
    let mut findings = Vec::new();
    for (key, strips) in members {
        let trials = trials(key, strips);
        let repeated_elsewhere = repeats(&trials.iter().flat_map(|trial| trial.strips.clone()).collect::<Vec<_>>());
        for trial in &trials {
            findings.extend(trial.not_repeated(repeated_elsewhere));
            findings.extend(trial.blocks_of_one_setting());
            findings.extend(trial.confounded());
            if let Some(order) = strip_order(&trial.strips, &trial.blocks, &fields[&trial.place]) {
                let side_by_side = trial.side_by_side(&order);
                findings
                    .extend(side_by_side.or_else(|| trial.same_order(&order)).or_else(|| trial.along_field(&order)));
            }
        }
    }
    findings.extend(fields.iter().flat_map(|(place, strips)| closers(*place, strips)));
    findings
}

/// Findings about closers that change with the setting, of strips whose closers are pooled elsewhere.
pub(crate) fn closer_findings(strips: &[StripRow]) -> Vec<Finding> {
    let mut fields: BTreeMap<Place, Vec<&StripRow>> = BTreeMap::new();
    for strip in strips {
        fields.entry((strip.field_id.as_str(), strip.season)).or_default().push(strip);
    }
    fields.iter().flat_map(|(place, strips)| closers(*place, strips)).collect()
}

/// Whether some setting stands in two strips of one field-season, or in two field-seasons.
fn repeats(strips: &[&StripRow]) -> bool {
    let forces: Vec<f64> = strips.iter().filter_map(|strip| strip.force_n).collect();
    force_levels(&forces).1.len() < forces.len()
}

/// The field-seasons of a group in which settings varied.
fn trials<'a>(key: &'a GroupKey, strips: &[&'a StripRow]) -> Vec<Trial<'a>> {
    let mut by_season: BTreeMap<Place, Vec<&StripRow>> = BTreeMap::new();
    for strip in strips.iter().filter(|strip| strip.force_n.is_some()) {
        by_season.entry((strip.field_id.as_str(), strip.season)).or_default().push(strip);
    }
    by_season
        .into_iter()
        .filter_map(|(place, strips)| {
            let (settings, forces) = force_levels(&strips.iter().filter_map(|strip| strip.force_n).collect::<Vec<_>>());
            let block = |strip: &'a StripRow| strip.block.as_deref().unwrap_or_default();
            let names: Vec<&str> =
                strips.iter().map(|strip| block(strip)).collect::<BTreeSet<_>>().into_iter().collect();
            let blocks = strips.iter().map(|strip| names.partition_point(|name| *name < block(strip))).collect();
            (forces.len() > 1).then_some(Trial { key, place, strips, settings, forces, blocks, names })
        })
        .collect()
}

impl Trial<'_> {
    fn warning(&self, code: &str, message: String, remedy: &str) -> Finding {
        let message = format!("{}: {message}", self.key.condition);
        Finding::warning(code, message).field(self.place.0, self.place.1).remedy(remedy)
    }

    fn note(&self, code: &str, message: String, remedy: &str) -> Finding {
        let message = format!("{}: {message}", self.key.condition);
        Finding::note(code, message).field(self.place.0, self.place.1).remedy(remedy)
    }

    /// "80, 135 and 190 N"; the pressure of a planter without calibration.
    fn named(&self, settings: &BTreeSet<usize>) -> String {
        let words: Vec<String> = settings.iter().map(|setting| format!("{:.0}", self.forces[*setting])).collect();
        let unit = if self.key.planter_id.is_empty() { "N" } else { "kPa" };
        match words.split_last() {
            Some((last, [])) => format!("{last} {unit}"),
            Some((last, rest)) => format!("{} and {last} {unit}", rest.join(", ")),
            None => String::new(),
        }
    }

    fn settings_of(&self, holds: impl Fn(usize) -> bool) -> BTreeSet<usize> {
        (0..self.strips.len()).filter(|row| holds(*row)).map(|row| self.settings[row]).collect()
    }

    fn not_repeated(&self, repeated_elsewhere: bool) -> Option<Finding> {
        if self.forces.len() < self.strips.len() {
            return None;
        }
        let remedy = "next season let every setting stand in three or four blocks of the field";
        let strips = self.strips.len();
        Some(if repeated_elsewhere {
            self.note(
                "settings_not_repeated",
                format!("each of {strips} settings stands in one strip only; this field tests nothing by itself, only together with others"),
                remedy,
            )
        } else {
            self.warning(
                "settings_not_repeated",
                format!("each of {strips} settings stands in one strip only, so a setting cannot be told from its strip; means are shown and nothing is tested"),
                remedy,
            )
        })
    }

    fn blocks_of_one_setting(&self) -> Option<Finding> {
        let one: Vec<usize> = (0..self.names.len())
            .filter(|block| self.settings_of(|row| self.blocks[row] == *block).len() == 1)
            .collect();
        let several_strips = self.names.len() < self.strips.len();
        let names: Vec<&str> = one.iter().map(|block| self.names[*block]).collect();
        let remedy = "let every block hold every setting";
        if one.is_empty() || !several_strips {
            None
        } else if one.len() == self.names.len() {
            let message = "every block holds one setting only, so settings cannot be told from blocks".to_owned();
            Some(self.warning("block_of_one_setting", message, remedy))
        } else {
            let message = format!(
                "{} hold one setting only and compare nothing: {}",
                if names.len() == 1 { "1 block" } else { "some blocks" },
                names.join(", ")
            );
            Some(self.note("block_of_one_setting", message, remedy))
        }
    }

    /// Strips of one setting that lie next to each other wherever a block repeats settings: several counts of one strip, or one strip cut into several.
    fn side_by_side(&self, order: &StripOrder) -> Option<Finding> {
        let mut chance = 1.0;
        let mut repeated = false;
        for block in 0..self.names.len() {
            let mut rows: Vec<usize> = (0..self.strips.len()).filter(|row| self.blocks[*row] == block).collect();
            rows.sort_by(|a, b| order.positions[*a].total_cmp(&order.positions[*b]));
            let laid: Vec<usize> = rows.iter().map(|row| self.settings[*row]).collect();
            let runs = 1 + laid.windows(2).filter(|pair| pair[0] != pair[1]).count();
            let counts: Vec<usize> = laid
                .iter()
                .collect::<BTreeSet<_>>()
                .into_iter()
                .map(|setting| laid.iter().filter(|own| *own == setting).count())
                .collect();
            if counts.len() < 2 {
                continue;
            }
            if runs > counts.len() {
                return None;
            }
            repeated |= counts.iter().any(|count| *count > 1);
            chance *= chance_of_runs(&counts);
        }
        if !repeated || chance >= NOT_DRAWN {
            return None;
        }
        let message = format!(
            "strips of one setting lie side by side in every block (drawn orders do that {}; order of strips read from {}), as several counts of one strip or passes cut from it would; if they are that, they are no repeats of the setting",
            often(chance),
            order.source.words()
        );
        let remedy = "give counts of one strip one strip_id, with a sample_id each; if the strips were laid so, next season draw their order anew for every block";
        Some(self.warning("settings_side_by_side", message, remedy))
    }

    /// The same order of settings in every block.
    fn same_order(&self, order: &StripOrder) -> Option<Finding> {
        let blocks = self.names.len();
        let common: BTreeSet<usize> = (0..self.forces.len())
            .filter(|setting| {
                (0..blocks).all(|block| self.settings_of(|row| self.blocks[row] == block).contains(setting))
            })
            .collect();
        if blocks < 2 || common.len() < 2 {
            return None;
        }
        let sequence = |block: usize| {
            let mut placed: Vec<(f64, usize)> = common
                .iter()
                .map(|setting| {
                    let own = |row: &usize| self.blocks[*row] == block && self.settings[*row] == *setting;
                    let places: Vec<f64> = (0..self.strips.len()).filter(own).map(|row| order.positions[row]).collect();
                    (places.iter().sum::<f64>() / places.len() as f64, *setting)
                })
                .collect();
            placed.sort_by(|a, b| a.0.total_cmp(&b.0));
            placed.into_iter().map(|(_, setting)| setting).collect::<Vec<_>>()
        };
        let first = sequence(0);
        if (1..blocks).any(|block| sequence(block) != first) {
            return None;
        }
        let orders: f64 = (1..=common.len()).map(|count| count as f64).product();
        let chance = orders.powi(1 - blocks as i32);
        // Two settings in two blocks lie alike every other time.
        if chance >= 0.5 {
            return None;
        }
        let message = format!(
            "the order of settings is the same in all {blocks} blocks, so a setting cannot be told from its place in the block (a drawn order does that {}; order of strips read from {})",
            often(chance),
            order.source.words()
        );
        let remedy = "draw the order anew for every block; if the strips lay otherwise, give their places or times in the setting log";
        Some(if chance < NOT_DRAWN {
            self.warning("same_order_in_blocks", message, remedy)
        } else {
            self.note("same_order_in_blocks", message, remedy)
        })
    }

    /// Settings that rise or fall from one side of the field to the other, inside blocks.
    fn along_field(&self, order: &StripOrder) -> Option<Finding> {
        let pairs = |block: usize| {
            (0..self.strips.len())
                .filter(|row| self.blocks[*row] == block)
                .map(|row| (self.forces[self.settings[row]], order.positions[row]))
                .collect::<Vec<_>>()
        };
        let blocks: Vec<Vec<(f64, f64)>> = (0..self.names.len()).map(pairs).collect();
        let found = blocked_rank_association(&blocks).filter(|found| found.p_value < ALONG_FIELD)?;
        let message = format!(
            "settings get {} from one side of the blocks to the other (rank correlation {:.2}; drawn orders do that {}; order of strips read from {}), so they cannot be told from a trend across the field",
            if found.correlation > 0.0 { "heavier" } else { "lighter" },
            found.correlation.abs(),
            often(found.p_value),
            order.source.words()
        );
        Some(self.warning("settings_along_field", message, "draw the order anew for every block"))
    }

    /// Another part of the planter, or the planter, that changes with the setting.
    fn confounded(&self) -> Vec<Finding> {
        let parts: [(&str, Recorded); 4] = [
            ("planter", |strip| strip.planter_id.as_deref()),
            ("press wheel position", |strip| strip.press_position.as_deref()),
            ("depth stop", |strip| strip.depth_stop.as_deref()),
            ("gauge wheel", |strip| strip.gauge_wheel.as_deref()),
        ];
        parts
            .into_iter()
            .filter_map(|(what, value)| {
                let rows: Vec<usize> =
                    (0..self.strips.len()).filter(|row| value(self.strips[*row]).is_some()).collect();
                let words: Vec<&str> = rows.iter().filter_map(|row| value(self.strips[*row])).collect();
                let values: Vec<&str> = words.iter().copied().collect::<BTreeSet<_>>().into_iter().collect();
                let codes: Vec<usize> = words.iter().map(|word| values.partition_point(|other| other < word)).collect();
                let settings = renumber(rows.iter().map(|row| self.settings[*row]));
                if values.len() < 2 || linked_parts(&codes, &settings) < 2 {
                    return None;
                }
                let with: Vec<String> = values
                    .iter()
                    .map(|word| {
                        format!(
                            "{} with {word}",
                            self.named(&self.settings_of(|row| value(self.strips[row]) == Some(word)))
                        )
                    })
                    .collect();
                let message = format!(
                    "the {what} changes with the setting ({}), so the two cannot be told apart",
                    with.join("; ")
                );
                Some(self.warning(
                    "setting_confounded",
                    message,
                    &format!("keep the {what} the same in all strips of a trial"),
                ))
            })
            .collect()
    }
}

/// Closers that stand in a field-season beside others with one setting of their own: a difference between their settings is one
/// between closers.
fn closers(place: Place, strips: &[&StripRow]) -> Vec<Finding> {
    let mut by_condition: BTreeMap<&str, BTreeMap<&str, Vec<f64>>> = BTreeMap::new();
    for strip in strips {
        if let (Some(force_n), Some(closer)) = (strip.force_n, strip.closer.as_deref()) {
            by_condition.entry(&strip.condition).or_default().entry(closer).or_default().push(force_n);
        }
    }
    by_condition
        .into_iter()
        .filter_map(|(condition, by_closer)| {
            let all: Vec<f64> = by_closer.values().flatten().copied().collect();
            let codes: Vec<usize> =
                by_closer.values().enumerate().flat_map(|(code, forces)| vec![code; forces.len()]).collect();
            let settings = force_levels(&all).0;
            let single = by_closer.values().any(|forces| force_levels(forces).1.len() == 1);
            if by_closer.len() < 2 || !single || linked_parts(&codes, &settings) < 2 {
                return None;
            }
            let names: Vec<&str> = by_closer.into_keys().collect();
            let message = format!(
                "{condition}: the closer changes with the setting ({}), so the two cannot be told apart",
                names.join(", ")
            );
            Some(
                Finding::warning("setting_confounded", message)
                    .field(place.0, place.1)
                    .remedy("try the settings with one closer, or every setting with each closer"),
            )
        })
        .collect()
}

/// The chance that a drawn order of strips, `counts` of each setting, has every setting in one run: orders of the settings over orders of the strips,
/// `k! Π nᵢ! / n!`.
fn chance_of_runs(counts: &[usize]) -> f64 {
    let factorial = |count: usize| (1..=count).map(|number| number as f64).product::<f64>();
    let within: f64 = counts.iter().map(|count| factorial(*count)).product();
    factorial(counts.len()) * within / factorial(counts.iter().sum())
}

/// A chance in words: "once in 36 times".
fn often(chance: f64) -> String {
    let times = 1.0 / chance;
    if times > 10_000.0 { "less than once in 10,000 times".to_owned() } else { format!("once in {times:.0} times") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_chance_of_runs_is_that_of_counting_orders() {
        // Of the six orders of a a b b two keep both together: aabb and bbaa. Of the 90 of a a b b c c six.
        assert!((chance_of_runs(&[2, 2]) - 1.0 / 3.0).abs() < 1e-12);
        assert!((chance_of_runs(&[2, 2, 2]) - 1.0 / 15.0).abs() < 1e-12);
        // Single strips lie together whatever the order.
        assert!((chance_of_runs(&[1, 1, 1, 1]) - 1.0).abs() < 1e-12);
    }
}
