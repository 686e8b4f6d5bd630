//! What looks wrong once strips are tied together.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_agronomy::{Kind, force_levels};
use evenstand_settings::{Knob, Planter, Settings};
use evenstand_tables::Finding;
use evenstand_tables::rows::StripRow;

use crate::force::{StripSetting, about};
use crate::key::{FieldSeason, StripKey};

/// What is wrong with a whole field-season, found strip by strip.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum FieldRemark {
    NoWeather,
    TelemetryTooSlow,
    PlantedInAnotherYear,
    Replanted,
}

/// Remarks on field-seasons, each with the number of strips it was found in: one finding a field, not one a strip.
#[derive(Debug, Default)]
pub(crate) struct FieldRemarks {
    strips: BTreeMap<(FieldRemark, FieldSeason), usize>,
}

impl FieldRemarks {
    pub fn add(&mut self, remark: FieldRemark, field: &FieldSeason) {
        *self.strips.entry((remark, field.clone())).or_default() += 1;
    }

    pub fn findings(self, settings: &Settings) -> Vec<Finding> {
        let slow = settings.analysis.min_speed_m_s;
        self.strips
            .into_iter()
            .map(|((remark, field), strips)| {
                let (code, message, remedy) = match remark {
                    FieldRemark::NoWeather => (
                        "no_weather",
                        "the thermal clock is on, but daily weather is missing between planting and emergence; degree-days are left empty".to_owned(),
                        "add the missing days, with tmin and tmax, to a weather file",
                    ),
                    FieldRemark::TelemetryTooSlow => (
                        "telemetry_too_slow",
                        format!("all telemetry is slower than {slow} m/s and is left out, strips: {strips}"),
                        "check the speed and its unit, or set min_speed_m_s in evenstand.toml",
                    ),
                    FieldRemark::PlantedInAnotherYear => (
                        "planted_in_another_year",
                        "the planting date is not in the season's year, so it is not used; times from planting cannot be told".to_owned(),
                        "correct the planting date or the season: season is the year of planting",
                    ),
                    FieldRemark::Replanted => (
                        "replanted",
                        "the field was planted again; its counts are not used".to_owned(),
                        "if the counts were taken before the second planting, say replanted = no",
                    ),
                };
                Finding::warning(code, message).field(&field.field_id, field.season).remedy(remedy)
            })
            .collect()
    }
}

/// Strips without counts, counts without strips, counts without a setting.
pub(crate) fn check_presence(
    key: &StripKey,
    planned: &BTreeSet<&StripKey>,
    planned_fields: &BTreeSet<&FieldSeason>,
    counted: bool,
    uncounted_field: bool,
    findings: &mut Vec<Finding>,
) {
    if !counted && planned.contains(key) && !uncounted_field {
        findings.push(
            about(Finding::note("strip_without_counts", "the strip was planted but has no stand counts"), key)
                .remedy("add its counts, or leave it: it is not used in the models of counts"),
        );
    }
    if counted && !planned.contains(key) && planned_fields.contains(&key.field) {
        findings.push(
            about(
                Finding::warning(
                    "counts_without_strip",
                    "stand counts name a strip that no strip sheet or setting log of this field names",
                ),
                key,
            )
            .remedy("check the strip's name"),
        );
    }
}

/// A strip with counts whose setting the models cannot use.
pub(crate) fn without_setting(key: &StripKey, setting: &StripSetting) -> Finding {
    let why = match (&setting.closing_position, &setting.planter_id) {
        (Some(label), Some(planter)) => format!("position \"{label}\" of {planter} has no weighed force"),
        _ => "no setting of the closing system is known".to_owned(),
    };
    about(Finding::note("strip_without_force", format!("{why}; the strip is not used in the models")), key)
        .remedy("add the setting to a setting log, or the weighed force to the planter in evenstand.toml")
}

/// Whether a strip stands at a position of a planter whose positions are compared by label, because none is weighed.
pub(crate) fn stands_by_label(setting: &StripSetting, planter: Option<&Planter>) -> bool {
    let Some(label) = &setting.closing_position else { return false };
    let positions = planter.and_then(Planter::unweighed_positions).unwrap_or_default();
    setting.force_n.is_none() && positions.iter().any(|position| position.label == *label)
}

