//! Tests of factors beside the setting in one trial: closer, speed, parts of the planter, named treatments, and their interactions.
//!
//! A condition's strips of all closers are one family, in each field-season in which two factors or more varied, and over all of these. The fit is
//! that of `factor_fit.rs`. No p value stands without a size: the largest difference between two levels, of all pairs, with an interval for it alone;
//! because it is the largest, it tends to be too large.

use std::collections::BTreeMap;

use evenstand_tables::rows::FactorRow;

use crate::covariance::{Before, choose};
use crate::covariates::Covariate;
use crate::factor_fit::{FactorFit, FactorRows, Term, combinations, crossed, interaction, missing, pairs_of};
use crate::factor_levels::{Factor, factors_of};
use crate::groups::Axis;
use crate::observations::{Observation, Observations};
use crate::response::{Response, Scale};
use crate::summary::mean;

/// Parts of the planter that are changed by hand and so, unless somebody says otherwise, from stretch to stretch and not from strip to strip.
const BY_HAND: [&str; 4] = ["closer", "depth_stop", "press_position", "gauge_wheel"];

/// Combinations named in a reason; the rest is counted.
const NAMED: usize = 3;

/// Tests of all factors of one response on one axis.
pub(crate) fn factor_rows(
    observations: &Observations,
    response: &Response,
    axis: &Axis,
    whole_plots: Option<&[String]>,
    before: &Before,
) -> Vec<FactorRow> {
    // Closers are a factor here, so strips of one condition and axis belong together whatever their closer.
    let mut conditions: BTreeMap<(&str, &str), BTreeMap<usize, Vec<&Observation>>> = BTreeMap::new();
    for row in &observations.rows {
        let key = &observations.groups[row.group].0;
        let of_condition = conditions.entry((&key.condition, &key.planter_id)).or_default();
        of_condition.entry(row.field_season).or_default().push(row);
    }
    let mut rows = Vec::new();
    for ((condition, planter), mut by_field) in conditions {
        by_field.retain(|_, members| factors_of(members, axis).len() > 1);
        let asked = Asked { response, axis, condition, planter, whole_plots, before };
        for (field_season, members) in &by_field {
            rows.extend(asked.family(members, Some(observations.field_seasons[*field_season])));
        }
        let all: Vec<&Observation> = by_field.into_values().flatten().collect();
        if !all.is_empty() {
            rows.extend(asked.family(&all, None));
        }
    }
    rows
}

/// What the families of one condition have in common.
struct Asked<'a> {
    response: &'a Response,
    axis: &'a Axis,
    condition: &'a str,
    planter: &'a str,
    whole_plots: Option<&'a [String]>,
    before: &'a Before<'a>,
}

impl Asked<'_> {
    fn family(&self, members: &[&Observation], place: Option<(&str, i64)>) -> Vec<FactorRow> {
        let factors = factors_of(members, self.axis);
        let whole = |factor: &Factor| match self.whole_plots {
            Some(named) => named.iter().any(|name| name == factor.name),
            None => BY_HAND.contains(&factor.name),
        };
        let strips = FactorRows {
            response: members.iter().map(|member| member.value.value).collect(),
            std_errors: std_errors(members, &combinations(&factors)),
            whole: factors.iter().map(whole).collect(),
            blocks: members.iter().map(|member| member.block).collect(),
            fields: members.iter().map(|member| member.field_season).collect(),
            factors,
        };
        let Fitted { fit, pairs, covariates, said } = self.fitted(&strips, members);
        let crossed = crossed(&strips.factors);
        let mut terms: Vec<(Term, String, Option<String>)> = Vec::new();
        for (number, factor) in strips.factors.iter().enumerate() {
            terms.push((Term::Main(number), factor.words(), None));
        }
        for (a, b) in pairs_of(strips.factors.len()) {
            let (one, other) = (&strips.factors[a], &strips.factors[b]);
            let reason = if crossed.contains(&(a, b)) {
                (!pairs.contains(&(a, b))).then(|| "too few strips to test interactions beside the factors".to_owned())
            } else {
                Some(not_planted(&missing(one, other)))
            };
            terms.push((Term::Interaction(a, b), interaction(one, other), reason));
        }
        for (number, covariate) in covariates.iter().enumerate() {
            terms.push((Term::Covariate(number), covariate.name.clone(), None));
        }
        let row = |(term, name, reason): (Term, String, Option<String>)| {
            let told = fit.as_ref().ok().filter(|_| reason.is_none());
            let test = told.and_then(|fit| fit.test(term));
            let size = told.filter(|_| test.is_some()).and_then(|fit| fit.size(term));
            let limits = size.as_ref().map(|size| size.contrast.interval(0.95));
            let finite = |value: f64| Some(value).filter(|value| value.is_finite());
            let reason = reason.or_else(|| fit.as_ref().err().cloned()).or_else(|| {
                test.is_none().then(|| {
                    "its levels cannot be told from the other factors or from the blocks they stood in".to_owned()
                })
            });
            let method = fit.as_ref().ok().map(|fit| match &said {
                Some(said) => format!("{}; {said}", fit.method),
                None => fit.method.clone(),
            });
            FactorRow {
                response: self.response.name.clone(),
                condition: self.condition.to_owned(),
                planter_id: Some(self.planter.to_owned()).filter(|planter| !planter.is_empty()),
                field_id: place.map(|(field_id, _)| field_id.to_owned()),
                season: place.map(|(_, season)| season),
                term: name,
                kind: match term {
                    Term::Main(_) => "factor",
                    Term::Interaction(..) => "interaction",
                    Term::Covariate(_) => "covariate",
                }
                .to_owned(),
                levels: match term {
                    Term::Main(number) => Some(strips.factors[number].levels.join(", ")),
                    _ => None,
                },
                numerator_df: test.as_ref().map(|test| test.numerator_df),
                denominator_df: test.as_ref().map(|test| test.denominator_df),
                f_value: test.as_ref().map(|test| test.f),
                p_value: test.as_ref().map(|test| test.p_value),
                size: size.as_ref().map(|size| size.contrast.estimate),
                size_std_error: size.as_ref().and_then(|size| finite(size.contrast.std_error)),
                size_low: limits.as_ref().and_then(|limits| finite(limits.low)),
                size_high: limits.as_ref().and_then(|limits| finite(limits.high)),
                size_of: size.as_ref().map(|size| size.of.clone()),
                scale: Some(
                    match self.response.scale {
                        Scale::Logit => "share",
                        Scale::Log => "hours",
                        Scale::Identity => "own unit",
                    }
                    .to_owned(),
                ),
                n_strips: Some(members.len() as i64),
                method,
                reason,
            }
        };
        terms.into_iter().map(row).collect()
    }
}

