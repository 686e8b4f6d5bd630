//! Brings everything together, strip by strip.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

use evenstand_agronomy::{DigCheck, DigEffort, Kind, TrenchShut, force_levels};
use evenstand_settings::{Clock, ConditionPart, Knob, Settings};
use evenstand_tables::Finding;
use evenstand_tables::rows::{
    CountRow, CourseMeanRow, CourseRow, DigRow, DigStripRow, FieldRow, FieldSeasonRow, MeasureRow, PlantRow,
    PlanterRow, SoilRow, SpacingRow, StripMeasureRow, StripRow, StripSheetRow, WeatherRow,
};

use crate::LinkError;
use crate::condition::{MIXED, SoilNotes, StripFacts, UNSTATED};
use crate::emergence::{CountContext, Emergence, emergence};
use crate::fields::{Clocks, by_name, field_seasons, planters};
use crate::force::{Settled, StripSetting, about};
use crate::key::{FieldSeason, StripKey};
use crate::measures::strip_measures;
use crate::stand::{leaf_stage_sd, spacing};
use crate::telemetry::read_logs;

/// Kept tables of a review. Setting logs come as Parquet files by season, because telemetry is streamed.
#[derive(Debug, Default)]
pub struct Kept {
    /// Fields.
    pub fields: Vec<FieldRow>,
    /// Strip sheets.
    pub strips: Vec<StripSheetRow>,
    /// Setting logs: season and its Parquet files.
    pub setting_logs: Vec<(i64, Vec<PathBuf>)>,
    /// Soil notes.
    pub soil: Vec<SoilRow>,
    /// Dig checks.
    pub digs: Vec<DigRow>,
    /// Stand counts.
    pub counts: Vec<CountRow>,
    /// Plant positions.
    pub spacing: Vec<SpacingRow>,
    /// Single plants.
    pub plants: Vec<PlantRow>,
    /// Other measures.
    pub measures: Vec<MeasureRow>,
    /// Weather.
    pub weather: Vec<WeatherRow>,
}

/// What linking gives: result tables, and findings.
#[derive(Debug, Default)]
pub struct Linked {
    /// One row a strip.
    pub strips: Vec<StripRow>,
    /// Other measures by strip.
    pub strip_measures: Vec<StripMeasureRow>,
    /// One row a field and season.
    pub field_seasons: Vec<FieldSeasonRow>,
    /// Planters.
    pub planters: Vec<PlanterRow>,
    /// Emergence courses by strip.
    pub courses: Vec<CourseRow>,
    /// Emergence courses by setting.
    pub course_means: Vec<CourseMeanRow>,
    /// Dig checks with the setting and condition of their strip.
    pub digs: Vec<DigStripRow>,
    /// What a person should look at.
    pub findings: Vec<Finding>,
}

