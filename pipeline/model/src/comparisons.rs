//! Differences between settings, by field-season and over all, on the response's own scale.

use std::collections::BTreeMap;

use evenstand_agronomy::{force_levels, level_width};
use evenstand_stats::{Adjustment, Comparison, ComparisonFamily, Contrast};
use evenstand_tables::rows::ComparisonRow;
use rayon::prelude::*;

use crate::between_fields::BetweenFields;
use crate::covariance::{Before, choose};
use crate::groups::{Axis, GroupKey};
use crate::margin_tests::{MarginTests, verdict};
use crate::observations::{Observation, Observations};
use crate::response::{Response, Scale};
use crate::setting_fit::{APART, SettingFit, SettingRows};
use crate::setting_terms::renumber;

/// The setting that a planter has unless somebody turns the knob.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum DefaultSetting {
    /// On the axis of the strips.
    Force(f64),
    /// A position without a weighed force.
    Position(String),
}

/// What pairs are held against beside their error.
pub(crate) struct Yardstick<'a> {
    /// Differences up to this do not matter, in the response's own unit; `None` where no tolerance is set.
    pub margin: Option<f64>,
    /// Default of a group, where somebody named one.
    pub default_of: &'a (dyn Fn(&GroupKey) -> Option<DefaultSetting> + Sync),
    /// What strips differed in before.
    pub before: &'a Before<'a>,
}

/// All comparisons of one response on one axis, for each group of strips that share a curve.
pub(crate) fn comparisons(
    observations: &Observations,
    response: &Response,
    axis: &Axis,
    yardstick: &Yardstick,
) -> Vec<ComparisonRow> {
    let mut helds: Vec<(Held, BTreeMap<usize, Vec<&Observation>>)> = Vec::new();
    for (group, (key, _)) in observations.groups.iter().enumerate() {
        let mut by_field: BTreeMap<usize, Vec<&Observation>> = BTreeMap::new();
        for member in observations.rows.iter().filter(|row| row.group == group) {
            by_field.entry(member.field_season).or_default().push(member);
        }
        by_field.retain(|_, members| labels(members, axis).1.len() > 1);
        let default = (yardstick.default_of)(key);
        helds.push((
            Held { response, axis, key, margin: yardstick.margin, default, before: yardstick.before },
            by_field,
        ));
    }
    let mut families: Vec<Family> = Vec::new();
    for (held, by_field) in &helds {
        let place = |field_season: &usize| Some(observations.field_seasons[*field_season]);
        let of_fields = by_field.iter().map(|(field, members)| (held, members.clone(), place(field)));
        families.extend(of_fields);
        let all: Vec<&Observation> = by_field.values().flatten().copied().collect();
        families.extend((!all.is_empty()).then_some((held, all, None)));
    }
    families.par_iter().flat_map_iter(|(held, members, place)| family(members, held, *place)).collect()
}

/// Strips whose settings are compared with each other, of one field-season where a place is named.
type Family<'a> = (&'a Held<'a>, Vec<&'a Observation<'a>>, Option<(&'a str, i64)>);

/// Setting of each strip, numbered, and the names of the settings: positions where none has a force, treatments where all have one, else force levels.
fn labels(members: &[&Observation], axis: &Axis) -> (Vec<usize>, Vec<String>) {
    if members.iter().all(|member| member.strip.force_n.is_none()) {
        let label = |member: &Observation| member.strip.closing_position.clone().unwrap_or_default();
        let names: BTreeMap<usize, String> =
            members.iter().map(|member| (member.force_n as usize, label(member))).collect();
        let codes = renumber(members.iter().map(|member| member.force_n as usize));
        return (codes, names.into_values().collect());
    }
    let treatments: Option<Vec<&str>> = members.iter().map(|member| member.strip.treatment.as_deref()).collect();
    if let Some(treatments) = treatments {
        let mut names: Vec<&str> = treatments.clone();
        names.sort_unstable();
        names.dedup();
        let codes = treatments.iter().map(|name| names.partition_point(|other| other < name)).collect();
        return (codes, names.into_iter().map(str::to_owned).collect());
    }
    let (codes, forces) = force_levels(&members.iter().map(|member| member.force_n).collect::<Vec<_>>());
    let unit = if *axis == Axis::Force { "N" } else { "kPa" };
    (codes, forces.iter().map(|force| format!("{force:.0} {unit}")).collect())
}

