//! Brings everything together, strip by strip.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_settings::{Clock, Settings};
use evenstand_tables::rows::{
    CalibrationRow, ConditionRow, CountRow, CourseMeanRow, CourseRow, DigRow, DigStripRow, FieldRow, FieldSeasonRow,
    MeasureRow, OutlineRow, PlantRow, PlanterRow, RecordedRow, SetActualRow, SoilRow, SourceRow, SpacingRow,
    StripMeasureRow, StripRow, StripSheetRow, TelemetryRow, WeatherRow,
};
use evenstand_tables::{Finding, LongTable, Moment};

use jiff::tz::TimeZone;

use crate::LinkError;
use crate::calibration::{calibration_findings, calibrations};
use crate::checks::{
    FieldRemark, FieldRemarks, check_actual_force, check_calibration, check_knob_limits, check_positions,
    check_presence, stands_by_label, without_setting,
};
use crate::condition::SoilNotes;
use crate::condition_labels::{Sources, label_conditions};
use crate::condition_scheme::{check_unrecorded, condition_rows};
use crate::counts::Counts;
use crate::course_findings::check_courses;
use crate::course_fits::fit_courses;
use crate::courses::courses;
use crate::degree_days::Clocks;
use crate::digs::{dig_findings, dig_strips, strips_of_digs};
use crate::emergence::{CountContext, Emergence, emergence};
use crate::fields::{by_name, field_seasons, planters, with_found_knobs};
use crate::force::{Settled, StripSetting, about};
use crate::hardware::{unusual_pairs, wheels_that_disagree};
use crate::key::{FieldSeason, StripKey};
use crate::measures::strip_measures;
use crate::outlines::outlines;
use crate::rain_after::Rain;
use crate::recorded::recorded;
use crate::set_actual::{at_set_shares, set_actual_rows};
use crate::sources::sources;
use crate::stand::{leaf_stage_sd, spacing};
use crate::telemetry::SettingLogs;
use crate::traced::Traced;

/// Kept tables of a review, without its setting logs.
#[derive(Debug, Default)]
pub struct Kept {
    /// Fields.
    pub fields: Vec<FieldRow>,
    /// Strip sheets.
    pub strips: Vec<StripSheetRow>,
    /// Soil notes.
    pub soil: Vec<SoilRow>,
    /// Dig checks.
    pub digs: Vec<DigRow>,
    /// Stand counts.
    pub counts: LongTable<CountRow>,
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
    pub courses: LongTable<CourseRow>,
    /// Emergence courses by setting.
    pub course_means: Vec<CourseMeanRow>,
    /// Dig checks with the setting and condition of their strip.
    pub digs: Vec<DigStripRow>,
    /// How the actual force followed the set one, by planter and season.
    pub set_actual: Vec<SetActualRow>,
    /// Forces of calibrated planters, weighed and as they are used.
    pub calibrations: Vec<CalibrationRow>,
    /// The condition scheme in use, with how many strips fell where.
    pub conditions: Vec<ConditionRow>,
    /// What telemetry says about itself.
    pub telemetry: Vec<TelemetryRow>,
    /// Telemetry along each strip.
    pub traces: Traced,
    /// Outlines of strips.
    pub outlines: Vec<OutlineRow>,
    /// What was recorded when.
    pub recorded: Vec<RecordedRow>,
    /// Files behind each strip.
    pub sources: Vec<SourceRow>,
    /// What a person should look at.
    pub findings: Vec<Finding>,
    /// The settings, with knobs of planters that only the logs know.
    pub settings: Settings,
}

/// A strip with everything it was made from.
pub(crate) type LinkedStrip = (StripRow, StripSetting, Emergence);

