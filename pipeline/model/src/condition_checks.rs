//! Which condition is a condition? Schemes that are too fine for the data, and schemes that hide a difference.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_agronomy::force_levels;
use evenstand_stats::{JointTest, LinearFit, LmmFit, holm};
use evenstand_tables::rows::StripRow;
use ndarray::Array2;

use crate::groups::{Basis, GroupKey};
use crate::observations::{Observation, Observations};
use crate::response::Response;
use crate::within_frame::WithinFrame;

/// What is read off a strip, where it is known.
pub(crate) type Recorded = fn(&StripRow) -> Option<&str>;

/// Parts of a condition that strips carry, by their names in the settings.
pub(crate) const PARTS: [(&str, Recorded); 8] = [
    ("moisture", |strip| strip.moisture.as_deref()),
    ("residue", |strip| strip.residue.as_deref()),
    ("texture_group", |strip| strip.texture_group.as_deref()),
    ("tillage", |strip| strip.tillage.as_deref()),
    ("logged", |strip| strip.logged.as_deref()),
    ("soil_temp", |strip| strip.soil_temp.as_deref()),
    ("crust", |strip| strip.crust.as_deref()),
    ("rain", |strip| strip.rain.as_deref()),
];

/// Field-seasons from which a condition stands on its own.
const ENOUGH: usize = 3;
/// Above this p value two conditions are not told apart.
const ALIKE: f64 = 0.2;
/// Field-seasons from which a hidden difference is looked for, and of each of its values. With four, unlike fields gave p < 0.05 in 31
/// of 300 simulated reviews without a difference; with five in 6, with six in 8, with eight in 13.
const HIDDEN_FIELD_SEASONS: usize = 5;
const HIDDEN_EACH: usize = 2;

/// Two conditions whose curves were compared.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Neighbours {
    pub groups: (usize, usize),
    /// Position of the word in which their labels differ.
    pub part: usize,
    pub p_value: f64,
    /// Largest difference between the curves, each less its own mean, over the forces tested in both; in the response's own unit.
    pub difference: f64,
    /// Trial field-seasons of each.
    pub field_seasons: (usize, usize),
}

impl Neighbours {
    /// Whether the two could be one condition.
    pub fn could_merge(&self, tolerance: f64) -> bool {
        self.p_value > ALIKE && self.difference <= tolerance
    }
}

/// A recorded thing that the curves of one condition go with.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct HiddenDifference {
    pub part: &'static str,
    /// Its values, each with its trial field-seasons.
    pub values: Vec<(String, usize)>,
    pub p_value: f64,
    /// Holm's, over all candidates of the condition.
    pub p_adjusted: f64,
}

/// Pairs of one closer, one of them with fewer than three field-seasons, that differ in one word of their label.
pub(crate) fn neighbours(observations: &Observations, response: &Response) -> Vec<Neighbours> {
    let groups = &observations.groups;
    let mut found = Vec::new();
    for b in 0..groups.len() {
        for a in 0..b {
            let ((key_a, of_a), (key_b, of_b)) = (&groups[a], &groups[b]);
            let trials = of_a.basis == Basis::Trial && of_b.basis == Basis::Trial;
            let few = of_a.field_seasons < ENOUGH || of_b.field_seasons < ENOUGH;
            let Some(part) = differs_in(key_a, key_b).filter(|_| trials && few) else { continue };
            let both = (of_a.tested.0.max(of_b.tested.0), of_a.tested.1.min(of_b.tested.1));
            let Some((p_value, difference)) = compare_curves(observations, (a, b), both, response) else { continue };
            let field_seasons = (of_a.field_seasons, of_b.field_seasons);
            found.push(Neighbours { groups: (a, b), part, p_value, difference, field_seasons });
        }
    }
    found
}

/// Position of the one word in which two labels of the same closer differ.
fn differs_in(a: &GroupKey, b: &GroupKey) -> Option<usize> {
    let unclear = |key: &GroupKey| key.condition == "mixed" || key.condition == "unstated";
    if a.closer != b.closer || a.planter_id != b.planter_id || unclear(a) || unclear(b) {
        return None;
    }
    let words = |key: &GroupKey| key.condition.split(", ").map(str::to_owned).collect::<Vec<_>>();
    let (a, b) = (words(a), words(b));
    let differing: Vec<usize> = (0..a.len().min(b.len())).filter(|part| a[*part] != b[*part]).collect();
    (a.len() == b.len() && differing.len() == 1).then(|| differing[0])
}

