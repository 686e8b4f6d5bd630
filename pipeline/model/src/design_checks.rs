//! Findings and facts about the design behind the answers: layout, overlap, logs against trials, conditions, compliance.
//!
//! What needs a model is asked of the response that decides in a group, and of no other: one question a group.

use std::collections::BTreeSet;

use evenstand_settings::Settings;
use evenstand_stats::Contrast;
use evenstand_tables::Finding;
use evenstand_tables::rows::{ModelRow, StripRow};
use rayon::prelude::*;

use crate::analysis::Questions;
use crate::between_within::compare_slopes;
use crate::condition_checks::{hidden_differences, neighbours};
use crate::group_answer::{GroupAnswer, Members};
use crate::groups::{Axis, GroupKey, axis_of};
use crate::layout::layout_findings;
use crate::observations::{Observations, observations};
use crate::overlap::{compliance, offset_findings, overlap_findings};
use crate::response::{Better, Measures, Response};

/// Below this adjusted p value a condition hides a difference.
const HIDDEN: f64 = 0.05;

/// Facts for the model table and findings.
#[derive(Debug, Default)]
pub(crate) struct DesignChecks {
    pub facts: Vec<ModelRow>,
    pub findings: Vec<Finding>,
}

/// All checks of the design behind `groups`, of which those that decide are marked.
pub(crate) fn design_checks(
    questions: &Questions,
    measures: &Measures,
    groups: &[GroupAnswer],
    members: &Members,
) -> DesignChecks {
    let mut checks = DesignChecks { facts: compliance_facts(members), findings: layout_findings(members) };
    checks.findings.extend(overlap_findings(members));
    checks.findings.extend(offset_findings(questions.strips));
    let axes: BTreeSet<Axis> = questions.strips.iter().filter_map(axis_of).collect();
    let responses = Response::all(measures);
    let tasks: Vec<(&Axis, &Response)> =
        axes.iter().flat_map(|axis| responses.iter().map(move |response| (axis, response))).collect();
    let modelled: Vec<DesignChecks> = tasks
        .par_iter()
        .map(|(axis, response)| {
            let deciding: Vec<&GroupAnswer> =
                groups.iter().filter(|group| group.primary && group.response == response.name).collect();
            if deciding.is_empty() || response.better == Better::Neither {
                return DesignChecks::default();
            }
            let Some(observed) = observations(questions.strips, measures, response, axis) else {
                return DesignChecks::default();
            };
            Book { axis, response, observed: &observed, deciding, questions, checks: DesignChecks::default() }.written()
        })
        .collect();
    for other in modelled {
        checks.facts.extend(other.facts);
        checks.findings.extend(other.findings);
    }
    checks
}

/// Checks of one response on one axis.
struct Book<'a> {
    axis: &'a Axis,
    response: &'a Response,
    observed: &'a Observations<'a>,
    /// Groups that this response decides for.
    deciding: Vec<&'a GroupAnswer>,
    questions: &'a Questions<'a>,
    checks: DesignChecks,
}

