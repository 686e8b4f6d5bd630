//! Other measures: the mean of each by strip.

use std::collections::BTreeMap;

use evenstand_tables::rows::{MeasureRow, StripMeasureRow};

use crate::key::StripKey;

/// Pools the values of each strip and measure.
pub(crate) fn strip_measures(rows: &[MeasureRow]) -> Vec<StripMeasureRow> {
    let mut pooled: BTreeMap<(StripKey, &str), (f64, i64, &MeasureRow)> = BTreeMap::new();
    for row in rows {
        let entry =
            pooled.entry((StripKey::new(&row.field_id, row.season, &row.strip_id), &row.name)).or_insert((0.0, 0, row));
        entry.0 += row.value;
        entry.1 += 1;
    }
    pooled
        .into_iter()
        .map(|((key, name), (sum, count, first))| StripMeasureRow {
            field_id: key.field.field_id,
            season: key.field.season,
            strip_id: key.strip_id,
            name: name.to_owned(),
            value: Some(sum / count as f64),
            unit: first.unit.clone(),
            better: first.better.clone(),
            n_samples: Some(count),
        })
        .collect()
}
