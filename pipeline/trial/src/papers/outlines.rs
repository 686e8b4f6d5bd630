//! Outlines of the strips as GeoJSON (RFC 7946), for a guidance system or the map of the report.

use serde_json::{Value, json};

use super::units::Units;
use super::words;
use crate::{Ground, Pass, Plan};

/// A feature a strip; `None` where the ground is not on the globe.
pub(crate) fn outlines(plan: &Plan, ground: &Ground, units: &Units) -> Option<String> {
    if !ground.is_on_globe() {
        return None;
    }
    let mut features = Vec::new();
    for (position, strip) in plan.strips.iter().enumerate() {
        let passes: Vec<&Pass> = plan.passes.iter().filter(|pass| pass.strips.contains(&position)).collect();
        let left = passes.iter().map(|pass| pass.left_m).fold(f64::INFINITY, f64::min);
        let right = passes.iter().map(|pass| pass.left_m + pass.width_m).fold(f64::NEG_INFINITY, f64::max);
        if left >= right {
            continue;
        }
        let ring = ground.outline(left, right - left, strip.span_m)?;
        // A thousand-millionth of a degree is a tenth of a millimetre.
        let rounded = |degrees: f64| (degrees * 1e9).round() / 1e9;
        let ring: Vec<Value> = ring.iter().map(|[x, y]| json!([rounded(*x), rounded(*y)])).collect();
        features.push(json!({
            "type": "Feature",
            "properties": {
                "field_id": plan.field_id,
                "season": plan.season,
                "strip_id": strip.strip_id,
                "block": strip.block.to_string(),
                "treatment": words::treatment(plan, units, strip),
            },
            "geometry": { "type": "Polygon", "coordinates": [ring] },
        }));
    }
    let lines: Vec<String> = features.iter().map(Value::to_string).collect();
    Some(format!("{{\"type\":\"FeatureCollection\",\"features\":[\n{}\n]}}\n", lines.join(",\n")))
}
