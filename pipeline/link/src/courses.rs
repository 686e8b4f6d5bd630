//! Emergence courses as rows: by strip, and the mean of each setting.

use std::collections::BTreeMap;

use evenstand_agronomy::{Kind, force_levels};
use evenstand_settings::{Knob, Settings};
use evenstand_tables::LongTable;
use evenstand_tables::rows::{CourseMeanRow, CourseRow};

use crate::force::StripSetting;
use crate::key::FieldSeason;
use crate::strips::LinkedStrip;

/// Courses of all strips, and the mean course of each setting in a field-season.
pub(crate) fn courses(strips: &[LinkedStrip], settings: &Settings) -> (LongTable<CourseRow>, Vec<CourseMeanRow>) {
    let of_strip = |(row, _, came_up): &LinkedStrip| {
        let (field_id, season, strip_id) = (row.field_id.clone(), row.season, row.strip_id.clone());
        came_up.course.clone().into_iter().map(move |(hours, share)| CourseRow {
            field_id: field_id.clone(),
            season,
            strip_id: strip_id.clone(),
            hours: Some(hours),
            share: Some(share),
        })
    };
    let rows = strips.iter().flat_map(of_strip).collect();
    let mut by_field: BTreeMap<FieldSeason, Vec<&LinkedStrip>> = BTreeMap::new();
    for strip in strips {
        if !strip.2.course.is_empty() && strip.0.force_n.is_some() {
            by_field.entry(FieldSeason::new(&strip.0.field_id, strip.0.season)).or_default().push(strip);
        }
    }
    let mut means = Vec::new();
    for (field, strips) in by_field {
        let forces: Vec<f64> = strips.iter().filter_map(|strip| strip.0.force_n).collect();
        let (levels, level_forces) = force_levels(&forces);
        for (level, force) in level_forces.iter().enumerate() {
            let members: Vec<_> =
                strips.iter().zip(&levels).filter(|(_, own)| **own == level).map(|(strip, _)| *strip).collect();
            means.extend(mean_course(&field, *force, &members, settings));
        }
    }
    (rows, means)
}

/// Mean of the courses of one setting, on the inspections of all of them.
fn mean_course(field: &FieldSeason, force: f64, members: &[&LinkedStrip], settings: &Settings) -> Vec<CourseMeanRow> {
    let mut hours: Vec<f64> = members.iter().flat_map(|strip| strip.2.course.iter().map(|(hours, _)| *hours)).collect();
    hours.sort_by(f64::total_cmp);
    hours.dedup_by(|a, b| (*a - *b).abs() < 1.0);
    hours
        .into_iter()
        .filter_map(|hours| {
            let shares: Vec<f64> = members.iter().filter_map(|strip| share_at(&strip.2.course, hours)).collect();
            (!shares.is_empty()).then(|| CourseMeanRow {
                field_id: field.field_id.clone(),
                season: field.season,
                force_n: force,
                label: knob_label(&members[0].1, settings),
                hours: Some(hours),
                share: Some(shares.iter().sum::<f64>() / shares.len() as f64),
                n_strips: Some(shares.len() as i64),
            })
        })
        .collect()
}

fn share_at(course: &[(f64, f64)], hours: f64) -> Option<f64> {
    let after = course.iter().position(|(time, _)| *time >= hours - 1.0)?;
    let (t1, s1) = course[after];
    if (t1 - hours).abs() <= 1.0 {
        return Some(s1);
    }
    let (t0, s0) = *course.get(after.checked_sub(1)?)?;
    Some(s0 + (s1 - s0) * (hours - t0) / (t1 - t0))
}

/// The setting in the planter's own knob: position, else pressure in the unit of its gauge.
fn knob_label(setting: &StripSetting, settings: &Settings) -> Option<String> {
    let pressure = || {
        let planter = setting.planter_id.as_deref().map(|id| settings.planter(id));
        let unit = match planter.and_then(|planter| planter.knob) {
            Some(Knob::Pressure { unit, .. }) => settings.display.pressure().unwrap_or(&unit).to_owned(),
            _ => "kpa".to_owned(),
        };
        let value = Kind::Pressure.from_kept(&unit, setting.set_pressure_kpa?)?;
        let rounded = (value * 10.0).round() / 10.0;
        Some(format!("{rounded} {}", Kind::Pressure.label(&unit)?))
    };
    setting.closing_position.as_ref().map(|label| format!("position {label}")).or_else(pressure)
}
