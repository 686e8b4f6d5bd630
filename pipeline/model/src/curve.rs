//! One mixed model per response and axis: response by closing downforce, per group.
//!
//! On the model's scale, for strip i of group g in field-season f and block b:
//!
//! `y = a_g + b1_g (s − s̄) + b2_g (s² − s̄²) + c (s̄ − s̄_g) + u_f + u_b + v_f (s − s̄) + w_f (s² − s̄²) + e / √weight`
//!
//! s is force, centred and scaled to the tested range; a bar is the mean over the strips of one group in one
//! field-season, so that b1 and b2 rest on comparisons inside field-seasons alone and differences between them go to c.
//! Under logs, where nothing varied inside field-seasons, the bar is the mean over the seasons of one field instead.
//!
//! Recorded parts of the planter that varied inside field-seasons apart from the setting are adjusted for; see `covariates.rs`.
//!
//! It is fitted twice. The fit by restricted likelihood ([`CurveModel::fit`]) has a curve of its own for every group, with v from three trial
//! field-seasons on and w from six: tests and the group's own answer. The drawn model ([`CurveModel::drawn`]) is what the answer rests on; see `drawn.rs`.

use evenstand_stats::{Design, LinearFit, Lmm, LmmFit, RandomTerm};

use crate::binomial_check::BinomialCheck;
use crate::drawn::{Drawing, Drawn};
use crate::frame::{Frame, Owner, column_name};
use crate::observations::{Observation, Observations};
use crate::priors::PriorScales;
use crate::response::{Response, Scale};
use crate::summary::mean;
use crate::working_fit::{design, mixed_model};

/// Where the columns of one group stand in the fit.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct GroupTerms {
    pub intercept: Option<usize>,
    pub linear: Option<usize>,
    pub quadratic: Option<usize>,
}

/// Numbers of the random terms within the fit.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct TermNumbers {
    pub field: Option<usize>,
    pub block: Option<usize>,
    pub slope: Option<usize>,
    pub curvature: Option<usize>,
    /// Strips beyond the error of their counts, where that is known; groups are rows.
    pub strip: Option<usize>,
}

/// A fitted model of one response on one axis.
pub(crate) struct CurveModel<'a> {
    pub response: Response,
    pub observations: Observations<'a>,
    pub frame: Frame,
    pub design: Design,
    pub fit: LmmFit,
    pub drawn: Drawn,
    pub groups: Vec<GroupTerms>,
    pub terms: TermNumbers,
    /// Formula in words, for the model table.
    pub formula: String,
    /// What is to be said about the degrees of freedom, where they are not Kenward and Roger's.
    pub remark: Option<String>,
    /// The same model of counts; `None` for other responses, an error in words where it could not be fitted.
    pub binomial: Option<Result<BinomialCheck, String>>,
}

/// Fits the model. The error says in words why it could not be fitted.
pub(crate) fn fit_curves<'a>(
    response: &Response,
    observations: Observations<'a>,
    drawing: Drawing,
) -> Result<CurveModel<'a>, String> {
    let frame = Frame::new(&observations);
    let columns = frame.columns(false);
    let rows = &observations.rows;
    let modelled: Vec<f64> = rows.iter().map(|row| row.modelled).collect();
    let (random, mut terms, mut formula) = random_terms(&frame, &observations);
    let std_errors: Option<Vec<f64>> = rows.iter().map(|row| row.modelled_std_error).collect();
    if std_errors.is_some() {
        terms.strip = Some(random.len());
        formula.push_str(" + (strip); sampling variances from the fitted course of each strip");
    }
    let words = |error: evenstand_stats::StatsError| error.to_string();
    let plain = |weights| {
        Design::new(modelled.clone(), columns.matrix.clone(), columns.names.clone(), random.clone(), Some(weights))
            .and_then(|design| Lmm::reml().fit(&design))
    };
    let weights = weights(response, rows, plain).map_err(words)?;
    let design = design(
        modelled.clone(),
        columns.matrix.clone(),
        columns.names.clone(),
        random.clone(),
        weights.clone(),
        std_errors.clone(),
    )
    .map_err(words)?;
    let (fit, remark) = mixed_model(&design).map_err(words)?;
    let position = |name: &str| design.names().iter().position(|kept| kept == name);
    let groups: Vec<GroupTerms> = (0..frame.groups.len())
        .map(|group| {
            let of = |function| position(&column_name(function, Owner::Group(group)));
            GroupTerms { intercept: of(0), linear: of(1), quadratic: of(2) }
        })
        .collect();
    let priors = PriorScales::of(
        response.scale,
        &modelled,
        typical_size(rows, &fit, |group| groups[group].linear),
        typical_size(rows, &fit, |group| groups[group].quadratic),
    );
    // Sampling variances and the strip variance of the fit together become weights, with sigma free again to carry what is not
    // known about their size: an effect a strip in every draw would say the same at many times the work.
    let drawn_weights = match &std_errors {
        None => weights,
        Some(errors) => {
            let between = fit.variance_components().last().map_or(0.0, |component| component.variance);
            Some(errors.iter().map(|error| 1.0 / (error * error + between)).collect())
        }
    };
    let drawn = Drawn::new(&frame, &observations, modelled, drawn_weights, &priors, drawing).map_err(words)?;
    let counted = response.scale == Scale::Logit && rows.iter().all(|row| row.value.seeds.is_some());
    let binomial = counted.then(|| BinomialCheck::new(rows, &columns.matrix, &columns.names, &random, &fit, &groups));
    Ok(CurveModel {
        response: response.clone(),
        design,
        fit,
        drawn,
        groups,
        terms,
        frame,
        formula,
        remark,
        binomial,
        observations,
    })
}