/// A fit, the interactions in it, its covariates, and what is said about these.
struct Fitted {
    fit: Result<FactorFit, String>,
    pairs: Vec<(usize, usize)>,
    covariates: Vec<Covariate>,
    said: Option<String>,
}

impl Asked<'_> {
    /// Fits the factors with every interaction that was planted whole, without any where too few strips are left, and with what was measured before.
    fn fitted(&self, strips: &FactorRows, members: &[&Observation]) -> Fitted {
        let plain = |fit, pairs, said| Fitted { fit: Ok(fit), pairs, covariates: Vec::new(), said };
        let whole = crossed(&strips.factors);
        let (fit, pairs) = match FactorFit::new(strips, &whole, &[]) {
            Ok(fit) => (fit, whole),
            Err(_) => match FactorFit::new(strips, &[], &[]) {
                Ok(fit) => (fit, Vec::new()),
                Err(why) => return Fitted { fit: Err(why), pairs: Vec::new(), covariates: Vec::new(), said: None },
            },
        };
        let covariates = match self.before.columns(members, &self.response.name) {
            None => return plain(fit, pairs, None),
            Some(Err(why)) => return plain(fit, pairs, Some(why)),
            Some(Ok(columns)) => columns,
        };
        let adjusted = FactorFit::new(strips, &pairs, &covariates).ok();
        let choice = choose(&fit.differences(), adjusted.as_ref().map(FactorFit::differences).as_deref());
        match adjusted.filter(|_| choice.adjust) {
            Some(adjusted) => Fitted { fit: Ok(adjusted), pairs, covariates, said: Some(choice.said) },
            None => plain(fit, pairs, Some(choice.said)),
        }
    }
}

/// Standard errors from the counts of each strip, where all have one, taken at the mean of the strip's combination: the error of a time grows with it, and taken
/// strip by strip early strips would weigh more than late ones of the same combination.
fn std_errors(members: &[&Observation], combinations: &[usize]) -> Option<Vec<f64>> {
    let mean_of = |combination: usize| {
        let own = members.iter().zip(combinations).filter(|(_, own)| **own == combination);
        mean(&own.map(|(member, _)| member.value.value).collect::<Vec<_>>())
    };
    members
        .iter()
        .zip(combinations)
        .map(|(member, own)| Some(member.value.std_error? / member.value.value * mean_of(*own)))
        .collect()
}

/// Why an interaction has no test.
fn not_planted(missing: &[String]) -> String {
    let named = missing.iter().take(NAMED).cloned().collect::<Vec<_>>().join(", ");
    let more = match missing.len().saturating_sub(NAMED) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    format!("no strip had {named}{more}; an interaction needs every combination")
}

#[cfg(test)]
mod tests;
