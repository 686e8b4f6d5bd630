//! One mixed model per response and axis: response by closing downforce, per group.
//!
//! On the model's scale, for strip i of group g in field-season f and block b:
//!
//! `y = a_g + b1_g (s − s̄) + b2_g (s² − s̄²) + c (s̄ − s̄_g) + u_f + u_b + v_f (s − s̄) + w_f (s² − s̄²) + e / √weight`
//!
//! s is force, centred and scaled to the tested range; a bar is the mean over the strips of one group in one
//! field-season, so that b1 and b2 rest on comparisons inside field-seasons alone and differences between them go to c.
//! Under logs, where nothing varied inside field-seasons, the bar is the mean over the seasons of one field instead.
//! v and w let fields differ in slope (from three trial field-seasons on) and in curvature (from six on).

use std::collections::{BTreeMap, BTreeSet};

use evenstand_agronomy::force_levels;
use evenstand_stats::{Design, LinearFit, Lmm, LmmFit, Posterior, PosteriorOptions, RandomTerm};
use ndarray::Array2;

use crate::binomial_check::BinomialCheck;
use crate::groups::Basis;
use crate::observations::{Observation, Observations};
use crate::response::{Response, Scale};
use crate::summary::{mean, standard_deviation};
use crate::working_fit::{design, mixed_model};

/// Half-normal prior scales of the standard deviations between field-seasons and blocks, on the model's scale; slope
/// and curvature are per half of the tested range.
#[derive(Debug, Clone, Copy)]
pub(crate) struct PriorScales {
    pub field: f64,
    pub block: f64,
    pub slope: f64,
    pub curvature: f64,
}

/// A field's own curve may lie about this far from the typical one, as a share of half the tested range.
const OWN_BEST: f64 = 0.35;

impl PriorScales {
    /// Scales that are wide against what strip trials show.
    ///
    /// Levels: 0.5 for shares on the logit, 0.4 for times on the logarithm, one standard deviation for other numbers. A
    /// field whose own best lies d away has a slope that differs by 2 d times the curvature, and a field that answers more
    /// strongly a slope that differs in proportion: the scale of slopes grows with the size of the curves themselves
    /// (`linear`, `quadratic`: means of their absolute coefficients). A fixed scale was tried: where fields differed
    /// much, starts called right 80 times in 100 were right 64 times (`tests/promise`).
    pub fn of(scale: Scale, values: &[f64], linear: f64, quadratic: f64) -> Self {
        let unit = match scale {
            Scale::Logit => 0.5,
            Scale::Log => 0.4,
            Scale::Identity => {
                let spread = standard_deviation(values);
                if spread.is_finite() && spread > 0.0 { spread } else { 1.0 }
            }
        };
        Self {
            field: unit,
            block: 0.5 * unit,
            slope: 0.3 * unit + OWN_BEST * (linear + 2.0 * quadratic),
            curvature: 0.2 * unit + OWN_BEST * quadratic,
        }
    }
}

/// Where the columns of one group stand, and what its force is centred on.
#[derive(Debug, Clone, Default)]
pub(crate) struct GroupTerms {
    pub intercept: Option<usize>,
    pub linear: Option<usize>,
    pub quadratic: Option<usize>,
    /// Mean of s and of s² over the strips behind the curve.
    pub mean_s: f64,
    pub mean_s2: f64,
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
    pub fit: LmmFit,
    pub posterior: Posterior,
    pub priors: PriorScales,
    pub groups: Vec<GroupTerms>,
    pub terms: TermNumbers,
    /// Force at s = 0, and force per unit of s.
    pub centre_n: f64,
    pub half_range_n: f64,
    /// Mean of s and s² in the cell (group and field-season) of each row.
    pub cells: Vec<(f64, f64)>,
    /// Field-seasons with a trial, over all groups.
    pub trial_field_seasons: usize,
    /// Formula in words, for the model table.
    pub formula: String,
    /// What is to be said about the degrees of freedom, where they are not Kenward and Roger's.
    pub remark: Option<String>,
    /// The same model of counts; `None` for other responses, an error in words where it could not be fitted.
    pub binomial: Option<Result<BinomialCheck, String>>,
}

/// Seed and number of draws.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Drawing {
    pub seed: u64,
    pub draws: usize,
}