impl Book<'_> {
    fn written(mut self) -> DesignChecks {
        for group in 0..self.observed.groups.len() {
            if self.tolerance(group).is_some() {
                self.slopes(group);
                self.hidden(group);
            }
        }
        self.neighbours();
        self.checks
    }

    fn key(&self, group: usize) -> &GroupKey {
        &self.observed.groups[group].0
    }

    /// Tolerance of a group that this response decides for; `None` for others.
    fn tolerance(&self, group: usize) -> Option<f64> {
        self.deciding.iter().find(|answer| answer.key == *self.key(group)).map(|answer| answer.tolerance)
    }

    fn fact(&mut self, item: &str, name: String, value: f64, std_error: Option<f64>, text: String) {
        self.checks.facts.push(ModelRow {
            model: self.axis.name().to_owned(),
            response: Some(self.response.name.clone()),
            item: item.to_owned(),
            name,
            value: Some(value).filter(|value| value.is_finite()),
            std_error: std_error.filter(|value| value.is_finite()),
            text: Some(text),
        });
    }

    /// Force between field-seasons against force inside them.
    fn slopes(&mut self, group: usize) {
        let Some(found) = compare_slopes(self.observed, group) else { return };
        let (label, unit) = (label(self.key(group)), if *self.axis == Axis::Force { "N" } else { "kPa" });
        for (name, contrast) in
            [("within", &found.within), ("between", &found.between), ("between − within", &found.difference)]
        {
            let text =
                format!("{} per 100 {unit} on the {} scale; {}", label, self.response.scale.name(), limits(contrast));
            self.fact(
                "slope",
                format!("{name} field-seasons, group {}", group + 1),
                contrast.estimate,
                Some(contrast.std_error),
                text,
            );
        }
        if found.disagrees() {
            let message = format!(
                "{}: logs are likely confounded: between field-seasons {} {} by {:.2} per 100 {unit}, inside trials by {:.2} ({} scale; difference {:.2}, {}; {} field-seasons of logs)",
                self.key(group).condition,
                self.response.name,
                if found.opposite() { "goes the other way," } else { "changes" },
                found.between.estimate,
                found.within.estimate,
                self.response.scale.name(),
                found.difference.estimate,
                limits(&found.difference),
                found.logs,
            );
            self.checks.findings.push(Finding::warning("logs_disagree", message).remedy(
                "follow the trials: settings in logs follow the ground, the machine and the day; the answer rests on trials alone",
            ));
        }
    }

    /// Recorded things that the curves of one condition go with.
    fn hidden(&mut self, group: usize) {
        let scheme = scheme(self.questions.settings, self.questions.strips);
        for hidden in hidden_differences(self.observed, group) {
            let label = label(self.key(group));
            let text = format!("{label}; p value of setting × {}, {:.4} by Holm", hidden.part, hidden.p_adjusted);
            self.fact("condition", format!("{} in group {}", hidden.part, group + 1), hidden.p_value, None, text);
            if hidden.p_adjusted < HIDDEN && !scheme.contains(&hidden.part) {
                let values: Vec<String> =
                    hidden.values.iter().map(|(word, seasons)| format!("{word} in {seasons}")).collect();
                let message = format!(
                    "{}: what the setting does to {} goes with {} ({} field-seasons; p = {:.3} by Holm), which is not part of the condition",
                    self.key(group).condition,
                    self.response.name,
                    hidden.part,
                    values.join(", "),
                    hidden.p_adjusted
                );
                let wider: Vec<&str> = scheme.iter().copied().chain([hidden.part]).collect();
                self.checks.findings.push(
                    Finding::warning("condition_hides_difference", message)
                        .remedy(format!("in evenstand.toml set [condition] by = {}", list(&wider))),
                );
            }
        }
    }

    /// Conditions with few field-seasons beside one that answers alike.
    fn neighbours(&mut self) {
        let scheme = scheme(self.questions.settings, self.questions.strips);
        for pair in neighbours(self.observed, self.response) {
            let (a, b) = pair.groups;
            let (Some(tolerance), Some(_)) = (self.tolerance(a), self.tolerance(b)) else { continue };
            let text = format!(
                "{} and {}: p value of setting × condition; curves differ by up to {:.4} (level taken out; tolerance {tolerance:.4})",
                label(self.key(a)),
                label(self.key(b)),
                pair.difference
            );
            self.fact("condition", format!("group {} and group {}", a + 1, b + 1), pair.p_value, None, text);
            if !pair.could_merge(tolerance) {
                continue;
            }
            let (first, second) = (self.key(a).condition.clone(), self.key(b).condition.clone());
            let message = format!(
                "\"{first}\" ({}) and \"{second}\" ({}) have few field-seasons of trials, and no difference in what the setting does to {} was seen between them (p = {:.2}, curves within tolerance)",
                pair.field_seasons.0, pair.field_seasons.1, self.response.name, pair.p_value
            );
            let words = first.split(", ").count();
            let remedy = match scheme.get(pair.part).filter(|_| scheme.len() == words && words > 1) {
                Some(part) => {
                    let fewer: Vec<&str> = scheme.iter().copied().filter(|other| other != part).collect();
                    format!(
                        "if they are one condition to you, set [condition] by = {} in evenstand.toml; this merges all conditions that differ in {part} only",
                        list(&fewer)
                    )
                }
                None => "if they are one condition to you, give both one name in the column condition of the strips and set [condition] by = [\"logged\"] in evenstand.toml".to_owned(),
            };
            self.checks.findings.push(Finding::note("conditions_could_merge", message).remedy(remedy));
        }
    }
}

/// Parts that conditions are made from.
fn scheme(settings: &Settings, strips: &[StripRow]) -> Vec<&'static str> {
    let Some(by) = &settings.condition.by else {
        let logged = !strips.is_empty() && strips.iter().all(|strip| strip.logged.as_ref() == Some(&strip.condition));
        return if logged { vec!["logged"] } else { vec!["moisture", "residue"] };
    };
    by.iter().map(|part| part.name()).collect()
}

/// A list as `evenstand.toml` writes it.
fn list(parts: &[&str]) -> String {
    format!("[{}]", parts.iter().map(|part| format!("\"{part}\"")).collect::<Vec<_>>().join(", "))
}

fn limits(contrast: &Contrast) -> String {
    let limits = contrast.interval(0.95);
    format!("95 %: {:.3} to {:.3}; df {:.1}, {}", limits.low, limits.high, contrast.df, contrast.method)
}

fn label(key: &GroupKey) -> String {
    let planter = key.planter().map(|planter| format!("; {planter}")).unwrap_or_default();
    format!("{}; {}{planter}", key.condition, key.closer)
}

/// Mean and standard deviation of actual − set by group.
fn compliance_facts(members: &Members) -> Vec<ModelRow> {
    members
        .iter()
        .filter_map(|(key, strips)| {
            let found = compliance(strips.iter().copied())?;
            let deviation = Some(found.deviation_n).filter(|value| value.is_finite());
            let fact = |name: &str, value: Option<f64>, text: String| ModelRow {
                model: "design".into(),
                response: None,
                item: "compliance".into(),
                name: format!("{name}: {}", label(key)),
                value,
                std_error: None,
                text: Some(text),
            };
            let of = format!("of {} strips, in newtons (kPa without a calibration)", found.strips);
            Some([
                fact("mean of actual − set", Some(found.mean_n), of.clone()),
                fact("standard deviation of actual − set", deviation, of),
                fact("share within 10 %", Some(found.within), format!("of {} strips", found.strips)),
            ])
        })
        .flatten()
        .collect()
}