/// Ties the kept tables together. Errors only where the setting logs cannot be read from the store.
pub fn link(kept: Kept, settings: &Settings) -> Result<Linked, LinkError> {
    let mut findings = Vec::new();
    let logs = read_logs(&kept.setting_logs, &kept.fields, settings)?;
    for (season, rows) in &logs.rows_without_strip {
        let mut finding = Finding::warning(
            "telemetry_without_strip",
            format!("{rows} telemetry rows of {season} name no strip and are not used"),
        )
        .remedy("add strip_id to the telemetry");
        finding.season = Some(*season);
        findings.push(finding);
    }
    let fields = by_name(kept.fields, &mut findings);
    let sheet = strip_sheet(kept.strips, &mut findings);
    let settled = Settled::new(&logs);
    let counts = group(kept.counts, |row| StripKey::new(&row.field_id, row.season, &row.strip_id));
    let spacings = group(kept.spacing, |row| StripKey::new(&row.field_id, row.season, &row.strip_id));
    let plants = group(kept.plants, |row| StripKey::new(&row.field_id, row.season, &row.strip_id));
    let notes = SoilNotes::new(kept.soil);
    let clocks = Clocks::new(&kept.weather);

    let planned: BTreeSet<&StripKey> = sheet.keys().chain(settled.strips()).collect();
    let planned_fields: BTreeSet<&FieldSeason> = planned.iter().map(|key| &key.field).collect();
    let measured: BTreeSet<StripKey> =
        kept.measures.iter().map(|row| StripKey::new(&row.field_id, row.season, &row.strip_id)).collect();
    let keys: BTreeSet<&StripKey> = planned
        .iter()
        .copied()
        .chain(counts.keys())
        .chain(spacings.keys())
        .chain(plants.keys())
        .chain(&measured)
        .collect();

    let counted_fields: BTreeSet<&FieldSeason> = counts.keys().map(|key| &key.field).collect();
    for field in planned_fields.difference(&counted_fields) {
        let strips = planned.iter().filter(|key| key.field == **field).count();
        findings.push(
            Finding::warning(
                "field_without_counts",
                format!("{strips} strips were planted, but the field has no stand counts"),
            )
            .field(&field.field_id, field.season)
            .remedy("add its stand counts, if they were taken"),
        );
    }

    let mut strips: Vec<(StripRow, StripSetting, Emergence)> = Vec::new();
    let mut untold_replants = BTreeSet::new();
    for key in keys {
        let field = fields.get(&key.field);
        let row = sheet.get(key);
        let setting = settled.of(
            key,
            row.and_then(|row| row.block.as_deref()),
            field.and_then(|field| field.planter_id.as_deref()),
            settings,
            &mut findings,
        );
        let replanted = field.is_some_and(|field| field.replanted == Some(true));
        if replanted {
            untold_replants.insert(key.field.clone());
        }
        let planted_at = row.and_then(|row| row.planted_at).or_else(|| field.and_then(|field| field.planted_at));
        let context = CountContext {
            field,
            planted_at,
            window_h: settings.analysis.on_time_window_h,
            clock: (settings.analysis.clock == Clock::Thermal).then(|| clocks.of(&key.field.field_id)).flatten(),
        };
        let came_up = match counts.get(key) {
            Some(rows) if !replanted => emergence(key, rows, &context, &mut findings),
            _ => Emergence::default(),
        };
        let uncounted_field = !counted_fields.contains(&key.field);
        if !replanted {
            check_presence(
                key,
                &planned,
                &planned_fields,
                counts.contains_key(key),
                uncounted_field,
                &setting,
                &mut findings,
            );
        }
        let stand = spacings.get(key).filter(|_| !replanted).map(|rows| spacing(rows, field)).unwrap_or_default();
        let leaf_stage = plants.get(key).filter(|_| !replanted).and_then(|rows| leaf_stage_sd(rows));
        let planter = setting.planter_id.as_deref().map(|id| settings.planter(id));
        strips.push((
            StripRow {
                field_id: key.field.field_id.clone(),
                season: key.field.season,
                strip_id: key.strip_id.clone(),
                block: setting.block.clone(),
                treatment: row.and_then(|row| row.treatment.clone()),
                condition: String::new(),
                planter_id: setting.planter_id.clone(),
                closer: planter.map(|planter| planter.closer),
                force_n: setting.force_n,
                force_source: setting.force_source.map(str::to_owned),
                set_force_n: setting.set_force_n,
                actual_force_n: setting.actual_force_n,
                force_sd_n: setting.force_sd_n,
                set_pressure_kpa: setting.set_pressure_kpa,
                closing_position: setting.closing_position.clone(),
                speed_m_s: setting.speed_m_s,
                seeds_sown: came_up.seeds_sown,
                emerged: came_up.emerged,
                emerged_share: came_up.emerged_share,
                on_time_share: came_up.on_time_share,
                t10_h: came_up.t10_h,
                t50_h: came_up.t50_h,
                t90_h: came_up.t90_h,
                spread_h: came_up.spread_h,
                mean_emergence_h: came_up.mean_emergence_h,
                t10_cd: came_up.t10_cd,
                t50_cd: came_up.t50_cd,
                t90_cd: came_up.t90_cd,
                spread_cd: came_up.spread_cd,
                mean_emergence_cd: came_up.mean_emergence_cd,
                synchrony: came_up.synchrony,
                spacing_cv: stand.spacing_cv,
                spacing_precision: stand.spacing_precision,
                miss_share: stand.miss_share,
                multiple_share: stand.multiple_share,
                quality_share: stand.quality_share,
                leaf_stage_sd: leaf_stage,
                n_samples: Some(came_up.samples),
                usable: Some(came_up.emerged.is_some() && !came_up.over_full && setting.force_n.is_some()),
            },
            setting,
            came_up,
        ));
    }
    for key in untold_replants {
        findings.push(
            Finding::warning("replanted", "the field was planted again; its counts are not used")
                .field(&key.field_id, key.season)
                .remedy("if the counts were taken before the second planting, say replanted = no"),
        );
    }
    label_conditions(&mut strips, &notes, &fields, &sheet, settings, &mut findings);
    let rows: Vec<StripRow> = strips.iter().map(|(row, _, _)| row.clone()).collect();
    check_actual_force(&rows, &mut findings);
    check_calibration(&rows, &mut findings);
    let (courses, course_means) = courses(&strips, settings);
    let mut telemetry_rows: BTreeMap<FieldSeason, u64> = BTreeMap::new();
    for (row, setting, _) in &strips {
        *telemetry_rows.entry(FieldSeason::new(&row.field_id, row.season)).or_default() += setting.telemetry_rows;
    }
    let with_course = courses.iter().map(|row| FieldSeason::new(&row.field_id, row.season)).collect();
    for key in strips.iter().map(|(row, _, _)| FieldSeason::new(&row.field_id, row.season)).collect::<BTreeSet<_>>() {
        if !fields.contains_key(&key) {
            findings.push(
                Finding::note(
                    "field_without_row",
                    "no field table names this field and season; planting time, seed rate and planter are not known",
                )
                .field(&key.field_id, key.season)
                .remedy("add a row to the field table"),
            );
        }
    }
    Ok(Linked {
        field_seasons: field_seasons(&fields, &rows, &telemetry_rows, &with_course),
        planters: planters(&rows, settings),
        digs: dig_strips(&kept.digs, &rows),
        strip_measures: strip_measures(&kept.measures),
        strips: rows,
        courses,
        course_means,
        findings,
    })
}