/// Fits the model. The error says in words why it could not be fitted.
pub(crate) fn fit_curves<'a>(
    response: &Response,
    observations: Observations<'a>,
    drawing: Drawing,
) -> Result<CurveModel<'a>, String> {
    let frame = Frame::new(&observations);
    let rows = &observations.rows;
    let modelled: Vec<f64> = rows.iter().map(|row| row.modelled).collect();
    let (random, mut terms, mut formula) = frame.random(&observations);
    let std_errors: Option<Vec<f64>> = rows.iter().map(|row| row.modelled_std_error).collect();
    if std_errors.is_some() {
        terms.strip = Some(random.len());
        formula.push_str(" + (strip); sampling variances from the fitted course of each strip");
    }
    let words = |error: evenstand_stats::StatsError| error.to_string();
    let weights = weights(response, rows, &modelled, &frame, &random)?;
    let same_terms = random.clone();
    let variances = std_errors.as_ref().map(|errors| errors.iter().map(|error| error * error).collect::<Vec<_>>());
    let design = design(modelled.clone(), frame.matrix.clone(), frame.names.clone(), random, weights, std_errors)
        .map_err(words)?;
    let (fit, remark) = mixed_model(&design).map_err(words)?;
    let position = |name: &str| design.names().iter().position(|kept| kept == name);
    let priors = PriorScales::of(
        response.scale,
        &modelled,
        typical_size(&observations, &fit, |group| position(&format!("force {}", group + 1))),
        typical_size(&observations, &fit, |group| position(&format!("force² {}", group + 1))),
    );
    let scales = [
        terms.field.map(|_| priors.field),
        terms.block.map(|_| priors.block),
        terms.slope.map(|_| priors.slope),
        terms.curvature.map(|_| priors.curvature),
    ];
    let options = PosteriorOptions {
        draws: drawing.draws,
        burn_in: drawing.draws,
        thin: 2,
        seed: drawing.seed,
        scales: scales.into_iter().flatten().collect(),
    };
    let posterior = match variances {
        None => Posterior::sample(&design, &options),
        Some(variances) => {
            drawn_design(&design, &same_terms, &fit, &variances).and_then(|drawn| Posterior::sample(&drawn, &options))
        }
    }
    .map_err(words)?;
    let groups: Vec<GroupTerms> = frame
        .groups
        .iter()
        .enumerate()
        .map(|(number, means)| GroupTerms {
            intercept: position(&format!("intercept {}", number + 1)),
            linear: position(&format!("force {}", number + 1)),
            quadratic: position(&format!("force² {}", number + 1)),
            mean_s: means.0,
            mean_s2: means.1,
        })
        .collect();
    let counted = response.scale == Scale::Logit && rows.iter().all(|row| row.value.seeds.is_some());
    let binomial = counted.then(|| BinomialCheck::new(rows, &frame.matrix, &frame.names, &same_terms, &fit, &groups));
    Ok(CurveModel {
        response: response.clone(),
        fit,
        posterior,
        priors,
        groups,
        terms,
        centre_n: frame.centre_n,
        half_range_n: frame.half_range_n,
        cells: frame.cells,
        trial_field_seasons: frame.trial_field_seasons,
        formula,
        remark,
        binomial,
        observations,
    })
}

/// The design that draws are made from where strips have sampling variances: the strip term and the sampling variances together become
/// weights, at the strip variance of the fit, and sigma is free again to carry what is not known about their size.
///
/// An effect a strip in every draw would say the same at many times the work.
fn drawn_design(
    design: &Design,
    terms: &[RandomTerm],
    fit: &LmmFit,
    variances: &[f64],
) -> Result<Design, evenstand_stats::StatsError> {
    let between = fit.variance_components().last().map_or(0.0, |component| component.variance);
    let weights = variances.iter().map(|variance| 1.0 / (variance + between)).collect();
    Design::new(
        design.response().to_vec(),
        design.fixed().clone(),
        design.names().to_vec(),
        terms.to_vec(),
        Some(weights),
    )
}