/// What the families of one group have in common.
struct Held<'a> {
    response: &'a Response,
    axis: &'a Axis,
    key: &'a GroupKey,
    margin: Option<f64>,
    default: Option<DefaultSetting>,
    before: &'a Before<'a>,
}

impl Held<'_> {
    /// Whether each setting of a family is the default; `None` where nobody named one.
    fn defaults(&self, members: &[&Observation], codes: &[usize], names: &[String]) -> Option<Vec<bool>> {
        Some(match self.default.as_ref()? {
            DefaultSetting::Position(label) => names.iter().map(|name| name == label).collect(),
            DefaultSetting::Force(default) => {
                let forces = || members.iter().map(|member| member.force_n);
                let range = forces().fold(f64::MIN, f64::max) - forces().fold(f64::MAX, f64::min);
                let width = level_width(range);
                let at_default = |code: usize| {
                    let own = members.iter().zip(codes).filter(|(_, own)| **own == code);
                    own.into_iter().all(|(member, _)| (member.force_n - default).abs() <= width)
                };
                (0..names.len()).map(at_default).collect()
            }
        })
    }
}

/// All pairs of one family, judged together.
fn family(members: &[&Observation], held: &Held, place: Option<(&str, i64)>) -> Vec<ComparisonRow> {
    let (response, key) = (held.response, held.key);
    let (codes, names) = labels(members, held.axis);
    let defaults = held.defaults(members, &codes, &names);
    let pairs: Vec<(usize, usize)> = (0..names.len()).flat_map(|a| (0..a).map(move |b| (a, b))).collect();
    let means: Vec<f64> = (0..names.len())
        .map(|code| {
            let own = members.iter().zip(&codes).filter(|(_, own)| **own == code);
            crate::summary::mean(&own.map(|(member, _)| member.value.value).collect::<Vec<_>>())
        })
        .collect();
    let strips = SettingRows {
        response: members.iter().map(|member| member.value.value).collect(),
        // The error of a time grows with the time. Taken from each strip it would weigh early strips more than late ones of
        // the same setting, so it is taken at the setting's mean.
        std_errors: members
            .iter()
            .zip(&codes)
            .map(|(member, code)| Some(member.value.std_error? / member.value.value * means[*code]))
            .collect(),
        settings: codes,
        blocks: members.iter().map(|member| member.block).collect(),
        fields: members.iter().map(|member| member.field_season).collect(),
    };
    let between = if place.is_none() { BetweenFields::new(&strips) } else { None };
    let fitted = adjusted(strips, members, held, &pairs);
    let judged = fitted.as_ref().ok().and_then(|fit| judge(fit, &names, &pairs, place.is_some()));
    // Without a test of the pair its means are those of the strips, as its difference is.
    let mean_of = |code: usize| fitted.as_ref().ok().and_then(|fit| fit.mean(code)).unwrap_or(means[code]);
    let scale = match response.scale {
        Scale::Logit => "share",
        Scale::Log => "hours",
        Scale::Identity => "own unit",
    };
    pairs
        .iter()
        .map(|&(a, b)| {
            let own = judged.as_ref().and_then(|judged| judged.of.get(&(a, b)));
            let limits = own.map(|own| own.alone.interval(0.95));
            let finite = |value: f64| Some(value).filter(|value| value.is_finite());
            let margin =
                own.zip(held.margin).and_then(|(own, margin)| MarginTests::new(&own.alone, margin, response.better));
            let p_adjusted = own.and_then(|own| finite(own.together.adjusted_p));
            let differs = between.as_ref().and_then(|between| between.pair(a, b));
            let method = match (&fitted, own) {
                (Err(why), _) => why.clone(),
                (Ok(_), None) => APART.to_owned(),
                (Ok(fit), Some(_)) => fit.method.clone(),
            };
            ComparisonRow {
                response: response.name.clone(),
                condition: key.condition.clone(),
                closer: Some(key.closer.clone()),
                planter_id: key.planter(),
                field_id: place.map(|(field_id, _)| field_id.to_owned()),
                season: place.map(|(_, season)| season),
                treatment_a: names[a].clone(),
                treatment_b: names[b].clone(),
                mean_a: Some(mean_of(a)),
                mean_b: Some(mean_of(b)),
                difference: Some(own.map_or(means[a] - means[b], |own| own.alone.estimate)),
                std_error: own.map(|own| own.alone.std_error),
                df: own.map(|own| own.alone.df),
                low: limits.as_ref().map(|limits| limits.low),
                high: limits.as_ref().map(|limits| limits.high),
                p_value: own.and_then(|own| finite(own.alone.p_value())),
                p_adjusted,
                low_together: own.and_then(|own| finite(own.together.interval.low)),
                high_together: own.and_then(|own| finite(own.together.interval.high)),
                adjustment: own.and(judged.as_ref()).map(|judged| judged.adjustment.to_owned()),
                method: Some(method),
                scale: Some(scale.to_owned()),
                equivalence_margin: held.margin,
                p_equivalent: margin.map(|tests| tests.equivalent),
                p_no_worse: margin.and_then(|tests| tests.no_worse),
                verdict: Some(verdict(p_adjusted, margin.as_ref()).to_owned()),
                with_default: defaults.as_ref().map(|defaults| defaults[a] || defaults[b]),
                n_field_seasons: differs.map(|differs| differs.field_seasons as i64),
                p_between_fields: differs.map(|differs| differs.p_value),
                spread_between_fields: differs.map(|differs| differs.spread),
            }
        })
        .collect()
}