fn group<R>(rows: Vec<R>, key: impl Fn(&R) -> StripKey) -> BTreeMap<StripKey, Vec<R>> {
    let mut groups: BTreeMap<StripKey, Vec<R>> = BTreeMap::new();
    for row in rows {
        groups.entry(key(&row)).or_default().push(row);
    }
    groups
}

fn strip_sheet(rows: Vec<StripSheetRow>, findings: &mut Vec<Finding>) -> BTreeMap<StripKey, StripSheetRow> {
    let mut sheet: BTreeMap<StripKey, StripSheetRow> = BTreeMap::new();
    for row in rows {
        let key = StripKey::new(&row.field_id, row.season, &row.strip_id);
        if let Some(first) = sheet.get(&key) {
            findings.push(
                about(
                    Finding::warning(
                        "repeated_strip",
                        format!(
                            "two strips carry this name: {} row {} and here; the first is used",
                            first.source_file, first.source_row
                        ),
                    ),
                    &key,
                )
                .source(&row.source_file, Some(row.source_row))
                .remedy("rename one of them, in every table that names it"),
            );
        } else {
            sheet.insert(key, row);
        }
    }
    sheet
}

/// Strips without counts, counts without strips, counts without a setting.
fn check_presence(
    key: &StripKey,
    planned: &BTreeSet<&StripKey>,
    planned_fields: &BTreeSet<&FieldSeason>,
    counted: bool,
    uncounted_field: bool,
    setting: &StripSetting,
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
    if counted && setting.force_n.is_none() && planned.contains(key) {
        let why = match (&setting.closing_position, &setting.planter_id) {
            (Some(label), Some(planter)) => format!("position \"{label}\" of {planter} has no weighed force"),
            _ => "no setting of the closing system is known".to_owned(),
        };
        findings.push(
            about(Finding::note("strip_without_force", format!("{why}; the strip is not used in the models")), key)
                .remedy("add the setting to a setting log, or the weighed force to the planter in evenstand.toml"),
        );
    }
}