/// Ties the kept tables and the setting logs together. The logs are read first, by [`read_logs`](crate::read_logs), so that they and the
/// counts, the two that are long, do not stand in memory at a time. Errors where counts do not follow their schema.
pub fn link(mut kept: Kept, mut logs: SettingLogs, settings: &Settings) -> Result<Linked, LinkError> {
    let mut findings = std::mem::take(&mut logs.findings);
    let watched = std::mem::take(&mut logs.watched);
    let traces = std::mem::take(&mut logs.traces);
    let outlines = outlines(&kept.strips);
    let recorded = recorded(&kept, &logs.logged, settings)?;
    let sources = sources(&kept, &logs.hand, &logs.logged)?;
    let at_set = at_set_shares(&watched);
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
    let counts = Counts::of(&std::mem::take(&mut kept.counts))?;
    let spacings = group(kept.spacing, |row| StripKey::new(&row.field_id, row.season, &row.strip_id));
    let plants = group(kept.plants, |row| StripKey::new(&row.field_id, row.season, &row.strip_id));
    let notes = SoilNotes::new(kept.soil);
    let clocks = Clocks::new(&kept.weather, &settings.weather);
    if settings.analysis.clock == Clock::Thermal {
        findings.extend(clocks.findings());
    }

    let planned: BTreeSet<&StripKey> = sheet.keys().chain(settled.strips()).collect();
    let planned_fields: BTreeSet<&FieldSeason> = planned.iter().map(|key| &key.field).collect();
    let measured: BTreeSet<StripKey> =
        kept.measures.iter().map(|row| StripKey::new(&row.field_id, row.season, &row.strip_id)).collect();
    let mut keys: BTreeSet<&StripKey> = planned
        .iter()
        .copied()
        .chain(counts.strips())
        .chain(spacings.keys())
        .chain(plants.keys())
        .chain(&measured)
        .collect();
    let dug = strips_of_digs(&kept.digs, &keys.iter().map(|key| &key.field).collect());
    keys.extend(&dug);

    let counted_fields: BTreeSet<&FieldSeason> = counts.strips().map(|key| &key.field).collect();
    let mut uncounted: BTreeMap<&FieldSeason, usize> = BTreeMap::new();
    for key in planned.iter().filter(|key| !counted_fields.contains(&key.field)) {
        *uncounted.entry(&key.field).or_default() += 1;
    }
    for (field, strips) in uncounted {
        findings.push(
            Finding::warning(
                "field_without_counts",
                format!("{strips} strips were planted, but the field has no stand counts"),
            )
            .field(&field.field_id, field.season)
            .remedy("add its stand counts, if they were taken"),
        );
    }

    let mut strips: Vec<LinkedStrip> = Vec::with_capacity(keys.len());
    let mut remarks = FieldRemarks::default();
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
            remarks.add(FieldRemark::Replanted, &key.field);
        }
        let planted_at = row.and_then(|row| row.planted_at).or_else(|| field.and_then(|field| field.planted_at));
        let planted_at = planted_at.filter(|time| {
            let in_season = in_season(*time, key.field.season);
            if !in_season {
                remarks.add(FieldRemark::PlantedInAnotherYear, &key.field);
            }
            in_season
        });
        let context = CountContext {
            field,
            planted_at,
            window_h: settings.analysis.on_time_window_h,
            clock: (settings.analysis.clock == Clock::Thermal)
                .then(|| clocks.of(&key.field.field_id))
                .flatten()
                .map(|clock| (clock, zone_of(field, settings))),
        };
        let came_up = if counts.has(key) && !replanted {
            emergence(key, &counts.of_strip(key)?, &context, &mut findings)
        } else {
            Emergence::default()
        };
        let uncounted_field = !counted_fields.contains(&key.field);
        let planter = setting.planter_id.as_deref().map(|id| settings.planter(id));
        let has_setting = setting.force_n.is_some() || stands_by_label(&setting, planter.as_ref());
        if !replanted {
            check_presence(key, &planned, &planned_fields, counts.has(key), uncounted_field, &mut findings);
            if counts.has(key) && planned.contains(key) && !has_setting {
                findings.push(without_setting(key, &setting));
            }
        }
        if settings.analysis.clock == Clock::Thermal && came_up.t50_h.is_some() && came_up.t50_cd.is_none() {
            remarks.add(FieldRemark::NoWeather, &key.field);
        }
        if setting.telemetry_rows > 0 && setting.telemetry_rows_at_speed == 0 {
            remarks.add(FieldRemark::TelemetryTooSlow, &key.field);
        }
        let stand = spacings.get(key).filter(|_| !replanted).map(|rows| spacing(rows, field)).unwrap_or_default();
        let leaf_stage = plants.get(key).filter(|_| !replanted).and_then(|rows| leaf_stage_sd(rows));
        strips.push((
            StripRow {
                field_id: key.field.field_id.clone(),
                season: key.field.season,
                strip_id: key.strip_id.clone(),
                block: setting.block.clone(),
                treatment: row.and_then(|row| row.treatment.clone()),
                condition: String::new(),
                planter_id: setting.planter_id.clone(),
                closer: row.and_then(|row| row.closer.clone()).or(planter.map(|planter| planter.closer)),
                force_n: setting.force_n,
                force_source: setting.force_source.map(str::to_owned),
                set_force_n: setting.set_force_n,
                actual_force_n: setting.actual_force_n,
                force_sd_n: setting.force_sd_n,
                at_set_share: at_set.get(key).copied(),
                set_pressure_kpa: setting.set_pressure_kpa,
                closing_position: setting.closing_position.clone(),
                press_position: setting.press_position.clone(),
                depth_stop: setting.depth_stop.clone(),
                gauge_wheel: setting.gauge_wheel.clone(),
                started_at: setting.started_at.or_else(|| row.and_then(|row| row.planted_at)),
                lat: setting.lat,
                lon: setting.lon,
                moisture: None,
                residue: None,
                texture_group: None,
                tillage: None,
                logged: None,
                soil_temp: None,
                crust: None,
                rain: None,
                soil_temp_c: None,
                rain_after_mm: None,
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
                limit_share: None,
                limit_share_se: None,
                t10_fit_h: None,
                t10_fit_se_h: None,
                t50_fit_h: None,
                t50_fit_se_h: None,
                t90_fit_h: None,
                t90_fit_se_h: None,
                spread_fit_h: None,
                spread_fit_se_h: None,
                fit_lag_h: None,
                fit_note: None,
                synchrony: came_up.synchrony,
                spacing_cv: stand.spacing_cv,
                spacing_precision: stand.spacing_precision,
                miss_share: stand.miss_share,
                multiple_share: stand.multiple_share,
                quality_share: stand.quality_share,
                leaf_stage_sd: leaf_stage,
                n_samples: Some(came_up.samples),
                usable: Some(came_up.emerged.is_some() && !came_up.over_full && has_setting),
            },
            setting,
            came_up,
        ));
    }
    // Thousands of fields: what the strips were made from goes as soon as it is read.
    drop((counts, spacings, plants));
    findings.extend(remarks.findings(settings));
    let noted = Sources { notes: &notes, rain: &Rain::new(&kept.weather), fields: &fields, sheet: &sheet };
    let labelled = label_conditions(&mut strips, &noted, settings, &mut findings);
    fit_courses(&mut strips);
    let (courses, course_means) = courses(&strips, settings);
    let mut telemetry_rows: BTreeMap<FieldSeason, u64> = BTreeMap::new();
    let mut with_course = BTreeSet::new();
    for (row, setting, came_up) in &strips {
        let field = FieldSeason::new(&row.field_id, row.season);
        if !came_up.course.is_empty() {
            with_course.insert(field.clone());
        }
        *telemetry_rows.entry(field).or_default() += setting.telemetry_rows;
    }
    let mut rows: Vec<StripRow> = strips.into_iter().map(|(row, _, _)| row).collect();
    rows.shrink_to_fit();
    check_courses(&rows, &mut findings);
    check_unrecorded(&labelled, &mut findings);
    let found = with_found_knobs(&rows, settings);
    check_knob_limits(&rows, settings, &mut findings);
    check_actual_force(&rows, &mut findings);
    check_calibration(&rows, &mut findings);
    findings.extend(calibration_findings(&rows, settings));
    findings.extend(unusual_pairs(&rows, settings));
    findings.extend(wheels_that_disagree(&rows, settings));
    check_positions(&rows, settings, &mut findings);
    let digs = dig_strips(&kept.digs, &rows);
    findings.extend(dig_findings(&digs, &rows));
    for key in rows.iter().map(|row| FieldSeason::new(&row.field_id, row.season)).collect::<BTreeSet<_>>() {
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
    let set_actual = set_actual_rows(&watched, &rows);
    let conditions = condition_rows(&labelled, &rows, &settings.condition);
    Ok(Linked {
        field_seasons: field_seasons(&fields, &rows, &telemetry_rows, &with_course),
        planters: planters(&rows, &found),
        settings: found,
        digs,
        strip_measures: strip_measures(&kept.measures),
        strips: rows,
        courses,
        course_means,
        set_actual,
        calibrations: calibrations(settings),
        conditions,
        telemetry: watched.into_iter().map(|watched| watched.row).collect(),
        traces,
        outlines,
        recorded,
        sources,
        findings,
    })
}