/// Mean of a coefficient's absolute value over the groups that have it, by their strips; 0 where none has.
fn typical_size(rows: &[Observation], fit: &LmmFit, column: impl Fn(usize) -> Option<usize>) -> f64 {
    let (mut sum, mut strips) = (0.0, 0.0);
    for row in rows {
        if let Some(column) = column(row.group) {
            sum += fit.coefficients()[column].abs();
            strips += 1.0;
        }
    }
    if strips > 0.0 { sum / strips } else { 0.0 }
}

/// Binomial sampling weights n p (1 − p) of shares, p from a first fit; none for other responses.
///
/// Weights are divided by their mean, so that the residual variance is that of a typical strip.
fn weights(
    response: &Response,
    rows: &[Observation],
    fit: impl Fn(Vec<f64>) -> evenstand_stats::Result<LmmFit>,
) -> evenstand_stats::Result<Option<Vec<f64>>> {
    let seeds: Option<Vec<f64>> = rows.iter().map(|row| row.value.seeds).collect();
    let Some(seeds) = seeds.filter(|_| response.scale == Scale::Logit) else { return Ok(None) };
    let scaled = |share: &dyn Fn(usize) -> f64| {
        let raw: Vec<f64> =
            seeds.iter().enumerate().map(|(row, seeds)| seeds * share(row) * (1.0 - share(row))).collect();
        let typical = mean(&raw);
        raw.into_iter().map(|weight| weight / typical).collect::<Vec<_>>()
    };
    let overall = (mean(&rows.iter().map(|row| row.value.value).collect::<Vec<_>>())).clamp(0.02, 0.98);
    let first = fit(scaled(&|_| overall))?;
    let fitted: Vec<f64> = first.fitted().iter().map(|logit| Scale::Logit.back(*logit).clamp(0.02, 0.98)).collect();
    Ok(Some(scaled(&|row| fitted[row])))
}

/// The random terms of the fit that these data can carry, their numbers, and the formula in words.
fn random_terms(frame: &Frame, observations: &Observations) -> (Vec<RandomTerm>, TermNumbers, String) {
    let mut random = Vec::new();
    let mut terms = TermNumbers::default();
    let mut formula =
        String::from("force + force² within field-seasons by condition and closer, force between field-seasons");
    for covariate in &frame.covariates.columns {
        formula.push_str(&format!(" + {} within field-seasons", covariate.name));
    }
    let mut add = |slot: &mut Option<usize>, term: RandomTerm| {
        *slot = Some(random.len());
        formula.push_str(&format!(" + ({})", term.name));
        random.push(term);
    };
    if let Some(term) = frame.field_seasons(observations) {
        add(&mut terms.field, term);
    }
    if let Some(term) = frame.blocks(observations) {
        add(&mut terms.block, term);
    }
    if frame.trial_field_seasons >= 3 {
        add(&mut terms.slope, frame.by_field_season("force by field-season", 1, observations));
    }
    if frame.trial_field_seasons >= 6 && frame.curved() {
        add(&mut terms.curvature, frame.by_field_season("force² by field-season", 2, observations));
    }
    (random, terms, formula)
}