fn label_conditions(
    strips: &mut [(StripRow, StripSetting, Emergence)],
    notes: &SoilNotes,
    fields: &BTreeMap<FieldSeason, FieldRow>,
    sheet: &BTreeMap<StripKey, StripSheetRow>,
    settings: &Settings,
    findings: &mut Vec<Finding>,
) {
    let logged: Vec<Vec<String>> = strips
        .iter()
        .map(|(row, setting, _)| {
            let mut words = setting.conditions.clone();
            let own = sheet.get(&StripKey::new(&row.field_id, row.season, &row.strip_id));
            words.extend(own.and_then(|row| row.condition.clone()));
            words.sort();
            words.dedup();
            words
        })
        .collect();
    let every_strip_logged = !logged.is_empty() && logged.iter().all(|words| !words.is_empty());
    let parts = settings.condition.by.clone().unwrap_or_else(|| {
        if every_strip_logged {
            vec![ConditionPart::Logged]
        } else {
            vec![ConditionPart::Moisture, ConditionPart::Residue]
        }
    });
    let mut unclear: BTreeMap<(FieldSeason, &'static str), usize> = BTreeMap::new();
    for ((row, _, _), logged) in strips.iter_mut().zip(&logged) {
        let key = StripKey::new(&row.field_id, row.season, &row.strip_id);
        let field = fields.get(&key.field);
        let facts = StripFacts {
            block: row.block.as_deref(),
            planted_at: sheet.get(&key).and_then(|row| row.planted_at).or_else(|| field?.planted_at),
            tillage: field.and_then(|field| field.tillage.as_deref()),
            logged,
        };
        row.condition = notes.label(&key, &facts, &parts, &settings.condition);
        for label in [UNSTATED, MIXED] {
            if row.condition == label {
                *unclear.entry((key.field.clone(), label)).or_default() += 1;
            }
        }
    }
    for ((field, label), count) in unclear {
        let (what, remedy) = if label == MIXED {
            ("in two conditions", "give soil notes by strip or block, so that each strip has one condition")
        } else {
            ("of no known condition", "add soil notes with moisture and residue cover near planting")
        };
        findings.push(
            Finding::warning(&format!("condition_{label}"), format!("strips {what}, modelled as \"{label}\": {count}"))
                .field(&field.field_id, field.season)
                .remedy(remedy),
        );
    }
}

/// Planters whose pressures are not tied to a force.
fn check_calibration(strips: &[StripRow], findings: &mut Vec<Finding>) {
    let nominal: BTreeSet<&str> = strips
        .iter()
        .filter(|strip| strip.force_source.as_deref() == Some("nominal"))
        .map(|strip| strip.planter_id.as_deref().unwrap_or("(no planter named)"))
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

/// Actual force off by more than half the gap between neighbouring levels of its field.
fn check_actual_force(strips: &[StripRow], findings: &mut Vec<Finding>) {
    let mut by_field: BTreeMap<FieldSeason, Vec<&StripRow>> = BTreeMap::new();
    for strip in strips {
        by_field.entry(FieldSeason::new(&strip.field_id, strip.season)).or_default().push(strip);
    }
    for strips in by_field.values() {
        let set: Vec<f64> = strips.iter().filter_map(|strip| strip.set_force_n).collect();
        let levels = force_levels(&set).1;
        let Some(gap) = levels.windows(2).map(|pair| pair[1] - pair[0]).min_by(f64::total_cmp) else { continue };
        for strip in strips {
            if let (Some(set), Some(actual)) = (strip.set_force_n, strip.actual_force_n)
                && (actual - set).abs() > gap / 2.0
            {
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
    }
}

fn courses(
    strips: &[(StripRow, StripSetting, Emergence)],
    settings: &Settings,
) -> (Vec<CourseRow>, Vec<CourseMeanRow>) {
    let mut rows = Vec::new();
    let mut by_field: BTreeMap<FieldSeason, Vec<&(StripRow, StripSetting, Emergence)>> = BTreeMap::new();
    for strip in strips {
        for (hours, share) in &strip.2.course {
            rows.push(CourseRow {
                field_id: strip.0.field_id.clone(),
                season: strip.0.season,
                strip_id: strip.0.strip_id.clone(),
                hours: Some(*hours),
                share: Some(*share),
            });
        }
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
fn mean_course(
    field: &FieldSeason,
    force: f64,
    members: &[&(StripRow, StripSetting, Emergence)],
    settings: &Settings,
) -> Vec<CourseMeanRow> {
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

fn dig_strips(digs: &[DigRow], strips: &[StripRow]) -> Vec<DigStripRow> {
    let by_key: BTreeMap<StripKey, &StripRow> =
        strips.iter().map(|strip| (StripKey::new(&strip.field_id, strip.season, &strip.strip_id), strip)).collect();
    digs.iter()
        .map(|dig| {
            let strip = dig.strip_id.as_ref().and_then(|id| by_key.get(&StripKey::new(&dig.field_id, dig.season, id)));
            let check = DigCheck {
                trench_shut: dig.trench_shut.as_deref().and_then(TrenchShut::parse),
                light_at_seed: dig.light_at_seed,
                air_gap: dig.air_gap,
                dig_effort: dig.dig_effort.and_then(|grade| u8::try_from(grade).ok()).and_then(DigEffort::new),
            };
            DigStripRow {
                field_id: dig.field_id.clone(),
                season: dig.season,
                strip_id: dig.strip_id.clone(),
                condition: strip.map_or_else(|| UNSTATED.to_owned(), |strip| strip.condition.clone()),
                planter_id: strip.and_then(|strip| strip.planter_id.clone()),
                closer: strip.and_then(|strip| strip.closer.clone()),
                force_n: strip.and_then(|strip| strip.force_n),
                not_shut: check.not_shut(),
                too_firm: check.too_firm(),
                dig_effort: dig.dig_effort,
            }
        })
        .collect()
}