/// Whether a planting time lies in the year of its season, give or take five weeks.
pub(crate) fn in_season(planted_at: Moment, season: i64) -> bool {
    (-0.1..=1.1).contains(&planted_at.years_since_start_of(season))
}

/// Time zone of a field, else of the review, else UTC; `ingest` has refused names that are not zones.
pub(crate) fn zone_of(field: Option<&FieldRow>, settings: &Settings) -> TimeZone {
    let name = field.and_then(|field| field.timezone.as_deref()).or(settings.timezone.as_deref());
    name.and_then(|name| TimeZone::get(name).ok()).unwrap_or(TimeZone::UTC)
}

fn group<R>(rows: Vec<R>, key: impl Fn(&R) -> StripKey) -> BTreeMap<StripKey, Vec<R>> {
    let mut groups: BTreeMap<StripKey, Vec<R>> = BTreeMap::new();
    for row in rows {
        groups.entry(key(&row)).or_default().push(row);
    }
    groups
}

/// Rows of the strip table by strip. A table and drawn outlines may both speak of a strip: what one leaves open the other
/// fills in; where they disagree the first one counts, and the disagreement is a finding.
fn strip_sheet(rows: Vec<StripSheetRow>, findings: &mut Vec<Finding>) -> BTreeMap<StripKey, StripSheetRow> {
    let mut sheet: BTreeMap<StripKey, StripSheetRow> = BTreeMap::new();
    for row in rows {
        let key = StripKey::new(&row.field_id, row.season, &row.strip_id);
        let Some(first) = sheet.get_mut(&key) else {
            sheet.insert(key, row);
            continue;
        };
        let (file, number) = (row.source_file.clone(), row.source_row);
        let disagree = fill_in(first, row);
        if first.source_file == file || !disagree.is_empty() {
            let about_what = if disagree.is_empty() { String::new() } else { format!(" ({})", disagree.join(", ")) };
            findings.push(
                about(
                    Finding::warning(
                        "repeated_strip",
                        format!(
                            "two strips carry this name: {} row {} and here{about_what}; the first is used",
                            first.source_file, first.source_row
                        ),
                    ),
                    &key,
                )
                .source(&file, Some(number))
                .remedy("rename one of them, in every table that names it"),
            );
        }
    }
    sheet
}

/// Takes over what the first row leaves open, and names the columns in which the two disagree.
fn fill_in(first: &mut StripSheetRow, other: StripSheetRow) -> Vec<&'static str> {
    let mut disagree = Vec::new();
    fn take<T: PartialEq>(
        name: &'static str,
        mine: &mut Option<T>,
        theirs: Option<T>,
        disagree: &mut Vec<&'static str>,
    ) {
        match (mine.as_ref(), &theirs) {
            (None, _) => *mine = theirs,
            (Some(mine), Some(theirs)) if mine != theirs => disagree.push(name),
            _ => {}
        }
    }
    take("block", &mut first.block, other.block, &mut disagree);
    take("treatment", &mut first.treatment, other.treatment, &mut disagree);
    take("condition", &mut first.condition, other.condition, &mut disagree);
    take("length_m", &mut first.length_m, other.length_m, &mut disagree);
    take("rows", &mut first.rows, other.rows, &mut disagree);
    take("passes", &mut first.passes, other.passes, &mut disagree);
    take("planted_at", &mut first.planted_at, other.planted_at, &mut disagree);
    take("hybrid", &mut first.hybrid, other.hybrid, &mut disagree);
    disagree
}