/// Test of setting × condition, and the largest difference of the curves over `forces`.
fn compare_curves(
    observations: &Observations,
    groups: (usize, usize),
    forces: (f64, f64),
    response: &Response,
) -> Option<(f64, f64)> {
    if forces.1 <= forces.0 {
        return None;
    }
    let frame = WithinFrame::new([trial_rows(observations, groups.0), trial_rows(observations, groups.1)].concat())?;
    let member: Vec<f64> = frame.rows.iter().map(|row| f64::from(u8::from(row.group == groups.1))).collect();
    let (fit, test) = interaction(&frame, &[member])?;
    let coefficient =
        |name: &str| fit.names().iter().position(|own| own == name).map_or(0.0, |column| fit.coefficients()[column]);
    let level = evenstand_stats::mean(&frame.rows.iter().map(|row| row.modelled).collect::<Vec<_>>()).ok()?;
    const POINTS: usize = 21;
    let curve = |second: f64| {
        let shape: Vec<f64> = (0..POINTS)
            .map(|point| {
                let force_n = forces.0 + (forces.1 - forces.0) * point as f64 / (POINTS - 1) as f64;
                let s = (force_n - frame.centre_n) / frame.half_range_n;
                (coefficient("force") + second * coefficient("force × 1")) * s
                    + (coefficient("force²") + second * coefficient("force² × 1")) * s * s
            })
            .collect();
        let mean = shape.iter().sum::<f64>() / POINTS as f64;
        shape.into_iter().map(|value| response.scale.back(level + value - mean)).collect::<Vec<_>>()
    };
    let difference = curve(0.0).iter().zip(curve(1.0)).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
    (test.p_value.is_finite() && difference.is_finite()).then_some((test.p_value, difference))
}

/// What the curves of one group go with, of all that was recorded and is not in its label; Holm over the candidates.
pub(crate) fn hidden_differences(observations: &Observations, group: usize) -> Vec<HiddenDifference> {
    let rows = trial_rows(observations, group);
    let mut found: Vec<HiddenDifference> = PARTS
        .iter()
        .filter_map(|(part, value)| {
            let mut seasons: BTreeMap<&str, BTreeSet<usize>> = BTreeMap::new();
            for row in &rows {
                if let Some(word) = value(row.strip) {
                    seasons.entry(word).or_default().insert(row.field_season);
                }
            }
            seasons.retain(|_, seasons| seasons.len() >= HIDDEN_EACH);
            let all: BTreeSet<usize> = seasons.values().flatten().copied().collect();
            if seasons.len() < 2 || all.len() < HIDDEN_FIELD_SEASONS {
                return None;
            }
            let known =
                rows.iter().copied().filter(|row| value(row.strip).is_some_and(|word| seasons.contains_key(word)));
            let frame = WithinFrame::new(known.collect())?;
            let indicators: Vec<Vec<f64>> = seasons
                .keys()
                .skip(1)
                .map(|word| frame.rows.iter().map(|row| f64::from(u8::from(value(row.strip) == Some(word)))).collect())
                .collect();
            let (_, test) = interaction(&frame, &indicators)?;
            test.p_value.is_finite().then(|| HiddenDifference {
                part,
                values: seasons.iter().map(|(word, seasons)| ((*word).to_owned(), seasons.len())).collect(),
                p_value: test.p_value,
                p_adjusted: f64::NAN,
            })
        })
        .collect();
    let adjusted = holm(&found.iter().map(|hidden| hidden.p_value).collect::<Vec<_>>());
    found.iter_mut().zip(adjusted).for_each(|(hidden, adjusted)| hidden.p_adjusted = adjusted);
    found
}

/// Rows of a group in field-seasons where its settings varied.
fn trial_rows<'a>(observations: &'a Observations<'a>, group: usize) -> Vec<&'a Observation<'a>> {
    let mut by_field: BTreeMap<usize, Vec<&Observation>> = BTreeMap::new();
    for row in observations.rows.iter().filter(|row| row.group == group) {
        by_field.entry(row.field_season).or_default().push(row);
    }
    let varied = |members: &Vec<&Observation>| {
        force_levels(&members.iter().map(|row| row.force_n).collect::<Vec<_>>()).1.len() > 1
    };
    by_field.into_values().filter(varied).flatten().collect()
}

/// Fits force × indicators beside their levels, and tests the products together. `None` where the rows cannot tell them.
fn interaction(frame: &WithinFrame, indicators: &[Vec<f64>]) -> Option<(LmmFit, JointTest)> {
    let mut shapes = vec![("force", &frame.linear)];
    if frame.curved {
        shapes.push(("force²", &frame.quadratic));
    }
    let mut columns = vec![("intercept".to_owned(), vec![1.0; frame.rows.len()])];
    columns.extend(shapes.iter().map(|(name, values)| ((*name).to_owned(), (*values).clone())));
    for (number, indicator) in indicators.iter().enumerate() {
        columns.push((format!("level {}", number + 1), indicator.clone()));
    }
    let first_product = columns.len();
    for (name, values) in &shapes {
        for (number, indicator) in indicators.iter().enumerate() {
            let product = values.iter().zip(indicator).map(|(value, indicator)| value * indicator).collect();
            columns.push((format!("{name} × {}", number + 1), product));
        }
    }
    let width = columns.len();
    let (design, fit) = frame.fit(columns)?;
    let rows: Option<Vec<Vec<f64>>> = (first_product..width)
        .map(|product| {
            let row: Vec<f64> = (0..width).map(|column| f64::from(u8::from(column == product))).collect();
            design.estimable_row(&row).ok()
        })
        .collect();
    let rows = rows?;
    let kept = rows.first()?.len();
    let test = fit.joint_test(&Array2::from_shape_fn((rows.len(), kept), |(row, column)| rows[row][column])).ok()?;
    Some((fit, test))
}
