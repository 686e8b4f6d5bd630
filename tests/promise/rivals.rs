//! Simpler ways to choose a start from the same strips.

use std::collections::BTreeMap;

use evenstand_tables::rows::StripRow;

use crate::truth::tested;
use crate::world::{CENTRE_N, HALF_RANGE_N, scaled};

/// Names in the order of [`starts`].
pub const RIVALS: [&str; 4] = ["default", "best mean", "pooled quadratic", "field by field"];

/// The start of each rival, in newtons. One that cannot be worked out stays at the default.
///
/// *Default*: never moves. *Best mean*: the setting with the highest mean share. *Pooled quadratic*: least squares of the share on
/// field-season, force and force², its best in the tested range. *Field by field*: the same in each field-season alone, and the
/// mean of their bests.
pub fn starts(strips: &[&StripRow], default_n: f64) -> [f64; 4] {
    [
        default_n,
        best_mean(strips).unwrap_or(default_n),
        pooled_quadratic(strips).unwrap_or(default_n),
        field_by_field(strips).unwrap_or(default_n),
    ]
}

/// Force and share of a strip.
fn point(strip: &StripRow) -> Option<(f64, f64)> {
    Some((strip.force_n?, strip.on_time_share?))
}

fn best_mean(strips: &[&StripRow]) -> Option<f64> {
    // Settings are whole newtons.
    let mut sums: BTreeMap<i64, (f64, f64)> = BTreeMap::new();
    for (force_n, share) in strips.iter().filter_map(|strip| point(strip)) {
        let sum = sums.entry(force_n as i64).or_default();
        *sum = (sum.0 + share, sum.1 + 1.0);
    }
    let mean = |sum: &(f64, f64)| sum.0 / sum.1;
    sums.iter().max_by(|a, b| mean(a.1).total_cmp(&mean(b.1))).map(|(force_n, _)| *force_n as f64)
}

fn by_field_season(strips: &[&StripRow]) -> Vec<Vec<(f64, f64)>> {
    let mut fields: BTreeMap<(&str, i64), Vec<(f64, f64)>> = BTreeMap::new();
    for strip in strips {
        fields.entry((&strip.field_id, strip.season)).or_default().extend(point(strip));
    }
    fields.into_values().collect()
}

fn pooled_quadratic(strips: &[&StripRow]) -> Option<f64> {
    quadratic_best(&by_field_season(strips))
}

fn field_by_field(strips: &[&StripRow]) -> Option<f64> {
    let bests: Vec<f64> = by_field_season(strips).into_iter().filter_map(|field| quadratic_best(&[field])).collect();
    (!bests.is_empty()).then(|| bests.iter().sum::<f64>() / bests.len() as f64)
}

/// Best force of the tested range under least squares of the share on field-season, u and u². `None` where the settings of no
/// field-season tell both coefficients.
fn quadratic_best(fields: &[Vec<(f64, f64)>]) -> Option<f64> {
    let (mut uu, mut uq, mut qq, mut uy, mut qy) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for field in fields {
        let rows: Vec<[f64; 3]> = field
            .iter()
            .map(|(force_n, share)| {
                let u = scaled(*force_n);
                [u, u * u, *share]
            })
            .collect();
        let mean = |column: usize| rows.iter().map(|row| row[column]).sum::<f64>() / rows.len() as f64;
        let means = [mean(0), mean(1), mean(2)];
        for row in &rows {
            let [u, q, y] = [0, 1, 2].map(|column| row[column] - means[column]);
            (uu, uq, qq, uy, qy) = (uu + u * u, uq + u * q, qq + q * q, uy + u * y, qy + q * y);
        }
    }
    let determinant = uu * qq - uq * uq;
    if determinant <= 1e-9 * uu * qq || !determinant.is_finite() {
        return None;
    }
    let linear = (uy * qq - qy * uq) / determinant;
    let curved = (qy * uu - uy * uq) / determinant;
    let (low_n, high_n) = tested();
    if curved < 0.0 {
        return Some((CENTRE_N + HALF_RANGE_N * (-linear / (2.0 * curved))).clamp(low_n, high_n));
    }
    // A valley or a line: the better end.
    Some(if linear >= 0.0 { high_n } else { low_n })
}
