//! Plant spacing and leaf stage of a strip.

use std::collections::BTreeMap;

use evenstand_agronomy::{SpacingClasses, consecutive_spacings, spacing_cv, theoretical_spacing_m};
use evenstand_tables::rows::{FieldRow, PlantRow, SpacingRow};

/// How evenly plants stand along the row.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Stand {
    pub spacing_cv: Option<f64>,
    pub spacing_precision: Option<f64>,
    pub miss_share: Option<f64>,
    pub multiple_share: Option<f64>,
    pub quality_share: Option<f64>,
}

/// Spacing indices of one strip; spacings of its samples are pooled, never taken across two samples.
pub(crate) fn spacing(rows: &[SpacingRow], field: Option<&FieldRow>) -> Stand {
    let mut positions: BTreeMap<Option<&str>, Vec<f64>> = BTreeMap::new();
    for row in rows {
        positions.entry(row.sample_id.as_deref()).or_default().push(row.position_m);
    }
    let spacings: Vec<f64> =
        positions.values().filter_map(|places| consecutive_spacings(places).ok()).flatten().collect();
    let mut stand = Stand { spacing_cv: spacing_cv(&spacings), ..Stand::default() };
    let theoretical = field.and_then(|field| {
        field.seed_spacing_m.or_else(|| theoretical_spacing_m(field.seed_rate_per_m2?, field.row_spacing_m?))
    });
    if let Some(Ok(classes)) = theoretical.map(|theoretical| SpacingClasses::of(&spacings, theoretical)) {
        stand.spacing_precision = classes.precision();
        stand.miss_share = classes.miss_share();
        stand.multiple_share = classes.multiple_share();
        stand.quality_share = classes.quality_share();
    }
    stand
}

/// Standard deviation of leaf stage between the plants of one strip (n − 1); missing below two plants.
pub(crate) fn leaf_stage_sd(rows: &[PlantRow]) -> Option<f64> {
    let stages: Vec<f64> = rows.iter().filter_map(|row| row.leaf_stage).collect();
    let count = stages.len() as f64;
    if count < 2.0 {
        return None;
    }
    let mean = stages.iter().sum::<f64>() / count;
    Some((stages.iter().map(|stage| (stage - mean).powi(2)).sum::<f64>() / (count - 1.0)).sqrt())
}
