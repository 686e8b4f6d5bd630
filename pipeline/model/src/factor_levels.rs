//! What varied beside the setting in one trial: factors and the level that each strip had.

use std::collections::BTreeSet;

use evenstand_agronomy::force_levels;
use evenstand_tables::rows::StripRow;

use crate::condition_checks::Recorded;
use crate::groups::Axis;
use crate::observations::Observation;

/// Speeds belong to two classes where they lie further apart than this share of the slower one: more than a planter wanders from strip to
/// strip. Common practice, no source.
const SPEED_GAP: f64 = 0.10;

/// A factor and its levels over some strips.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Factor {
    /// As `whole_plots` in the settings has it.
    pub name: &'static str,
    /// Names of the levels.
    pub levels: Vec<String>,
    /// Level of each strip.
    pub codes: Vec<usize>,
}

impl Factor {
    /// Numbers the levels in the order of their names.
    fn named(name: &'static str, words: Vec<String>) -> Self {
        let levels: Vec<String> = words.iter().cloned().collect::<BTreeSet<_>>().into_iter().collect();
        let codes = words.iter().map(|word| levels.partition_point(|other| other < word)).collect();
        Self { name, levels, codes }
    }

    /// "depth stop".
    pub fn words(&self) -> String {
        self.name.replace('_', " ")
    }

    /// Whether the level varied inside one of the field-seasons.
    pub fn varied(&self, fields: &[usize]) -> bool {
        let cells: BTreeSet<(usize, usize)> = fields.iter().copied().zip(self.codes.iter().copied()).collect();
        cells.len() > fields.iter().collect::<BTreeSet<_>>().len()
    }

    /// Whether each level of `other` stands with one level of this: it then says nothing that `other` does not.
    fn follows(&self, other: &[usize]) -> bool {
        let pairs: BTreeSet<(usize, usize)> = other.iter().copied().zip(self.codes.iter().copied()).collect();
        pairs.len() == other.iter().collect::<BTreeSet<_>>().len()
    }
}

/// The factors that varied inside field-seasons, the setting first. One that is not known of every strip is none, and a named treatment counts only
/// where it says more than the other factors together.
pub(crate) fn factors_of(members: &[&Observation], axis: &Axis) -> Vec<Factor> {
    let fields: Vec<usize> = members.iter().map(|member| member.field_season).collect();
    let mut factors: Vec<Factor> = Vec::new();
    factors.push(setting(members, axis));
    factors.extend(words(members, "closer", |strip| strip.closer.as_deref()));
    factors.extend(speed(members));
    let planters: BTreeSet<Option<&str>> = members.iter().map(|member| member.strip.planter_id.as_deref()).collect();
    let parts: [(&'static str, Recorded); 3] = [
        ("depth_stop", |strip| strip.depth_stop.as_deref()),
        ("press_position", |strip| strip.press_position.as_deref()),
        ("gauge_wheel", |strip| strip.gauge_wheel.as_deref()),
    ];
    for (name, word) in parts {
        // Position 2 of one planter is not position 2 of another.
        if name == "gauge_wheel" || planters.len() == 1 {
            factors.extend(words(members, name, word));
        }
    }
    factors.retain(|factor| factor.varied(&fields));
    if let Some(treatment) = words(members, "treatment", |strip| strip.treatment.as_deref()) {
        let together: Vec<String> = (0..members.len())
            .map(|row| factors.iter().map(|factor| factor.codes[row].to_string()).collect::<Vec<_>>().join("/"))
            .collect();
        let together = Factor::named("together", together).codes;
        if treatment.varied(&fields) && !treatment.follows(&together) {
            factors.push(treatment);
        }
    }
    factors
}

/// A factor by a word of the strip; `None` where a strip has none.
fn words(members: &[&Observation], name: &'static str, word: impl Fn(&StripRow) -> Option<&str>) -> Option<Factor> {
    let words: Option<Vec<String>> = members.iter().map(|member| word(member.strip).map(str::to_owned)).collect();
    Some(Factor::named(name, words?))
}

/// The closing setting: force levels, or positions where no strip has a force.
fn setting(members: &[&Observation], axis: &Axis) -> Factor {
    if members.iter().all(|member| member.strip.force_n.is_none())
        && let Some(positions) = words(members, "force", |strip| strip.closing_position.as_deref())
    {
        return positions;
    }
    let (codes, forces) = force_levels(&members.iter().map(|member| member.force_n).collect::<Vec<_>>());
    let unit = if *axis == Axis::Force { "N" } else { "kPa" };
    Factor { name: "force", levels: forces.iter().map(|force| format!("{force:.0} {unit}")).collect(), codes }
}

/// Classes of ground speed; `None` where a strip has no speed.
fn speed(members: &[&Observation]) -> Option<Factor> {
    let speeds: Vec<f64> = members.iter().map(|member| member.strip.speed_m_s).collect::<Option<_>>()?;
    let mut sorted = speeds.clone();
    sorted.sort_by(f64::total_cmp);
    let starts: Vec<f64> =
        sorted.windows(2).filter(|pair| pair[1] > pair[0] * (1.0 + SPEED_GAP)).map(|pair| pair[1]).collect();
    let codes: Vec<usize> = speeds.iter().map(|speed| starts.partition_point(|start| start <= speed)).collect();
    let levels = (0..=starts.len())
        .map(|class| {
            let own: Vec<f64> =
                speeds.iter().zip(&codes).filter(|(_, code)| **code == class).map(|(speed, _)| *speed).collect();
            format!("{:.1} m/s", crate::summary::mean(&own))
        })
        .collect();
    Some(Factor { name: "speed", levels, codes })
}

#[cfg(test)]
mod tests;