/// Mean of a coefficient's absolute value over the groups that have it, by their strips; 0 where none has.
fn typical_size(observations: &Observations, fit: &LmmFit, column: impl Fn(usize) -> Option<usize>) -> f64 {
    let (mut sum, mut strips) = (0.0, 0.0);
    for row in &observations.rows {
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
    modelled: &[f64],
    frame: &Frame,
    random: &[RandomTerm],
) -> Result<Option<Vec<f64>>, String> {
    if response.scale != Scale::Logit || rows.iter().any(|row| row.value.seeds.is_none()) {
        return Ok(None);
    }
    let seeds: Vec<f64> = rows.iter().filter_map(|row| row.value.seeds).collect();
    let scaled = |share: &dyn Fn(usize) -> f64| {
        let raw: Vec<f64> =
            seeds.iter().enumerate().map(|(row, seeds)| seeds * share(row) * (1.0 - share(row))).collect();
        let typical = mean(&raw);
        raw.into_iter().map(|weight| weight / typical).collect::<Vec<_>>()
    };
    let overall = (mean(&rows.iter().map(|row| row.value.value).collect::<Vec<_>>())).clamp(0.02, 0.98);
    let first = Design::new(
        modelled.to_vec(),
        frame.matrix.clone(),
        frame.names.clone(),
        random.to_vec(),
        Some(scaled(&|_| overall)),
    )
    .and_then(|design| Lmm::reml().fit(&design))
    .map_err(|error| error.to_string())?;
    let fitted: Vec<f64> = first.fitted().iter().map(|logit| Scale::Logit.back(*logit).clamp(0.02, 0.98)).collect();
    Ok(Some(scaled(&|row| fitted[row])))
}

/// The fixed columns and everything force is centred on.
struct Frame {
    matrix: Array2<f64>,
    names: Vec<String>,
    groups: Vec<(f64, f64)>,
    cells: Vec<(f64, f64)>,
    within: Vec<(f64, f64)>,
    centre_n: f64,
    half_range_n: f64,
    trial_field_seasons: usize,
    curved: bool,
}

/// Means of s and s² by some key.
fn means<K: Ord>(pairs: impl Iterator<Item = (K, f64)>) -> BTreeMap<K, (f64, f64)> {
    let mut sums: BTreeMap<K, (f64, f64, f64)> = BTreeMap::new();
    for (key, s) in pairs {
        let sum = sums.entry(key).or_insert((0.0, 0.0, 0.0));
        *sum = (sum.0 + s, sum.1 + s * s, sum.2 + 1.0);
    }
    sums.into_iter().map(|(key, (s, s2, count))| (key, (s / count, s2 / count))).collect()
}

impl Frame {
    fn new(observations: &Observations) -> Self {
        let rows = &observations.rows;
        let (low, high) = rows
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), row| (low.min(row.force_n), high.max(row.force_n)));
        let centre_n = (low + high) / 2.0;
        let half_range_n = if high > low { (high - low) / 2.0 } else { 1.0 };
        let scaled: Vec<f64> = rows.iter().map(|row| (row.force_n - centre_n) / half_range_n).collect();
        let cell_key = |row: &Observation| (row.group, row.field_season);
        let field_key = |row: &Observation| (row.group, row.strip.field_id.clone());
        let cell_means = means(rows.iter().zip(&scaled).map(|(row, s)| (cell_key(row), *s)));
        let field_means = means(rows.iter().zip(&scaled).map(|(row, s)| (field_key(row), *s)));
        let cells: Vec<(f64, f64)> = rows.iter().map(|row| cell_means[&cell_key(row)]).collect();
        let mut cell_forces: BTreeMap<(usize, usize), Vec<f64>> = BTreeMap::new();
        for row in rows {
            cell_forces.entry(cell_key(row)).or_default().push(row.force_n);
        }
        let cell_levels: BTreeMap<(usize, usize), usize> =
            cell_forces.into_iter().map(|(cell, forces)| (cell, force_levels(&forces).1.len())).collect();
        let basis = |group: usize| observations.groups[group].1.basis;
        // Deviation of each strip from what its group's curve compares it with.
        let within: Vec<(f64, f64)> = rows
            .iter()
            .zip(&scaled)
            .map(|(row, s)| match basis(row.group) {
                Basis::Trial => {
                    let (mean_s, mean_s2) = cell_means[&cell_key(row)];
                    (s - mean_s, s * s - mean_s2)
                }
                Basis::Logs => {
                    let (cell_s, cell_s2) = cell_means[&cell_key(row)];
                    let (field_s, field_s2) = field_means[&field_key(row)];
                    (cell_s - field_s, cell_s2 - field_s2)
                }
            })
            .collect();
        let behind_curve = |row: &Observation| basis(row.group) == Basis::Logs || cell_levels[&cell_key(row)] > 1;
        let group_means =
            means(rows.iter().zip(&scaled).filter(|(row, _)| behind_curve(row)).map(|(row, s)| (row.group, *s)));
        let mut names = Vec::new();
        let mut columns: Vec<Vec<f64>> = Vec::new();
        let mut curved_anywhere = false;
        for (group, (_, coverage)) in observations.groups.iter().enumerate() {
            let member = |row: &Observation| row.group == group;
            names.push(format!("intercept {}", group + 1));
            columns.push(rows.iter().map(|row| f64::from(u8::from(member(row)))).collect());
            let varied = coverage.basis == Basis::Trial || coverage.varied_within_fields;
            if !varied {
                continue;
            }
            names.push(format!("force {}", group + 1));
            columns
                .push(rows.iter().zip(&within).map(|(row, within)| if member(row) { within.0 } else { 0.0 }).collect());
            let curved = coverage.level_forces.len() >= 3
                && (coverage.basis == Basis::Logs
                    || cell_levels.iter().any(|((owner, _), levels)| *owner == group && *levels >= 3));
            if curved {
                curved_anywhere = true;
                names.push(format!("force² {}", group + 1));
                columns.push(
                    rows.iter().zip(&within).map(|(row, within)| if member(row) { within.1 } else { 0.0 }).collect(),
                );
            }
        }
        let between: Vec<f64> = rows
            .iter()
            .zip(&cells)
            .map(|(row, cell)| {
                let centre = group_means.get(&row.group).map_or(0.0, |means| means.0);
                let level = if basis(row.group) == Basis::Logs { field_means[&field_key(row)].0 } else { cell.0 };
                level - centre
            })
            .collect();
        // It takes a degree of freedom among field-seasons, and must leave one to the differences between them.
        let told_apart = cell_means.len() >= observations.groups.len() + 2;
        if told_apart && between.iter().any(|value| value.abs() > 1e-9) {
            names.push("force between field-seasons".to_owned());
            columns.push(between);
        }
        let matrix = Array2::from_shape_fn((rows.len(), columns.len()), |(row, column)| columns[column][row]);
        let trials: BTreeSet<usize> =
            cell_levels.iter().filter(|(_, levels)| **levels > 1).map(|((_, field_season), _)| *field_season).collect();
        Self {
            matrix,
            names,
            groups: (0..observations.groups.len())
                .map(|group| group_means.get(&group).copied().unwrap_or((0.0, 0.0)))
                .collect(),
            cells,
            within,
            centre_n,
            half_range_n,
            trial_field_seasons: trials.len(),
            curved: curved_anywhere,
        }
    }

    /// The random terms that these data can carry, their numbers, and the formula in words.
    fn random(&self, observations: &Observations) -> (Vec<RandomTerm>, TermNumbers, String) {
        let rows = &observations.rows;
        let field_seasons = observations.field_seasons.len();
        let fields: Vec<usize> = rows.iter().map(|row| row.field_season).collect();
        let blocks: Vec<usize> = rows.iter().map(|row| row.block).collect();
        let mut random = Vec::new();
        let mut terms = TermNumbers::default();
        let mut formula =
            String::from("force + force² within field-seasons by condition and closer, force between field-seasons");
        let mut add = |slot: &mut Option<usize>, term: RandomTerm| {
            *slot = Some(random.len());
            formula.push_str(&format!(" + ({})", term.name));
            random.push(term);
        };
        // A field-season of its own for every group cannot be told from the group.
        let seasons_of_group = |group: usize| {
            rows.iter().filter(|row| row.group == group).map(|row| row.field_season).collect::<BTreeSet<_>>()
        };
        let told_apart = (0..observations.groups.len()).any(|group| seasons_of_group(group).len() > 1);
        if field_seasons >= 2 && field_seasons < rows.len() && told_apart {
            add(&mut terms.field, RandomTerm::intercept("field-season", fields.clone(), field_seasons));
        }
        if observations.blocks > field_seasons && observations.blocks < rows.len() {
            add(&mut terms.block, RandomTerm::intercept("block in field-season", blocks, observations.blocks));
        }
        if self.trial_field_seasons >= 3 {
            let slope = self.within.iter().map(|within| within.0).collect();
            add(&mut terms.slope, RandomTerm::slope("force by field-season", fields.clone(), field_seasons, slope));
        }
        if self.trial_field_seasons >= 6 && self.curved {
            let curvature = self.within.iter().map(|within| within.1).collect();
            add(&mut terms.curvature, RandomTerm::slope("force² by field-season", fields, field_seasons, curvature));
        }
        (random, terms, formula)
    }
}