/// The fit of the settings, adjusted for what strips differed in before.
fn adjusted(
    strips: SettingRows,
    members: &[&Observation],
    held: &Held,
    pairs: &[(usize, usize)],
) -> Result<SettingFit, String> {
    let Some(columns) = held.before.columns(members, &held.response.name) else { return SettingFit::new(strips) };
    let mut plain = SettingFit::new(strips.clone())?;
    let differences = |fit: &SettingFit| pairs.iter().map(|(a, b)| fit.contrast(*a, *b)).collect::<Vec<_>>();
    let (adjusted, choice) = match columns {
        Err(why) => {
            plain.method.push_str(&format!("; {why}"));
            return Ok(plain);
        }
        Ok(columns) => {
            let adjusted = SettingFit::adjusted(strips, columns).ok();
            let choice = choose(&differences(&plain), adjusted.as_ref().map(differences).as_deref());
            (adjusted, choice)
        }
    };
    let mut chosen = adjusted.filter(|_| choice.adjust).unwrap_or(plain);
    chosen.method.push_str(&format!("; {}", choice.said));
    Ok(chosen)
}

/// One pair, for itself and as one of its family.
struct Pair {
    alone: Contrast,
    together: Comparison,
}

/// The pairs of a family that the data can tell.
struct Judged {
    of: BTreeMap<(usize, usize), Pair>,
    adjustment: &'static str,
}

/// Judges the pairs that can be told together: by the studentized range where these are all pairs over all field-seasons (it costs
/// milliseconds a family, too much for every field-season of a network), by Holm elsewhere.
fn judge(fit: &SettingFit, names: &[String], pairs: &[(usize, usize)], one_field: bool) -> Option<Judged> {
    let told: Vec<((usize, usize), Contrast, Vec<f64>)> =
        pairs.iter().filter_map(|&(a, b)| Some(((a, b), fit.contrast(a, b)?, fit.pair(a, b)?))).collect();
    let pair_names = told.iter().map(|((a, b), ..)| format!("{} - {}", names[*a], names[*b])).collect();
    let contrasts: Vec<Contrast> = told.iter().map(|(_, contrast, _)| contrast.clone()).collect();
    let rows: Vec<&[f64]> = told.iter().map(|(.., row)| row.as_slice()).collect();
    let covariance = fit.covariance_of(&rows);
    let complete = told.len() == pairs.len();
    let family = if complete {
        ComparisonFamily::all_pairs(pair_names, contrasts, &covariance, names.len())
    } else {
        ComparisonFamily::new(pair_names, contrasts, &covariance)
    }
    .ok()?;
    let range = if complete && !one_field { family.adjust(Adjustment::Tukey, 0.95).ok() } else { None };
    let (together, adjustment) = match range {
        Some(together) => (together, "tukey-kramer"),
        None => (family.adjust(Adjustment::Holm, 0.95).ok()?, "holm"),
    };
    let of = told
        .into_iter()
        .zip(together.rows)
        .map(|((pair, alone, _), together)| (pair, Pair { alone, together }))
        .collect();
    Some(Judged { of, adjustment })
}