/// Planters whose positions are not tied to a force.
pub(crate) fn check_positions(strips: &[StripRow], settings: &Settings, findings: &mut Vec<Finding>) {
    let set_by_position = strips.iter().filter(|strip| strip.force_n.is_none() && strip.closing_position.is_some());
    let planters: BTreeSet<&str> = set_by_position.filter_map(|strip| strip.planter_id.as_deref()).collect();
    for planter in planters.into_iter().filter(|id| settings.planter(id).unweighed_positions().is_some()) {
        findings.push(
            Finding::warning(
                "positions_not_weighed",
                format!("planter {planter}: positions are not tied to a force, so they are compared by label and not pooled with another planter"),
            )
            .remedy("with the planter lowered and blocked as its manual says, weigh the closing wheels of one row on a scale at each position, and write the forces into evenstand.toml as positions = [{ label = \"1\", force_n = … }, …]"),
        );
    }
}

/// Planters whose pressures are not tied to a force.
pub(crate) fn check_calibration(strips: &[StripRow], findings: &mut Vec<Finding>) {
    let nominal: BTreeSet<&str> = strips
        .iter()
        .filter(|strip| strip.force_source.as_deref() == Some("nominal"))
        .filter_map(|strip| strip.planter_id.as_deref())
        .collect();
    for planter in nominal {
        findings.push(
            Finding::warning(
                "no_calibration",
                format!("planter {planter}: pressures are not tied to a force, so it is modelled in its own pressure and not pooled with another planter"),
            )
            .remedy("with the planter lowered and blocked as its manual says, weigh the closing wheels of one row on a scale at three or more pressures, and write the pairs into evenstand.toml as force_n = [[kPa, N], …]"),
        );
    }
}

/// A strip whose actual force is not the one that was set.
pub(crate) struct OffStrip<'a> {
    pub strip: &'a StripRow,
    set: f64,
    actual: f64,
    /// Smallest gap between settings of its field-season.
    gap: f64,
}

/// Strips whose actual force is off by more than half the gap between neighbouring levels of their field-season.
pub(crate) fn off_strips(strips: &[StripRow]) -> Vec<OffStrip<'_>> {
    let mut by_field: BTreeMap<FieldSeason, Vec<&StripRow>> = BTreeMap::new();
    for strip in strips {
        by_field.entry(FieldSeason::new(&strip.field_id, strip.season)).or_default().push(strip);
    }
    let mut off = Vec::new();
    for strips in by_field.values() {
        let set: Vec<f64> = strips.iter().filter_map(|strip| strip.set_force_n).collect();
        let levels = force_levels(&set).1;
        let Some(gap) = levels.windows(2).map(|pair| pair[1] - pair[0]).min_by(f64::total_cmp) else { continue };
        off.extend(strips.iter().filter_map(|strip| {
            let (set, actual) = (strip.set_force_n?, strip.actual_force_n?);
            ((actual - set).abs() > gap / 2.0).then_some(OffStrip { strip, set, actual, gap })
        }));
    }
    off
}

/// Actual force off by more than half the gap between neighbouring levels of its field.
pub(crate) fn check_actual_force(strips: &[StripRow], findings: &mut Vec<Finding>) {
    for OffStrip { strip, set, actual, gap } in off_strips(strips) {
        findings.push(
            Finding::warning(
                "actual_force_off",
                format!("set to {set:.0} N but {actual:.0} N on average: off by more than half the gap between settings ({gap:.0} N)"),
            )
            .field(&strip.field_id, strip.season)
            .strip(&strip.strip_id)
            .remedy("check the sensor and the air supply; the set force is used unless [analysis] axis = \"actual\""),
        );
    }
}

/// Pressures beyond the limits of the planter's knob.
pub(crate) fn check_knob_limits(strips: &[StripRow], settings: &Settings, findings: &mut Vec<Finding>) {
    for strip in strips {
        let knob = strip.planter_id.as_deref().and_then(|id| settings.planter(id).knob);
        let (Some(Knob::Pressure { min_kpa, max_kpa, unit, .. }), Some(pressure)) = (knob, strip.set_pressure_kpa)
        else {
            continue;
        };
        let slack = 0.01 * (max_kpa - min_kpa);
        if pressure < min_kpa - slack || pressure > max_kpa + slack {
            let shown = |kpa: f64| Kind::Pressure.from_kept(&unit, kpa).unwrap_or(kpa);
            let label = Kind::Pressure.label(&unit).unwrap_or("kPa");
            findings.push(
                Finding::warning(
                    "setting_outside_knob",
                    format!(
                        "set to {:.0} {label}, but the knob of the planter goes from {:.0} to {:.0} {label}",
                        shown(pressure),
                        shown(min_kpa),
                        shown(max_kpa)
                    ),
                )
                .field(&strip.field_id, strip.season)
                .strip(&strip.strip_id)
                .remedy("check the log and its unit, or the planter's limits in evenstand.toml"),
            );
        }
    }
}
